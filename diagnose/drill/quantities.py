"""The physical quantities of a machine, and how each measurement is taken from them.

What is usual is what the machine card says; where it is silent, or says nothing of such a thing, it
is common practice, no published source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from msgspec import Struct

from diagnose.measure import inputs
from diagnose.measure.battery import peukert_hours
from diagnose.measure.registry import MEASUREMENTS
from diagnose.measure.suction import SEA_LEVEL, standard_pressure

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import TypeAlias

    from diagnose.measure.model import Need

    #: A line of the card as a number, in the unit of the measurements that take it.
    Line: TypeAlias = Callable[[str], float]

#: The lines of a card that measurements take, and which of them they cannot do without.
_NEEDS: Final[dict[str, Need]] = {}
_REQUIRED: Final[set[str]] = set()
for _measurement in MEASUREMENTS.values():
    for _need in _measurement.needs:
        if _need.card is not None:
            _NEEDS.setdefault(_need.card, _need)
            if not _need.optional:
                _REQUIRED.add(_need.card)


class Lines:
    """The lines of a machine card, and where it is silent the measurements' own examples."""

    def __init__(self, card: Callable[[str], str | None]) -> None:
        self._card = card
        self._numbers: dict[str, float] = {}

    def text(self, path: str) -> str | None:
        """Return a line as a measurement takes it; None where it can do without."""
        said = self._card(path)
        return self.example(path) if said is None else said

    def example(self, path: str) -> str | None:
        """Return the example of a line; None where measurements can do without."""
        return _NEEDS[path].example if path in _REQUIRED else None

    def number(self, path: str) -> float:
        """Return a line as a number, in the unit of the measurements that take it."""
        if path not in self._numbers:
            need = _NEEDS[path]
            text = self._card(path)
            value = inputs.read(need, need.example if text is None else text, bare=True).value
            assert isinstance(value, float)
            self._numbers[path] = value
        return self._numbers[path]


def choices(path: str) -> tuple[str, ...]:
    """Return the words between which measurements choose at a line of the card."""
    return _NEEDS[path].words if path in _NEEDS else ()


class Quantity(Struct, frozen=True):
    """One quantity: what is usual of it by the card, and the digits behind the point.

    It strays from the usual by a share of it where nothing is wrong.
    """

    usual: Callable[[Line], float]
    digits: int = 0
    share: float = 0.04

    def strays(self, place: float) -> float:
        """Return what the usual is multiplied by, for a place from 0 to below 1."""
        return 1 + self.share * (2 * place - 1)


def _line(path: str, share: float = 1.0) -> Callable[[Line], float]:
    return lambda line: share * line(path)


def _always(value: float) -> Callable[[Line], float]:
    return lambda line: value


def _suction(line: Line) -> float:
    """Return kPa at the hose of a sound machine: a little under what the air there allows."""
    return 0.97 * line("suction.rated") * standard_pressure(line("site.altitude")) / SEA_LEVEL


def _hours(line: Line) -> float:
    """Return the hours of a sound battery: a little under what Peukert's law gives."""
    names = ("battery.capacity", "battery.rated_hours", "currents.working", "battery.exponent")
    hours = peukert_hours(*map(line, names))
    return 0.95 * hours * (100 - line("battery.lowest_charge")) / 100


#: All quantities by name, each after those that a figure about it is computed from too: °C, km/h,
#: L/min, L, %, kPa, mm, A, V, gravities, h.
QUANTITIES: Final[Mapping[str, Quantity]] = {
    "room": Quantity(_always(20)),
    "speed": Quantity(_line("working_speed"), 1),
    "flow": Quantity(_line("flow.rate"), 1),
    "solution": Quantity(_always(25)),
    "filled_in": Quantity(_line("tanks.clean")),
    "on_new_floor": Quantity(_always(70)),
    "recovered": Quantity(_always(90)),
    "suction": Quantity(_suction, 1),
    "tilt": Quantity(_always(1), 1, 0.5),
    "bend": Quantity(_line("squeegee.bend"), 1),
    "rounding": Quantity(_always(0.5), 1, 0.4),
    "bristle": Quantity(_line("brushes.bristle_new", 0.8)),
    "pad": Quantity(_always(20)),
    "brush_current": Quantity(_line("brushes.current"), 1),
    "work_current": Quantity(_line("currents.working"), 1),
    "at_rest": Quantity(lambda line: 12.5 / 6 * line("battery.cells"), 2, 0.006),
    "under_load": Quantity(lambda line: 2.05 * line("battery.cells"), 1, 0.01),
    "gravity": Quantity(_always(1.28), 3, 0.004),
    "lag": Quantity(_always(0.008), 3, 0.4),
    "taken_out": Quantity(_always(70)),
    "hours": Quantity(_hours, 1),
}


