"""Families of steps: which members of a run need not be told apart when its orders are searched.

Steps are of one family if they need the same cautions, do the same to the machine, have the same
`after` around them, and cost the same cautions behind their other answers per unit of chance, in
every state. Could a caution be taken at any time, some best order would hold each family by
probability / minutes, descending: of two of a family that stand the other way round, either the
earlier can move to the later or the later to the earlier, and one of these costs no more (after the
family set-ups of Monma and Potts 1989, from memory).

A real caution is taken when a step calls for it. A quick step may then be worth its place as the
one that has the lockout taken, so that a likely step has the key out for nothing, though a likelier
one per minute waits: against all permutations, by probability / minutes alone is not always best
(tests/study/test_order_search.py keeps such instances). `order_search` draws the consequence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.order_model import Model, State

#: Beyond so many states, steps with cautions behind their other answers stand alone.
MANY_STATES = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Steps of a run that are done by probability / minutes, descending.

    `until[i]` and `sum_minutes[i]` are the probability and the minutes of the first i members,
    `rest[i]` the probability of the others, entry by entry. `before` are the families that have to
    be done first. `steady`: what its members' other answers cost does not depend on the state;
    `lasting`: once it costs nothing, it never will, and nothing waits for it.
    """

    jobs: tuple[int, ...]
    kind: int
    minutes: tuple[float, ...]
    weights: tuple[float, ...]
    ratios: tuple[float, ...]
    sum_minutes: tuple[float, ...]
    until: tuple[float, ...]
    rest: tuple[tuple[float, ...], ...]
    before: tuple[int, ...]
    steady: bool
    lasting: bool


def families(model: Model, *, alone: bool = False) -> list[Family]:
    """Return the families of a run, the one with the likeliest member per minute first.

    `alone`, each step is a family of its own.
    """
    before, after = _constraints(model)
    states = _reachable(model)
    keys: list[object] = []
    steady = []
    for number, job in enumerate(model.jobs):
        if not job.heeds:
            behind: tuple[float, ...] = ()
        elif states is None:
            behind = (float(number), -1.0)
        else:
            each = (model.behind(number, state) / job.weight for state in states)
            behind = tuple(round(cost, 11) for cost in each)
        steady.append(len(set(behind)) <= 1)
        profile = tuple(round(weight / job.weight, 12) for weight in job.weights)
        key: object = (job.kind, profile, before[number], after[number], behind)
        keys.append(number if alone else key)
    groups: dict[object, list[int]] = {}
    for number in sorted(range(len(model.jobs)), key=lambda job: -model.jobs[job].ratio):
        groups.setdefault(keys[number], []).append(number)
    family_of = {job: which for which, jobs in enumerate(groups.values()) for job in jobs}
    made = []
    for jobs in groups.values():
        first = jobs[0]
        needs, energises = model.kinds[model.jobs[first].kind]
        lapses = model.cautions.closed(needs) & model.cautions.lapsing
        minutes = tuple(model.jobs[number].minutes for number in jobs)
        weights = tuple(model.jobs[number].weight for number in jobs)
        made.append(
            Family(
                jobs=tuple(jobs),
                kind=model.jobs[first].kind,
                minutes=minutes,
                weights=weights,
                ratios=tuple(model.jobs[number].ratio for number in jobs),
                sum_minutes=tuple(accumulate(minutes, initial=0.0)),
                until=tuple(accumulate(weights, initial=0.0)),
                rest=tuple(_rest(model, jobs[done:]) for done in range(len(jobs) + 1)),
                before=tuple(sorted({family_of[number] for number in bits(before[first])})),
                steady=steady[first],
                lasting=steady[first] and not energises and not lapses and not after[first],
            )
        )
    return made


def _rest(model: Model, jobs: Sequence[int]) -> tuple[float, ...]:
    entries = range(len(model.tail_weights))
    return tuple(math.fsum(model.jobs[job].weights[entry] for job in jobs) for entry in entries)


def _constraints(model: Model) -> tuple[list[int], list[int]]:
    """Return, for each job, all that has to come before it, and all that has to come after."""
    count = len(model.jobs)
    before = list(model.run.before)
    # The present order keeps every `after`, so that one sweep along it finds all.
    for number in range(count):
        for other in bits(before[number]):
            before[number] |= before[other]
    after = [0] * count
    for number in range(count):
        for other in bits(before[number]):
            after[other] |= 1 << number
    return before, after


def _reachable(model: Model) -> list[State] | None:
    """Return the states that some order comes to, cautions taken at any time; None: too many."""
    states = [model.start]
    seen = set(states)
    ahead = [(model.cautions.closure[n], False) for n in bits(model.named_in_run)]
    for state in states:
        for needs, energises in (*model.kinds, *ahead):
            _, after = model.taking(state, needs, energises)
            over = model.cap is not None and any(count > model.cap for _, count in after)
            if after not in seen and not over:
                seen.add(after)
                states.append(after)
        if len(states) > MANY_STATES:
            return None
    return states
