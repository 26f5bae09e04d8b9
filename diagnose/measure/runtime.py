"""The runtime seen against what this battery should give."""

from msgspec.structs import replace

from diagnose.measure.arithmetic import Point, interpolate
from diagnose.measure.battery import (
    CAPACITY,
    CURRENT,
    EXPONENT,
    RATED_HOURS,
    peukert_hours,
    peukert_line,
)
from diagnose.measure.model import (
    PRACTICE,
    Expected,
    Measurement,
    MissingLine,
    Need,
    Outcome,
    Uncertainty,
    Unreadable,
)
from diagnose.measure.units import fahrenheit
from diagnose.measure.voltage import KIND, LEAD_ACID_LOWEST_CHARGE, LOWEST_CHARGE

# Share of the 77 °F capacity against °F, at the 5-hour rate: "Uninterruptible Power Supplies and
# Standby Power Systems" p. 199. The point at 77 °F is the table's own base.
SHARE_OF_CAPACITY: tuple[Point, ...] = (
    (40, 0.830),
    (50, 0.880),
    (60, 0.940),
    (70, 0.975),
    (77, 1.000),
    (80, 1.003),
    (90, 1.020),
)
COLDEST, WARMEST = 30, 100  # °F: the end lines go on for one step of the table
FORMING = 30  # cycles until a new set gives all it can (common practice)
TABLE = "capacity against temperature at the 5-hour rate, UPS and Standby Power Systems p. 199"


def capacity_share(temperature: float) -> float:
    """Share of the 77 °F capacity that a lead-acid battery has at a temperature in °C.

    Raises Unreadable below 30 °F and above 100 °F. Source: see `SHARE_OF_CAPACITY`; published
    families differ by some 4 %.
    """
    degrees = fahrenheit(temperature)
    if not COLDEST <= degrees <= WARMEST:
        raise Unreadable(
            f"temperature: {temperature:.6g} °C lies outside the capacity table, expected -1.1 to"
            " 37.7 °C; without a temperature 25 °C is assumed"
        )
    return interpolate(SHARE_OF_CAPACITY, degrees)[0]


def runtime(
    *,
    observed: float,
    capacity: float,
    rated_hours: float,
    exponent: float,
    current: float,
    temperature: float | None = None,
    cycles: float | None = None,
    depth: float | None = None,
    lowest_charge: float | None = None,
    kind: str | None = None,
) -> Outcome:
    """Runtime seen, in per cent of what this battery should give.

    observed: h from full to the lowest charge. capacity: Ah at rated_hours, h. exponent:
    Peukert's. current: A at work. temperature: of the battery, °C. cycles: charges so far.
    depth: % that may be taken out, else 100 less lowest_charge, else 80 for lead-acid.
    kind: lithium is not corrected for temperature, the table being one for lead-acid.
    Returns per cent. Raises Unreadable for a temperature outside the table, MissingLine for a
    lithium battery whose depth nobody says.
    Source: Peukert's law, `capacity_share`; 80 % good, below 60 % bad: common practice.
    """
    full = peukert_hours(capacity, rated_hours, current, exponent)
    workings = [peukert_line(capacity, rated_hours, current, exponent, full)]
    share = 1.0
    if temperature is None:
        workings.append("no temperature given: 25 °C assumed")
    elif kind == "lithium":
        workings.append("lithium: not corrected for temperature, the table is for lead-acid")
    else:
        share = capacity_share(temperature)
        degrees = fahrenheit(temperature)
        workings.append(f"× {share:.3f} at {temperature:.6g} °C ({degrees:z.0f} °F): {TABLE}")
    usable, why = _usable(depth, lowest_charge, kind)
    workings.append(f"× {usable:.6g} % usable: {why}")
    expected = full * share * usable / 100
    percent = 100 * observed / expected
    workings.append(f"expected {expected:.2f} h; {observed:.6g} h is {percent:.0f} % of it")
    if cycles is not None and cycles < FORMING:
        workings.append(
            f"{cycles:.0f} cycles: under about {FORMING} a set is still forming and gives less,"
            f" not yet a sign of wear ({PRACTICE})"
        )
    return Outcome(
        value=percent,
        expected=Expected(low=80.0, high=None, source=PRACTICE),
        workings=tuple(workings),
    )


def _usable(
    depth: float | None, lowest_charge: float | None, kind: str | None
) -> tuple[float, str]:
    """Per cent of the capacity that may be taken out, and why."""
    if depth is not None:
        return depth, "as given"
    if lowest_charge is not None:
        return 100 - lowest_charge, f"{lowest_charge:.6g} % is left in"
    if kind == "lithium":
        raise MissingLine(
            "battery.lowest_charge",
            "how deep this lithium battery may be run is not known: add"
            " `battery: {lowest_charge: 10 %}` to the machine card, or give depth=90",
        )
    return 100 - LEAD_ACID_LOWEST_CHARGE, f"assumed for lead-acid, {PRACTICE}"


RUNTIME = Measurement(
    name="runtime",
    title="Runtime against what the battery should give",
    unit="%",
    how="From a full charge, read the hour meter at the start and when the gauge is at its lowest.",
    source=f"Peukert's law; {TABLE}; {PRACTICE}",
    needs=(
        Need("observed", "hours run from a full charge", "h", "2.5 h", 0, 100, asked=True),
        Need(
            "temperature",
            "temperature of the battery or its room",
            "°C",
            "18 °C",
            low=-40,
            high=60,
            asked=True,
            optional=True,
        ),
        CAPACITY,
        RATED_HOURS,
        EXPONENT,
        CURRENT,
        Need(
            "cycles",
            "charges so far",
            "",
            "310",
            low=0,
            high=100000,
            dimension="count",
            card="battery.cycles",
            optional=True,
        ),
        LOWEST_CHARGE,
        Need(
            "depth",
            "share that may be taken out",
            "%",
            "80 %",
            low=0,
            high=100,
            optional=True,
            above_low=True,
            replaces="lowest_charge",
        ),
        replace(KIND, optional=True),
    ),
    compute=runtime,
    uncertainty=Uncertainty(
        absolute=1,
        share=0.1,
        source=f"Peukert's law some 6 %, tables of temperature 4 %, {PRACTICE}",
    ),
    low=0,
)
