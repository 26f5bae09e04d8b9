"""How sure a chance is, against SciPy's beta distribution (C: computed with scipy.stats.beta)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta, dirichlet

from diagnose.study.beta import middle_range, share_below
from diagnose.study.chances import ranges

#: From a finding of which hardly anybody has heard, to more cases than a shop will ever have.
PARAMETERS = st.floats(-2, 4).map(lambda power: 10.0**power)


@given(st.floats(0.0, 1.0), PARAMETERS, PARAMETERS)
def test_the_share_below(x: float, a: float, b: float) -> None:
    assert share_below(x, a, b) == pytest.approx(beta.cdf(x, a, b), rel=0, abs=1e-7)


@given(PARAMETERS, PARAMETERS)
def test_the_range_that_holds_ninety_of_a_hundred(a: float, b: float) -> None:
    low, high = middle_range(a, b)
    assert low == pytest.approx(beta.ppf(0.05, a, b), rel=0, abs=1e-7)
    assert high == pytest.approx(beta.ppf(0.95, a, b), rel=0, abs=1e-7)
    assert 0 <= low <= high <= 1


def test_the_chances_of_a_dirichlet_distribution_are_in_their_ranges_as_often_as_is_said() -> None:
    parameters = {"one": 0.8, "two": 6.0, "three": 13.2}
    drawn = dirichlet.rvs([*parameters.values()], size=20_000, random_state=7)
    for column, (low, high) in enumerate(ranges(parameters).values()):
        inside = (drawn[:, column] > low) & (drawn[:, column] < high)
        # Two standard errors of 20,000 draws are 0.004.
        assert inside.mean() == pytest.approx(0.9, abs=0.01)


def test_ends() -> None:
    assert share_below(-1, 2, 2) == share_below(0, 2, 2) == 0
    assert share_below(1, 2, 2) == share_below(3, 2, 2) == 1
    assert middle_range(20, 0) == (1, 1)