class Taking(Struct, frozen=True):
    """How a measurement is taken: the quantity that it is about, and what is typed, by need."""

    about: str
    typed: Mapping[str, str]


def _taking(about: str, **typed: str) -> Taking:
    return Taking(about, typed)


#: How each measurement is taken. A plain number (`value`) is about nothing that is known here.
TAKINGS: Final[Mapping[str, Taking]] = {
    "rest-voltage": _taking("at_rest", volts="{at_rest:.6g} V"),
    "loaded-voltage": _taking("under_load", volts="{under_load:.6g} V"),
    "gravity": _taking("gravity", reading="{gravity:.3f}", temperature="{room:.6g} °C"),
    "cell-gravities": _taking("lag", readings="{cells}", temperature="{room:.6g} °C"),
    "peukert-time": _taking("work_current", current="{work_current:.6g} A"),
    "runtime": _taking("hours", observed="{hours:.6g} h", temperature="{room:.6g} °C"),
    "recharge": _taking("taken_out", taken_out="{taken_out:.6g} %"),
    "tank-drop": _taking("flow", before="{before:.6g} L", after="{after:.6g} L", time="{took} min"),
    "bucket-flow": _taking("flow", volume="{flow:.6g} L", time="1 min"),
    "film": _taking("flow", flow="{flow:.6g} L/min", speed="{speed:.6g} km/h"),
    "tank-time": _taking("flow", flow="{flow:.6g} L/min"),
    "area-rate": _taking(
        "on_new_floor", speed="{speed:.6g} km/h", efficiency="{on_new_floor:.6g} %"
    ),
    "travel-speed": _taking("speed", distance="10 m", time="{seconds:.1f} s"),
    "recovery": _taking("recovered", dispensed="40 L", recovered="{came_back:.6g} L"),
    "dose": _taking("filled_in", volume="{filled_in:.6g} L"),
    "solution-temperature": _taking("solution", reading="{solution:.6g} °C"),
    "suction": _taking("suction", reading="{suction:.6g} kPa"),
    "blade-edge": _taking("rounding", reading="{rounding:.6g} mm"),
    "blade-bend": _taking("bend", left="{left:.6g} mm", right="{right:.6g} mm"),
    "blade-level": _taking("tilt", left="{left:.6g} mm", right="{right:.6g} mm"),
    "bristle": _taking("bristle", readings="{bristles}"),
    "pad": _taking("pad", readings="{pads}"),
    "brush-current": _taking("brush_current", reading="{brush_current:.6g} A"),
}


def typed(read: str, values: Mapping[str, float], line: Line) -> dict[str, str]:
    """Return what is typed into a measurement, by need: it follows from the quantities."""
    all_of = {**values, **_followed(values, line)}
    return {name: text.format_map(all_of) for name, text in TAKINGS[read].typed.items()}


def _followed(values: Mapping[str, float], line: Line) -> dict[str, Any]:
    """Return what follows from the quantities and is read off a scale, a watch or a ruler."""
    before = round(0.8 * line("tanks.clean"))
    # Five minutes, or as many as there is water for.
    took = next((n for n in (5, 2) if n * values["flow"] <= before), 1)
    left = round(values["bend"] + values["tilt"] / 2, 1)
    return {
        "before": before,
        "after": before - took * values["flow"],
        "took": took,
        "seconds": 36 / values["speed"] if values["speed"] > 0 else 0.0,
        "came_back": 0.4 * values["recovered"],
        "left": left,
        "right": left - values["tilt"],
        "bristles": _three(values["bristle"]),
        "pads": _three(values["pad"]),
        "cells": _cells(values["gravity"], values["lag"], int(line("battery.cells"))),
    }


def _three(least: float) -> str:
    """Return three places, of which the least counts."""
    return f"{least + 1:.6g}, {least:.6g}, {least + 2:.6g} mm"


def _cells(highest: float, lag: float, count: int) -> str:
    """Return the gravities of all cells; the last but one lags behind the highest."""
    cells = [highest - (min(lag, 0.005) if number % 3 == 1 else 0.0) for number in range(count)]
    cells[-2:] = [highest - lag, highest] if count > 1 else [highest]
    return ", ".join(f"{cell:.3f}" for cell in cells)
