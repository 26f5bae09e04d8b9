"""The plan of a tree: plain numbers that a walk needs, worked out once from its graph."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.files.tree import NO_ANSWER, Finding, Question
from diagnose.study.graph import graph_of, in_order

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.files.tree import Step, Tree
    from diagnose.study.in_force import CautionTable


class Plan(Struct, frozen=True, kw_only=True, eq=False):
    """A tree as numbers: steps count from 0 in the order of the file, answers within their step.

    `reach` holds for each step the findings that can be reached from it, as a set of bits in the
    order of `findings`; `ways` the steps that the answers lead to (none for a finding). `sight`
    holds for each answer the findings that can be reached from it, here or at a step that looks at
    the same, by routes on which all of those have that answer; `twins` for an answer (step, number)
    the same answer of those steps.
    """

    ids: tuple[str, ...]
    number: Mapping[str, int]
    start: int
    ways: tuple[tuple[int, ...], ...]
    passing: tuple[int | None, ...]
    slip: tuple[float, ...]
    minutes: tuple[float, ...]
    needs: tuple[int, ...]
    energises: tuple[bool, ...]
    order: tuple[int, ...]
    findings: tuple[int, ...]
    bit: Mapping[int, int]
    reach: tuple[int, ...]
    chances: tuple[float, ...]
    sight: tuple[tuple[int, ...], ...]
    twins: Mapping[tuple[int, int], tuple[tuple[int, int], ...]]


def passing_answer(tree: Tree, step: Question) -> str | None:
    """Return the passing answer: the one named, or the only one that leads to another question."""
    if step.passes is not None:
        return None if step.passes == NO_ANSWER else step.passes
    on = [way.answer for way in step.exits if isinstance(tree.steps.get(way.to), Question)]
    return on[0] if len(on) == 1 else None


def plan_of(tree: Tree, cautions: CautionTable, chances: Mapping[str, float] | None = None) -> Plan:
    """Return the plan of a tree that was checked, under the cautions of its library.

    `chances` (by finding, any positive scale) stand in for those of the file where given.
    """
    ids = tuple(tree.steps)
    number = {name: place for place, name in enumerate(ids)}
    steps = tuple(tree.steps.values())
    ways = [
        tuple(number[way.to] for way in step.exits) if isinstance(step, Question) else ()
        for step in steps
    ]
    findings = tuple(place for place, step in enumerate(steps) if isinstance(step, Finding))
    bit = {place: which for which, place in enumerate(findings)}
    order = tuple(number[name] for name in in_order(graph_of(tree)))
    own = {place: 1 << which for place, which in bit.items()}
    reach = gathered(order, ways, own)
    twins = _twins(ids, steps)
    return Plan(
        ids=ids,
        number=number,
        start=number[tree.start],
        ways=tuple(ways),
        passing=tuple(_passing(tree, step) for step in steps),
        slip=tuple(getattr(step, "slip", 0.0) for step in steps),
        minutes=tuple(step.minutes for step in steps),
        needs=tuple(cautions.needs(step) for step in steps),
        energises=tuple(getattr(step, "energises", False) for step in steps),
        order=order,
        findings=findings,
        bit=bit,
        reach=reach,
        chances=_chances(tree, chances),
        sight=_sight(order, ways, reach, own, twins),
        twins=twins,
    )


def _twins(
    ids: Sequence[str], steps: Sequence[Step]
) -> dict[tuple[int, int], tuple[tuple[int, int], ...]]:
    """Return, for each answer of a step that looks at the same as others, the answer there."""
    named = {step.same_as for step in steps if isinstance(step, Question)}
    # By look and answer. The step that others name may be one that a tailored tree lacks.
    alike: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for place, (name, step) in enumerate(zip(ids, steps, strict=True)):
        # With one answer alone, nothing is looked at: it does not apply to this machine.
        if not isinstance(step, Question) or len(step.exits) == 1:
            continue
        look = step.same_as or name
        for which, way in enumerate(step.exits) if look in named else ():
            alike.setdefault((look, way.answer), []).append((place, which))
    return {
        one: tuple(other for other in same if other != one)
        for same in alike.values()
        for one in same
    }


def _sight(
    order: Sequence[int],
    ways: Sequence[Sequence[int]],
    reach: Sequence[int],
    own: Mapping[int, int],
    twins: Mapping[tuple[int, int], tuple[tuple[int, int], ...]],
) -> tuple[tuple[int, ...], ...]:
    sight = [[reach[target] for target in targets] for targets in ways]
    for one, others in twins.items():
        alike = (one, *others)
        if one != min(alike):
            continue
        # Behind the answer, what looks at the same leads on by the same answer alone.
        agreeing = list(ways)
        for step, number in alike:
            agreeing[step] = (ways[step][number],)
        behind = gathered(order, agreeing, own)
        seen = 0
        for step, _ in alike:
            seen |= behind[step]
        for step, number in alike:
            sight[step][number] = seen
    return tuple(tuple(masks) for masks in sight)


def _chances(tree: Tree, chances: Mapping[str, float] | None) -> tuple[float, ...]:
    weights = [
        chances[name] if chances else step.chance
        for name, step in tree.steps.items()
        if isinstance(step, Finding)
    ]
    total = sum(weights)
    return tuple(weight / total for weight in weights)


def _passing(tree: Tree, step: Step) -> int | None:
    """Return the number of a question's passing answer."""
    answer = passing_answer(tree, step) if isinstance(step, Question) else None
    if answer is None or not isinstance(step, Question):
        return None
    return [way.answer for way in step.exits].index(answer)


def gathered(
    order: Sequence[int], ways: Sequence[Sequence[int]], own: Mapping[int, int]
) -> tuple[int, ...]:
    """Return, for each step, its own bits and those of all steps that it leads to."""
    held = [own.get(step, 0) for step in range(len(ways))]
    for step in reversed(order):
        for target in ways[step]:
            held[step] |= held[target]
    return tuple(held)
