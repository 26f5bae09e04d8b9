"""A symptom tree as a flowchart: shapes and arrows, every text broken into lines that fit.

Plain data; nothing is drawn here. A figure is the whole tree or one part of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnose.paper.marks import Kind
from diagnose.paper.wrap import HALF, POINTED, STRAIGHT, Fit, boxed, fitted, lines

if TYPE_CHECKING:
    from collections.abc import Collection

    from diagnose.paper.sketch import Entry, Sketch
    from diagnose.paper.wrap import Metrics


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One shape: `name` is its own in the flowchart, `step` the id of the step it belongs to.

    For a connector `step` is where it leads to, "" at the one that a part begins with.
    """

    name: str
    kind: Kind
    step: str
    lines: tuple[str, ...]
    width: float
    height: float
    signal: str = ""
    walked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrow:
    """One arrow between two shapes; `answer` is the answer's own text, "" between a step's own.

    `rows` is how many rows further down its target stands, at least.
    """

    source: str
    target: str
    answer: str = ""
    lines: tuple[str, ...] = ()
    passing: bool = False
    walked: int = 0
    rows: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A flowchart, or one part of it, ready to be laid out."""

    symptom: str
    shapes: tuple[Shape, ...]
    arrows: tuple[Arrow, ...]


#: How wide an answer may be before it is broken, a finding's text, and the line of a caution.
_ANSWER_ROOM, _FINDING_ROOM, _CAUTION_ROOM = 92.0, 150.0, 235.0

#: What an outline takes of a shape besides its words: bars at the sides, a wave, a second line.
_OUTLINE = {
    Kind.DOORWAY: (12.0, 0.0),
    Kind.SERVICE: (0.0, 10.0),
    Kind.BATTERY_TRAINED: (6.0, 6.0),
}

#: A connector's diameter: room for a number and a page.
_CIRCLE = 34.0

#: What the causes of one question take of a row, side by side, where nothing asks for less.
ROW_ROOM = 620.0


class Shaper:
    """Makes figures of one sketch: every shape is fitted to its text once."""

    def __init__(self, sketch: Sketch, metrics: Metrics) -> None:
        self.sketch = sketch
        self.metrics = metrics
        self._made: dict[int, tuple[Shape, ...]] = {}
        self._answers: dict[str, tuple[str, ...]] = {}

    def figure(self, steps: Collection[int], root: int, row_room: float = ROW_ROOM) -> Figure:
        """Return the figure of some steps, all of them reached from `root`.

        The causes of one question take at most `row_room` of a row; more stand in further rows.

        The start stands under the symptom, any other root under a connector with its number. An
        answer that leads out of the steps ends at a connector with the number that it leads to.
        """
        entries = self.sketch.entries
        head = self._head() if root == self.sketch.start else _circle("in", "", root)
        shapes = [head]
        arrows = [Arrow(source=head.name, target=self.shapes(root)[0].name, passing=True)]
        for number in sorted(steps):
            own = self.shapes(number)
            shapes += own
            if len(own) > 1:
                arrows.append(
                    Arrow(
                        source=own[0].name,
                        target=own[1].name,
                        passing=True,
                        walked=int(entries[number].walked),
                    )
                )
            row, used = 1, 0.0
            for which, answer in enumerate(entries[number].answers):
                if answer.to in steps:
                    following = self.shapes(answer.to)
                    target = following[0].name
                else:
                    name, step = f"x{number}_{which}", entries[answer.to].id
                    following = (_circle(name, step, answer.to),)
                    shapes += following
                    target = following[0].name
                if not entries[answer.to].answers:
                    used += max(shape.width for shape in following)
                    if used > row_room:
                        row, used = row + 1, max(shape.width for shape in following)
                arrows.append(
                    Arrow(
                        source=own[-1].name,
                        target=target,
                        answer=answer.text,
                        lines=self._broken(answer.text, answer.limit),
                        passing=answer.passing,
                        walked=answer.walked,
                        rows=1 if entries[answer.to].answers else row,
                    )
                )
        return Figure(symptom=self.sketch.symptom, shapes=tuple(shapes), arrows=tuple(arrows))

    def shapes(self, number: int) -> tuple[Shape, ...]:
        """Return the shapes of one step: its cautions' shape where it calls some, then its own."""
        if number not in self._made:
            entry = self.sketch.entries[number]
            cautions = (self._cautions(number, entry),) if entry.cautions else ()
            self._made[number] = (*cautions, self._own(number, entry))
        return self._made[number]

    def _own(self, number: int, entry: Entry) -> Shape:
        fit = self._fit(entry)
        return Shape(
            name=f"n{number}",
            kind=entry.kind,
            step=entry.id,
            lines=fit.lines,
            width=fit.width,
            height=fit.height,
            walked=entry.walked,
        )

    def _fit(self, entry: Entry) -> Fit:
        if entry.kind is Kind.CHECK:
            return fitted(self.metrics, entry.texts, taper=POINTED, aspect=2.6)
        if entry.kind is Kind.READING:
            fit = fitted(self.metrics, entry.texts, taper=STRAIGHT, aspect=4.0, widest=170.0)
            # Its sides lean by a tenth of its width: what is straight fits into the rest.
            return Fit(fit.lines, fit.width / 0.82, fit.height)
        fit = boxed(self.metrics, entry.texts, _FINDING_ROOM)
        wide, high = _OUTLINE.get(entry.kind, (0.0, 0.0))
        return Fit(fit.lines, fit.width + wide, fit.height + high)

    def _cautions(self, number: int, entry: Entry) -> Shape:
        texts = [self.sketch.cautions[name] for name in entry.cautions]
        fit = fitted(self.metrics, texts, taper=HALF, aspect=7.0, widest=_CAUTION_ROOM, pad=3.0)
        return Shape(
            name=f"c{number}",
            kind=Kind.CAUTION,
            step=entry.id,
            lines=fit.lines,
            width=fit.width,
            height=fit.height,
            signal=entry.signal,
        )

    def _broken(self, answer: str, limit: str) -> tuple[str, ...]:
        for text in (answer, limit):
            if text and text not in self._answers:
                self._answers[text] = tuple(lines(self.metrics, text, _ANSWER_ROOM))
        return self._answers[answer] + (self._answers[limit] if limit else ())

    def _head(self) -> Shape:
        fit = boxed(self.metrics, self.sketch.head, 220.0, pad=9.0)
        return Shape(
            name="start",
            kind=Kind.START,
            step="",
            lines=fit.lines,
            width=fit.width,
            height=fit.height,
        )


def _circle(name: str, step: str, number: int) -> Shape:
    return Shape(
        name=name,
        kind=Kind.CONNECTOR,
        step=step,
        lines=(f"{number + 1}",),
        width=_CIRCLE,
        height=_CIRCLE,
    )
