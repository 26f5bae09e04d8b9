"""Chances from cases: what counts how much, and what it makes of the chances."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from diagnose.files.tree import ChanceFrom, Finding, Tree
from diagnose.study.chances import (
    FILE_CASES,
    Ended,
    evidence_of,
    learned,
    means,
    sureness,
    weights,
)

FINDINGS = ("grit", "worn", "loose")


def test_a_cure_counts_one_and_a_referral_what_was_reported_or_else_its_probabilities() -> None:
    cases = [
        Ended(symptom="alpha", cures=(("alpha", "grit"),)),
        Ended(symptom="alpha", cures=(("alpha", "worn"), ("beta", "other"))),
        Ended(symptom="beta", cures=(("beta", "grit"),)),
        Ended(symptom="alpha", found="loose", closing={"grit": 1.0}),
        Ended(symptom="alpha", closing={"grit": 0.5, "worn": 0.25, "loose": 0.25}),
        Ended(symptom="beta", closing={"grit": 1.0}),
    ]
    told = evidence_of(cases, "alpha", FINDINGS)
    assert told.counts == {"grit": 1.5, "worn": 1.25, "loose": 1.25}
    assert told.cases == 4
    behind = evidence_of(cases, "beta", ["other", "grit"])
    assert behind.counts == {"other": 1.0, "grit": 2.0}


def test_what_the_tree_does_not_know_tells_nothing() -> None:
    cases = [
        Ended(symptom="alpha", cures=(("alpha", "gone"),)),
        Ended(symptom="alpha", found="gone"),
        Ended(symptom="alpha", closing={"gone": 0.5, "grit": 0.5}),
        Ended(symptom="alpha", closing={"gone": 0.1, "grit": 0.9}),
        Ended(
            symptom="alpha", case="d", found="spelt anyhow", closing={"grit": 1.0}, other="a seam"
        ),
        Ended(symptom="beta", case="e", other="a seam"),
    ]
    cases = [replace(one, case=one.case or name) for one, name in zip(cases, "abcddd", strict=True)]
    told = evidence_of(cases, "alpha", FINDINGS)
    assert told.counts == {"grit": 1.4, "worn": 0.0, "loose": 0.0}
    assert told.cases == 2
    # A case that thought it one of several has not named it.
    assert told.left_out == {"gone": ("a", "b", "c")}
    assert told.others == ("d",)


def test_a_finding_counts_by_the_ids_that_it_had() -> None:
    cases = [
        Ended(symptom="alpha", cures=(("alpha", "sand"),)),
        Ended(symptom="alpha", closing={"sand": 0.25, "grit": 0.5, "worn": 0.25}),
    ]
    told = evidence_of(cases, "alpha", FINDINGS, {"sand": "grit"})
    assert told.counts == {"grit": 1.75, "worn": 0.25, "loose": 0.0}
    assert (told.cases, told.left_out) == (2, {})


def test_the_file_and_the_log_are_never_counted_together() -> None:
    def finding(cases: float | None) -> Finding:
        comes_from = None if cases is None else ChanceFrom(estimate=50, cases=cases)
        return Finding(finding="x", chance=70, chance_from=comes_from)

    def tree(*cases: float | None) -> Tree:
        steps = {name: finding(one) for name, one in zip("ab", cases, strict=True)}
        return Tree(symptom="s", title="t", start="a", steps=steps)

    fresh = learned(tree(None, None), {"a": 3.0, "b": 0.0})
    assert (fresh.filed, fresh.parameters) == (False, {"a": 13.0, "b": 10.0})
    assert fresh.estimates == {"a": 70, "b": 70}
    grown = learned(tree(3, 1), {"a": 4.0, "b": 1.0})
    assert (grown.filed, grown.parameters) == (False, {"a": 14.0, "b": 11.0})
    same = learned(tree(0.67, 0.33), {"a": 2 / 3, "b": 1 / 3})
    assert not same.filed
    other = learned(tree(3, 1), {"a": 0.0, "b": 1.0})
    assert (other.filed, other.parameters) == (True, {"a": 13.0, "b": 11.0})


@given(
    st.lists(st.floats(0.01, 1000), min_size=2, max_size=9),
    st.data(),
)
def test_the_mean_is_the_formula(chances: list[float], data: st.DataObject) -> None:
    names = [f"f{n}" for n in range(len(chances))]
    counts = {name: data.draw(st.floats(0, 500)) for name in names}
    shares = means(weights(dict(zip(names, chances, strict=True)), counts))
    total = 20 + sum(counts.values())
    assert FILE_CASES == 20
    for name, chance in zip(names, chances, strict=True):
        wanted = (20 * chance / sum(chances) + counts[name]) / total
        assert shares[name] == pytest.approx(wanted, rel=1e-12)
    assert sum(shares.values()) == pytest.approx(1, rel=1e-12)


def test_sureness_is_the_same_each_time_and_goes_from_none_to_full() -> None:
    assert sureness([3, 5], [1, 1]) == 1
    assert sureness([3, 5], [-1, 0]) == 0
    assert sureness([3, 5], [0, 0]) == 0
    even = sureness([10, 10], [1, -1])
    assert even == sureness([10, 10], [1, -1])
    assert even == pytest.approx(0.5, abs=0.05)
    assert sureness([10, 10], [1, -1], seed=5) != even
