"""How fast the machine goes and how much floor it does."""

from msgspec.structs import replace

from diagnose.measure.model import PRACTICE, Expected, Measurement, Need, Outcome, Uncertainty

SCRUBBING = (3.0, 6.0)  # km/h

PATH_WIDTH = Need(
    "width", "width of the scrubbed path", "cm", "75 cm", 0, 2000, card="path_width", above_low=True
)
CARD_SPEED = Need(
    "speed", "working speed", "km/h", "4.5 km/h", 0, 30, card="working_speed", above_low=True
)
SPEED = replace(CARD_SPEED, asked=True)
WORKING_SPEED = replace(
    CARD_SPEED, name="working_speed", title="working speed on the card", optional=True
)


def area_rate(*, width: float, speed: float, efficiency: float) -> Outcome:
    """Floor done in an hour.

    width: cm. speed: km/h. efficiency: %, the share of the time that is spent scrubbing new floor.
    Returns m²/h. Source: width × speed × efficiency, as for field work in Iowa State Univ. PM 696.
    """
    value = width / 100 * speed * 1000 * efficiency / 100
    return Outcome(
        value=value,
        workings=(
            f"{width / 100:.6g} m × {speed * 1000:.6g} m/h × {efficiency:.6g} % = {value:.0f} m²/h",
        ),
    )


def travel_speed(*, distance: float, time: float, working_speed: float | None = None) -> Outcome:
    """Speed over a measured distance.

    distance: m. time: s. working_speed: km/h, what the card says.
    Returns km/h. Source: distance / time; 3 to 6 km/h for scrubbing: common practice.
    """
    value = distance / time * 3.6
    low, high = SCRUBBING if working_speed is None else (working_speed, working_speed)
    source = f"scrubbing, {PRACTICE}" if working_speed is None else "machine card"
    return Outcome(
        value=value,
        expected=Expected(low=low, high=high, source=source),
        workings=(f"{distance:.6g} m / {time:.6g} s × 3.6 = {value:.2f} km/h",),
    )


AREA_RATE = Measurement(
    name="area-rate",
    title="Floor done in an hour",
    unit="m²/h",
    how="Speed by watch over 10 m; efficiency from a shift's floor and hours.",
    source="width × speed × efficiency, Iowa State Univ. PM 696 (2001)",
    needs=(
        PATH_WIDTH,
        SPEED,
        Need("efficiency", "share of the time spent on new floor", "%", "70 %", 0, 100, asked=True),
    ),
    compute=area_rate,
    uncertainty=Uncertainty(share=0.1, source=f"the share of the time is a guess, {PRACTICE}"),
    low=0,
    high=600_000,
)

TRAVEL_SPEED = Measurement(
    name="travel-speed",
    title="Speed over a measured distance",
    unit="km/h",
    how="People clear. Mark 10 m, come up to working speed, take the time from mark to mark.",
    source=f"distance / time; {PRACTICE}",
    needs=(
        Need("distance", "distance between the marks", "m", "10 m", 0, 1000, asked=True),
        Need("time", "time between the marks", "s", "8 s", 0, 3600, asked=True, above_low=True),
        WORKING_SPEED,
    ),
    compute=travel_speed,
    uncertainty=Uncertainty(share=0.05, source=f"a watch worked by hand, {PRACTICE}"),
    low=0,
)
