"""The figures of one machine: its quantities are settled once, and every reading follows from them.

A reading that has to fall in another band than the usual one moves the quantity that it is about:
no further than that takes, and not to the band's edge.
"""

from __future__ import annotations

from math import inf
from random import Random
from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.drill.quantities import QUANTITIES, TAKINGS, Lines, typed
from diagnose.measure.registry import VALUE, MissingLine, Unreadable, compute

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.files.tree import Reading
    from diagnose.measure.model import Measurement, Need

# How far from the usual another band is looked for: the first step, by how much each is longer than
# the one before, how many there are. As many values in a row are enough to choose from.
_FIRST, _GROWTH, _STEPS, _ENOUGH = 0.008, 1.15, 45, 4

# So many sets of inputs are tried for a measurement of the library until one is in the band.
_DRAWS = 400


class Wanted(Struct, frozen=True):
    """A reading, and the number of the band that its figure has to fall in."""

    reading: Reading
    band: int


class Taken(Struct, frozen=True):
    """A reading as it was taken: its figure, and what that was computed from as (need, text)."""

    value: float
    typed: tuple[tuple[str, str], ...] = ()


class Figures:
    """The quantities of one machine. `random` places them, each within what is asked of it.

    `measurements` are those that the readings may name, `room` is how warm the room can be, in °C;
    an end may be open.
    """

    def __init__(
        self,
        lines: Lines,
        random: Random,
        measurements: Mapping[str, Measurement],
        *,
        room: tuple[float, float] = (-inf, inf),
    ) -> None:
        self._lines = lines
        self._measurements = measurements
        self._usual = {name: one.usual(lines.number) for name, one in QUANTITIES.items()}
        self._places = {name: random.random() for name in QUANTITIES}
        self.values = {
            name: round(self._usual[name] * one.strays(self._places[name]), one.digits)
            for name, one in QUANTITIES.items()
        }
        self.values["room"] = _within(room, self._usual["room"], self._places["room"])

    def taken(self, read: str, values: Mapping[str, float] | None = None) -> Taken | None:
        """Return a reading as this machine gives it; None where it cannot be taken."""
        if read not in TAKINGS:
            return None
        said = typed(read, values or self.values, self._lines.number)
        # A measurement that the card makes pointless is taken as on its example.
        for line in (self._lines.text, self._lines.example):
            try:
                figure = compute(self._measurements[read], said, line, bare=False, si=False)
            except (Unreadable, MissingLine):
                continue
            return Taken(figure.value, tuple(said.items()))
        return None

    def settle(self, on_route: Sequence[Wanted], beside: Sequence[Wanted]) -> None:
        """Move the quantities so that each reading falls in its band.

        Those on the route of the cause come first; where two of them are about one quantity and
        cannot both be had, the first of them.
        """
        for name in QUANTITIES:
            first = _about(name, on_route)
            both = [*first, *_about(name, beside)]
            if both and not self._fit(both, self.values):
                for wanted in (both, first, first[:1]):
                    value = self._found(name, wanted) if wanted else None
                    if value is not None:
                        self.values[name] = value
                        break

    def shown(self, wanted: Wanted, place: float) -> Taken:
        """Return a reading with a figure in its band: the machine's own, else one read wrongly.

        What is about nothing known has a figure at a `place` in the band, from 0 to below 1.
        """
        reading, band = wanted.reading, wanted.band
        if reading.read not in TAKINGS and reading.read != VALUE.name:
            return self._drawn(wanted) or Taken(figure_in(reading.limits, band, place))
        taken = self.taken(reading.read)
        if taken is None or reading.band(taken.value) != reading.exits[band]:
            taken = self.misread(wanted)
        return taken or Taken(figure_in(reading.limits, band, place))

    def misread(self, wanted: Wanted) -> Taken | None:
        """Return a reading that is taken wrongly, so that it falls in another band."""
        taking = TAKINGS.get(wanted.reading.read)
        value = self._found(taking.about, [wanted]) if taking else None
        if taking is None or value is None:
            return None
        return self.taken(wanted.reading.read, {**self.values, taking.about: value})

    def _drawn(self, wanted: Wanted) -> Taken | None:
        """Return a reading of a measurement that the library declares: inputs drawn for its band.

        The same at each look; None where none of those tried has its figure in the band.
        """
        reading, band = wanted.reading, wanted.band
        measurement = self._measurements[reading.read]
        random = Random(int(self._places["room"] * 2**53))
        for _ in range(_DRAWS):
            said = {need.name: _read_off(need, random.random()) for need in measurement.needs}
            try:
                value = compute(measurement, said, self._lines.text, bare=False, si=False).value
            except Unreadable:
                continue
            if reading.band(value) == reading.exits[band]:
                return Taken(value, tuple(said.items()))
        return None

    def _fit(self, wanted: Sequence[Wanted], values: Mapping[str, float]) -> bool:
        for one in wanted:
            taken = self.taken(one.reading.read, values)
            if taken is None or one.reading.band(taken.value) != one.reading.exits[one.band]:
                return False
        return True

    def _found(self, name: str, wanted: Sequence[Wanted]) -> float | None:
        """Return a value for which all readings fit: of those next to the usual, off the edge."""
        row: list[float] = []
        side = 0.0
        for offset, sign in _OUTWARDS:
            value = round(self._usual[name] * (1 + sign * offset), QUANTITIES[name].digits)
            if value in row or side not in (0.0, sign):
                continue
            if self._fit(wanted, {**self.values, name: value}):
                row.append(value)
                side = sign
            elif row:
                break
            if len(row) == _ENOUGH:
                break
        inner = row[1:] if len(row) > 2 else row
        return inner[int(self._places[name] * len(inner))] if inner else None


