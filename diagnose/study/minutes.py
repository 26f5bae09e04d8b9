"""Minutes to a finding from any step, with what was answered left out and cautions counted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from diagnose.study.in_force import Precautions
    from diagnose.study.plan import Plan


@dataclass(frozen=True, slots=True)
class Outlook:
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


def outlooks(
    plan: Plan,
    cautions: Precautions,
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

    Linear in the arrows where no finding is reached twice from one step; what is reached twice is
    followed one finding at a time.
    """
    region = _explore(plan, cautions, sources, closed, in_force)
    done, below, cost = region.done, region.below, region.cost
    steps = len(plan.ways)
    reach: dict[int, int] = {}
    twice: dict[int, int] = {}
    for state in done:
        children = below[state]
        if not children:
            step = state % steps
            reach[state] = 0 if step in gone else 1 << plan.bit[step]
            continue
        met = again = 0
        for child in children:
            again |= met & reach[child]
            met |= reach[child]
        reach[state] = met
        if again:
            twice[state] = again
    single = _single_minutes(plan, region, reach, twice, own) if twice else {}

    weight: dict[int, float] = {}
    total: dict[int, float] = {}
    for state in done:
        children = below[state]
        if not children:
            which = plan.bit[state % steps]
            weight[state] = weights[which] if reach[state] else 0.0
            total[state] = weight[state] * own[which]
            continue
        w = t = 0.0
        for child in children:
            w += weight[child]
            t += total[child]
        for which in bits(twice.get(state, 0)):
            routes = [single[c][which] for c in children if reach[c] >> which & 1]
            w -= weights[which] * (len(routes) - 1)
            t -= weights[which] * (sum(routes) - sum(routes) / len(routes))
        weight[state] = w
        total[state] = t + w * cost[state]
    return {
        state % steps: Outlook(reach[state], weight[state], total[state]) for state in region.starts
    }


@dataclass(frozen=True, slots=True)
class _Region:
    """All that can be reached. A state is ``cautions in force * steps + step``, as it hashes fast.

    `done` lists the states so that each comes after those `below` it; `cost` is that of a step.
    """

    starts: list[int]
    done: list[int]
    below: dict[int, tuple[int, ...]]
    cost: dict[int, float]


def _explore(
    plan: Plan,
    cautions: Precautions,
    sources: Iterable[int],
    closed: Mapping[int, int | None],
    in_force: int,
) -> _Region:
    steps = len(plan.ways)
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
            minutes, force = cautions.take(plan.needs[step], plan.energises[step], force)
            cost[state] = minutes + plan.minutes[step]
        base = force * steps
        below[state] = children = tuple([base + target for target in ways])
        stack.append(~state)
        stack += [child for child in children if child not in below]
    return region


def _single_minutes(
    plan: Plan,
    region: _Region,
    reach: Mapping[int, int],
    twice: Mapping[int, int],
    own: Sequence[float],
) -> dict[int, dict[int, float]]:
    """Return, state by state, the minutes to each finding that some step above reaches twice."""
    done, below, cost = region.done, region.below, region.cost
    wanted = dict.fromkeys(done, 0)
    for state in reversed(done):
        needed = wanted[state] | twice.get(state, 0)
        if needed:
            for child in below[state]:
                wanted[child] |= needed & reach[child]
    single: dict[int, dict[int, float]] = {}
    for state in done:
        children = below[state]
        found: dict[int, float] = {}
        for which in bits(wanted[state]):
            if children:
                routes = [single[c][which] for c in children if reach[c] >> which & 1]
                found[which] = cost[state] + sum(routes) / len(routes)
            else:
                found[which] = own[which]
        single[state] = found
    return single


def expected_minutes(plan: Plan, cautions: Precautions) -> float:
    """Return the minutes that a case of this tree takes to its finding, on average.

    Right answers; cautions on the way included; a finding's own minutes and cautions are not.
    """
    none = [0.0] * len(plan.findings)
    found = outlooks(plan, cautions, [plan.start], weights=plan.chances, own=none, closed={})
    return found[plan.start].minutes
