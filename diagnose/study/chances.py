"""Chances from cases: what the shop's own cases say about how often each finding is the cause.

The chances of the file count as `FILE_CASES` cases; each case that came to an end counts as one.
So the parameters of a Dirichlet distribution are updated, a + n for a parameter a and n cases
(Gelman et al., Bayesian Data Analysis, the multinomial model).
"""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

#: The number of cases that the chances of the file are worth.
FILE_CASES = 20.0

#: Draws from the distribution, and their seed: the same question gets the same answer.
DRAWS, SEED = 2_000, 4


class Ended(Struct, frozen=True, kw_only=True):
    """How a case ended: cured or referred.

    `cures` are (symptom, finding), several where a doorway was passed: what cured it, or what
    service reported. A referral may have the one finding `found` of `symptom` instead, or else the
    `closing` probabilities.
    """

    symptom: str
    cures: tuple[tuple[str, str], ...] = ()
    found: str | None = None
    closing: Mapping[str, float] = {}


class CaseEvidence(Struct, frozen=True, kw_only=True):
    """What cases tell of a tree's findings.

    `counts`: the sum over the cases of the probability that a finding was the cause; `cases`: how
    many named one that the tree knows.
    """

    counts: Mapping[str, float]
    cases: int


def evidence_of(cases: Iterable[Ended], symptom: str, findings: Iterable[str]) -> CaseEvidence:
    """Return what cases tell of the findings of a symptom.

    A cure counts one for its finding; a referral one for what service reported, else its closing
    probabilities. A finding that the tree does not have (any more) is passed over.
    """
    counts = dict.fromkeys(findings, 0.0)
    spoke = 0
    for case in cases:
        said = _causes(case, symptom)
        known = counts.keys() & said.keys()
        for finding in known:
            counts[finding] += said[finding]
        spoke += bool(known)
    return CaseEvidence(counts=counts, cases=spoke)


def _causes(case: Ended, symptom: str) -> Mapping[str, float]:
    """Return the probability of each cause of a symptom that a case names."""
    if case.cures:
        return {finding: 1.0 for of, finding in case.cures if of == symptom}
    if case.symptom != symptom:
        return {}
    return case.closing if case.found is None else {case.found: 1.0}


def weights(
    chances: Mapping[str, float], counts: Mapping[str, float], file_cases: float = FILE_CASES
) -> dict[str, float]:
    """Return the parameters of the Dirichlet distribution over the findings: file and cases.

    `chances` may have any positive scale; `counts` are cases, 0 where left out.
    """
    total = sum(chances.values())
    return {f: file_cases * chance / total + counts.get(f, 0.0) for f, chance in chances.items()}


def means(parameters: Mapping[str, float]) -> dict[str, float]:
    """Return the mean probabilities of a Dirichlet distribution: each parameter over their sum."""
    total = sum(parameters.values())
    return {finding: parameter / total for finding, parameter in parameters.items()}


def sureness(
    parameters: Sequence[float], gains: Sequence[float], draws: int = DRAWS, seed: int = SEED
) -> float:
    """Return the probability that the mean gain, weighted by the findings' chances, is above 0.

    The chances are drawn from the Dirichlet distribution with these `parameters`, as gamma variates
    without dividing by their sum, which changes no sign. `gains` are in any unit, one a finding.
    """
    rng = random.Random(seed)
    better = 0
    for _ in range(draws):
        drawn = [rng.gammavariate(parameter, 1.0) for parameter in parameters]
        better += sum(x * gain for x, gain in zip(drawn, gains, strict=True)) > 0
    return better / draws
