"""A sheet of paper: its size, what stands on it besides the flowchart, and all of it as DOT text.

A flowchart that is laid out keeps its coordinates; the sheet is a window on them. What is placed on
the sheet by points from its top left corner is turned into those coordinates here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from diagnose.paper.marks import WHITE
from diagnose.paper.wrap import LEADING, SIZE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.paper.diagram import Figure

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
class Note:
    """Lines of text on a sheet: their left top corner in points from the sheet's, and their size.

    `width` is that of the widest line, as measured.
    """

    left: float
    top: float
    lines: tuple[str, ...]
    width: float
    size: float = SMALLEST
    bold: bool = False

    @property
    def leading(self) -> float:
        """The distance of two lines, in points."""
        return self.size * LEADING / SIZE


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A rectangle on a sheet, in points from its left top corner."""

    left: float
    top: float
    width: float
    height: float
    fill: str = WHITE


@dataclass(frozen=True, slots=True)
class Box:
    """Where a shape is once it is laid out: its middle, width and height; y grows upwards."""

    x: float
    y: float
    width: float
    height: float

    def moved(self, right: float, up: float, times: float) -> Box:
        """Return the box moved, then enlarged with everything around it."""
        x, y = (self.x + right) * times, (self.y + up) * times
        return Box(x, y, self.width * times, self.height * times)


@dataclass(frozen=True, slots=True)
class Route:
    """An arrow's curve (Bezier points), the tip of its head, and the middle of its answer."""

    points: tuple[tuple[float, float], ...]
    tip: tuple[float, float]
    label: tuple[float, float] | None

    def moved(self, right: float, up: float, times: float) -> dict[str, str]:
        """Return the curve moved, then enlarged, as Graphviz's attributes."""

        def spot(point: tuple[float, float]) -> str:
            return f"{(point[0] + right) * times:.2f},{(point[1] + up) * times:.2f}"

        given = {"pos": f"e,{' '.join(spot(point) for point in (self.tip, *self.points))}"}
        if self.label is not None:
            given["lp"] = spot(self.label)
        return given


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A figure laid out: where its shapes are by name, how its arrows run, and its size."""

    figure: Figure
    boxes: Mapping[str, Box]
    routes: tuple[Route, ...]
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
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

    def enlarged(self, times: float) -> Window:
        """Return the same window on a drawing that was enlarged."""
        return replace(self, scale=self.scale / times, left=self.left * times, top=self.top * times)

    @property
    def viewport(self) -> str:
        """Graphviz's own words for it: width, height, zoom and the middle."""
        x = self.left + self.paper.width / self.scale / 2
        y = self.top - self.paper.height / self.scale / 2
        return f"{self.paper.width:.2f},{self.paper.height:.2f},{self.scale:.5f},{x:.2f},{y:.2f}"
