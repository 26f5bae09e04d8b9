"""A sheet of paper: its size, the lines and rectangles on it, and the part of a layout it shows.

A flowchart that is laid out keeps its coordinates; the sheet is a viewport on them. What is placed
on the sheet by points from its top left corner is turned into those coordinates here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from diagnose.paper.node_styles import WHITE
from diagnose.paper.wrap import LEADING, SIZE, pieces, wrapped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.paper.flowchart import Flowchart
    from diagnose.paper.wrap import FontMetrics

_MM: Final = 72 / 25.4

#: Width and height in points, upright. ISO 216 and ANSI/ASME Y14.1 (status M).
PAPERS: Final = {
    "a4": (210 * _MM, 297 * _MM),
    "a3": (297 * _MM, 420 * _MM),
    "a2": (420 * _MM, 594 * _MM),
    "letter": (612.0, 792.0),
    "legal": (612.0, 1008.0),
    "tabloid": (792.0, 1224.0),
}

#: Nothing on paper is smaller than this; larger than `LARGEST` it would only shout. In points.
SMALLEST, LARGEST = 8.0, 11.0

#: What printers cannot reach, and what a frame and a tape need, on every side. In points.
MARGIN: Final = 8 * _MM

#: Type of another size than the drawing's is set a little wider or narrower than it was measured.
_SPARE: Final = 0.96


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A sheet's width and height in points, as it hangs."""

    width: float
    height: float

    @property
    def inside(self) -> tuple[float, float]:
        """Width and height within the margins."""
        return self.width - 2 * MARGIN, self.height - 2 * MARGIN


def paper(name: str, *, landscape: bool) -> Paper:
    """Return a paper by its name in `PAPERS`. Raises `KeyError`."""
    width, height = PAPERS[name]
    return Paper(width=height, height=width) if landscape else Paper(width=width, height=height)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One sheet: its DOT text with everything in place, its type size in points, its flowcharts."""

    dot: str
    type_size: float
    flowcharts: tuple[Flowchart, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TextBlock:
    """Lines of text on a sheet: their left top corner in points from the sheet's, and their size.

    `width` is that of the widest line, as measured.
    """

    left: float
    top: float
    lines: tuple[str, ...]
    width: float
    size: float
    bold: bool

    @property
    def leading(self) -> float:
        """The distance of two lines, in points."""
        return leading(self.size)


def leading(size: float) -> float:
    """Return the distance of two lines in type of this size; both in points."""
    return size * LEADING / SIZE


def text_block(
    metrics: FontMetrics,
    left: float,
    top: float,
    lines: Sequence[str],
    size: float,
    *,
    bold: bool = False,
) -> TextBlock:
    """Return lines that are broken already as a block. Raises `KeyError` where not measured."""
    width = max(metrics.width(pieces(line), bold=bold) for line in lines)
    return TextBlock(
        left=left, top=top, lines=tuple(lines), width=width * size / SIZE, size=size, bold=bold
    )


def set_in_lines(
    metrics: FontMetrics, text: str, room: float, size: float, *, bold: bool = False
) -> list[str]:
    """Return a text in filled lines of at most `room` points, in type of this size."""
    return wrapped(metrics, text, _SPARE * room / size * SIZE, even=False, bold=bold)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rectangle:
    """A rectangle on a sheet, in points from its left top corner."""

    left: float
    top: float
    width: float
    height: float
    fill: str = WHITE


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewport:
    """What a sheet shows of a layout: `scale` points a unit, `left` and `top` its corner there."""

    paper: Paper
    scale: float
    left: float
    top: float

    def x(self, points: float) -> float:
        """Return a distance from the sheet's left side as a coordinate of the layout."""
        return self.left + points / self.scale

    def y(self, points: float) -> float:
        """Return a distance from the sheet's top as a coordinate of the layout."""
        return self.top - points / self.scale

    def enlarged(self, times: float) -> Viewport:
        """Return the same viewport on a drawing that was enlarged."""
        return replace(self, scale=self.scale / times, left=self.left * times, top=self.top * times)
