"""Brushes and pads: what is left of them, and the current they draw."""

from diagnose.measure.arithmetic import clean
from diagnose.measure.model import PRACTICE, Expected, Measurement, Need, Outcome, Uncertainty

SHORTEST_BRISTLE = 20.0  # mm: change between 20 and 15
THINNEST_PAD = 8.0  # mm of 25


def bristle(*, readings: tuple[float, ...], bristle_new: float | None = None) -> Outcome:
    """Length of the bristles, the shortest of three places.

    readings: mm at three places. bristle_new: mm of a new brush.
    Returns mm. The shortest decides: that side of the brush no longer scrubs, whatever the mean.
    Source: common practice: change at 15 to 20 mm.
    """
    value = min(readings)
    workings = [_places(readings, value)]
    if bristle_new:
        workings.append(
            f"{value:.6g} of {bristle_new:.6g} mm new: {100 * value / bristle_new:.0f} %"
        )
    return Outcome(
        value=value,
        expected=Expected(
            low=SHORTEST_BRISTLE, high=bristle_new, source=f"change at 15 to 20 mm, {PRACTICE}"
        ),
        workings=tuple(workings),
    )


def pad(*, readings: tuple[float, ...]) -> Outcome:
    """Thickness of a pad, the thinnest of three places.

    readings: mm at three places. Returns mm. Source: common practice: change under 8 of 25 mm.
    """
    value = min(readings)
    return Outcome(
        value=value,
        expected=Expected(low=THINNEST_PAD, high=None, source=PRACTICE),
        workings=(_places(readings, value),),
    )


def _places(readings: tuple[float, ...], value: float) -> str:
    listed = ", ".join(f"{one:.6g}" for one in readings)
    return f"{listed} mm: the least decides, {value:.6g} mm"


def brush_current(*, reading: float, rated: float, other: float | None = None) -> Outcome:
    """Current of the brushes in per cent of what the card says.

    reading: A. rated: A on the card. other: A of the other side, where the display shows both.
    Returns per cent. Source: common practice: within 20 %, sides within 20 % of each other.
    """
    percent = 100 * reading / rated
    workings = [f"{reading:.6g} A / {rated:.6g} A = {percent:.0f} % of the card's"]
    if other is not None:
        larger = max(reading, other)
        apart = clean(100 * abs(reading - other) / larger) if larger else 0.0
        far = ", more than 20 %: look at the weaker side" if apart > 20 else ""
        workings.append(f"{reading:.6g} A and {other:.6g} A: sides {apart:.0f} % apart{far}")
    return Outcome(
        value=percent,
        expected=Expected(low=80.0, high=120.0, source=f"card ±20 %, {PRACTICE}"),
        workings=tuple(workings),
    )


def _three(title: str, example: str) -> Need:
    return Need("readings", title, "mm", example, 0, 150, asked=True, places=(3, 3))


def _amps(name: str, title: str, *, optional: bool) -> Need:
    return Need(name, title, "A", "18 A", 0, 300, asked=True, optional=optional)


BRISTLE_LENGTH = Measurement(
    name="bristle",
    title="Length of the bristles",
    unit="mm",
    how="Locked out, brush off its driver. A ruler at three places round the brush.",
    source=PRACTICE,
    needs=(
        _three("bristle at three places", "24, 22, 23 mm"),
        Need(
            "bristle_new",
            "bristle of a new brush",
            "mm",
            "40 mm",
            low=0,
            high=150,
            card="brushes.bristle_new",
            optional=True,
            above_low=True,
        ),
    ),
    compute=bristle,
    uncertainty=Uncertainty(absolute=1, source=f"a ruler, {PRACTICE}"),
    low=0,
    high=150,
)

PAD_THICKNESS = Measurement(
    name="pad",
    title="Thickness of the pad",
    unit="mm",
    how="Locked out, pad off its driver. A ruler at three places round the pad.",
    source=PRACTICE,
    needs=(_three("pad at three places", "14, 12, 13 mm"),),
    compute=pad,
    uncertainty=Uncertainty(absolute=1, source=f"a ruler, {PRACTICE}"),
    low=0,
    high=150,
)

BRUSH_CURRENT = Measurement(
    name="brush-current",
    title="Brush current against the card's",
    unit="%",
    how="Read the brush amps off the machine's own display, brushes down and wet, at steady work.",
    source=PRACTICE,
    needs=(
        _amps("reading", "brush current shown", optional=False),
        _amps("other", "the other side's, where both are shown", optional=True),
        Need(
            "rated",
            "brush current on the card",
            "A",
            "18 A",
            low=0,
            high=300,
            card="brushes.current",
            above_low=True,
        ),
    ),
    compute=brush_current,
    uncertainty=Uncertainty(
        absolute=2, share=0.05, source=f"the machine's own display, {PRACTICE}"
    ),
    low=0,
)
