"""The chances' Dirichlet distribution against a published poll.

Gelman et al., Bayesian Data Analysis, the 1988 poll: a uniform prior over three answers, counts
727, 583 and 137 (from memory, M); the update rule (α + n) / (α₀ + N) was read (R); the probability
that the first is more than the second is computed by SciPy (C). The instance is in `data/`.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from scipy.stats import beta

from diagnose.study.chances import means, sureness, weights

POLL = json.loads((Path(__file__).parent / "data" / "bda3_poll_dirichlet.json").read_text())
NAMES = ("first", "second", "neither")


def parameters() -> dict[str, float]:
    alpha = dict(zip(NAMES, POLL["inputs"]["alpha"], strict=True))
    counts = dict(zip(NAMES, POLL["inputs"]["counts"], strict=True))
    return weights(alpha, counts, file_cases=sum(alpha.values()))


def test_the_posterior_and_its_mean_are_the_published_ones() -> None:
    found = parameters()
    assert list(found.values()) == pytest.approx(POLL["expected"]["posterior"], abs=1e-12)
    assert list(means(found).values()) == pytest.approx(POLL["expected"]["mean"], abs=1e-12)


@pytest.mark.parametrize("share", [1.0, 0.1, 0.02, 0.005])
def test_sureness_is_the_tail_of_a_beta_distribution(share: float) -> None:
    """The poll, and smaller ones of the same kind: the first is more than the second.

    Of two parts of a Dirichlet distribution the first's share is Beta distributed (Gelman et al.,
    Bayesian Data Analysis, appendix A, from memory, M); its tail beyond one half by SciPy (C).
    """
    values = [share * value for value in parameters().values()]
    tail = float(beta.sf(0.5, values[0], values[1]))
    draws = 20_000
    # Three standard errors of the drawn share, and one draw.
    near = 3 * math.sqrt(tail * (1 - tail) / draws) + 1 / draws
    assert sureness(values, [1, -1, 0], draws=draws) == pytest.approx(tail, abs=near)
    assert sureness(values, [-1, 1, 0], draws=draws) == pytest.approx(1 - tail, abs=near)
    if share == 1:
        assert tail == pytest.approx(POLL["expected"]["first_above_second"], abs=1e-7)
