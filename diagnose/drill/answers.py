"""What a machine answers, told question by question: never two answers to the same look.

What looks at the same is told together. A line of the machine card has one value in all questions
about it, what does not apply to such a machine is not answered, and the room has one temperature.
"""

from __future__ import annotations

import re
from math import inf
from typing import TYPE_CHECKING, Final

from diagnose.drill.quantities import choices
from diagnose.files.tree import Question

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.study.ready import ReadyTree

_NUMBER: Final = r"(-?[0-9]+(?:\.[0-9]+)?)"
# An answer that says how warm it is: at most, at least, or between.
_DEGREES: Final = re.compile(
    rf"(?:under|below) {_NUMBER} °C|(?:over|above) {_NUMBER} °C|{_NUMBER} °C and more"
    rf"|{_NUMBER} to {_NUMBER} °C",
    re.IGNORECASE,
)


class Answers:
    """The answers of one machine, as far as they are told: by the number of the question.

    `room` is how warm the room can be by what was told, in °C.
    """

    def __init__(self, ready: ReadyTree) -> None:
        self.ready = ready
        self.truths = dict(ready.from_card)
        self.room = (-inf, inf)
        # By path of a card line: what a question about it was answered, and which of the words in
        # conditions can still be true.
        self._said: dict[str, str] = {}
        self._words: dict[str, frozenset[str]] = {}

    def agrees(self, step: int, answer: int) -> bool:
        """Whether an answer goes together with all that was told."""
        question = self._question(step)
        way = question.exits[answer]
        if self.truths.get(step, answer) != answer or not self._applies(way.applies_to):
            return False
        there = bool(way.applies_to) or self._applies(question.applies_to)
        if not there and answer != self.ready.plan.passing[step]:
            return False
        if self._said.get(question.from_card or "", way.answer) != way.answer:
            return False
        if not self._can_be(question.from_card, way.answer):
            return False
        low, high = self._warmth(way.answer)
        return low < high

    def tell(self, step: int, answer: int) -> None:
        """Take an answer as the truth, at all questions that look at the same."""
        plan = self.ready.plan
        for other, number in ((step, answer), *plan.twins.get((step, answer), ())):
            if other not in self.truths:
                self.truths[other] = number
                self._note(self._question(other), number, number == plan.passing[other])

    def follow(self, route: Sequence[tuple[int, int]]) -> bool:
        """Take all answers of a route. Returns whether they go together."""
        for step, answer in route:
            if not self.agrees(step, answer):
                return False
            self.tell(step, answer)
        return True

    def line(self, path: str) -> str | None:
        """Return a line of the machine card; of the battery's kind also what was told of it."""
        card = self.ready.card
        said = card.line(path) if card is not None else None
        words = self._words.get(path, frozenset())
        return next(iter(words)) if said is None and len(words) == 1 else said

    def _note(self, question: Question, answer: int, passing: bool) -> None:
        way = question.exits[answer]
        self._narrow(way.applies_to)
        # Such an answer is given by machines for which the rest of the question is none.
        if not passing and not way.applies_to:
            self._narrow(question.applies_to)
        if question.from_card is not None:
            self._said[question.from_card] = way.answer
            if way.answer.casefold() in self._known(question.from_card):
                self._narrow({question.from_card: (way.answer,)})
        self.room = self._warmth(way.answer)

    def _narrow(self, condition: Mapping[str, Sequence[str]]) -> None:
        for path, words in condition.items():
            self._words[path] = self._left(path, words)

    def _left(self, path: str, words: Sequence[str]) -> frozenset[str]:
        """Return which of some words can still be true of a line of the card."""
        folded = frozenset(word.casefold() for word in words)
        return folded & self._words.get(path, folded)

    def _applies(self, condition: Mapping[str, Sequence[str]]) -> bool:
        return all(self._left(path, words) for path, words in condition.items())

    def _can_be(self, path: str | None, answer: str) -> bool:
        """Whether a line of the card can say so; an answer that is no such word says nothing."""
        if path is None or answer.casefold() not in self._known(path):
            return True
        return bool(self._left(path, (answer,)))

    def _known(self, path: str) -> frozenset[str]:
        """Return the words for a line of the card: those of conditions and of measurements."""
        conditions = [
            part.applies_to
            for step in self.ready.steps
            if isinstance(step, Question)
            for part in (step, *step.exits)
        ]
        words = [word for one in conditions for word in one.get(path, ())]
        return frozenset(word.casefold() for word in (*words, *choices(path)))

    def _warmth(self, answer: str) -> tuple[float, float]:
        """Return how warm the room can be if an answer is true too."""
        low, high = self.room
        said = _DEGREES.search(answer)
        if said is None:
            return low, high
        under, over, least, start, end = said.groups()
        return (
            max(low, *(float(one) for one in (over, least, start) if one)) if not under else low,
            min(high, *(float(one) for one in (under, end) if one)) if under or end else high,
        )

    def _question(self, step: int) -> Question:
        question = self.ready.steps[step]
        assert isinstance(question, Question)
        return question
