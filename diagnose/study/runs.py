"""Runs: chains of steps that can change places without changing what is found.

A step's *branches* are what its answers other than the passing one lead to.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from diagnose.files.tree import Question
from diagnose.study.in_force import bits, union
from diagnose.study.looks import looks_of, met_twice
from diagnose.study.plan import gathered, passing_answer

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from diagnose.files.tree import Check, Reading, Step, Tree
    from diagnose.study.plan import Plan


class Run(Struct, frozen=True, kw_only=True):
    """A chain of steps, by their numbers in the plan, in the present order.

    `tail` is what the passing answer of the last one leads to. `before[i]` holds the members that
    have to come before member i, as bits over the present order: those that its own `after` names,
    or that of a step in its branches.
    """

    steps: tuple[int, ...]
    tail: int
    before: tuple[int, ...]

    def allows(self, order: Sequence[int]) -> bool:
        """Whether an order of the members (numbers from 0) keeps every `after`."""
        done = 0
        for member in order:
            if self.before[member] & ~done:
                return False
            done |= 1 << member
        return True


def runs_of(tree: Tree, plan: Plan) -> list[Run]:
    """Return the longest runs of a tree that was checked, in the order of the plan.

    Each member has a passing answer, each but the first is entered by one arrow only, the passing
    answer of the one before, and no member's branches meet what its passing answer leads to. None
    of them looks at the same as anything that may come before or after it in another order: what
    is found would depend on the order then.
    """
    return _found(tree, plan)[0]


def kept_in_place(tree: Tree, plan: Plan) -> list[tuple[int, ...]]:
    """Return the steps that look at the same, look by look, and so keep some step in its place."""
    return [tuple(bits(look)) for look in _found(tree, plan)[1]]


def _found(tree: Tree, plan: Plan) -> tuple[list[Run], list[int]]:
    """Return the runs, and the looks (steps as bits) for which there are no more or longer ones."""
    behind = gathered(plan.order, plan.ways, {step: 1 << step for step in plan.order})
    arrows = Counter(target for ways in plan.ways for target in ways)
    fit = [_fits(plan, step, behind) for step in range(len(plan.ways))]
    following = {
        step: target
        for step in plan.order
        if fit[step] and fit[target := _passed_to(plan, step)] and arrows[target] == 1
    }
    twice, looks = met_twice(plan), looks_of(plan)
    runs: list[Run] = []
    keeping: dict[int, None] = {}
    for chain in _chains(plan, following):
        for part in _parted(chain, behind[chain[0]], looks, keeping):
            held = [look for look in twice if look & behind[part[0]]]
            keeping |= dict.fromkeys(held)
            if not held:
                runs.append(_run(tree, plan, part, behind))
    return runs, list(keeping)


def _chains(plan: Plan, following: Mapping[int, int]) -> Iterator[list[int]]:
    """Yield the longest chains of steps that follow one another, in the order of the plan."""
    for step in plan.order:
        if step in following and step not in following.values():
            chain = [step]
            while chain[-1] in following:
                chain.append(following[chain[-1]])
            yield chain


def _parted(
    chain: Sequence[int], region: int, looks: Sequence[int], keeping: dict[int, None]
) -> list[tuple[int, ...]]:
    """Return the parts of a chain between members that look at the same as something behind it."""
    parts: list[list[int]] = [[]]
    for step in chain:
        held = [look for look in looks if look >> step & 1 and look & region & ~(1 << step)]
        keeping |= dict.fromkeys(held)
        if held:
            parts.append([])
        else:
            parts[-1].append(step)
    return [tuple(part) for part in parts if len(part) > 1]


def reordered(tree: Tree, steps: Sequence[str], order: Sequence[str]) -> Tree:
    """Return the tree with the run `steps` asked in another `order` of the same ids.

    Every arrow into the run leads to its new first member, and passing answers go on to the next;
    the steps keep their places in the file. Where the passing answer was the only one to lead to
    another question, and is no more, `passes` says so from now on.
    """
    passing = {name: passing_answer(tree, _question(tree, name)) for name in steps}
    way_out = _question(tree, steps[-1]).exit(passing[steps[-1]] or "")
    assert way_out is not None
    following = dict(zip(order, [*order[1:], way_out.to], strict=True))

    def led(name: str, step: Step) -> Step:
        if not isinstance(step, Question):
            return step
        exits = []
        for way in step.exits:
            to = way.to
            if to == steps[0] and name not in following:
                to = order[0]
            elif name in following and way.answer == passing[name]:
                to = following[name]
            exits.append(replace(way, to=to))
        return replace(step, exits=tuple(exits))

    start = order[0] if tree.start == steps[0] else tree.start
    new = {name: led(name, step) for name, step in tree.steps.items()}
    result = replace(tree, start=start, steps=new)
    for name, answer in passing.items():
        step = _question(result, name)
        if passing_answer(result, step) != answer:
            new[name] = replace(step, passes=answer)
    return result


def _question(tree: Tree, name: str) -> Check | Reading:
    step = tree.steps[name]
    assert isinstance(step, Question)
    return step


def _passed_to(plan: Plan, step: int) -> int:
    answer = plan.passing[step]
    assert answer is not None
    return plan.ways[step][answer]


def _branches(plan: Plan, step: int, behind: Sequence[int]) -> int:
    """Return the steps in the branches of a step, as bits."""
    ways = enumerate(plan.ways[step])
    return union(behind[target] for number, target in ways if number != plan.passing[step])


def _fits(plan: Plan, step: int, behind: Sequence[int]) -> bool:
    """Whether a step can be a member of a run."""
    if plan.passing[step] is None:
        return False
    return not _branches(plan, step, behind) & behind[_passed_to(plan, step)]


def _run(tree: Tree, plan: Plan, chain: tuple[int, ...], behind: Sequence[int]) -> Run:
    place = {plan.ids[step]: number for number, step in enumerate(chain)}
    steps = tuple(tree.steps.values())
    before = []
    for number, step in enumerate(chain):
        needed = 0
        for other in (step, *bits(_branches(plan, step, behind))):
            body = steps[other]
            for name in body.after if isinstance(body, Question) else ():
                if name in place and place[name] != number:
                    needed |= 1 << place[name]
        before.append(needed)
    return Run(steps=chain, tail=_passed_to(plan, chain[-1]), before=tuple(before))
