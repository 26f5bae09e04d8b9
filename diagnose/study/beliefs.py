"""From answers to probabilities: Bayes over the findings, the tree itself being the fault model.

With R the answers of a question from which a finding can be reached (none: its passing answer, as a
part that is not at fault looks right) and k answers in all, an answer has the probability

    1 / k                   where R is empty or holds all k answers
    (1 - slip) / |R|        in R
    slip / (k - |R|)        elsewhere

given that the finding is the cause. Steps that look at the same are one question: R holds what can
be reached from the answer at any of them, and it is believed once. A remedy that failed leaves a
tenth of its finding's weight.
"""

from __future__ import annotations

import math
from array import array
from functools import lru_cache
from typing import TYPE_CHECKING

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from diagnose.study.plan import Plan

#: What stands for a slip of 0, and for that of an answer taken from the machine card.
LEAST_SLIP = 1e-9

#: What a failed remedy leaves of its finding's weight.
AFTER_FAILED_REMEDY = 0.1


def prior(plan: Plan) -> array[float]:
    """Return the logarithm of each finding's chance, in the order of ``plan.findings``."""
    return array("d", [math.log(chance) for chance in plan.chances])


@lru_cache(maxsize=1024)
def likelihood(plan: Plan, step: int, answer: int, slip: float) -> tuple[float, ...]:
    """Return for each finding the logarithm of the probability of this answer at this step.

    A row is kept for the next case on the same plan: it depends on nothing else.
    """
    k = len(plan.ways[step])
    slip = max(slip, LEAST_SLIP)
    seen = plan.sight[step]
    reached = by_count(seen, len(plan.findings))
    flat, inside, outside = reached[k], [0] * (k + 1), [0] * (k + 1)
    if plan.passing[step] is None:
        flat |= reached[0]
    else:
        (inside if answer == plan.passing[step] else outside)[1] = reached[0]
    for size in range(1, k):
        inside[size] |= reached[size] & seen[answer]
        outside[size] |= reached[size] & ~seen[answer]
    return _row(
        [(flat, -math.log(k))]
        + [(inside[size], math.log((1 - slip) / size)) for size in range(1, k)]
        + [(outside[size], math.log(slip / (k - size))) for size in range(1, k)],
        len(plan.findings),
    )


def by_count(sets: Sequence[int], count: int) -> list[int]:
    """Return, for each number from 0, which of `count` bits stand in that many of the sets."""
    held = [(1 << count) - 1] + [0] * len(sets)
    most = 0  # nothing stands in more of the sets so far
    for mask in sets:
        if held[most] & mask:
            most += 1
        for number in range(most, 0, -1):
            held[number] = held[number] & ~mask | held[number - 1] & mask
        held[0] &= ~mask
    return held


def _row(parts: list[tuple[int, float]], count: int) -> tuple[float, ...]:
    """Return the row in which each part's bits have its value; most of it shares one value."""
    parts = sorted((part for part in parts if part[0]), key=lambda part: part[0].bit_count())
    row = [parts.pop()[1]] * count
    for mask, value in parts:
        for which in bits(mask):
            row[which] = value
    return tuple(row)


def updated(logs: Iterable[float], *rows: Iterable[float]) -> array[float]:
    """Return the sum of rows of logarithms: what was believed, and one row for each answer."""
    return array("d", map(sum, zip(logs, *rows, strict=True)))


def after_failed_remedy(logs: array[float], finding: int) -> array[float]:
    """Return the logarithms once the remedy of finding number `finding` has failed."""
    result = logs[:]
    result[finding] += math.log(AFTER_FAILED_REMEDY)
    return result
