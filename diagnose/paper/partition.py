"""A flowchart too large for its page, cut at steps into parts that are joined by connectors.

A part is a step with what follows it, up to the steps where other parts begin. Only questions
begin a part; a finding that two parts lead to stands in both. Sizes are estimated, since laying out
every attempt would take far longer than drawing: a rank is as high as its highest node, and as
wide as all its nodes together.
"""

from __future__ import annotations

from dataclasses import dataclass
from graphlib import TopologicalSorter
from typing import TYPE_CHECKING

from diagnose.paper.wrap import LEADING

if TYPE_CHECKING:
    from collections.abc import Callable

    from diagnose.paper.flowchart import Edge, Flowchart, FlowchartBuilder

#: What lies between two ranks, and between two nodes of one rank, in points.
_RANK_GAP, _NODE_GAP = 11.0, 10.0

#: A rank is seldom packed: nodes stand under what leads to them.
_SLACK = 1.12


@dataclass(frozen=True, slots=True)
class Part:
    """Steps that are drawn together, by number; `root` is the one that all of them follow."""

    root: int
    steps: frozenset[int]


def estimated_size(flowchart: Flowchart) -> tuple[float, float]:
    """Return about what a flowchart's width and height will be once it is laid out, in points."""
    rank = _ranks(flowchart)
    count = max(rank.values()) + 1
    heights, widths, gaps = [0.0] * count, [0.0] * count, [_RANK_GAP] * count
    for node in flowchart.nodes:
        at = rank[node.name]
        heights[at] = max(heights[at], node.height)
        widths[at] += node.width + _NODE_GAP
    for edge in flowchart.edges:
        at = rank[edge.target] - 1
        gaps[at] = max(gaps[at], _RANK_GAP + LEADING * len(edge.lines))
    return max(widths) * _SLACK, sum(heights) + sum(gaps[:-1])


def _ranks(flowchart: Flowchart) -> dict[str, int]:
    """Return the rank of each node, the longest way to it from a node that nothing leads to."""
    entering: dict[str, list[Edge]] = {node.name: [] for node in flowchart.nodes}
    for edge in flowchart.edges:
        entering[edge.target].append(edge)
    before = {name: [edge.source for edge in edges] for name, edges in entering.items()}
    rank: dict[str, int] = {}
    for name in TopologicalSorter(before).static_order():
        rank[name] = max((rank[edge.source] + edge.ranks for edge in entering[name]), default=0)
    return rank


def partition(builder: FlowchartBuilder, fits: Callable[[Part, Flowchart], bool]) -> list[Part]:
    """Return the parts of a flowchart, the one with its start first; one where all of it fits.

    `fits` tells whether the flowchart of a part has room. A question with its own findings is a
    part even where it has none: it cannot be cut.
    """
    return _Partition(builder, fits).made()


class _Partition:
    def __init__(self, builder: FlowchartBuilder, fits: Callable[[Part, Flowchart], bool]) -> None:
        self.builder = builder
        self.fits = fits
        text = builder.text
        self.ways = [tuple(answer.to for answer in step.answers) for step in text.steps]
        self.place = {step: number for number, step in enumerate(text.order)}
        reached = text.reached()
        self.into: dict[int, set[int]] = {step: set() for step in reached}
        for step in reached:
            for target in self.ways[step]:
                self.into[target].add(step)
        self.placed: set[int] = set()

    def made(self) -> list[Part]:
        parts: list[Part] = []
        roots = {self.builder.text.start}
        while roots:
            root = min(roots, key=self.place.__getitem__)
            steps = self._grown(root)
            parts.append(Part(root, frozenset(steps)))
            self.placed |= {step for step in steps if self.ways[step]}
            roots = (roots | self._questions_after(steps)) - self.placed
        return parts

    def _grown(self, root: int) -> set[int]:
        """Return the steps of the part under `root`: as many questions as there is room for."""
        steps = self._with_causes(root)
        refused: set[int] = set()
        while following := self._belonging(steps) - refused:
            step = min(following, key=self.place.__getitem__)
            tried = steps | self._with_causes(step)
            if self.fits(Part(root, frozenset(tried)), self.builder.flowchart(tried, root)):
                steps = tried
            else:
                refused.add(step)
        return steps

    def _belonging(self, steps: set[int]) -> set[int]:
        # A step that another part leads to as well is the beginning of a part of its own.
        following = self._questions_after(steps) - steps - self.placed
        return {to for to in following if self.into[to] <= steps}

    def _questions_after(self, steps: set[int]) -> set[int]:
        return {to for step in steps for to in self.ways[step] if self.ways[to]}

    def _with_causes(self, step: int) -> set[int]:
        return {step, *(target for target in self.ways[step] if not self.ways[target])}
