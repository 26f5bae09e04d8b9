"""Text broken into lines by its measured width, inside a shape that may taper to a point.

Lengths are in points at `SIZE`, the one type size of a drawing; a page scales all of it at once.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

#: The type size that widths are measured at, and the distance of two lines of it.
SIZE, LEADING = 10.0, 12.0

#: How far a shape narrows from its middle to its top: a box, a hexagon, a diamond.
STRAIGHT, HALF, POINTED = 0.0, 0.5, 1.0

# What the first and last line keep clear of the shape's line above and below.
_CLEAR = 3.0

# A word longer than this is broken: no shape should have to be as wide as a serial number.
_LONGEST = 24
_BREAKS = re.compile(r"(?<=[-/])(?=\w)")


@dataclass(frozen=True, slots=True)
class Piece:
    """What is never broken: a word, or a part of one that goes on without a space (`glued`)."""

    text: str
    glued: bool = False


@dataclass(frozen=True, slots=True)
class FittedText:
    """Lines that fit a shape of this width and height."""

    lines: tuple[str, ...]
    width: float
    height: float


def pieces(text: str) -> list[Piece]:
    """Return the pieces of a text in order."""
    result = []
    for word in text.split():
        glued = False
        for part in _BREAKS.split(word):
            for start in range(0, len(part), _LONGEST):
                result.append(Piece(part[start : start + _LONGEST], glued))
                glued = True
    return result


@dataclass(frozen=True, slots=True)
class FontMetrics:
    """The measured width of each piece that a drawing uses, and of a space."""

    widths: Mapping[str, float]
    space: float
    bold: Mapping[str, float] = field(default_factory=dict)

    def width(self, line: Iterable[Piece], *, bold: bool = False) -> float:
        """Return the width of a line. Raises `KeyError` where a piece was not measured."""
        widths = self.bold if bold else self.widths
        total, first = 0.0, True
        for piece in line:
            total += widths[piece.text]
            if not first and not piece.glued:
                total += self.space
            first = False
        return total

    def width_of(self, line: str) -> float:
        """Return the width of a line of text."""
        return self.width(pieces(line))

    def widest(self, texts: Iterable[str]) -> float:
        """Return the width of the widest single piece, 0 where there is none."""
        found = (self.widths[piece.text] for text in texts for piece in pieces(text))
        return max(found, default=0.0)


def wrapped(
    metrics: FontMetrics, text: str, room: float, *, even: bool = True, bold: bool = False
) -> list[str]:
    """Return a text in lines of at most `room`; a wider piece stands alone.

    `even`: no line is much longer than it has to be, as in a label; else each is filled up.
    """
    if bold:
        metrics = FontMetrics(metrics.bold, metrics.space)
    parts = pieces(text)
    filled = _filled(metrics, parts, room)
    if not even:
        return [_text(line) for line in filled]
    low, high = room / 2, room
    while high - low > SIZE / 4:
        middle = (low + high) / 2
        tried = _filled(metrics, parts, middle)
        fits = all(metrics.width(line) <= room for line in tried)
        if fits and len(tried) <= len(filled):
            filled, high = tried, middle
        else:
            low = middle
    return [_text(line) for line in filled]


def boxed(metrics: FontMetrics, texts: Sequence[str], room: float, pad: float = 6.0) -> FittedText:
    """Return texts, each on lines of its own, and the box around them."""
    broken = [line for text in texts for line in wrapped(metrics, text, room)]
    widest = max((metrics.width(pieces(line)) for line in broken), default=0.0)
    return FittedText(tuple(broken), widest + 2 * pad, len(broken) * LEADING + 2 * pad)


def fitted(
    metrics: FontMetrics,
    texts: Sequence[str],
    *,
    taper: float,
    aspect: float,
    widest: float = 260.0,
    pad: float = 5.0,
) -> FittedText:
    """Return texts in the smallest shape that holds them, centred, and its width and height.

    At a height y from its middle a shape of width w and height h leaves w * (1 - taper * 2y/h). It
    is `aspect` times as wide as high, and no wider than `widest` unless one piece asks for more.
    """
    parts = [pieces(text) for text in texts]
    measured = [[(metrics.widths[p.text], p.glued) for p in part] for part in parts]
    total = sum(metrics.width(part) for part in parts)
    least = 1.5 * metrics.widest(texts) + 2 * pad
    # The words need at least this share of the shape, whatever its height.
    area = total * LEADING / (1 - taper / 2)
    height = max(
        len(parts) * LEADING + 2 * _CLEAR,
        min((area / aspect) ** 0.5, area / least),
        area / max(least, widest),
    )
    # Whether a height will do does not depend on smaller ones having done: all have to be tried.
    while True:
        width = max(least, min(height * aspect, widest))
        most = int((height - 2 * _CLEAR) / LEADING)
        for count in range(max(len(parts), int(total / width)), most + 1):
            middle = (count - 1) / 2
            narrowing = width * taper * 2 * LEADING / height
            rooms = [
                width - narrowing * (abs(number - middle) + 0.5) - 2 * pad
                for number in range(count)
            ]
            if rooms[0] <= 0:
                break
            counts = _counts(measured, rooms, metrics.space)
            if counts is not None:
                return FittedText(tuple(_cut(parts, counts)), width, height)
        height += max(2.0, height / 64)


def _counts(
    parts: Sequence[Sequence[tuple[float, bool]]], rooms: Sequence[float], space: float
) -> list[int] | None:
    """Return how many pieces of each part go on each line, None unless they fill all rooms."""
    counts: list[int] = []
    for part in parts:
        own = _counts_of(part, rooms[len(counts) :], space)
        if own is None:
            return None
        counts += own
    return counts if len(counts) == len(rooms) else None


def _counts_of(
    part: Sequence[tuple[float, bool]], rooms: Sequence[float], space: float
) -> list[int] | None:
    """Return how many pieces go on each line, filled in turn; None where one has no room."""
    counts: list[int] = []
    used = 0.0
    for width, glued in part:
        wanted = used + width if glued else used + space + width
        if counts and wanted <= rooms[len(counts) - 1]:
            used = wanted
            counts[-1] += 1
        elif len(counts) < len(rooms) and width <= rooms[len(counts)]:
            used = width
            counts.append(1)
        else:
            return None
    return counts or [0]


def _cut(parts: Sequence[Sequence[Piece]], counts: Iterable[int]) -> Iterator[str]:
    """Yield the lines that hold so many pieces each."""
    wanted = iter(counts)
    for part in parts:
        begun = 0
        while begun < len(part):
            count = next(wanted)
            yield _text(part[begun : begun + count])
            begun += count


def _filled(metrics: FontMetrics, parts: Sequence[Piece], room: float) -> list[list[Piece]]:
    """Fill lines one after the other."""
    result: list[list[Piece]] = [[]]
    used = 0.0
    for piece in parts:
        space = 0.0 if piece.glued or not result[-1] else metrics.space
        width = metrics.widths[piece.text]
        if result[-1] and used + space + width > room:
            result.append([])
            used = space = 0.0
        result[-1].append(piece)
        used += space + width
    return result


def _text(line: Sequence[Piece]) -> str:
    text = ""
    for piece in line:
        text += piece.text if piece.glued or not text else f" {piece.text}"
    return text
