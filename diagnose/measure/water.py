"""Solution on its way from the tank to the floor: flow, film, how long a tank lasts."""

from msgspec.structs import replace

from diagnose.measure.arithmetic import clean
from diagnose.measure.model import (
    PRACTICE,
    Expected,
    Measurement,
    Need,
    Outcome,
    Uncertainty,
    Unreadable,
)
from diagnose.measure.travel import PATH_WIDTH, SPEED

FLOW = (1.5, 6.0)  # L/min
FILM = (0.03, 0.10)  # mm

FLOW_NOW = Need(
    "flow", "flow of solution", "L/min", "2.5 L/min", 0, 100, card="flow.rate", above_low=True
)
FLOW_RATE = replace(FLOW_NOW, name="rate", title="flow on the card", optional=True)


def _volume(name: str, title: str, example: str, card: str | None = None) -> Need:
    return Need(name, title, "L", example, 0, 5000, card=card, asked=card is None)


def _time(title: str, example: str) -> Need:
    return Need("time", title, "min", example, 0, 600, asked=True, above_low=True)


def _flow(value: float, rate: float | None, working: str) -> Outcome:
    """A flow in L/min; expected is the card's within 20 %, else what machines of this kind give."""
    expected = Expected(low=FLOW[0], high=FLOW[1], source=PRACTICE)
    if rate is not None:
        expected = Expected(low=rate * 0.8, high=rate * 1.2, source=f"card ±20 %, {PRACTICE}")
    workings = (f"{working} = {value:.2f} L/min",)
    return Outcome(value=value, expected=expected, workings=workings)


def tank_drop(*, before: float, after: float, time: float, rate: float | None = None) -> Outcome:
    """Flow of solution from the drop of the clean-water tank.

    before, after: L on the tank's scale. time: min at a fixed setting. rate: L/min on the card.
    Returns L/min. Raises Unreadable where more is in the tank after than before.
    Source: volume / time; 1.5 to 6 L/min, or the card ±20 %: common practice.
    """
    if after > before:
        raise Unreadable(
            f"after: {after:.6g} L is more than {before:.6g} L before, expected the same or less"
        )
    working = f"({before:.6g} L - {after:.6g} L) / {time:.6g} min"
    return _flow((before - after) / time, rate, working)


def bucket_flow(*, volume: float, time: float, rate: float | None = None) -> Outcome:
    """Flow of solution into a bucket.

    volume: L. time: min. rate: L/min on the card. Returns L/min.
    Source: volume / time; 1.5 to 6 L/min, or the card ±20 %: common practice.
    """
    return _flow(volume / time, rate, f"{volume:.6g} L / {time:.6g} min")


def film(*, flow: float, width: float, speed: float) -> Outcome:
    """Thickness of the solution laid on the floor.

    flow: L/min. width: cm. speed: km/h. Returns mm, for 1 L on 1 m² is 1 mm.
    Source: flow / (width × speed); 0.03 to 0.10 mm, above 0.15 floods a smooth floor: common
    practice.
    """
    area = width / 100 * speed * 1000 / 60
    value = flow / area
    return Outcome(
        value=value,
        expected=Expected(low=FILM[0], high=FILM[1], source=PRACTICE),
        workings=(
            f"{width / 100:.6g} m × {speed * 1000 / 60:.1f} m/min = {area:.1f} m²/min",
            f"{flow:.6g} L/min / {area:.1f} m²/min = {value:.3f} mm (1 L/m² is 1 mm)",
        ),
    )


def tank_time(*, volume: float, flow: float) -> Outcome:
    """How long a tank of solution lasts.

    volume: L. flow: L/min. Returns min. Source: volume / flow.
    """
    value = volume / flow
    return Outcome(value=value, workings=(f"{volume:.6g} L / {flow:.6g} L/min = {value:.1f} min",))


def recovery(*, dispensed: float, recovered: float) -> Outcome:
    """Share of the solution that came back into the dirty-water tank.

    dispensed, recovered: L, what the two tanks' scales changed by. Returns per cent.
    Source: common practice: smooth floor 85 to 95 %, rough 70 to 85, below 70 bad.
    """
    value = clean(100 * recovered / dispensed)
    workings = [f"{recovered:.6g} L / {dispensed:.6g} L = {value:.0f} %"]
    if value > 100:
        workings.append("more came back than went out: old water in the tank, or on the floor?")
    return Outcome(
        value=value,
        expected=Expected(low=85.0, high=95.0, source=f"smooth floor, {PRACTICE}"),
        workings=tuple(workings),
    )


TANK_DROP = Measurement(
    name="tank-drop",
    title="Flow from the drop of the clean-water tank",
    unit="L/min",
    how="Level floor: read the tank's scale, scrub 5 minutes at one setting, read it again.",
    source=f"volume / time; {PRACTICE}",
    needs=(
        _volume("before", "clean-water tank before", "100 L"),
        _volume("after", "clean-water tank after", "88 L"),
        _time("time at one setting", "5 min"),
        FLOW_RATE,
    ),
    compute=tank_drop,
    uncertainty=Uncertainty(
        absolute=0.2, share=0.1, source=f"a tank's scale read twice, {PRACTICE}"
    ),
    low=0,
)

BUCKET_FLOW = Measurement(
    name="bucket-flow",
    title="Flow into a bucket",
    unit="L/min",
    how="Let the solution run into a measured bucket, by the watch.",
    source=f"volume / time; {PRACTICE}",
    needs=(
        _volume("volume", "solution in the bucket", "2 L"),
        _time("time to fill it", "1 min"),
        FLOW_RATE,
    ),
    compute=bucket_flow,
    uncertainty=Uncertainty(
        absolute=0.05, share=0.05, source=f"a measured bucket and a watch, {PRACTICE}"
    ),
    low=0,
)

FILM_THICKNESS = Measurement(
    name="film",
    title="Film of solution on the floor",
    unit="mm",
    how="Flow from the tank's drop, speed by watch over 10 m.",
    source=f"flow / (width × speed); {PRACTICE}",
    needs=(replace(FLOW_NOW, asked=True), PATH_WIDTH, SPEED),
    compute=film,
    uncertainty=Uncertainty(
        share=0.15, source=f"flow some 10 %, speed and width the rest, {PRACTICE}"
    ),
    low=0,
)

TANK_TIME = Measurement(
    name="tank-time",
    title="How long a tank lasts",
    unit="min",
    how="Flow from the tank's drop or the bucket.",
    source="volume / flow",
    needs=(
        _volume("volume", "clean-water tank", "110 L", card="tanks.clean"),
        replace(FLOW_NOW, asked=True),
    ),
    compute=tank_time,
    uncertainty=Uncertainty(share=0.1, source=f"as good as the flow, {PRACTICE}"),
    low=0,
)

RECOVERY = Measurement(
    name="recovery",
    title="Share of the solution recovered",
    unit="%",
    how="Read both tanks' scales. Scrub a stretch of floor. Read both again: differences count.",
    source=PRACTICE,
    needs=(
        Need("dispensed", "solution laid down", "L", "50 L", 0, 5000, asked=True, above_low=True),
        _volume("recovered", "dirty water recovered", "44 L"),
    ),
    compute=recovery,
    uncertainty=Uncertainty(absolute=5, source=f"two tanks' scales, {PRACTICE}"),
    low=0,
)
