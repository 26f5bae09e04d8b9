"""Families of jobs: those that need not be told apart when their orders are searched.

Jobs are of one family where they need the same cautions, do the same to the machine, have the same
`after` around them, share their weight out over the entries alike, and have branches whose cautions
cost the same per unit of weight, in every state. If cautions may be taken before a job calls for
them, some best order holds each family by w / p, descending: of two members that stand the other
way round, either the earlier can move to the later or the later to the earlier, and one of these
costs no more (after the family set-ups of Monma and Potts 1989, from memory).

A real caution is taken when a job calls for it, and then that is not so: a quick job may be worth
its place as the one that has the lockout taken, while a likelier one per minute waits.
"""

from __future__ import annotations

import math
from itertools import accumulate
from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.order.model import RunModel, State

#: Beyond so many states, jobs with cautions in their branches are families of one.
MOST_STATES = 300


class Family(Struct, frozen=True, kw_only=True):
    """Members of a run in the order of w / p, descending; numbers i count them from 0.

    `minutes[i]`, `weights[i]` and `ratios[i]` are those of member i; `minutes_until[i]` and
    `weight_until[i]` the sums over the first i members; `waiting[i]` the weight of the others, by
    entry. `before`: the families that have to be done first. `fixed_branches`: what cautions cost
    in its members' branches is the same in every state. `stays_free`: fixed, and once a member
    calls for no caution none ever will, and no other job comes after one of them.
    """

    jobs: tuple[int, ...]
    kind: int
    minutes: tuple[float, ...]
    weights: tuple[float, ...]
    ratios: tuple[float, ...]
    minutes_until: tuple[float, ...]
    weight_until: tuple[float, ...]
    waiting: tuple[tuple[float, ...], ...]
    before: tuple[int, ...]
    fixed_branches: bool
    stays_free: bool


def families(model: RunModel, *, single: bool = False) -> list[Family]:
    """Return the families of a run, the one with the member of the largest w / p first.

    `single`: each job is a family of its own.
    """
    before, after = _constraints(model)
    costs = _branch_costs(model)
    groups: dict[object, list[int]] = {}
    for number in sorted(range(len(model.jobs)), key=lambda job: -model.jobs[job].ratio):
        job = model.jobs[number]
        # How its weight is shared out over the entries.
        shares = tuple(round(weight / job.weight, 12) for weight in job.weights)
        alike = (job.kind, shares, before[number], after[number], costs[number])
        groups.setdefault(number if single else alike, []).append(number)
    family_of = {job: which for which, jobs in enumerate(groups.values()) for job in jobs}
    made = []
    for numbers in groups.values():
        first, jobs = numbers[0], [model.jobs[number] for number in numbers]
        minutes = tuple(job.minutes for job in jobs)
        weights = tuple(job.weight for job in jobs)
        fixed = len(set(costs[first])) <= 1
        made.append(
            Family(
                jobs=tuple(numbers),
                kind=jobs[0].kind,
                minutes=minutes,
                weights=weights,
                ratios=tuple(job.ratio for job in jobs),
                minutes_until=tuple(accumulate(minutes, initial=0.0)),
                weight_until=tuple(accumulate(weights, initial=0.0)),
                waiting=tuple(_weights(model, numbers[done:]) for done in range(len(jobs) + 1)),
                before=tuple(sorted({family_of[number] for number in bits(before[first])})),
                fixed_branches=fixed,
                stays_free=fixed and not after[first] and not _lapses(model, jobs[0].kind),
            )
        )
    return made


def _lapses(model: RunModel, kind: int) -> bool:
    """Whether a job of a kind ends a caution or takes one that can be ended."""
    needs, energises = model.kinds[kind]
    return energises or bool(model.cautions.closed(needs) & model.cautions.lapsing)


def _branch_costs(model: RunModel) -> list[tuple[float, ...]]:
    """Return what cautions cost in each job's branches per unit of weight, by state.

    Nothing where no caution is named there; with too many states to tell, what no other job has.
    """
    states = _reachable(model)
    costs: list[tuple[float, ...]] = []
    for number, job in enumerate(model.jobs):
        if not job.branch_cautions:
            costs.append(())
        elif states is None:
            costs.append((float(number), -1.0))
        else:
            each = [model.branch_cost(number, state) / job.weight for state in states]
            costs.append(tuple(round(cost, 11) for cost in each))
    return costs


def _weights(model: RunModel, numbers: Sequence[int]) -> tuple[float, ...]:
    entries = range(len(model.tail_weights))
    return tuple(math.fsum(model.jobs[n].weights[entry] for n in numbers) for entry in entries)


def _constraints(model: RunModel) -> tuple[list[int], list[int]]:
    """Return, for each job, the jobs that have to come before it and after it, as bits."""
    count = len(model.jobs)
    before, after = list(model.run.before), [0] * count
    # The present order keeps every `after`, so that one sweep along it closes the relation.
    for number in range(count):
        for other in bits(before[number]):
            before[number] |= before[other]
        for other in bits(before[number]):
            after[other] |= 1 << number
    return before, after


def _reachable(model: RunModel) -> list[State] | None:
    """Return the states that some order comes to, cautions taken at any time; None: too many."""
    states = [model.start]
    seen = set(states)
    early = [(model.cautions.closure[n], False) for n in bits(model.named_in_run)]
    for state in states:
        for needs, energises in (*model.kinds, *early):
            _, after = model.setup_for(state, needs, energises)
            over = model.cap is not None and any(lockouts > model.cap for _, lockouts in after)
            if after not in seen and not over:
                seen.add(after)
                states.append(after)
        if len(states) > MOST_STATES:
            return None
    return states
