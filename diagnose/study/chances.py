"""Chances from cases: what the shop's own cases say about how often each finding is the cause.

The chances of the file count as `FILE_CASES` cases; each case that came to an end counts as one.
That is a Dirichlet distribution and its update (Gelman et al., Bayesian Data Analysis).
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

#: As many cases the chances of the file are worth.
FILE_CASES = 20.0

#: Draws from the distribution, and where they begin: the same question gets the same answer.
DRAWS, SEED = 2_000, 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How a case ended: cured or referred.

    `cures` are (symptom, finding), several where a doorway was passed: what cured it, or what
    service reported. A referral may have the one finding `found` of `symptom` instead, or else the
    `closing` probabilities.
    """

    symptom: str
    cures: tuple[tuple[str, str], ...] = ()
    found: str | None = None
    closing: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseEvidence:
    """What cases tell of a tree's findings: the sum for each, and how many cases spoke."""

    counts: Mapping[str, float]
    cases: int


def evidence_of(cases: Iterable[Ended], symptom: str, findings: Iterable[str]) -> CaseEvidence:
    """Return what cases tell of the findings of a symptom.

    A cure counts one for its finding; a referral one for what service reported, else its closing
    probabilities. What the tree does not know (any more) tells nothing.
    """
    counts = dict.fromkeys(findings, 0.0)
    spoke = 0
    for case in cases:
        said: dict[str, float] = {}
        if case.cures:
            said = {finding: 1.0 for of, finding in case.cures if of == symptom}
        elif case.symptom == symptom:
            said = {case.found: 1.0} if case.found is not None else dict(case.closing)
        known = {finding: part for finding, part in said.items() if finding in counts}
        for finding, part in known.items():
            counts[finding] += part
        spoke += bool(known)
    return CaseEvidence(counts=counts, cases=spoke)


def weights(
    chances: Mapping[str, float], counts: Mapping[str, float], file_cases: float = FILE_CASES
) -> dict[str, float]:
    """Return the parameters of the Dirichlet distribution over the findings.

    `chances` may have any positive scale. The mean of each finding is its parameter over their sum.
    """
    total = sum(chances.values())
    return {f: file_cases * chance / total + counts.get(f, 0.0) for f, chance in chances.items()}


def means(parameters: Mapping[str, float]) -> dict[str, float]:
    """Return the mean probabilities of a Dirichlet distribution."""
    total = sum(parameters.values())
    return {finding: parameter / total for finding, parameter in parameters.items()}


def sureness(
    parameters: Sequence[float], gains: Sequence[float], draws: int = DRAWS, seed: int = SEED
) -> float:
    """Return the probability that the gains, weighed by what is the cause, come to more than 0.

    Drawn from the Dirichlet distribution: gamma variates, whose common sum changes no sign.
    """
    rng = random.Random(seed)
    better = 0
    for _ in range(draws):
        drawn = [rng.gammavariate(parameter, 1.0) for parameter in parameters]
        better += sum(x * gain for x, gain in zip(drawn, gains, strict=True)) > 0
    return better / draws
