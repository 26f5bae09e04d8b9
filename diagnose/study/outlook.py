"""What lies ahead of a step: which findings, how likely, in how many minutes, cautions counted."""

from __future__ import annotations

import math
from heapq import heappop, heappush
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.study.beliefs import by_count
from diagnose.study.in_force import bits
from diagnose.study.looks import unfolded

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from diagnose.study.in_force import CautionTable
    from diagnose.study.plan import Plan


class Outlook(Struct, frozen=True):
    """What lies behind a step.

    `reach`: the findings still to be met, as bits; `weight`: their probability; `minutes`: their
    minutes (route and what `own` adds), each multiplied by its probability, summed.
    """

    reach: int
    weight: float
    minutes: float

    @property
    def mean(self) -> float:
        """The mean minutes to the findings, weighted by their probability; 0 if there are none."""
        return self.minutes / self.weight if self.weight > 0 else 0.0

    @property
    def worth(self) -> float:
        """Probability per minute, what a branch is chosen by; 0 where nothing can be met."""
        return self.weight / self.mean if self.minutes > 0 else 0.0


def normalised(logs: Sequence[float]) -> list[float]:
    """Return the probabilities that belong to unnormalised logarithms; they sum to 1."""
    top = max(logs)
    weights = [math.exp(value - top) for value in logs]
    total = sum(weights)
    return [weight / total for weight in weights]


def outlooks(
    plan: Plan,
    cautions: CautionTable,
    sources: Iterable[int],
    *,
    weights: Sequence[float],
    own: Sequence[float],
    closed: Mapping[int, int | None],
    gone: Collection[int] = (),
    in_force: int = 0,
) -> dict[int, Outlook]:
    """Return the outlook from each source step, all entered with the same cautions in force.

    `weights` and `own` hold each finding's probability and its own minutes; `closed` maps an
    answered step to its answer's number and one that was passed over to None: closed steps cost
    nothing, and an answered one leads only where its answer does. `gone` findings are not met.
    A finding that several answers of a step lead to is reached by each of them equally often.

    Linear in the arrows where no finding is reached twice from one step. Where one is, only what
    lies between the parting of its routes and their meeting again is followed a second time.
    """
    region = _explore(plan, cautions, sources, closed, in_force)
    sums = _summed(plan, region, weights, own, gone)
    steps = len(plan.ways)
    return {state % steps: sums.outlook(state) for state in region.starts}


def together(
    plan: Plan,
    cautions: CautionTable,
    sources: Iterable[int],
    *,
    weights: Sequence[float],
    own: Sequence[float],
    closed: Mapping[int, int | None],
    gone: Collection[int] = (),
    in_force: int = 0,
) -> Outlook:
    """Return the outlook from a place where any of the source steps may be entered.

    As `outlooks`, of a step that costs nothing and whose answers lead to the sources: a finding
    that several of them lead to is reached by each equally often.
    """
    region = _explore(plan, cautions, sources, closed, in_force)
    sums = _summed(plan, region, weights, own, gone)
    region.cost[_BEFORE] = 0.0
    region.below[_BEFORE] = tuple(region.starts)
    sums.add_up(_BEFORE, region.below[_BEFORE])
    return sums.outlook(_BEFORE)


#: So many findings with a share of their own are followed one by one, each once in all.
FEW: Final = 128

#: The state of the place before several sources; those of steps count from 0.
_BEFORE: Final = -1


def _summed(
    plan: Plan,
    region: _Region,
    weights: Sequence[float],
    own: Sequence[float],
    gone: Collection[int],
) -> _Sums:
    steps = len(plan.ways)
    sums = _Sums(region, weights)
    for state in region.done:
        children = region.below[state]
        if children:
            sums.add_up(state, children)
        elif state % steps not in gone:
            which = plan.bit[state % steps]
            sums.put(state, 1 << which, weights[which], weights[which] * own[which])
        else:
            sums.put(state, 0, 0.0, 0.0)
    return sums


class _Region(Struct, frozen=True):
    """All that can be reached. A state is ``cautions in force * steps + step``, as it hashes fast.

    `done` lists the states so that each comes after those `below` it; `cost` is that of a step.
    """

    starts: list[int]
    done: list[int]
    below: dict[int, tuple[int, ...]]
    cost: dict[int, float]


