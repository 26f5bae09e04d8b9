"""The rows of a wall chart: each question a row, its causes beside it.

A row reads down on the left (connector, cautions, what to do, the question) and to the right (an
edge for each other answer). Rows follow one another down a column; where the next row is not the
one that an answer leads to, a connector with the step's number takes its place. Here are the rows'
order and their nodes; `wall_column` puts them in place.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Final

from diagnose.paper.flowchart import connector, node_around, slanted
from diagnose.paper.node_styles import SIGNALS, NodeKind
from diagnose.paper.outlines import BAR
from diagnose.paper.wall_column import CIRCLE, Branch, Column, QuestionRow
from diagnose.paper.wrap import HALF, POINTED, STRAIGHT, FittedText, boxed, fitted

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.paper.flowchart import Node
    from diagnose.paper.flowchart_text import AnswerText, FlowchartText, StepText
    from diagnose.paper.wrap import FontMetrics

#: How a row's width is shared: question and answers; the causes get the rest.
_QUESTION, _ANSWER = 0.46, 0.2

#: What an outline takes of a cause's width, inside or outside its sides, and of its height.
_ROOM_TAKEN: Final = {NodeKind.DOORWAY: 4 * BAR, NodeKind.BATTERY_TRAINED: 4 * BAR}
_HEIGHT_TAKEN: Final = {NodeKind.SERVICE: 8.0, NodeKind.BATTERY_TRAINED: 6.0}

#: A row narrower than this would break every second word, a wider one would waste paper.
NARROWEST: Final = 300.0
WIDEST: Final = 440.0


class RowBuilder:
    """Makes the rows of one flowchart, all of one width.

    `codes` has the short line for each caution by its id.
    """

    def __init__(
        self, text: FlowchartText, metrics: FontMetrics, codes: Mapping[str, str], width: float
    ) -> None:
        self.text = text
        self.metrics = metrics
        self.codes = codes
        self.question = width * _QUESTION
        self.answer = width * _ANSWER
        self.cause = width - self.question - self.answer

    def columns(self, height: float) -> list[Column] | None:
        """Return the rows in columns of this height, None where one row alone is higher."""
        empty = Column(question=self.question, answer=self.answer, cause=self.cause)
        columns = [empty]
        for step in self.order:
            row = self.row(step)
            grown = columns[-1].with_row(row)
            if grown.height > height and columns[-1].nodes:
                columns[-1] = columns[-1].closed()
                columns.append(empty)
                grown = empty.with_row(row)
            if grown.height > height:
                return None
            columns[-1] = grown
        columns[-1] = columns[-1].closed()
        return columns

    @cached_property
    def order(self) -> list[int]:
        """The questions in the order of their rows: along passing answers as far as they go."""
        text = self.text
        wanted = {step for step in text.reached() if text.steps[step].answers}
        place = {step: number for number, step in enumerate(text.order)}
        order: list[int] = []
        waiting = {text.start}
        following: list[int] = []
        while waiting:
            step = following[0] if following else min(waiting, key=place.__getitem__)
            order.append(step)
            answers = sorted(text.steps[step].answers, key=lambda one: not one.passing)
            following = [one.to for one in answers if one.to in wanted and one.to not in order]
            waiting = (waiting | set(following)) - {step}
        return order

    def row(self, number: int) -> QuestionRow:
        """Return the nodes and words of one row."""
        step = self.text.steps[number]
        place = self.order.index(number)
        following = self.order[place + 1] if place + 1 < len(self.order) else None
        branches = [self._branch(number, which, one) for which, one in enumerate(step.answers)]
        down = next((branch for branch in branches if branch.answer.to == following), None)
        head = None
        if number == self.text.start:
            fit = boxed(self.metrics, self.text.head, self.question - 16, pad=6.0)
            head = node_around(fit, "start", NodeKind.START, "")
        return QuestionRow(
            number=number,
            head=head,
            connector=connector(f"in{number}", "", number, CIRCLE),
            joined=self._joined(number, place),
            nodes=(*self._cautions(f"{number}", step, self.question), *self._asked(number, step)),
            down=down,
            right=tuple(branch for branch in branches if branch is not down),
        )

    def _joined(self, number: int, place: int) -> bool:
        """Whether more leads to a step than the edge down from the row above it."""
        leading = [
            step
            for step in self.order
            for answer in self.text.steps[step].answers
            if answer.to == number
        ]
        return place > 0 and leading != [self.order[place - 1]]

    def _asked(self, number: int, step: StepText) -> list[Node]:
        """Return what to do, where that stands apart, and the question."""
        nodes = []
        head, *texts = step.texts
        if step.action:
            fit = boxed(self.metrics, [f"{head} · {step.action}"], self.question - 4, pad=2.5)
            nodes.append(node_around(fit, f"d{number}", NodeKind.ACTION, step.id))
        else:
            texts[0] = f"{head}: {texts[0]}" if "·" in head else f"{head} {texts[0]}"
        if step.kind is NodeKind.CHECK:
            fit = fitted(
                self.metrics, texts, taper=POINTED, aspect=4.0, widest=self.question, pad=3.0
            )
        else:
            room = self.question * 0.8
            fit = slanted(
                fitted(self.metrics, texts, taper=STRAIGHT, aspect=6.0, widest=room, pad=2.0)
            )
        return [*nodes, node_around(fit, f"n{number}", step.kind, step.id)]

    def _branch(self, number: int, which: int, answer: AnswerText) -> Branch:
        target = self.text.steps[answer.to]
        nodes: tuple[Node, ...] = ()
        if not target.answers:
            # A cause that several answers lead to is drawn at each of them.
            own = f"{answer.to}_{number}_{which}"
            nodes = (*self._cautions(own, target, self.cause), self._cause(f"n{own}", target))
        return Branch(
            answer=answer,
            beside=self._words(answer, self.answer - 6),
            narrow=self._words(answer, self.question / 2 - 6),
            wide=self._words(answer, self.question),
            nodes=nodes,
            connector=connector(f"x{number}_{which}", target.id, answer.to, CIRCLE),
        )

    def _words(self, answer: AnswerText, room: float) -> FittedText:
        return boxed(self.metrics, [*filter(None, (answer.text, answer.limit))], room, pad=0.0)

    def _cause(self, name: str, step: StepText) -> Node:
        head, first, *rest = step.texts
        room = self.cause - _ROOM_TAKEN.get(step.kind, 5.0)
        fit = boxed(self.metrics, [f"{head}: {first}", *rest], room, pad=2.5)
        height = fit.height + _HEIGHT_TAKEN.get(step.kind, 0.0)
        return node_around(FittedText(fit.lines, self.cause, height), name, step.kind, step.id)

    def _cautions(self, name: str, step: StepText, room: float) -> list[Node]:
        """Return the cautions of a step, two to a hexagon: more would make it as high as wide."""
        nodes = []
        for first in range(0, len(step.cautions), 2):
            texts = [self.codes[one] for one in step.cautions[first : first + 2]]
            fit = fitted(self.metrics, texts, taper=HALF, aspect=9.0, widest=room, pad=1.0)
            signal = next(word for word in SIGNALS if any(word in text for text in texts))
            own = f"c{name}_{first}" if first else f"c{name}"
            nodes.append(node_around(fit, own, NodeKind.CAUTION, step.id, signal=signal))
        return nodes
