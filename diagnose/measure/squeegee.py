"""The squeegee's blades under a ruler: rounded edge, bend, level."""

from diagnose.measure.arithmetic import clean
from diagnose.measure.model import PRACTICE, Expected, Measurement, Need, Outcome, Uncertainty

BEND = (10.0, 15.0)  # mm
LEVEL = 3.0  # mm between the ends
ROUNDED = 1.5  # mm


def blade_edge(
    *, reading: float, rear_edges: float | None = None, edges_used: float | None = None
) -> Outcome:
    """How far the wiping edge of a blade is rounded.

    reading: mm. rear_edges: usable edges of the rear blade. edges_used: those used up before.
    Returns mm. Source: common practice: turn the blade at about 1.5 mm.
    """
    workings = [f"edge rounded {reading:.6g} mm, turned at about {ROUNDED} mm"]
    if rear_edges is not None and edges_used is not None:
        left = max(rear_edges - edges_used, 0)
        workings.append(
            f"{edges_used:.0f} of {rear_edges:.0f} edges used: "
            + (f"{left:.0f} left, turn it" if left else "none left, a new blade is due")
        )
    return Outcome(
        value=reading,
        expected=Expected(low=0.0, high=ROUNDED, source=PRACTICE),
        workings=tuple(workings),
    )


def blade_bend(*, left: float, right: float, bend: float | None = None) -> Outcome:
    """Bend of the rear blade on the floor: that of the end that strays further.

    left, right: mm at the blade's ends. bend: mm, what the card asks for.
    Returns mm. One end decides, for a mean would hide a blade that hangs to one side; of two
    that stray alike the left one.
    Source: common practice: 10 to 15 mm, ends within 3 mm.
    """
    middle = (BEND[0] + BEND[1]) / 2 if bend is None else bend
    value = right if clean(abs(right - middle)) > clean(abs(left - middle)) else left
    apart = clean(abs(left - right))
    level = "" if apart <= LEVEL else f", more than {LEVEL:.0f} mm: out of level"
    expected = (
        Expected(low=BEND[0], high=BEND[1], source=PRACTICE)
        if bend is None
        else Expected(low=bend, high=bend, source="machine card")
    )
    return Outcome(
        value=value,
        expected=expected,
        workings=(
            f"left {left:.6g} mm, right {right:.6g} mm, {middle:.6g} mm wanted",
            f"the end that strays further decides: {value:.6g} mm",
            f"the ends differ by {apart:.6g} mm{level}",
        ),
    )


def blade_level(*, left: float, right: float) -> Outcome:
    """Difference of the bend between the rear blade's ends.

    left, right: mm. Returns mm. Source: common practice: within 3 mm.
    """
    apart = abs(left - right)
    lower = "even" if left == right else f"the {'left' if left > right else 'right'} end bends more"
    return Outcome(
        value=apart,
        expected=Expected(low=0.0, high=LEVEL, source=PRACTICE),
        workings=(f"left {left:.6g} mm, right {right:.6g} mm: {apart:.6g} mm apart, {lower}",),
    )


def _end(name: str) -> Need:
    return Need(name, f"bend at the {name} end", "mm", "12 mm", 0, 60, asked=True)


def _edges(name: str, title: str, example: str) -> Need:
    return Need(
        name, title, "", example, 0, 8, dimension="count", card=f"squeegee.{name}", optional=True
    )


BLADE_EDGE = Measurement(
    name="blade-edge",
    title="Rounding of the wiping edge",
    unit="mm",
    how="Locked out. A ruler across the worst place of the wiping edge: how much is rounded off?",
    source=PRACTICE,
    needs=(
        Need("reading", "rounding of the edge", "mm", "1.5 mm", 0, 20, asked=True),
        _edges("rear_edges", "usable edges of the rear blade", "4"),
        _edges("edges_used", "edges used up", "2"),
    ),
    compute=blade_edge,
    uncertainty=Uncertainty(absolute=0.5, source=f"a ruler, {PRACTICE}"),
    low=0,
    high=20,
)

BLADE_BEND = Measurement(
    name="blade-bend",
    title="Bend of the rear blade",
    unit="mm",
    how="Lower, roll half a metre, key out. A ruler at both ends: how far is the blade bent back?",
    source=PRACTICE,
    needs=(
        _end("left"),
        _end("right"),
        Need(
            "bend", "bend that is wanted", "mm", "12 mm", 0, 60, card="squeegee.bend", optional=True
        ),
    ),
    compute=blade_bend,
    uncertainty=Uncertainty(absolute=1, source=f"a ruler, {PRACTICE}"),
    low=0,
    high=60,
)

BLADE_LEVEL = Measurement(
    name="blade-level",
    title="Difference in bend between the ends",
    unit="mm",
    how="As for the bend: lower, roll half a metre, key out, a ruler at both ends.",
    source=PRACTICE,
    needs=(_end("left"), _end("right")),
    compute=blade_level,
    uncertainty=Uncertainty(absolute=1, source=f"a ruler at both ends, {PRACTICE}"),
    low=0,
    high=60,
)
