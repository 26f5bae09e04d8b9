"""The route that a case took through its trees, read from its events."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.case.walk import ANSWER
from diagnose.files import replies
from diagnose.log.account import not_withdrawn
from diagnose.log.events import MOVES, Opened, Replied

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.case.state import Trace
    from diagnose.log.protocol import LoggedEvent

_PASSED: Final = "case: passed over"

#: What a reply says of its step, besides an answer.
_SAID: Final = {
    replies.UNSURE: "not sure",
    replies.CANNOT: "cannot",
    replies.NOT_CURED: "not cured",
    replies.NOT_IT: "not it",
    replies.KEEP_LOOKING: "set aside",
}


class Route(Struct):
    """What a case did in one tree.

    `steps` has, for a step that was shown or passed over, what stands there; `answers` the answers
    given, counted from 1. Both count through all trees of the case. `said` has what was replied at
    a step besides an answer, and where *back* took a reply away.
    """

    steps: dict[str, str] = {}
    answers: dict[tuple[str, str], int] = {}
    said: dict[str, list[str]] = {}

    def words(self, step: str) -> str:
        """Return all that stands at a step."""
        return ", ".join([self.steps[step], *dict.fromkeys(self.said.get(step, ()))])


def routes_of(events: Sequence[LoggedEvent]) -> dict[str, Route]:
    """Return the route of a case in each tree that it came to, in that order; none of a round.

    An answer that *back* withdrew is no part of it; that it was, is said at its step.
    """
    first = events[0].event
    if not isinstance(first, Opened):
        return {}
    routes = _Routes({first.symptom: Route()})
    routes.follow(first.trail)
    counting = not_withdrawn(events)
    for logged in counting:
        event = logged.event
        assert isinstance(event, Replied)
        routes.come_to(event.symptom, event.step)
        if event.reply in _SAID:
            routes.say(event.symptom, event.step, _SAID[event.reply])
        if event.reply == ANSWER:
            answers = routes.by_symptom[event.symptom].answers
            answers.setdefault((event.step, event.answer), routes.count)
        routes.follow(event.trail)
    resting = [
        trace
        for logged in events
        for trace in logged.event.trail
        if trace.what == "rests" and trace.step
    ]
    if resting:
        routes.come_to(resting[-1].symptom, resting[-1].step)
    routes.take_in_ends(events, {logged.number for logged in counting})
    return routes.by_symptom


class _Routes(Struct):
    by_symptom: dict[str, Route]
    count: int = 0

    def come_to(self, symptom: str, step: str) -> None:
        """Count a step that is shown for the first time."""
        steps = self.by_symptom.setdefault(symptom, Route()).steps
        if steps.get(step, _PASSED) == _PASSED:
            self.count += 1
            steps[step] = f"case: {self.count}"

    def say(self, symptom: str, step: str, words: str) -> None:
        """Keep what was replied at a step that is on the route."""
        route = self.by_symptom.get(symptom)
        if route is not None and step in route.steps:
            route.said.setdefault(step, []).append(words)

    def take_in_ends(self, events: Sequence[LoggedEvent], standing: set[int]) -> None:
        """Say what was cured, and where a reply stood no longer."""
        for logged in events:
            event = logged.event
            if not isinstance(event, Replied):
                continue
            if event.reply == replies.CURED:
                self.say(event.symptom, event.step, replies.CURED)
            elif event.reply in MOVES and logged.number not in standing:
                self.say(event.symptom, event.step, replies.BACK)

    def follow(self, trail: Sequence[Trace]) -> None:
        """Take in what followed from an event."""
        for trace in trail:
            if trace.what == "passed":
                steps = self.by_symptom.setdefault(trace.symptom, Route()).steps
                steps.setdefault(trace.step, _PASSED)
            elif trace.what == "entered":
                self.come_to(trace.symptom, trace.step)
