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
    from diagnose.study.ready import ReadyTree

T = TypeVar("T")

#: How many situations a sheet has, and how many ways on each of them offers.
SITUATIONS, OPTIONS = 10, 3

#: At as many steps of a tree, drawn by chance, a situation is looked for; of one, as many of the
#: last answers are told.
MOST_TRIED, MOST_TOLD = 200, 30


class Situation(Struct, frozen=True, kw_only=True):
    """One situation: what was answered so far (question, answer), and three ways on.

    `earlier` counts the answers before those.

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
    earlier: int = 0


def situations(
    ready: ReadyTree, table: CautionTable, random: Random, count: int = SITUATIONS
) -> list[Situation]:
    """Return situations that end at different steps; fewer where the tree has not so many.

    In half of them, where there are so many, cautions are to be taken.
    """
    paper = _Paper(ready)
    rest = [step for step in range(len(ready.plan.ids)) if step != ready.plan.start]
    tried = [_situation(paper, table, random, step) for step in _drawn(rest, MOST_TRIED, random)]
    drawn = [one for one in tried if one is not None]
    calling = [one for one in drawn if one.cautions]
    calm = [one for one in drawn if not one.cautions]
    half = max((count + 1) // 2, count - len(calm))
    return _drawn([*calling[:half], *calm][:count], count, random)


class _Paper:
    """A tree as situations are drawn from it: the ways into each step, and each step in words."""

    def __init__(self, ready: ReadyTree) -> None:
        self.ready = ready
        self.words = [what(body) for body in ready.steps]
        self.ways_in: list[list[tuple[int, int]]] = [[] for _ in ready.steps]
        for place, ways in enumerate(ready.plan.ways):
            for answer, target in enumerate(ways):
                self.ways_in[target].append((place, answer))
        self._looks: dict[int, set[int]] = {}
        for (step, _), others in ready.plan.twins.items():
            self._looks.setdefault(step, set()).update(place for place, _ in others)

    def looks(self, step: int) -> set[int]:
        """Return the other steps that look at the same."""
        return self._looks.get(step, set())


def _situation(paper: _Paper, table: CautionTable, random: Random, step: int) -> Situation | None:
    """Return the situation before a step; None where nobody comes to it: it was asked elsewhere."""
    ready, plan = paper.ready, paper.ready.plan
    route = _route_to(paper, step, random)
    if route is None or paper.looks(step) & {place for place, _ in route}:
        return None
    in_force, so_far = 0, []
    seen: set[int] = set()
    for place, answer in route:
        body = ready.steps[place]
        assert isinstance(body, Question)
        if seen & paper.looks(place):
            continue  # Who has answered the same elsewhere is not asked again.
        seen.add(place)
        _, in_force = table.take(plan.needs[place], plan.energises[place], in_force)
        so_far.append((paper.words[place], body.exits[answer].answer))
    if plan.energises[step]:
        in_force &= ~table.lapsing

    def titles(which: int) -> tuple[str, ...]:
        return tuple(table.records[table.number[name]].title for name in table.names(which))

    own = paper.words[step]
    passed = {place for place, _ in route}
    others = dict.fromkeys(words for place, words in enumerate(paper.words) if place not in passed)
    others.pop(own)
    options = _drawn([own, *_drawn(list(others), OPTIONS - 1, random)], OPTIONS, random)
    return Situation(
        so_far=tuple(so_far[-MOST_TOLD:]),
        earlier=max(0, len(so_far) - MOST_TOLD),
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


def _route_to(paper: _Paper, step: int, random: Random) -> list[tuple[int, int]] | None:
    """Return a route to a step as (question, answer's number): backwards, each way in as likely.

    Two steps that look at the same show the same. None where that leaves no way in.
    """
    plan = paper.ready.plan
    told: dict[int, int] = {}
    while step != plan.start:
        into = [
            (place, answer)
            for place, answer in paper.ways_in[step]
            if all(
                (other, told[other]) in plan.twins.get((place, answer), ())
                for other in paper.looks(place) & told.keys()
            )
        ]
        if not into:
            return None
        step, answer = into[int(random.random() * len(into))]
        told[step] = answer
    return [*reversed(told.items())]


def _drawn(items: Sequence[T], count: int, random: Random) -> list[T]:
    """Return some items, or all, in an order by chance."""
    rest = list(items)
    return [rest.pop(int(random.random() * len(rest))) for _ in rest[:count]]
