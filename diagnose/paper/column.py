"""A column of a wall chart: rows of questions in place, their causes beside them.

Questions and causes fill two tracks, each from the top down. A cause may stand lower than its
question, even beside the next one, but never so low that the arrows of the two would meet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from diagnose.paper.diagram import Arrow
from diagnose.paper.marks import Kind
from diagnose.paper.sheet import Box, Route
from diagnose.paper.wrap import LEADING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.paper.diagram import Shape
    from diagnose.paper.sketch import Answer

#: A connector's diameter.
CIRCLE: Final = 22.0

#: Between two rows that do not lead on; between shapes; an arrow's head; right of the question,
#: where the arrows turn; between two arrows that must not meet.
_BETWEEN, _GAP, _HEAD, _TURN, _APART = 8.0, 5.5, 4.5, 3.0, 6.0


#: How far left of the flow a connector joins it.
_JOIN: Final = 9.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One answer: its words beside the question or on an arrow down, and what it leads to.

    `narrow` words fit beside other answers, `wide` ones below them; `widths` are those of both.
    `shapes` are a cause's own; where there are none, the `circle` leads on.
    """

    to: int
    answer: Answer
    beside: tuple[str, ...]
    narrow: tuple[str, ...]
    wide: tuple[str, ...]
    widths: tuple[float, ...]
    shapes: tuple[Shape, ...]
    circle: Shape

    def arrow(self, source: Shape, target: Shape, words: tuple[str, ...]) -> Arrow:
        """Return the answer's arrow."""
        return Arrow(
            source=source.name,
            target=target.name,
            answer=self.answer.text,
            lines=words,
            passing=self.answer.passing,
            walked=self.answer.walked,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One question: its shapes from the top down, the answer that goes on downwards, the others.

    `head` is the symptom, at the first row only; `circle` stands above where no row leads here, and
    beside the arrow from the row above where others lead here too (`joined`).
    """

    number: int
    head: Shape | None
    circle: Shape
    joined: bool
    shapes: tuple[Shape, ...]
    down: Way | None
    right: tuple[Way, ...]


@dataclass(frozen=True, slots=True)
class _Pending:
    """An arrow down whose target is not in place yet."""

    way: Way
    source: Shape
    words: tuple[str, ...]
    widest: float
    start: float
    end: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """Rows in place, counted from the column's left top corner, y growing downwards.

    `left` and `right` are where the two tracks end; `turned` is the lowest place of an arrow that
    turns to a cause, and `corner` the last question's own height.
    """

    question: float
    answer: float
    cause: float
    shapes: tuple[tuple[Shape, Box], ...] = ()
    arrows: tuple[tuple[Arrow, Route], ...] = ()
    left: float = 0.0
    right: float = 0.0
    turned: float = 0.0
    corner: float = 0.0
    pending: _Pending | None = None

    @property
    def height(self) -> float:
        """The height that the column has once it is closed."""
        foot = self.left if self.pending is None else self.pending.end + CIRCLE
        return max(foot, self.right)

    def with_row(self, row: Row) -> Column:
        """Return the column with one more row."""
        work = _Work(self)
        work.add(row)
        return work.column()

    def closed(self) -> Column:
        """Return the column at its end: an arrow that still leads on ends in a connector."""
        if self.pending is None:
            return self
        work = _Work(self)
        work.lead_to(self.pending.way.circle)
        return work.column()


class _Work:
    """One row being added to a column."""

    def __init__(self, column: Column) -> None:
        self.before = column
        self.shapes = list(column.shapes)
        self.arrows = list(column.arrows)
        self.left = column.left
        self.right = column.right
        self.turned = column.turned
        self.corner = column.corner
        self.pending = column.pending
        self.middle = column.question / 2

    def column(self) -> Column:
        return replace(
            self.before,
            shapes=tuple(self.shapes),
            arrows=tuple(self.arrows),
            left=self.left,
            right=self.right,
            turned=self.turned,
            corner=self.corner,
            pending=self.pending,
        )

    def add(self, row: Row) -> None:
        chain = [*row.shapes]
        follows = self.pending is not None and self.pending.way.to == row.number
        if row.head is not None:
            chain.insert(0, row.head)
        elif not follows:
            chain.insert(0, row.circle)
        above = sum(shape.height + _GAP for shape in chain[:-1]) + chain[-1].height / 2
        top = self.pending.end if follows and self.pending else self.left
        if not follows and self.shapes:
            top += _BETWEEN
        if row.right:
            # Its arrows turn below those of the row before.
            top = max(top, self.turned + _APART - above)
        if follows and self.pending is not None:
            if row.joined:
                top = max(top, self.pending.start + CIRCLE + _HEAD + 2)
                self._join(row.circle, chain[0], top)
            self.pending = replace(self.pending, end=top)
            self.lead_to(chain[0], place=False)
        boxes = self._stack(chain, self.middle, top)
        question, at = chain[-1], boxes[-1]
        self.left = at.y + at.height / 2
        if row.right:
            start = top
            if self.corner:
                start = max(start, self.corner + _APART)
            if self.right:
                start = max(start, self.right + _GAP)
            self._to_the_right(row.right, question, at, start)
            self.corner = at.y
        if row.down is not None:
            self._downwards(row.down, question)

    def _join(self, circle: Shape, target: Shape, top: float) -> None:
        """Let a connector join the flow from the left, above a shape whose top is given."""
        y = top - _HEAD - 2 - CIRCLE / 2
        box = Box(CIRCLE / 2, y, circle.width, circle.height)
        self.shapes.append((circle, box))
        turn = self.middle - _JOIN
        points = [(box.x + CIRCLE / 2, y), (turn, y), (turn, top)]
        self.arrows.append((Arrow(source=circle.name, target=target.name), _route(points, None)))

    def lead_to(self, target: Shape, *, place: bool = True) -> None:
        """End the arrow that is pending at a shape, placed there if it is not yet."""
        pending = self.pending
        assert pending is not None
        arrow = pending.way.arrow(pending.source, target, pending.words)
        points = [(self.middle, pending.start), (self.middle, pending.end)]
        half = len(pending.words) * LEADING / 2
        words = (self.middle + pending.widest / 2 + 4, pending.end - half - _HEAD - 2)
        self.arrows.append((arrow, _route(points, words)))
        if place:
            self._stack([target], self.middle, pending.end)
            self.left = pending.end + target.height
        self.pending = None

    def _downwards(self, way: Way, question: Shape) -> None:
        start = self.left
        count = len(way.narrow)
        # Beside the other answers there is half a track for the words, below them a whole row.
        narrow = start + count * LEADING + _HEAD + 3
        wide = max(start, self.right) + len(way.wide) * LEADING + _HEAD + 3
        words, end, widths = way.narrow, narrow, way.widths[:count]
        if wide < narrow:
            words, end, widths = way.wide, wide, way.widths[count:]
        self.pending = _Pending(way, question, words, max(widths), start, end)
        self.left = end

    def _to_the_right(self, ways: Sequence[Way], question: Shape, at: Box, start: float) -> None:
        lean = 0.92 if question.kind is Kind.READING else 1.0
        corner = (at.x + at.width / 2 * lean, at.y)
        turn = self.before.question + _TURN
        left = self.before.question + self.before.answer
        top = start
        for way in ways:
            shapes = list(way.shapes) or [way.circle]
            line = top + len(way.beside) * LEADING + 3
            first = shapes[0]
            if first.kind in (Kind.CAUTION, Kind.CONNECTOR):
                first_top = max(top, line - first.height / 2)
                meet = first_top + first.height / 2
            else:
                # The words stand above the line; the cause begins beside them.
                first_top = max(top, line + 6 - first.height)
                meet = line
            middle = left + (CIRCLE if first.kind is Kind.CONNECTOR else self.before.cause) / 2
            boxes = self._stack(shapes, middle, first_top)
            edge = middle - boxes[0].width / 2
            points = [corner, (turn, corner[1]), (turn, meet), (edge, meet)]
            if abs(meet - corner[1]) < 0.5:
                points = [corner, (edge, meet)]
            half = len(way.beside) * LEADING / 2
            words = ((turn + left) / 2 + 1, meet - half - 2)
            self.arrows.append((way.arrow(question, first, way.beside), _route(points, words)))
            self.turned = max(meet, corner[1])
            bottom = boxes[-1].y + boxes[-1].height / 2
            self.right = max(line + 3, bottom)
            top = self.right + _GAP * 0.7

    def _stack(self, shapes: Sequence[Shape], middle: float, top: float) -> list[Box]:
        boxes = []
        for shape in shapes:
            boxes.append(Box(middle, top + shape.height / 2, shape.width, shape.height))
            top += shape.height + _GAP
        placed = list(zip(shapes, boxes, strict=True))
        self.shapes += placed
        for (above, one), (below, other) in pairwise(placed):
            points = [(middle, one.y + one.height / 2), (middle, other.y - other.height / 2)]
            arrow = Arrow(source=above.name, target=below.name)
            self.arrows.append((arrow, _route(points, None)))
        return boxes


def _route(points: Sequence[tuple[float, float]], words: tuple[float, float] | None) -> Route:
    """Return straight lines as a curve that ends in an arrow's head."""
    *_, (x0, y0), (x1, y1) = points
    length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5 or 1.0
    head = min(_HEAD, length)
    base = (x1 - (x1 - x0) / length * head, y1 - (y1 - y0) / length * head)
    corners = [*points[:-1], base]
    curve = [corners[0]]
    for before, after in pairwise(corners):
        curve += [before, after, after]
    return Route(tuple(curve), points[-1], words)
