"""A flowchart laid out: where its nodes are, and how its edges run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from diagnose.paper.flowchart import Flowchart

#: x and y; y grows upwards.
Point: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Box:
    """A node's middle, width and height, in points at the drawing's type size."""

    x: float
    y: float
    width: float
    height: float

    def moved(self, right: float, up: float, times: float) -> Box:
        """Return the box moved, then enlarged with everything around it."""
        x, y = (self.x + right) * times, (self.y + up) * times
        return Box(x, y, self.width * times, self.height * times)


@dataclass(frozen=True, slots=True)
class Spline:
    """An edge's curve (Bezier points), the tip of its head, and the middle of its answer."""

    points: tuple[Point, ...]
    tip: Point
    label: Point | None

    def mapped(self, to: Callable[[Point], Point]) -> Spline:
        """Return the curve with every point taken `to` another."""
        label = None if self.label is None else to(self.label)
        return Spline(tuple(to(point) for point in self.points), to(self.tip), label)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A flowchart laid out: its nodes' boxes by name, its edges' curves in order, and its size."""

    flowchart: Flowchart
    boxes: Mapping[str, Box]
    splines: tuple[Spline, ...]
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Placement:
    """A layout's place on a sheet: its left, and its top counted from the top down."""

    layout: Layout
    left: float
    top: float
