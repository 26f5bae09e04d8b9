"""Chances from cases: what counts how much, and what it makes of the chances."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.study.chances import FILE_CASES, Ended, evidence_of, means, sureness, weights

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
    ]
    told = evidence_of(cases, "alpha", FINDINGS)
    assert told.counts == {"grit": 0.5, "worn": 0.0, "loose": 0.0}
    assert told.cases == 1


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
