"""Families of steps: which members of a run need not be told apart when its orders are searched.

Steps are of one family if they need the same cautions, do the same to the machine, have the same
`after` around them, and cost the same cautions behind their other answers per unit of chance, in
every state. Then some best order holds each family by probability / minutes, descending (family
set-ups: Monma and Potts 1989, from memory).

That needs cautions that add up. It was tried against all permutations: where one caution that is
needed includes another that is needed too, taking the small one first costs its minutes twice, a
quick step may be worth its place as the one that takes the large caution, and the claim is false
(tests/study/test_order_search.py keeps the smallest instance). `adds_up` tells the two cases apart;
only where it holds are the families, and the rules of `order_search` that rest on the same exchange
of places, taken as proof.
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


def adds_up(model: Model) -> bool:
    """Whether what a step has to pay is the sum of what it names and is not in force.

    So it is where no caution that is named in the run or in what follows includes another of
    these, and none that holds for the rest of the case includes one that lapses.
    """
    named = model.tail_heeds
    for needs in (*model.named, *(job.heeds for job in model.jobs)):
        named |= needs
    closure, lapsing = model.cautions.closure, model.cautions.lapsing
    return all(
        closure[n] & named == 1 << n and (lapsing >> n & 1 or not closure[n] & lapsing)
        for n in bits(named)
    )


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
    """Return the states that some order comes to, None where there are too many."""
    states = [model.start]
    seen = set(states)
    for state in states:
        for kind in range(len(model.kinds)):
            _, after = model.move(state, kind)
            over = model.cap is not None and any(count > model.cap for _, count in after)
            if after not in seen and not over:
                seen.add(after)
                states.append(after)
        if len(states) > MANY_STATES:
            return None
    return states
