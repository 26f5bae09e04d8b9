"""What no worked case walks: findings, doorways, answers and bands of a tree."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from msgspec import Struct

from diagnose.files.tree import Finding, Question, Reading
from diagnose.study.worked import route_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from diagnose.files.tree import Tree
    from diagnose.study.ready import ReadyTree

#: An answer or a band of a step: the step's id, and what it is called.
Way: TypeAlias = "tuple[str, str]"


class Walked(Struct, frozen=True, kw_only=True):
    """Things of one kind: how many of them there are, and those that no worked case walks."""

    of: int
    missing: Sequence[str | Way]


class Coverage(Struct, frozen=True, kw_only=True):
    """What the worked cases of a tree walk, and what none does, in the order of the file.

    `findings` are those that end a case here, `doorways` those that lead to another symptom;
    `answers` are those of checks, `bands` those of readings, each as (step, answer).
    """

    cases: int
    findings: Walked
    doorways: Walked
    answers: Walked
    bands: Walked


def coverage(ready: ReadyTree) -> Coverage:
    """Return what the worked cases of a tree walk, on a machine whose card says nothing.

    A case that does not end where it says, or that no machine could be, walks nothing. A look that
    is met a second time on a route is walked with the answer that it had at first.
    """
    ends: set[str] = set()
    ways: set[Way] = set()
    for case in ready.tree.worked_cases:
        route = route_of(ready, case)
        if route is None:
            continue
        ends.add(case.finding)
        for number, answer in route:
            step = ready.steps[number]
            assert isinstance(step, Question)
            ways.add((ready.plan.ids[number], step.exits[answer].answer))
    return _told(ready.tree, ends, ways)


def without_case(tree: Tree, findings: Iterable[str]) -> tuple[str, ...]:
    """Return those of some findings at which no worked case of a tree ends."""
    ends = {case.finding for case in tree.worked_cases}
    return tuple(name for name in findings if name not in ends)


def _told(tree: Tree, ends: set[str], ways: set[Way]) -> Coverage:
    found: dict[bool, list[str]] = {False: [], True: []}
    asked: dict[bool, list[Way]] = {False: [], True: []}
    for name, step in tree.steps.items():
        if isinstance(step, Finding):
            found[step.continue_with is not None].append(name)
        else:
            read = isinstance(step, Reading)
            asked[read] += [(name, way.answer) for way in step.exits]

    def walked(things: Sequence[str | Way], known: set[str] | set[Way]) -> Walked:
        return Walked(of=len(things), missing=[one for one in things if one not in known])

    return Coverage(
        cases=len(tree.worked_cases),
        findings=walked(found[False], ends),
        doorways=walked(found[True], ends),
        answers=walked(asked[False], ways),
        bands=walked(asked[True], ways),
    )
