"""Steps that look at the same, met twice on one route: the second costs nothing.

Whoever has answered one of them has answered all. A route that comes to a second one goes on by
the answer given at the first, at no cost and under no caution.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.study.in_force import bits
from diagnose.study.plan import gathered

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.plan import Plan

#: What was answered on the way: by look, the answer as the first (step, number) that has it.
_Known = tuple[tuple[int, tuple[int, int]], ...]


def looks_of(plan: Plan) -> list[int]:
    """Return the steps that look at the same, as bits, look by look."""
    looks: dict[int, None] = {}
    for step, ways in enumerate(plan.ways):
        alike = 1 << step
        for answer in range(len(ways)):
            for twin, _ in plan.twins.get((step, answer), ()):
                alike |= 1 << twin
        if alike != 1 << step:
            looks[alike] = None
    return list(looks)


def met_twice(plan: Plan) -> list[int]:
    """Return those of the looks of which two steps lie on one route."""
    if not plan.twins:
        return []
    behind = gathered(plan.order, plan.ways, {step: 1 << step for step in plan.order})
    return [
        look
        for look in looks_of(plan)
        if any(behind[step] & look & ~(1 << step) for step in bits(look))
    ]


@lru_cache(maxsize=64)
def unfolded(plan: Plan) -> Plan:
    """Return a plan with the same routes in which no look is met twice on one.

    A step is in it once for all that may have been answered before it, as far as it matters from
    there on; where it has been answered itself it has that answer alone, and takes nothing. All
    steps keep their numbers, as those before which nothing was answered; the others come behind
    them. A finding to which no answers lead that agree is reached no more.
    """
    looks = met_twice(plan)
    if not looks:
        return plan
    return _Unfolding(plan, looks).result()


class _Unfolding:
    def __init__(self, plan: Plan, looks: Sequence[int]) -> None:
        self.plan = plan
        self.look = {step: which for which, look in enumerate(looks) for step in bits(look)}
        own = {step: 1 << which for step, which in self.look.items()}
        # The looks that are still to come from each step on.
        self.ahead = gathered(plan.order, plan.ways, own)
        self.steps = list(range(len(plan.ways)))
        self.ways: dict[int, tuple[int, ...]] = {}
        self.free: set[int] = set()
        self.places: dict[tuple[int, _Known], int] = {(step, ()): step for step in self.steps}

    def result(self) -> Plan:
        plan, start = self.plan, self.plan.start
        todo: list[tuple[int, _Known]] = [(start, ())]
        for step, known in todo:
            todo += self._opened(step, known)
        ways = [self.ways.get(place, ()) for place in range(len(self.steps))]
        order = _in_order(ways, start)
        own = {place: 1 << which for place, which in plan.bit.items()}
        return replace(
            plan,
            ids=tuple(plan.ids[step] for step in self.steps),
            ways=tuple(ways),
            passing=tuple(plan.passing[step] for step in self.steps),
            slip=tuple(plan.slip[step] for step in self.steps),
            minutes=tuple(self._of(plan.minutes, 0.0)),
            needs=tuple(self._of(plan.needs, 0)),
            energises=tuple(self._of(plan.energises, False)),
            order=order,
            reach=gathered(order, ways, own),
            sight=(),
            twins={},
        )

    def _of(self, values: Sequence[float], nothing: float) -> list[float]:
        return [
            nothing if place in self.free else values[step] for place, step in enumerate(self.steps)
        ]

    def _opened(self, step: int, known: _Known) -> list[tuple[int, _Known]]:
        """Follow the answers of a step, and return where they lead for the first time."""
        place, told = self.places[step, known], dict(known)
        which = self.look.get(step)
        numbers = range(len(self.plan.ways[step]))
        if which in told:
            said = [number for number in numbers if self._said(step, number) == told[which]]
            if said:
                self.free.add(place)
                numbers = range(said[0], said[0] + 1)
        fresh, targets = [], []
        for number in numbers:
            if which is not None:
                told[which] = self._said(step, number)
            target = self.plan.ways[step][number]
            still = tuple(sorted((n, a) for n, a in told.items() if self.ahead[target] >> n & 1))
            if (target, still) not in self.places:
                self.places[target, still] = len(self.steps)
                self.steps.append(target)
            node = self.places[target, still]
            if node not in self.ways:
                self.ways[node] = ()
                fresh.append((target, still))
            targets.append(node)
        self.ways[place] = tuple(targets)
        return fresh

    def _said(self, step: int, number: int) -> tuple[int, int]:
        return min((step, number), *self.plan.twins.get((step, number), ((step, number),)))


def _in_order(ways: Sequence[Sequence[int]], start: int) -> tuple[int, ...]:
    """Return the steps that are reached, each before those it leads to."""
    done: dict[int, None] = {}
    entered: set[int] = set()
    stack = [start]
    while stack:
        step = stack.pop()
        if step < 0:
            done[~step] = None
        elif step not in entered:
            entered.add(step)
            stack.append(~step)
            stack += [target for target in ways[step] if target not in entered]
    return tuple(reversed(done))
