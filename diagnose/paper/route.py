"""The route that a case took through its trees, read from its events."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from diagnose.case.interpret import ANSWER
from diagnose.case.replay import standing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(slots=True)
class Route:
    """What a case did in one tree.

    `steps` has, for a step that was shown or passed over, what stands there; `answers` the answers
    given, counted from 1. Both count through all trees of the case.
    """

    steps: dict[str, str] = field(default_factory=dict)
    answers: dict[tuple[str, str], int] = field(default_factory=dict)


def routes_of(events: Sequence[Mapping[str, Any]]) -> dict[str, Route]:
    """Return the route of a case in each tree that it came to, in that order.

    What *back* withdrew is no part of it.
    """
    routes: dict[str, Route] = {}
    count = 0

    def come_to(symptom: str, step: str) -> None:
        nonlocal count
        steps = routes.setdefault(symptom, Route()).steps
        if steps.get(step, _PASSED) == _PASSED:
            count += 1
            steps[step] = f"case: {count}"

    def follow(trail: Sequence[Mapping[str, str]]) -> None:
        for trace in trail:
            if trace["what"] == "passed":
                steps = routes.setdefault(trace["symptom"], Route()).steps
                steps.setdefault(trace["step"], _PASSED)
            elif trace["what"] == "entered":
                come_to(trace["symptom"], trace["step"])

    for event in events[:1]:
        routes[event["symptom"]] = Route()
        follow(event["trail"])
    for event in standing(events):
        come_to(event["symptom"], event["step"])
        if event["kind"] == ANSWER:
            answers = routes[event["symptom"]].answers
            answers.setdefault((event["step"], event["answer"]), count)
        follow(event["trail"])
    resting = [
        trace
        for event in events
        for trace in event["trail"]
        if trace["what"] == "rests" and trace["step"]
    ]
    if resting:
        come_to(resting[-1]["symptom"], resting[-1]["step"])
    return routes


_PASSED = "case: passed over"
