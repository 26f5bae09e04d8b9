"""Battery voltage: at rest for the state of charge, under load for its strength."""

from diagnose.measure.arithmetic import Point, clean, interpolate
from diagnose.measure.model import (
    PRACTICE,
    Expected,
    Measurement,
    Need,
    Outcome,
    Uncertainty,
    Unreadable,
)

# Volts of six cells at rest against per cent of charge.
# Table A: a general battery reference table for 12 V automotive and deep-cycle batteries.
FLOODED: tuple[Point, ...] = ((11.89, 0), (12.06, 25), (12.24, 50), (12.45, 75), (12.65, 100))
# Sealed: from memory, no published source: 0.1 to 0.3 V above table A for a 24 V set.
SEALED: tuple[Point, ...] = ((11.94, 0), (12.11, 25), (12.34, 50), (12.55, 75), (12.80, 100))
TABLES = {
    "flooded": (FLOODED, "reference table A for flooded cells"),
    "sealed": (SEALED, "table for sealed cells (from memory, no published source)"),
}
LEAD_ACID_LOWEST_CHARGE = 20.0  # %, lead-acid; common practice

LITHIUM_TELLS_NO_CHARGE = (
    "the rest voltage of a lithium battery hardly changes between full and nearly empty, so it"
    " tells no charge: read the battery's own display"
)

CELLS = Need("cells", "cells in series", "", "12", 1, 60, dimension="count", card="battery.cells")
KIND = Need(
    "kind",
    "kind of battery",
    "",
    "flooded",
    dimension="choice",
    card="battery.kind",
    words=("flooded", "sealed", "lithium"),
)
LOWEST_CHARGE = Need(
    "lowest_charge",
    "lowest charge to leave in",
    "%",
    "20 %",
    low=0,
    high=95,
    card="battery.lowest_charge",
    optional=True,
)


def _volts(title: str) -> Need:
    return Need("volts", title, "V", "24.4 V", 0, 130, asked=True, above_low=True)


def _per_cell(volts: float, cells: float, highest: float, hint: str) -> float:
    """Volts a cell, refused where no lead-acid cell can stand."""
    each = clean(volts / cells)
    if not 1.0 <= each <= highest:
        raise Unreadable(
            f"{volts:.6g} V over {cells:.0f} cells is {each:.2f} V a cell, expected 1.00 to"
            f" {highest:.2f}: {hint}"
        )
    return each


def rest_voltage(
    *, volts: float, cells: float, kind: str, lowest_charge: float | None = None
) -> Outcome:
    """State of charge of a lead-acid battery from its voltage at rest.

    volts: V over the whole set, two hours or more without charge or load.
    cells: in series. kind: flooded or sealed. lowest_charge: %, what is left in at the least.
    Returns per cent of charge, on straight lines between the table's points; 0 and 100 outside.
    Raises Unreadable for lithium, and below 1.00 or above 2.25 V a cell (not at rest, or the
    number of cells is wrong).
    Source: table A of the reference values; published families differ by some 10 % of charge.
    """
    if kind == "lithium":
        raise Unreadable(LITHIUM_TELLS_NO_CHARGE)
    hint = "is the number of cells right, and is the charger off for two hours?"
    each = _per_cell(volts, cells, 2.25, hint)
    table, named = TABLES[kind]
    six = clean(each * 6)
    exact, (v0, c0), (v1, c1) = interpolate(table, six)
    charge = min(max(exact, 0.0), 100.0)
    if six > table[-1][0]:
        between = f"above {table[-1][0]:.2f} V, full: charged or loaded in the last two hours?"
    elif six < table[0][0]:
        between = f"below {table[0][0]:.2f} V, flat"
    else:
        between = f"between {v0:.2f} V ({c0:.0f} %) and {v1:.2f} V ({c1:.0f} %): {charge:.0f} %"
    keep = LEAD_ACID_LOWEST_CHARGE if lowest_charge is None else lowest_charge
    source = f"lowest charge for lead-acid, {PRACTICE}" if lowest_charge is None else "machine card"
    return Outcome(
        value=charge,
        expected=Expected(low=keep, high=100.0, source=source),
        workings=(
            f"{volts:.6g} V / {cells:.0f} cells = {each:.3f} V a cell, {six:.2f} V for six",
            f"{named}: {between}",
        ),
    )


def loaded_voltage(*, volts: float, cells: float) -> Outcome:
    """Volts a cell with everything running.

    volts: V over the whole set after 5 minutes of work. cells: in series.
    Returns V a cell. Raises Unreadable below 1.00 or above 2.25 V a cell.
    Source: common practice: 2.0 and above is good, below 1.90 bad.
    """
    each = _per_cell(volts, cells, 2.25, "is the number of cells right?")
    return Outcome(
        value=each,
        expected=Expected(low=2.0, high=None, source=PRACTICE),
        workings=(f"{volts:.6g} V / {cells:.0f} cells = {each:.3f} V a cell",),
    )


REST_VOLTAGE = Measurement(
    name="rest-voltage",
    title="State of charge from the rest voltage",
    unit="%",
    how="Two hours without charge or load, then read the machine's or the charger's own display.",
    source="reference table A (12 V automotive and deep cycle); sealed: from memory",
    needs=(_volts("voltage at rest"), CELLS, KIND, LOWEST_CHARGE),
    compute=rest_voltage,
    uncertainty=Uncertainty(absolute=10, source="tables differ by some 10 % of charge"),
    low=0,
    high=100,
)

LOADED_VOLTAGE = Measurement(
    name="loaded-voltage",
    title="Voltage a cell under load",
    unit="V/cell",
    how="Run everything for 5 minutes, then read the machine's own display while it runs.",
    source=PRACTICE,
    needs=(_volts("voltage with everything running"), CELLS),
    compute=loaded_voltage,
    uncertainty=Uncertainty(absolute=0.01, source=f"a display of tenths over the set, {PRACTICE}"),
    low=1,
    high=2.25,
)
