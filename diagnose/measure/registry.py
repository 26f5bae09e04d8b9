"""The measurements by name; the way in to this room, which hands on what takes a reading."""

from collections.abc import Mapping
from types import MappingProxyType

from diagnose.measure import (
    battery,
    brush,
    gravity,
    runtime,
    solution,
    squeegee,
    suction,
    travel,
    voltage,
    water,
)
from diagnose.measure.model import (
    Expected,
    Figure,
    Measurement,
    MissingLine,
    Need,
    Outcome,
    Uncertainty,
    Unreadable,
)
from diagnose.measure.reading import compute, missing_line
from diagnose.measure.reply import parse_reply

__all__ = [
    "MEASUREMENTS",
    "Expected",
    "Figure",
    "Measurement",
    "MissingLine",
    "Need",
    "Outcome",
    "Uncertainty",
    "Unreadable",
    "compute",
    "find",
    "missing_line",
    "parse_reply",
]


def value(*, value: float) -> Outcome:
    """The number itself, for a tree that needs a figure with no formula behind it."""
    return Outcome(value=value, workings=(f"read as {value:.6g}",))


VALUE = Measurement(
    name="value",
    title="A plain number",
    how="Read the number off the machine.",
    source="none: the number is taken as it is",
    needs=(Need("value", "number", "", "12", asked=True),),
    compute=value,
)

_FAMILIES: dict[str, Measurement] = {
    "rest-voltage": voltage.REST_VOLTAGE,
    "loaded-voltage": voltage.LOADED_VOLTAGE,
    "gravity": gravity.GRAVITY,
    "cell-gravities": gravity.CELL_GRAVITIES,
    "peukert-time": battery.PEUKERT_TIME,
    "runtime": runtime.RUNTIME,
    "recharge": battery.RECHARGE,
    "tank-drop": water.TANK_DROP,
    "bucket-flow": water.BUCKET_FLOW,
    "film": water.FILM_THICKNESS,
    "tank-time": water.TANK_TIME,
    "area-rate": travel.AREA_RATE,
    "travel-speed": travel.TRAVEL_SPEED,
    "recovery": water.RECOVERY,
    "dose": solution.DOSE_VOLUME,
    "solution-temperature": solution.SOLUTION_TEMPERATURE,
    "suction": suction.SUCTION,
    "blade-edge": squeegee.BLADE_EDGE,
    "blade-bend": squeegee.BLADE_BEND,
    "blade-level": squeegee.BLADE_LEVEL,
    "bristle": brush.BRISTLE_LENGTH,
    "pad": brush.PAD_THICKNESS,
    "brush-current": brush.BRUSH_CURRENT,
    "value": VALUE,
}
#: The program's own measurements; a library may declare more (`declared`, `study.measurements`).
MEASUREMENTS: Mapping[str, Measurement] = MappingProxyType(_FAMILIES)


def find(name: str) -> Measurement:
    """The measurement of that name; KeyError where there is none."""
    return MEASUREMENTS[name]
