"""From answers to probabilities: Bayes over the findings, the tree itself being the fault model.

With R the answers of a question from which a finding can be reached (none: its passing answer, as a
part that is not at fault looks right) and k answers in all, an answer has the probability

    1 / k                   where R is empty or holds all k answers
    (1 - slip) / |R|        in R
    slip / (k - |R|)        elsewhere

given that the finding is the cause. A remedy that failed leaves a tenth of its finding's weight.
"""

from __future__ import annotations

import math
from array import array
from typing import TYPE_CHECKING

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


def likelihood(plan: Plan, step: int, answer: int, slip: float) -> array[float]:
    """Return for each finding the logarithm of the probability of this answer at this step."""
    ways = plan.ways[step]
    k = len(ways)
    slip = max(slip, LEAST_SLIP)
    count = len(plan.findings)
    passing = plan.passing[step]
    held = [f"{plan.reach[target]:0{count}b}"[::-1] for target in ways]
    flat = -math.log(k)
    inside = [0.0] + [math.log((1 - slip) / size) for size in range(1, k + 1)]
    outside = [0.0] + [math.log(slip / (k - size)) for size in range(1, k)]
    logs = array("d", [flat]) * count
    for which, column in enumerate(zip(*held, strict=True)):
        size = column.count("1")
        if size == k:
            continue
        if size:
            logs[which] = inside[size] if column[answer] == "1" else outside[size]
        elif passing is not None:
            logs[which] = inside[1] if answer == passing else outside[1]
    return logs


def updated(logs: array[float], more: Iterable[float]) -> array[float]:
    """Return the sum of two rows of logarithms."""
    return array("d", [one + other for one, other in zip(logs, more, strict=True)])


def after_failed_remedy(logs: array[float], finding: int) -> array[float]:
    """Return the logarithms once the remedy of finding number `finding` has failed."""
    result = logs[:]
    result[finding] += math.log(AFTER_FAILED_REMEDY)
    return result


def normalised(logs: Sequence[float]) -> list[float]:
    """Return the probabilities that belong to unnormalised logarithms; they sum to 1."""
    top = max(logs)
    weights = [math.exp(value - top) for value in logs]
    total = sum(weights)
    return [weight / total for weight in weights]
