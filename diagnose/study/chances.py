"""Chances from cases: what the shop's own cases say about how often each finding is the cause.

The estimates of the file count as `FILE_CASES` cases; each case that came to an end counts as one.
So the parameters of a Dirichlet distribution are updated, a + n for a parameter a and n cases
(Gelman et al., Bayesian Data Analysis, the multinomial model). A file that has learned before says
from which estimates and how many cases (`chance_from`): its cases are never added to those of the
log, which may be the same ones; whichever has more of them speaks.
"""

from __future__ import annotations

import random
from types import MappingProxyType
from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.files.tree import Finding
from diagnose.study.beta import middle_range

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from diagnose.files.tree import Tree

#: The number of cases that the chances of the file are worth.
FILE_CASES = 20.0

#: Draws from the distribution, and their seed: the same question gets the same answer.
DRAWS, SEED = 2_000, 4


class Ended(Struct, frozen=True, kw_only=True):
    """How a case ended: cured or referred.

    `cures` are (symptom, finding), several where a doorway was passed: what cured it, or what
    service reported. A referral may have the one finding `found` of `symptom` instead, or else the
    `closing` probabilities; `other` is a cause in words that the tree lacks. `case` is its name.
    """

    symptom: str
    case: str = ""
    other: str = ""
    cures: tuple[tuple[str, str], ...] = ()
    found: str | None = None
    closing: Mapping[str, float] = {}


class CaseEvidence(Struct, frozen=True, kw_only=True):
    """What cases tell of a tree's findings.

    `counts`: the sum over the cases of the probability that a finding was the cause; `cases`: how
    many named one that the tree knows. `left_out` are the ids that the tree does not know, with the
    cases that named them as the cause, `others` the cases whose cause it lacks.
    """

    counts: Mapping[str, float]
    cases: int
    left_out: Mapping[str, tuple[str, ...]] = {}
    others: tuple[str, ...] = ()


def evidence_of(
    cases: Iterable[Ended],
    symptom: str,
    findings: Iterable[str],
    today: Mapping[str, str] = MappingProxyType({}),
) -> CaseEvidence:
    """Return what cases tell of the findings of a symptom.

    A cure counts one for its finding; a referral one for what service reported, else its closing
    probabilities. `today` gives the id of a finding by one that it had before. What the tree does
    not have (any more) is left out, and said.
    """
    counts = dict.fromkeys(findings, 0.0)
    spoke = 0
    left_out: dict[str, tuple[str, ...]] = {}
    others = []
    for case in cases:
        said = _causes(case, symptom)
        names = {id_: today.get(id_, id_) for id_ in said}
        for id_, share in said.items():
            if names[id_] in counts:
                counts[names[id_]] += share
            elif share >= _NAMED:
                left_out[id_] = (*left_out.get(id_, ()), case.case)
        spoke += not counts.keys().isdisjoint(names.values())
        if case.other and case.symptom == symptom:
            others.append(case.case)
    named = {id_: tuple(sorted(cases)) for id_, cases in left_out.items()}
    return CaseEvidence(counts=counts, cases=spoke, left_out=named, others=tuple(others))


#: A closing probability from which a case is said to have named a cause.
_NAMED = 0.5


def _causes(case: Ended, symptom: str) -> Mapping[str, float]:
    """Return the probability of each cause of a symptom that a case names."""
    if case.cures:
        return {finding: 1.0 for of, finding in case.cures if of == symptom}
    if case.symptom != symptom or case.other:
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


class Chances(Struct, frozen=True, kw_only=True):
    """What is known of the chances of a tree's findings.

    `estimates` are the author's, `counts` the cases of each; `filed`: those that the file was
    written from, since they are more than the log has. `parameters` are those of the Dirichlet
    distribution that follows.
    """

    estimates: Mapping[str, float]
    counts: Mapping[str, float]
    filed: bool
    parameters: Mapping[str, float]


#: Cases by which two counts may differ that were rounded, a finding.
_ROUNDED = 0.005


def learned(tree: Tree, counts: Mapping[str, float]) -> Chances:
    """Return what a tree and the cases of a log tell of the chances of its findings."""
    findings = {name: step for name, step in tree.steps.items() if isinstance(step, Finding)}
    estimates = {name: step.estimate for name, step in findings.items()}
    filed = {
        name: 0.0 if step.chance_from is None else step.chance_from.cases
        for name, step in findings.items()
    }
    more = sum(filed.values()) > sum(counts.values()) + _ROUNDED * len(filed)
    spoke = filed if more else counts
    return Chances(
        estimates=estimates, counts=spoke, filed=more, parameters=weights(estimates, spoke)
    )


def ranges(parameters: Mapping[str, float]) -> dict[str, tuple[float, float]]:
    """Return, for each finding, the range that its chance is in with a probability of 90 %."""
    total = sum(parameters.values())
    return {name: middle_range(a, total - a) for name, a in parameters.items()}


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
