"""A symptom tree in strips, for one large sheet: each question a row, its causes beside it.

A row reads down on the left (connector, cautions, what to do, the question) and to the right (an
arrow for each other answer). Rows follow one another down a column; where the next row is not the
one that an answer leads to, a connector with the step's number takes its place. Here are the rows'
order and their shapes; `column` puts them in place.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

from diagnose.paper.column import CIRCLE, Column, Row, Way
from diagnose.paper.diagram import Shape
from diagnose.paper.ink import BAR
from diagnose.paper.marks import SIGNALS, Kind
from diagnose.paper.pages import reached
from diagnose.paper.wrap import HALF, POINTED, STRAIGHT, Fit, boxed, fitted, lines

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.paper.sketch import Answer, Entry, Sketch
    from diagnose.paper.wrap import Metrics

#: How a row's width is shared: question and answers; the causes get the rest.
_QUESTION, _ANSWER = 0.46, 0.2

#: What has something inside or outside its sides, and so less room for words.
_BARRED: Final = (Kind.DOORWAY, Kind.BATTERY_TRAINED)

#: A row narrower than this would break every second word, a wider one would waste paper.
NARROWEST: Final = 300.0
WIDEST: Final = 440.0


class Strips:
    """Makes the rows of one sketch, all of one width.

    `codes` has the short line for each caution by its id.
    """

    def __init__(
        self, sketch: Sketch, metrics: Metrics, codes: Mapping[str, str], width: float
    ) -> None:
        self.sketch = sketch
        self.metrics = metrics
        self.codes = codes
        self.question = width * _QUESTION
        self.answer = width * _ANSWER
        self.cause = width - self.question - self.answer
        self._rows: dict[int, Row] = {}

    def columns(self, height: float) -> list[Column] | None:
        """Return the rows in columns of this height, None where one row alone is higher."""
        columns = [self._empty()]
        for step in self.order:
            row = self.row(step)
            grown = columns[-1].with_row(row)
            if grown.height > height and columns[-1].shapes:
                columns[-1] = columns[-1].closed()
                columns.append(self._empty())
                grown = columns[-1].with_row(row)
            if grown.height > height:
                return None
            columns[-1] = grown
        columns[-1] = columns[-1].closed()
        return columns

    def _empty(self) -> Column:
        return Column(question=self.question, answer=self.answer, cause=self.cause)

    @cached_property
    def order(self) -> list[int]:
        """The questions in the order of their rows: along passing answers as far as they go."""
        sketch = self.sketch
        wanted = {step for step in reached(sketch) if sketch.entries[step].answers}
        place = {step: number for number, step in enumerate(sketch.order)}
        order: list[int] = []
        waiting = {sketch.start}
        while waiting:
            step = min(waiting, key=place.__getitem__)
            while True:
                order.append(step)
                waiting.discard(step)
                answers = sorted(sketch.entries[step].answers, key=lambda one: not one.passing)
                on = [one.to for one in answers if one.to in wanted and one.to not in order]
                waiting |= set(on)
                if not on:
                    break
                step = on[0]
        return order

    def row(self, number: int) -> Row:
        """Return the shapes and words of one row."""
        if number not in self._rows:
            self._rows[number] = self._row(number)
        return self._rows[number]

    def _row(self, number: int) -> Row:
        entry = self.sketch.entries[number]
        place = self.order.index(number)
        following = self.order[place + 1] if place + 1 < len(self.order) else None
        ways = [self._way(number, which, answer) for which, answer in enumerate(entry.answers)]
        down = next((way for way in ways if way.to == following), None)
        head = None
        if number == self.sketch.start:
            fit = boxed(self.metrics, self.sketch.head, self.question - 16, pad=6.0)
            head = _shape("start", Kind.START, "", fit)
        return Row(
            number=number,
            head=head,
            circle=circle(f"in{number}", "", number),
            joined=self._joined(number),
            shapes=tuple(self._question(number, entry)),
            down=down,
            right=tuple(way for way in ways if way is not down),
        )

    def _joined(self, number: int) -> bool:
        """Whether more leads to a step than the arrow down from the row above it."""
        leading = [
            step
            for step in self.order
            for answer in self.sketch.entries[step].answers
            if answer.to == number
        ]
        place = self.order.index(number)
        return leading != self.order[place - 1 : place] if place else False

    def _question(self, number: int, entry: Entry) -> list[Shape]:
        shapes = self._hexagons(f"{number}", entry, self.question)
        head, *texts = entry.texts
        if entry.action:
            fit = boxed(self.metrics, [f"{head} · {entry.action}"], self.question - 4, pad=2.5)
            shapes.append(_shape(f"d{number}", Kind.ACTION, entry.id, fit))
        else:
            texts[0] = f"{head}: {texts[0]}" if "·" in head else f"{head} {texts[0]}"
        if entry.kind is Kind.CHECK:
            fit = fitted(
                self.metrics, texts, taper=POINTED, aspect=4.0, widest=self.question, pad=3.0
            )
        else:
            room = self.question * 0.8
            fit = fitted(self.metrics, texts, taper=STRAIGHT, aspect=6.0, widest=room, pad=2.0)
            fit = Fit(fit.lines, fit.width / 0.82, fit.height)
        shapes.append(_shape(f"n{number}", entry.kind, entry.id, fit))
        return shapes

    def _way(self, number: int, which: int, answer: Answer) -> Way:
        target = self.sketch.entries[answer.to]
        shapes: list[Shape] = []
        if not target.answers:
            # A cause that several answers lead to is drawn at each of them.
            own = f"{answer.to}_{number}_{which}"
            shapes += self._hexagons(own, target, self.cause)
            shapes.append(replace(self._cause(target), name=f"n{own}"))
        return Way(
            to=answer.to,
            answer=answer,
            beside=self._words(answer, self.answer - 6),
            narrow=self._words(answer, self.question / 2 - 6),
            wide=self._words(answer, self.question),
            widths=tuple(
                self.metrics.width_of(line)
                for line in self._words(answer, self.question / 2 - 6)
                + self._words(answer, self.question)
            ),
            shapes=tuple(shapes),
            circle=circle(f"x{number}_{which}", target.id, answer.to),
        )

    def _words(self, answer: Answer, room: float) -> tuple[str, ...]:
        found = lines(self.metrics, answer.text, room)
        return tuple(found + (lines(self.metrics, answer.limit, room) if answer.limit else []))

    def _cause(self, entry: Entry) -> Shape:
        head, *rest = entry.texts
        room = self.cause - (4 * BAR if entry.kind in _BARRED else 5.0)
        fit = boxed(self.metrics, [f"{head}: {rest[0]}", *rest[1:]], room, pad=2.5)
        wave = 8.0 if entry.kind is Kind.SERVICE else 0.0
        double = 6.0 if entry.kind is Kind.BATTERY_TRAINED else 0.0
        shape = _shape("", entry.kind, entry.id, fit)
        return replace(shape, width=self.cause, height=fit.height + wave + double)

    def _hexagons(self, name: str, entry: Entry, room: float) -> list[Shape]:
        """Return the cautions of a step, two to a hexagon: more would make it as high as wide."""
        shapes = []
        for first in range(0, len(entry.cautions), 2):
            texts = [self.codes[one] for one in entry.cautions[first : first + 2]]
            fit = fitted(self.metrics, texts, taper=HALF, aspect=9.0, widest=room, pad=1.0)
            signal = next(word for word in SIGNALS if any(word in text for text in texts))
            shape = _shape(f"c{name}_{first}" if first else f"c{name}", Kind.CAUTION, entry.id, fit)
            shapes.append(replace(shape, signal=signal))
        return shapes


def _shape(name: str, kind: Kind, step: str, fit: Fit) -> Shape:
    return Shape(
        name=name, kind=kind, step=step, lines=fit.lines, width=fit.width, height=fit.height
    )


def circle(name: str, step: str, number: int) -> Shape:
    """Return the connector of a step, by its number from 0."""
    return _shape(name, Kind.CONNECTOR, step, Fit((f"{number + 1}",), CIRCLE, CIRCLE))
