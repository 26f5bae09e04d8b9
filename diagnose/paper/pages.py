"""A flowchart too large for its page, cut at steps into parts that are joined by connectors.

A part is a step with what follows it, up to the steps where other parts begin. Only questions
begin a part; a finding that two parts lead to stands in both. Sizes are estimated, since laying out
every attempt would take far longer than drawing: rows are as high as their highest shape, and as
wide as all their shapes together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnose.paper.wrap import LEADING

if TYPE_CHECKING:
    from collections.abc import Callable

    from diagnose.paper.diagram import Figure, Shaper
    from diagnose.paper.sketch import Sketch

#: What lies between two rows, and between two shapes of one row, in points.
ROW_GAP, SHAPE_GAP = 11.0, 10.0

#: A row is seldom packed: shapes stand under what leads to them.
_SLACK = 1.12


@dataclass(frozen=True, slots=True)
class Part:
    """Steps that are drawn together, by number; `root` is the one that all of them follow."""

    root: int
    steps: frozenset[int]


def estimated(figure: Figure) -> tuple[float, float]:
    """Return about what a figure's width and height will be once it is laid out, in points."""
    rank = dict.fromkeys((shape.name for shape in figure.shapes), 0)
    leaving: dict[str, list[tuple[str, int]]] = {name: [] for name in rank}
    entering = dict.fromkeys(rank, 0)
    for arrow in figure.arrows:
        leaving[arrow.source].append((arrow.target, arrow.rows))
        entering[arrow.target] += 1
    ready = [name for name, count in entering.items() if count == 0]
    while ready:
        name = ready.pop()
        for target, down in leaving[name]:
            rank[target] = max(rank[target], rank[name] + down)
            entering[target] -= 1
            if entering[target] == 0:
                ready.append(target)
    rows = max(rank.values()) + 1
    heights, widths, gaps = [0.0] * rows, [0.0] * rows, [ROW_GAP] * rows
    for shape in figure.shapes:
        row = rank[shape.name]
        heights[row] = max(heights[row], shape.height)
        widths[row] += shape.width + SHAPE_GAP
    for arrow in figure.arrows:
        row = rank[arrow.target] - 1
        gaps[row] = max(gaps[row], ROW_GAP + LEADING * len(arrow.lines))
    return max(widths) * _SLACK, sum(heights) + sum(gaps[:-1])


def parts(shaper: Shaper, fits: Callable[[Part, Figure], bool]) -> list[Part]:
    """Return the parts of a flowchart, the one with its start first; one where all of it fits.

    `fits` tells whether the figure of a part has room. A question with its own findings is a part
    even where it has none: it cannot be cut.
    """
    return _Cutting(shaper, fits).done()


class _Cutting:
    def __init__(self, shaper: Shaper, fits: Callable[[Part, Figure], bool]) -> None:
        self.shaper = shaper
        self.fits = fits
        sketch = shaper.sketch
        self.ways = [tuple(answer.to for answer in entry.answers) for entry in sketch.entries]
        self.place = {step: number for number, step in enumerate(sketch.order)}
        self.reached = reached(sketch)
        self.into: dict[int, set[int]] = {step: set() for step in self.reached}
        for step in self.reached:
            for target in self.ways[step]:
                self.into[target].add(step)
        self.placed: set[int] = set()

    def done(self) -> list[Part]:
        start = self.shaper.sketch.start
        made: list[Part] = []
        roots = {start}
        while roots:
            root = min(roots, key=self.place.__getitem__)
            roots.remove(root)
            steps = self._grown(root)
            made.append(Part(root, frozenset(steps)))
            self.placed |= {step for step in steps if self.ways[step]}
            for step in steps:
                roots |= {to for to in self.ways[step] if self.ways[to] and to not in self.placed}
        return made

    def _grown(self, root: int) -> set[int]:
        """Return the steps of the part under `root`: as many questions as there is room for."""
        steps = self._unit(root)
        refused: set[int] = set()
        while True:
            # A step that another part leads to as well is the beginning of a part of its own.
            edge = {
                to
                for step in steps
                for to in self.ways[step]
                if self.ways[to]
                and to not in steps
                and to not in refused
                and to not in self.placed
                and self.into[to] <= steps
            }
            if not edge:
                return steps
            step = min(edge, key=self.place.__getitem__)
            tried = steps | self._unit(step)
            figure = self.shaper.figure(tried, root)
            if self.fits(Part(root, frozenset(tried)), figure):
                steps = tried
            else:
                refused.add(step)

    def _unit(self, step: int) -> set[int]:
        return {step, *(target for target in self.ways[step] if not self.ways[target])}


def reached(sketch: Sketch) -> set[int]:
    """Return the steps that the flowchart shows: those that its start leads to."""
    found, stack = {sketch.start}, [sketch.start]
    while stack:
        for answer in sketch.entries[stack.pop()].answers:
            if answer.to not in found:
                found.add(answer.to)
                stack.append(answer.to)
    return found
