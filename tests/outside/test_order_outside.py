"""The chances' Dirichlet distribution against a published poll.

Gelman et al., Bayesian Data Analysis, the 1988 poll: a uniform prior over three answers, counts
727, 583 and 137 (from memory, M); the update rule (α + n) / (α₀ + N) was read (R); the probability
that the first is ahead of the second was recomputed (C). The instance is in `data/`.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

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


def test_who_is_ahead_is_as_sure_as_it_was_recomputed() -> None:
    """0.9999657 (C)."""
    values = list(parameters().values())
    assert sureness(values, [1, -1, 0], draws=20_000) == pytest.approx(0.9999657, abs=3e-4)
    assert sureness(values, [-1, 1, 0], draws=20_000) == pytest.approx(1 - 0.9999657, abs=3e-4)