def _explore(
    plan: Plan,
    cautions: CautionTable,
    sources: Iterable[int],
    closed: Mapping[int, int | None],
    in_force: int,
) -> _Region:
    steps = len(plan.ways)
    known = cautions.known_takes
    starts = [in_force * steps + source for source in sources]
    region = _Region(starts, [], {}, {})
    done, below, cost = region.done, region.below, region.cost
    stack = list(starts)
    while stack:
        state = stack.pop()
        if state < 0:
            done.append(~state)
            continue
        if state in below:
            continue
        force, step = divmod(state, steps)
        ways = plan.ways[step]
        if step in closed:
            answer = closed[step]
            ways = ways if answer is None else (ways[answer],)
            cost[state] = 0.0
        elif ways:
            cost[state] = plan.minutes[step]
            if plan.energises[step] or plan.needs[step] & ~force:
                key = (plan.needs[step], plan.energises[step], force)
                if key not in known:
                    known[key] = cautions.take(*key)
                taking, force = known[key]
                cost[state] += taking
        base = force * steps
        below[state] = children = tuple([base + target for target in ways])
        stack.append(~state)
        stack += [child for child in children if child not in below]
    return region


class _Sums:
    """Reach, weight and weighted minutes of the states of a region, from the findings up.

    Where the answers of a step lead to different findings, minutes simply add up. A finding behind
    r answers gives each of them a share of 1/r. A share that all of a step's findings have in
    common is that share of the step's own sum; what other findings have above or below it is
    handed on to the next steps, until the routes have met again and nothing is left over. Where
    these are few, each is followed by itself.
    """

    def __init__(self, region: _Region, weights: Sequence[float]) -> None:
        self.region = region
        self.weights = weights
        self.reach: dict[int, int] = {}
        self.weight: dict[int, float] = {}
        self.total: dict[int, float] = {}
        self._place: dict[int, int] = {}
        # Steps from which some finding is reached by answers that lead to different steps.
        self._parting: set[int] = set()
        self._weight_of: dict[int, float] = {}
        # By finding, as its bit: the weighted minutes to it from where ways to it part.
        self._to: dict[int, dict[int, float]] = {}

    def put(self, state: int, reach: int, weight: float, total: float) -> None:
        """Set the sums of a state."""
        self.reach[state] = reach
        self.weight[state] = self._weight_of[reach] = weight
        self.total[state] = total

    def outlook(self, state: int) -> Outlook:
        """Return the outlook from a state whose sums are known."""
        return Outlook(self.reach[state], self.weight[state], self.total[state])

    def add_up(self, state: int, children: tuple[int, ...]) -> None:
        """Work the sums of a step out from those of the steps that its answers lead to."""
        met = again = 0
        # Answers that lead to the same step are one way, unless its findings are met elsewhere too.
        different = set(children) if len(children) > 2 else children
        for child in different:
            again |= met & self.reach[child]
            met |= self.reach[child]
        weight = total = 0.0
        if not again:
            for child in different:
                weight += self.weight[child]
                total += self.total[child]
        else:
            weight = sum([self.weight[child] for child in children])
            for mask, number in self._shares(children):
                if number > 1:
                    weight -= (number - 1) * self._weigh(mask)
            self._parting.add(state)
            total = self._handed_on(state)
        self.put(state, met, weight, total + weight * self.region.cost[state])

    def _weigh(self, mask: int) -> float:
        if mask not in self._weight_of:
            self._weight_of[mask] = sum(self.weights[which] for which in bits(mask))
        return self._weight_of[mask]

    def _shares(self, children: tuple[int, ...]) -> list[tuple[int, int]]:
        """Return findings as bits, with the number of answers that lead to them."""
        held = by_count([self.reach[child] for child in children], len(self.weights))
        return [(mask, number) for number, mask in enumerate(held) if number and mask]

    def _handed_on(self, parting: int) -> float:
        """Return the weighted minutes behind a step some of whose findings are reached twice."""
        # Most trees have no parting, and no use for this.
        self._place = self._place or {state: n for n, state in enumerate(self.region.done)}
        waiting: dict[int, list[tuple[int, float]]] = {}
        order: list[int] = []

        def hand(state: int, groups: list[tuple[int, float]]) -> None:
            children: Iterable[int] = self.region.below[state]
            if state in self._parting:
                groups = [
                    (part, share / number)
                    for findings, number in self._shares(self.region.below[state])
                    for mask, share in groups
                    if (part := mask & findings)
                ]
            else:
                children = dict.fromkeys(children)
            for child in children:
                reach = self.reach[child]
                given = [(part, share) for mask, share in groups if (part := mask & reach)]
                if given:
                    if child not in waiting:
                        heappush(order, -self._place[child])
                    waiting.setdefault(child, []).extend(given)

        hand(parting, [(-1, 1.0)])
        total = 0.0
        while order:
            state = self.region.done[-heappop(order)]
            groups = _disjoint(waiting.pop(state), self.reach[state])
            if len(groups) == 1:
                total += next(iter(groups)) * self.total[state]
                continue
            common = max(groups, key=lambda share: groups[share].bit_count())
            total += common * self.total[state]
            left = []
            for share, mask in groups.items():
                if share == common:
                    continue
                if mask.bit_count() > FEW:
                    left.append((mask, share - common))
                    continue
                for which in bits(mask):
                    total += (share - common) * self._to_one(state, 1 << which)
            if left:
                weight = sum(self._weigh(mask) * share for mask, share in left)
                total += weight * self.region.cost[state]
                hand(state, left)
        return total

    def _to_one(self, first: int, finding: int) -> float:
        """Return the weighted minutes from a state to one finding, given as its bit.

        They are kept where ways to it part, so that a finding that is met again and again along a
        long chain is followed through it once.
        """
        known = self._to.setdefault(finding, {})
        minutes, fork = self._to_fork(first, finding, known)
        forks = [] if fork is None else [fork]
        while forks:
            state = forks[-1]
            if state in known:
                forks.pop()
                continue
            ways = [child for child in self.region.below[state] if self.reach[child] & finding]
            parts = [self._to_fork(child, finding, known) for child in ways]
            unknown = [beyond for _, beyond in parts if beyond is not None]
            if unknown:
                forks += unknown
                continue
            own = self._weigh(finding) * self.region.cost[state]
            known[state] = own + sum([part for part, _ in parts]) / len(parts)
        minutes += 0.0 if fork is None else known[fork]
        # A fork above comes here too.
        known[first] = minutes
        return minutes

    def _to_fork(
        self, state: int, finding: int, known: Mapping[int, float]
    ) -> tuple[float, int | None]:
        """Return the weighted minutes to where ways to a finding part, and that state.

        Where it is known what lies behind that, or no ways part, return them all, and None.
        """
        minutes, below, cost, reach = 0.0, self.region.below, self.region.cost, self.reach
        weight = self._weigh(finding)
        while reach[state] != finding and state not in known:
            ways = [child for child in below[state] if reach[child] & finding]
            if len(ways) > 1:
                return minutes, state
            minutes += weight * cost[state]
            state = ways[0]
        return minutes + (known[state] if state in known else self.total[state]), None


def _disjoint(groups: list[tuple[int, float]], all_of: int) -> dict[float, int]:
    """Return each share with the findings that have it in sum; those not named have 0."""
    parts = [(all_of, 0.0)]
    for mask, share in groups:
        parts = [
            (piece, known + more)
            for held, known in parts
            for piece, more in ((held & mask, share), (held & ~mask, 0.0))
            if piece
        ]
    result: dict[float, int] = {}
    for mask, share in parts:
        result[share] = result.get(share, 0) | mask
    return result


def expected_minutes(plan: Plan, cautions: CautionTable) -> float:
    """Return the minutes that a case of this tree takes to its finding, on average.

    Right answers; cautions on the way included; a finding's own minutes and cautions are not. What
    looks at the same as an earlier step on the route takes nothing.
    """
    plan = unfolded(plan)
    none = [0.0] * len(plan.findings)
    found = outlooks(plan, cautions, [plan.start], weights=plan.chances, own=none, closed={})
    return found[plan.start].minutes
