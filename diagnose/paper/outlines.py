"""Outlines that Graphviz has no shape for, or draws too small, as xdot operations.

A terminator's round corners, its second line, a document's dashes and wavy base, the side bars of a
predefined process, and the rectangles of a wall chart. Graphviz draws dashes and corners of one
size whatever the scale; here they keep to it.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

from diagnose.paper.node_styles import BLACK, STYLES, WALKED, WHITE, NodeKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from diagnose.paper.flowchart import Node
    from diagnose.paper.layout import Box, Point
    from diagnose.paper.sheet import Rectangle, Viewport

#: What has its outline from here; Graphviz draws the words alone.
OUTLINED: Final = frozenset(
    {NodeKind.START, NodeKind.OPERATOR, NodeKind.BATTERY_TRAINED, NodeKind.SERVICE}
)

#: A round corner's radius; how far a second line is inside the first; how deep a document's wave
#: is; a dash and the gap after it. In points at the drawing's type size, as is `BAR`.
_RADIUS, _INSIDE, _WAVE, _DASH, _SPACE = 9.0, 3.0, 3.5, 5.0, 3.0

#: How far inside its sides the bars of a predefined process stand.
BAR: Final = 4.5

# A quarter of a circle as one Bezier curve.
_ROUND = 0.5523


def node_outlines(nodes: Iterable[Node], boxes: Mapping[str, Box], unit: float) -> str:
    """Return the outlines of nodes in place; `unit` is how long a point is there."""
    drawn = []
    for node in nodes:
        style, box = STYLES[node.kind], boxes[node.name]
        thick = style.thick * (WALKED if node.walked else 1) * unit
        if node.kind in OUTLINED or node.kind is NodeKind.DOORWAY:
            drawn.append(_pen(thick, style.line))
        if node.kind is NodeKind.SERVICE:
            drawn += _dashed(_document(box, _WAVE * unit), _DASH * unit, _SPACE * unit)
        elif node.kind is NodeKind.DOORWAY:
            top, bottom = box.y + box.height / 2, box.y - box.height / 2
            for side in (1, -1):
                x = box.x + side * (box.width / 2 - BAR * unit)
                drawn.append(_op("L", [(x, top), (x, bottom)]))
        elif node.kind in OUTLINED:
            drawn.append(_rounded(box, 0.0, unit))
        if node.kind is NodeKind.BATTERY_TRAINED:
            drawn.append(_rounded(box, _INSIDE * unit, unit))
    return " ".join(drawn)


def rectangle_outlines(viewport: Viewport, rectangles: Iterable[Rectangle]) -> str:
    """Return rectangles on a sheet."""
    drawn = []
    for one in rectangles:
        left, right = viewport.x(one.left), viewport.x(one.left + one.width)
        top, bottom = viewport.y(one.top), viewport.y(one.top + one.height)
        drawn.append(_pen(0.8 / viewport.scale, BLACK, one.fill))
        drawn.append(_op("P", [(left, top), (right, top), (right, bottom), (left, bottom)]))
    return " ".join(drawn)


def _rounded(box: Box, inside: float, unit: float) -> str:
    wide, high = box.width / 2 - inside, box.height / 2 - inside
    radius = min(_RADIUS * unit, wide, high) - inside / 2
    near = radius * (1 - _ROUND)
    left, right, top, bottom = box.x - wide, box.x + wide, box.y + high, box.y - high
    points: list[Point] = [(left, top - radius)]

    def corner(to: Point, one: Point, other: Point, after: Point) -> None:
        # A straight line to the corner's beginning, then the corner.
        points.extend([points[-1], to, to, one, other, after])

    corner((left, top - radius), (left, top - near), (left + near, top), (left + radius, top))
    corner((right - radius, top), (right - near, top), (right, top - near), (right, top - radius))
    corner(
        (right, bottom + radius),
        (right, bottom + near),
        (right - near, bottom),
        (right - radius, bottom),
    )
    corner(
        (left + radius, bottom),
        (left + near, bottom),
        (left, bottom + near),
        (left, bottom + radius),
    )
    return _op("B", [*points, points[-1], points[0], points[0]])


def _document(box: Box, wave: float) -> list[Point]:
    left, right = box.x - box.width / 2, box.x + box.width / 2
    top, base = box.y + box.height / 2, box.y - box.height / 2 + wave
    third = (right - left) / 3
    a, d = (right, base), (left, base)
    b, c = (right - third, base + 2 * wave), (left + third, base - 2 * wave)
    curve = []
    for number in range(25):
        t = number / 24
        weights = ((1 - t) ** 3, 3 * (1 - t) ** 2 * t, 3 * (1 - t) * t**2, t**3)
        x = sum(weight * spot[0] for weight, spot in zip(weights, (a, b, c, d), strict=True))
        y = sum(weight * spot[1] for weight, spot in zip(weights, (a, b, c, d), strict=True))
        curve.append((x, y))
    return [(left, base), (left, top), (right, top), *curve]


def _dashed(line: Sequence[Point], dash: float, space: float) -> list[str]:
    """Return a line in dashes, each one an operation, bent where the line is."""
    drawn: list[str] = []
    run: list[Point] = [line[0]]
    on, left = True, dash
    for (x0, y0), (x1, y1) in pairwise(line):
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        done = 0.0
        while length - done > left:
            done += left
            spot = (x0 + (x1 - x0) * done / length, y0 + (y1 - y0) * done / length)
            if on:
                drawn.append(_op("L", [*run, spot]))
            on, left = not on, space if on else dash
            run = [spot]
        left -= length - done
        run.append((x1, y1))
    if on and len(run) > 1:
        drawn.append(_op("L", run))
    return drawn


def _op(name: str, points: Sequence[Point]) -> str:
    return f"{name} {len(points)} {' '.join(f'{x:.1f} {y:.1f}' for x, y in points)}"


def _pen(thick: float, line: str, fill: str = WHITE) -> str:
    width = f"setlinewidth({thick:.3g})"
    return f"S 5 -solid S {len(width)} -{width} c 7 -{line} C 7 -{fill}"
