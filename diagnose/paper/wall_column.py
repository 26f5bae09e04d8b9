"""A column of a wall chart: rows of questions in place, their causes beside them.

Questions and causes fill two tracks, each from the top down. A cause may stand lower than its
question, even beside the next one, but never so low that the edges of the two would meet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from diagnose.paper.flowchart import Edge
from diagnose.paper.layout import Box, Spline
from diagnose.paper.node_styles import NodeKind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.paper.flowchart import Node
    from diagnose.paper.flowchart_text import AnswerText
    from diagnose.paper.layout import Point
    from diagnose.paper.wrap import FittedText

#: A connector's diameter.
CIRCLE: Final = 22.0

#: Between two rows that do not lead on; between nodes; an arrow's head; right of the question,
#: where the edges turn; between two edges that must not meet.
_BETWEEN, _GAP, _HEAD, _TURN, _APART = 8.0, 5.5, 4.5, 3.0, 6.0

#: How far left of the flow a connector joins it.
_JOIN: Final = 9.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """One answer: its words beside the question or on an edge down, and what it leads to.

    `narrow` words fit beside other answers, `wide` ones below them. `nodes` are a cause's own;
    where there are none, the `connector` leads on.
    """

    answer: AnswerText
    beside: FittedText
    narrow: FittedText
    wide: FittedText
    nodes: tuple[Node, ...]
    connector: Node

    def edge(self, source: Node, target: Node, words: FittedText) -> Edge:
        """Return the answer's edge."""
        return Edge(
            source=source.name,
            target=target.name,
            answer=self.answer.text,
            lines=words.lines,
            passing=self.answer.passing,
            walked=self.answer.walked,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class QuestionRow:
    """One question: its nodes from the top down, the answer that goes on downwards, the others.

    `head` is the symptom, at the first row only; the `connector` stands above where no row leads
    here, and beside the edge from the row above where others lead here too (`joined`).
    """

    number: int
    head: Node | None
    connector: Node
    joined: bool
    nodes: tuple[Node, ...]
    down: Branch | None
    right: tuple[Branch, ...]


@dataclass(frozen=True, slots=True)
class _OpenEdge:
    """An edge down whose target is not in place yet."""

    branch: Branch
    source: Node
    words: FittedText
    start: float
    end: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """Rows in place, counted from the column's left top corner, y growing downwards.

    `left` and `right` are where the two tracks end; `turned` is the lowest place of an edge that
    turns to a cause, and `corner` the last question's own height.
    """

    question: float
    answer: float
    cause: float
    nodes: tuple[tuple[Node, Box], ...] = ()
    edges: tuple[tuple[Edge, Spline], ...] = ()
    left: float = 0.0
    right: float = 0.0
    turned: float = 0.0
    corner: float = 0.0
    open_edge: _OpenEdge | None = None

    @property
    def height(self) -> float:
        """The height that the column has once it is closed."""
        foot = self.left if self.open_edge is None else self.open_edge.end + CIRCLE
        return max(foot, self.right)

    def with_row(self, row: QuestionRow) -> Column:
        """Return the column with one more row."""
        builder = _ColumnBuilder(self)
        builder.add(row)
        return builder.column()

    def closed(self) -> Column:
        """Return the column at its end: an edge that still leads on ends in a connector."""
        if self.open_edge is None:
            return self
        builder = _ColumnBuilder(self)
        builder.end_in_connector(self.open_edge)
        return builder.column()


class _ColumnBuilder:
    """One row being added to a column."""

    def __init__(self, column: Column) -> None:
        self.before = column
        self.nodes = list(column.nodes)
        self.edges = list(column.edges)
        self.left = column.left
        self.right = column.right
        self.turned = column.turned
        self.corner = column.corner
        self.open_edge = column.open_edge
        self.middle = column.question / 2

    def column(self) -> Column:
        return replace(
            self.before,
            nodes=tuple(self.nodes),
            edges=tuple(self.edges),
            left=self.left,
            right=self.right,
            turned=self.turned,
            corner=self.corner,
            open_edge=self.open_edge,
        )

    def add(self, row: QuestionRow) -> None:
        leading = (
            self.open_edge
            if self.open_edge and self.open_edge.branch.answer.to == row.number
            else None
        )
        first = row.head or (None if leading else row.connector)
        chain = [first, *row.nodes] if first else [*row.nodes]
        top = self._top(row, chain, leading)
        if leading is not None:
            if row.joined:
                self._join(row.connector, chain[0], top)
            self._end(replace(leading, end=top), chain[0])
        question, at = chain[-1], self._stack(chain, self.middle, top)[-1]
        self.left = at.y + at.height / 2
        if row.right:
            self._to_the_right(row.right, question, at, top)
            self.corner = at.y
        if row.down is not None:
            self._downwards(row.down, question)

    def _top(self, row: QuestionRow, chain: Sequence[Node], leading: _OpenEdge | None) -> float:
        """Return how high the chain of a row may begin; `leading` is the edge that ends there."""
        top = leading.end if leading else self.left + (_BETWEEN if self.nodes else 0.0)
        if row.right:
            # Its edges turn below those of the row before.
            above = sum(node.height + _GAP for node in chain[:-1]) + chain[-1].height / 2
            top = max(top, self.turned + _APART - above)
        if leading and row.joined:
            top = max(top, leading.start + CIRCLE + _HEAD + 2)
        return top

    def _join(self, connector: Node, target: Node, top: float) -> None:
        """Let a connector join the flow from the left, above a node whose top is given."""
        y = top - _HEAD - 2 - CIRCLE / 2
        box = Box(CIRCLE / 2, y, connector.width, connector.height)
        self.nodes.append((connector, box))
        turn = self.middle - _JOIN
        points = [(box.x + CIRCLE / 2, y), (turn, y), (turn, top)]
        edge = Edge(source=connector.name, target=target.name)
        self.edges.append((edge, _spline(points)))

    def _end(self, edge: _OpenEdge, target: Node) -> None:
        """End an open edge at a node."""
        points = [(self.middle, edge.start), (self.middle, edge.end)]
        middle = (
            self.middle + edge.words.width / 2 + 4,
            edge.end - edge.words.height / 2 - _HEAD - 2,
        )
        ended = edge.branch.edge(edge.source, target, edge.words)
        self.edges.append((ended, _spline(points, middle)))
        self.open_edge = None

    def end_in_connector(self, edge: _OpenEdge) -> None:
        target = edge.branch.connector
        self._end(edge, target)
        self._stack([target], self.middle, edge.end)
        self.left = edge.end + target.height

    def _downwards(self, branch: Branch, question: Node) -> None:
        # Beside the other answers there is half a track for the words, below them a whole row.
        start = self.left
        narrow = start + branch.narrow.height + _HEAD + 3
        wide = max(start, self.right) + branch.wide.height + _HEAD + 3
        words, end = (branch.wide, wide) if wide < narrow else (branch.narrow, narrow)
        self.open_edge = _OpenEdge(branch, question, words, start, end)
        self.left = end

    def _to_the_right(
        self, branches: Sequence[Branch], question: Node, at: Box, top: float
    ) -> None:
        if self.corner:
            top = max(top, self.corner + _APART)
        if self.right:
            top = max(top, self.right + _GAP)
        lean = 0.92 if question.kind is NodeKind.READING else 1.0
        corner = (at.x + at.width / 2 * lean, at.y)
        turn = self.before.question + _TURN
        left = self.before.question + self.before.answer
        for branch in branches:
            nodes = branch.nodes or (branch.connector,)
            line = top + branch.beside.height + 3
            first_top, meet = _beside_words(nodes[0], top, line)
            round_ = nodes[0].kind is NodeKind.CONNECTOR
            middle = left + (CIRCLE if round_ else self.before.cause) / 2
            boxes = self._stack(nodes, middle, first_top)
            side = middle - boxes[0].width / 2
            points = [corner, (turn, corner[1]), (turn, meet), (side, meet)]
            if abs(meet - corner[1]) < 0.5:
                points = [corner, (side, meet)]
            words = ((turn + left) / 2 + 1, meet - branch.beside.height / 2 - 2)
            edge = branch.edge(question, nodes[0], branch.beside)
            self.edges.append((edge, _spline(points, words)))
            self.turned = max(meet, corner[1])
            self.right = max(line + 3, boxes[-1].y + boxes[-1].height / 2)
            top = self.right + _GAP * 0.7

    def _stack(self, nodes: Sequence[Node], middle: float, top: float) -> list[Box]:
        """Put nodes under one another, joined by edges; return where they stand."""
        boxes = []
        for node in nodes:
            boxes.append(Box(middle, top + node.height / 2, node.width, node.height))
            top += node.height + _GAP
        placed = list(zip(nodes, boxes, strict=True))
        self.nodes += placed
        for (above, one), (below, other) in pairwise(placed):
            points = [(middle, one.y + one.height / 2), (middle, other.y - other.height / 2)]
            self.edges.append((Edge(source=above.name, target=below.name), _spline(points)))
        return boxes


def _beside_words(first: Node, top: float, line: float) -> tuple[float, float]:
    """Return the top of a branch's first node, and where its edge, under the words, meets it."""
    if first.kind in (NodeKind.CAUTION, NodeKind.CONNECTOR):
        first_top = max(top, line - first.height / 2)
        return first_top, first_top + first.height / 2
    # The words stand above the line; the cause begins beside them.
    return max(top, line + 6 - first.height), line


def _spline(points: Sequence[Point], words: Point | None = None) -> Spline:
    """Return straight lines as a curve that ends in an arrow's head."""
    *_, (x0, y0), (x1, y1) = points
    length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5 or 1.0
    head = min(_HEAD, length)
    base = (x1 - (x1 - x0) / length * head, y1 - (y1 - y0) / length * head)
    corners = [*points[:-1], base]
    curve = [corners[0]]
    for before, after in pairwise(corners):
        curve += [before, after, after]
    return Spline(tuple(curve), points[-1], words)
