"""Hydrometer readings of flooded cells, brought to 80 °F."""

from msgspec.structs import replace

from diagnose.measure.model import (
    PRACTICE,
    Expected,
    Measurement,
    Need,
    Outcome,
    Uncertainty,
    Unreadable,
)
from diagnose.measure.units import fahrenheit
from diagnose.measure.voltage import CELLS

GRAVITY_PER_FAHRENHEIT = 0.0004  # of specific gravity for 1 °F, US Army TM 5-3895-349-14P p. 871
HOTTEST = 45.0  # °C, above which a battery is left alone (common practice)

CORRECTION_SOURCE = "US Army TM 5-3895-349-14P p. 871"
SPREAD_SOURCE = "US Army TM 55-2210-224-12 p. 4-78: more than 0.020 may be a dead cell"
TEMPERATURE = Need("temperature", "temperature of the acid", "°C", "20 °C", -30, 60, asked=True)


def gravity_at_80_fahrenheit(reading: float, temperature: float) -> float:
    """Specific gravity at 80 °F: 0.004 more for each 10 °F above it.

    reading: specific gravity as read. temperature: of the acid, °C.
    Source: US Army TM 5-3895-349-14P p. 871; TM 5-4210-230-14&P-1 p. 457.
    """
    return reading + GRAVITY_PER_FAHRENHEIT * (fahrenheit(temperature) - 80)


def _temperature_line(temperature: float) -> str:
    hot = ", over 45 °C: stop, leave it alone and call" if temperature > HOTTEST else ""
    return f"{temperature:.6g} °C is {fahrenheit(temperature):z.1f} °F{hot}"


def gravity(*, reading: float, temperature: float) -> Outcome:
    """Specific gravity of one cell, brought to 80 °F.

    reading: 1.000 to 1.400. temperature: of the acid, °C, -30 to 60.
    Returns specific gravity at 80 °F.
    Source: see `gravity_at_80_fahrenheit`; 1.275 to 1.285 fully charged: common practice.
    """
    value = gravity_at_80_fahrenheit(reading, temperature)
    return Outcome(
        value=value,
        expected=Expected(low=1.275, high=1.285, source=f"fully charged, {PRACTICE}"),
        workings=(
            _temperature_line(temperature),
            f"{reading:.4f} {value - reading:+z.4f} (0.004 for each 10 °F from 80) = {value:.4f}",
        ),
    )


def cell_gravities(
    *, readings: tuple[float, ...], temperature: float | None = None, cells: float | None = None
) -> Outcome:
    """Spread of the cells' specific gravities, highest less lowest, at 80 °F.

    readings: one a cell, in the order of the cells, 1.000 to 1.400. temperature: of the acid, °C
    (the spread is the same without it). cells: how many the set has.
    Returns a difference of specific gravities.
    Raises Unreadable where there are not as many readings as cells.
    Source: US Army TM 55-2210-224-12 p. 4-78 (0.020); common practice: to 0.030 watch.
    """
    if cells is not None and len(readings) != cells:
        raise Unreadable(
            f"{len(readings)} gravities were given, expected one for each of the {cells:.0f} cells"
        )
    shift = 0.0 if temperature is None else gravity_at_80_fahrenheit(0.0, temperature)
    lowest, highest = min(readings), max(readings)
    spread = highest - lowest
    low = [number for number, one in enumerate(readings, 1) if one == lowest]
    named = "cell " + " and ".join(map(str, low)) if len(low) <= 3 else f"{len(low)} cells"
    degrees = "no temperature given: gravities as read, the spread is the same"
    return Outcome(
        value=spread,
        expected=Expected(low=0.0, high=0.020, source=SPREAD_SOURCE),
        workings=(
            degrees
            if temperature is None
            else f"{_temperature_line(temperature)}, {shift:+z.4f} a cell",
            f"lowest: {named} at {lowest + shift:.4f}",
            f"highest: cell {readings.index(highest) + 1} at {highest + shift:.4f}",
            f"spread {highest + shift:.4f} - {lowest + shift:.4f} = {spread:.4f}",
        ),
    )


READING = Need(
    "reading", "specific gravity as read", "", "1.265", 1.0, 1.4, dimension="gravity", asked=True
)
GRAVITY = Measurement(
    name="gravity",
    title="Specific gravity of one cell at 80 °F",
    how="Battery-trained: hydrometer and thermometer, after a full charge, before watering.",
    source=f"{CORRECTION_SOURCE}; {PRACTICE}",
    needs=(
        READING,
        TEMPERATURE,
    ),
    compute=gravity,
    uncertainty=Uncertainty(absolute=0.005, source=f"a hydrometer read by eye, {PRACTICE}"),
    low=0.9592,
    high=1.424,
)

CELL_GRAVITIES = Measurement(
    name="cell-gravities",
    title="Spread of the cells' gravities at 80 °F",
    how="Battery-trained: hydrometer in every cell in order, after a full charge, before watering.",
    source=f"{SPREAD_SOURCE}; {CORRECTION_SOURCE}",
    needs=(
        Need(
            "readings",
            "specific gravities, cell by cell",
            "",
            "1.275, 1.280, 1.270",
            low=1.0,
            high=1.4,
            dimension="gravity",
            asked=True,
            places=(2, 60),
        ),
        replace(TEMPERATURE, optional=True),
        replace(CELLS, low=2, optional=True),
    ),
    compute=cell_gravities,
    uncertainty=Uncertainty(absolute=0.005, source=f"a hydrometer read by eye, {PRACTICE}"),
    low=0,
    high=0.4,
)
