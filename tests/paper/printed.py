"""Reads a drawing as the eye does: outlines, arrows and words of an SVG by where they stand.

Nothing is taken from ids, titles or tooltips; an arrow goes where its line begins and its head
ends, and its words are those that stand beside the line.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import pairwise
from math import dist, hypot
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from drawn import SVG

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

Point = tuple[float, float]

#: An SVG's own unit is a point.
PT = 1.0


@dataclass(frozen=True, slots=True)
class Area:
    """A rectangle: left, top, right, bottom; y grows downwards."""

    left: float
    top: float
    right: float
    bottom: float

    def distance(self, x: float, y: float) -> float:
        return hypot(
            max(self.left - x, 0.0, x - self.right), max(self.top - y, 0.0, y - self.bottom)
        )

    def is_crossed(self, begin: Point, end: Point) -> bool:
        """Whether a straight line runs through it (Liang and Barsky's clipping)."""
        (x, y), (dx, dy) = begin, (end[0] - begin[0], end[1] - begin[1])
        first, last = 0.0, 1.0
        for step, room in (
            (-dx, x - self.left),
            (dx, self.right - x),
            (-dy, y - self.top),
            (dy, self.bottom - y),
        ):
            if step < 0:
                first = max(first, room / step)
            elif step > 0:
                last = min(last, room / step)
            elif room < 0:
                return False
        return first < last


@dataclass(slots=True, eq=False)
class Shape:
    """An outline with words in it, on one page; arrows lead on from it."""

    page: int
    outline: str
    fill: str
    words: str
    area: Area
    leaving: list[Arrow] = field(default_factory=list)
    entering: int = 0

    @property
    def number(self) -> int:
        """The step's number: the first word."""
        return int(re.match(r"\d+", self.words)[0])  # type: ignore[index]


@dataclass(frozen=True, slots=True, eq=False)
class Arrow:
    words: str
    thick: float
    to: Shape


def shapes_in(files: Iterable[Path]) -> list[Shape]:
    """Return the shapes of all pages, joined by their arrows."""
    found: list[Shape] = []
    for page, file in enumerate(files, 1):
        found += _page(page, ElementTree.parse(file).getroot())
    return found


def lines_through_words(files: Iterable[Path]) -> list[str]:
    """Return the words of answers that a line runs through, or an arrow's head."""
    found = []
    for file in files:
        edges, answers = _parts(ElementTree.parse(file).getroot())
        lines = [line for group in edges for line in _lines(group)]
        for group in answers:
            for node in group.iter(f"{SVG}text"):
                area = _line_area(node)
                if any(area.is_crossed(*ends) for line in lines for ends in pairwise(line)):
                    found.append(node.text or "")
    return found


def _parts(root: ElementTree.Element) -> tuple[list[ElementTree.Element], ...]:
    groups = [group for group in root.iter(f"{SVG}g") if group.get("class")]
    return tuple([g for g in groups if g.get("class") == kind] for kind in ("edge", "node answer"))


def _lines(group: ElementTree.Element) -> Iterator[list[Point]]:
    for node in group.iter(f"{SVG}path"):
        yield list(_along(_points(node.get("d", ""))))
    for node in group.iter(f"{SVG}polygon"):
        yield _points(node.get("points", ""))


def _page(page: int, root: ElementTree.Element) -> list[Shape]:
    graph = root.find(f"{SVG}g")
    assert graph is not None
    groups = [node for node in graph.iter(f"{SVG}g") if node is not graph]
    shapes, words = [], []
    for group in groups:
        kind = group.get("class", "")
        if kind == "node answer":
            words.append(Shape(page, "none", "", _words(group), _text_area(group)))
        elif kind.startswith("node") and "note" not in kind and _words(group):
            shapes.append(_shape(page, group))
    for group in groups:
        if group.get("class", "").startswith("edge"):
            _join([*shapes, *words], group)
    for source in shapes:
        source.leaving = [_through(words, arrow) for arrow in source.leaving]
    return shapes


def _through(words: list[Shape], arrow: Arrow) -> Arrow:
    """Return an arrow as one whole where words stand in a gap of it."""
    if arrow.to not in words:
        return arrow
    (on,) = arrow.to.leaving
    assert on.thick == arrow.thick
    assert arrow.to.entering == 1
    return Arrow(arrow.to.words, on.thick, on.to)


def _words(group: ElementTree.Element) -> str:
    return " ".join((node.text or "").strip() for node in group.iter(f"{SVG}text")).strip()


def _text_area(group: ElementTree.Element) -> Area:
    areas = [_line_area(node) for node in group.iter(f"{SVG}text")]
    return _around(p for one in areas for p in ((one.left, one.top), (one.right, one.bottom)))


def _line_area(node: ElementTree.Element) -> Area:
    x, y, size = (float(node.get(key, 0)) for key in ("x", "y", "font-size"))
    assert node.get("text-anchor") == "middle"
    half = float(node.get("textLength", 0)) / 2
    return Area(x - half, y - size * 0.8, x + half, y + size * 0.2)


def _around(points: Iterable[Point]) -> Area:
    xs, ys = zip(*points, strict=True)
    return Area(min(xs), min(ys), max(xs), max(ys))


def _points(text: str) -> list[Point]:
    values = [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", text)]
    return list(zip(values[::2], values[1::2], strict=True))


def _shape(page: int, group: ElementTree.Element) -> Shape:
    for node in group.iter():
        tag = node.tag.removeprefix(SVG)
        if tag == "polygon":
            points = _points(node.get("points", ""))
            return Shape(page, _named(points), node.get("fill", ""), _words(group), _around(points))
    curves = [_around(_points(node.get("d", ""))) for node in group.iter(f"{SVG}path")]
    assert curves, f"no outline around: {_words(group)}"
    # Of a double line, the outer one.
    area = max(curves, key=lambda one: (one.right - one.left) * (one.bottom - one.top))
    return Shape(page, "rounded", "", _words(group), area)


def _named(points: list[Point]) -> str:
    corners = list(dict.fromkeys(points))
    if len(corners) in (5, 6):
        return "note" if len(corners) == 5 else "hexagon"
    if len({round(x) for x, _ in corners}) == 3:
        return "diamond"
    return "box" if len({round(x) for x, _ in corners}) == 2 else "slanted"


def _join(shapes: list[Shape], group: ElementTree.Element) -> None:
    path, head = group.find(f".//{SVG}path"), group.find(f".//{SVG}polygon")
    assert path is not None
    points = _points(path.get("d", ""))
    tip = points[-1]
    if head is not None:
        corners = list(dict.fromkeys(_points(head.get("points", ""))))
        middle = (sum(x for x, _ in corners) / 3, sum(y for _, y in corners) / 3)
        tip = max(corners, key=lambda corner: dist(corner, middle))
    source, target = _at(shapes, points[0]), _at(shapes, tip)
    # Only a line that words stand in ends without a head.
    assert (head is None) == (target.outline == "none")
    thick = float(path.get("stroke-width", 1)) / PT
    source.leaving.append(Arrow("", thick, target))
    target.entering += 1


def _at(shapes: list[Shape], end: Point) -> Shape:
    near = min(shapes, key=lambda one: one.area.distance(*end))
    assert near.area.distance(*end) < 6 * PT, f"an arrow ends at no shape: {end}, nearest {near}"
    return near


def _along(points: list[Point]) -> Iterator[Point]:
    """Yield points along a Bezier curve's pieces, near to one another."""
    for first in range(0, len(points) - 1, 3):
        four = points[first : first + 4]
        count = 1 + int(sum(dist(one, other) for one, other in pairwise(four)) / (8 * PT))
        for step in range(count + 1):
            t = step / count
            weights = ((1 - t) ** 3, 3 * (1 - t) ** 2 * t, 3 * (1 - t) * t * t, t**3)
            yield (
                sum(weight * point[0] for weight, point in zip(weights, four, strict=True)),
                sum(weight * point[1] for weight, point in zip(weights, four, strict=True)),
            )
