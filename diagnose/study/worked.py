"""Worked cases as routes: what the author of a tree says that such a machine shows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, TypeAlias

from diagnose.files.tree import Question, Reading
from diagnose.measure.registry import MissingLine, Unreadable, compute

if TYPE_CHECKING:
    from diagnose.files.tree import Exit, WorkedCase
    from diagnose.measure.model import Measurement
    from diagnose.study.ready import ReadyTree

#: A route as (question, answer), by their numbers in the plan.
Route: TypeAlias = tuple[tuple[int, int], ...]


def band_of(
    step: Question, inputs: Mapping[str, str], measurements: Mapping[str, Measurement]
) -> Exit:
    """Return the band that the inputs of a worked case fall in; a library has its `measurements`.

    Raises `Unreadable` or `MissingLine` where they cannot be computed, or the step is no reading.
    """
    if not isinstance(step, Reading):
        raise Unreadable("Only a reading takes inputs: write an answer here.")
    measurement = measurements.get(step.read)
    if measurement is None:
        raise Unreadable(f'There is no measurement "{step.read}".')
    figure = compute(measurement, inputs, card=lambda path: None, bare=True, si=False)
    return step.band(figure.value)


def route_of(ready: ReadyTree, case: WorkedCase) -> Route | None:
    """Return the route of a worked case on this machine.

    Its last step leads to the finding of the case. What the machine's card answers, it answers as
    the card has it. None where that ends elsewhere, where the case has no answer that this machine
    can give, or where two steps that look at the same would have to show different things.
    """
    plan = ready.plan
    told: dict[int, int] = {}
    route = []
    at = plan.start
    while plan.ways[at]:
        answer = _answer(ready, at, case)
        if answer is None or told.get(at, answer) != answer:
            return None
        told.update(plan.twins.get((at, answer), ()))
        route.append((at, answer))
        at = plan.ways[at][answer]
    return tuple(route) if plan.ids[at] == case.finding else None


def _answer(ready: ReadyTree, at: int, case: WorkedCase) -> int | None:
    """Return the number of the answer that a case has at a step, None where it has none there."""
    step = ready.steps[at]
    assert isinstance(step, Question)
    if at in ready.from_card:
        return ready.from_card[at]
    said = case.answers.get(ready.plan.ids[at])
    if isinstance(said, Mapping):
        try:
            said = band_of(step, said, ready.measurements).answer
        except (Unreadable, MissingLine):
            return None
    if said is None:
        return ready.plan.passing[at]
    answers = [way.answer for way in step.exits]
    return answers.index(said) if said in answers else None
