"""Ten situations drawn from a tree, to be answered on paper: what next, which cautions, who may.

Drawn with nothing but `Random.random`, so that a seed gives the same sheet on every platform.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from msgspec import Struct

from diagnose.files.tree import Finding, Question, Reading
from diagnose.paper.step_words import asked

if TYPE_CHECKING:
    from collections.abc import Sequence
    from random import Random

    from diagnose.files.tree import Step
    from diagnose.study.in_force import CautionTable
    from diagnose.study.plan import Plan
    from diagnose.study.ready import ReadyTree

T = TypeVar("T")

#: How many situations a sheet has, and how many ways on each of them offers.
SITUATIONS, OPTIONS = 10, 3


class Situation(Struct, frozen=True, kw_only=True):
    """One situation: what was answered so far (question, answer), and three ways on.

    `right` is the place of the right one; `cautions` are the titles of those to be taken before it,
    `in_force` of those that were taken on the way and still hold; `who` may do it.
    """

    so_far: tuple[tuple[str, str], ...]
    step: str
    options: tuple[str, ...]
    right: int
    cautions: tuple[str, ...]
    in_force: tuple[str, ...]
    who: str


def situations(
    ready: ReadyTree, table: CautionTable, random: Random, count: int = SITUATIONS
) -> list[Situation]:
    """Return situations that end at different steps; fewer where the tree has not so many.

    In half of them, where there are so many, cautions are to be taken.
    """
    plan = ready.plan
    rest = [step for step in range(len(plan.ids)) if step != plan.start]
    tried = [_situation(ready, table, random, step) for step in _shuffled(rest, random)]
    drawn = [one for one in tried if one is not None]
    calling = [one for one in drawn if one.cautions]
    calm = [one for one in drawn if not one.cautions]
    half = max((count + 1) // 2, count - len(calm))
    return _shuffled([*calling[:half], *calm][:count], random)


def _situation(
    ready: ReadyTree, table: CautionTable, random: Random, step: int
) -> Situation | None:
    """Return the situation before a step; None where nobody comes to it: it was asked elsewhere."""
    plan = ready.plan
    route = _route_to(ready, step, random)
    if route is None or _looks(plan, step) & {place for place, _ in route}:
        return None
    in_force, so_far = 0, []
    seen: set[int] = set()
    for place, answer in route:
        body = ready.steps[place]
        assert isinstance(body, Question)
        if seen & _looks(plan, place):
            continue  # Who has answered the same elsewhere is not asked again.
        seen.add(place)
        _, in_force = table.take(plan.needs[place], plan.energises[place], in_force)
        so_far.append((what(body), body.exits[answer].answer))
    if plan.energises[step]:
        in_force &= ~table.lapsing

    def titles(which: int) -> tuple[str, ...]:
        return tuple(table.records[table.number[name]].title for name in table.names(which))

    own = what(ready.steps[step])
    passed = {place for place, _ in route}
    others = dict.fromkeys(
        what(body) for place, body in enumerate(ready.steps) if place not in passed
    )
    others.pop(own)
    options = _shuffled([own, *_shuffled(list(others), random)[: OPTIONS - 1]], random)
    return Situation(
        so_far=tuple(so_far),
        step=plan.ids[step],
        options=tuple(options),
        right=options.index(own),
        cautions=titles(table.called(plan.needs[step], in_force)),
        in_force=titles(in_force),
        who=_who(ready.steps[step]),
    )


def what(step: Step) -> str:
    """Return a step in one sentence: what to do and ask, to measure, or the cause."""
    if isinstance(step, Finding):
        return step.finding
    question = f"Measure: {asked(step)}." if isinstance(step, Reading) else asked(step)
    return " ".join(filter(None, [step.do, question]))


def _who(step: Step) -> str:
    if isinstance(step, Finding):
        return step.who or "operator, in the other symptom's tree"
    return step.by


def _looks(plan: Plan, step: int) -> set[int]:
    """Return the other steps that look at the same."""
    answers = range(len(plan.ways[step]))
    return {place for answer in answers for place, _ in plan.twins.get((step, answer), ())}


def _route_to(ready: ReadyTree, step: int, random: Random) -> list[tuple[int, int]] | None:
    """Return a route to a step as (question, answer's number): backwards, each way in as likely.

    Two steps that look at the same show the same. None where that leaves no way in.
    """
    plan = ready.plan
    route: list[tuple[int, int]] = []
    while step != plan.start:
        told = dict(route)
        into = [
            (place, answer)
            for place, ways in enumerate(plan.ways)
            for answer, target in enumerate(ways)
            if target == step
            and all(
                (other, told[other]) in plan.twins.get((place, answer), ())
                for other in _looks(plan, place) & told.keys()
            )
        ]
        if not into:
            return None
        place, answer = into[int(random.random() * len(into))]
        route.insert(0, (place, answer))
        step = place
    return route


def _shuffled(items: Sequence[T], random: Random) -> list[T]:
    rest = list(items)
    return [rest.pop(int(random.random() * len(rest))) for _ in items]