def _read_off(need: Need, place: float) -> str:
    """Return what could be read for an input, `place` of the way through its range."""
    assert need.low is not None
    assert need.high is not None
    value = need.low + place * (need.high - need.low)
    exponent = int(f"{(need.high - need.low):e}".partition("e")[2])
    return f"{min(max(round(value, 2 - exponent), need.low), need.high):g} {need.unit}".rstrip()


def _outwards() -> list[tuple[float, float]]:
    """Return how far off the usual values are looked for, as a share, on both sides in turn."""
    offset, step, offsets = 0.0, _FIRST, []
    for _ in range(_STEPS):
        offsets += [(offset, 1.0), (offset, -1.0)]
        offset, step = offset + step, step * _GROWTH
    return offsets


_OUTWARDS = _outwards()


def _within(room: tuple[float, float], usual: float, place: float) -> float:
    """Return whole °C in a range: the usual, else up to six degrees off the end next to it."""
    low, high = room
    if low < usual < high:
        return usual
    return round(low + 1 + 5 * place) if usual <= low else round(high - 1 - 5 * place)


def _about(name: str, wanted: Sequence[Wanted]) -> list[Wanted]:
    """Return the readings that are about a quantity."""
    known = [one for one in wanted if one.reading.read in TAKINGS]
    return [one for one in known if TAKINGS[one.reading.read].about == name]


def figure_in(limits: Sequence[float], band: int, place: float) -> float:
    """Return a plausible figure in a band, `place` (from 0 below 1) of the way through it.

    `limits` are the upper bounds of all bands but the last. A band with one open end is taken as
    wide as its neighbour, or as 0.4 of its limit; where all limits are above zero, so is every
    figure. It keeps off both edges and has no more digits than one would read.
    """
    low = limits[band - 1] if band > 0 else None
    high = limits[band] if band < len(limits) else None
    if low is None:
        assert high is not None
        low = high - (limits[1] - limits[0] if len(limits) > 1 else 0.4 * abs(high) or 1.0)
        low = max(low, 0.0) if high > 0 else low
    elif high is None:
        high = low + (limits[-1] - limits[-2] if len(limits) > 1 else 0.4 * abs(low) or 1.0)
    width = high - low
    # A tenth of the band stays free at either edge, and rounding moves by half of that at most.
    exponent = int(f"{width:.17e}".partition("e")[2])
    return round(low + (0.1 + 0.8 * place) * width, max(0, 1 - exponent))
