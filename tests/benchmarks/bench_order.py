"""The order study: best orders, expected minutes, posteriors, and cases simulated in the walk.

`python tests/benchmarks/bench_order.py` prints each figure with the limit that it is held to; exit
code 1 if one is missed. Not part of the test run: a busy machine would turn it red.
"""

from __future__ import annotations

import gc
import sys
import time
from pathlib import Path
from random import Random

import numpy as np
from figures import Figure, best, report
from sklearn.naive_bayes import CategoricalNB

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "outside")]

from strategies.ordering import YARDS, cautions_text, model_of, tree_with_run  # noqa: E402
from strategies.written import Written, text_of  # noqa: E402
from test_order_published import simulated  # noqa: E402

from diagnose.commands.ready_library import ReadyLibrary  # noqa: E402
from diagnose.files.cautions import Cautions  # noqa: E402
from diagnose.files.library import built_in  # noqa: E402
from diagnose.files.reading import read_tree  # noqa: E402
from diagnose.study.beliefs import likelihood, prior, updated  # noqa: E402
from diagnose.study.in_force import caution_table  # noqa: E402
from diagnose.study.order.search import BestOrder, best_order  # noqa: E402
from diagnose.study.outlook import expected_minutes, normalised  # noqa: E402
from diagnose.study.plan import Plan, plan_of  # noqa: E402

NONE = caution_table(Cautions(hazards={}, cautions={}))


def order_figures() -> list[Figure]:
    """Long runs without constraints, and short ones without any structure."""
    figures = []
    for what, length, after, exits, names, limit in (
        ("200 steps, no constraints", 200, 0.0, 0.0, ("lockout alone", "two lockouts"), 1.0),
        ("20 steps, no structure, `after` of density 0.1", 20, 0.1, 0.4, tuple(YARDS), 1.0),
        # Not proved to be best: what it takes to say by how much they can be wrong.
        ("200 steps, best found", 200, 0.0, 0.0, ("nested", "side by side", "deep"), 10.0),
    ):
        for name in names:
            slowest, exact, within = 0.0, 0, 0.0
            for seed in range(3):
                tree = tree_with_run(Random(seed), length, YARDS[name], after=after, exits=exits)
                written = Written(
                    trees={"alpha": text_of(tree)}, cautions=cautions_text(YARDS[name])
                )
                model = model_of(written)
                assert model is not None
                began = time.perf_counter()
                found = best_order(model)
                slowest = max(slowest, time.perf_counter() - began)
                assert isinstance(found, BestOrder)
                exact += found.exact
                within = max(within, found.gap)
            shown = f"{exact} of 3 exact" + (f", within {within:.3f} min" if exact < 3 else "")
            figures.append((f"{what} ({name}), slowest of 3, s", slowest, limit, shown))
    return figures


def chain(steps: int) -> Plan:
    """Return the plan of a chain of half as many checks as it has steps."""
    lines = ["format: 1", "symptom: x", "title: A chain", "start: c-0", "steps:"]
    checks = steps // 2
    for place in range(checks):
        on = f"c-{place + 1}" if place + 1 < checks else "rest"
        lines += [
            f"  c-{place}: {{ask: And this?, answers: {{It is broken: f-{place}, It is whole: {on}}}}}",
            f"  f-{place}: {{finding: A cause., chance: {1 + place % 9}, who: operator, remedy: Do.}}",
        ]
    lines.append("  rest: {finding: None., chance: 1, who: operator, remedy: Do.}")
    tree, problems = read_tree("\n".join(lines) + "\n", "x.yaml")
    assert tree is not None, problems
    return plan_of(tree, NONE)


def minutes_figures() -> list[Figure]:
    """Expected minutes of a large tree."""
    plan = chain(10_000)
    taken = best(lambda: expected_minutes(plan, NONE))
    return [("expected minutes of 10,000 steps, s", taken, 0.5, "")]


def posterior_figures() -> list[Figure]:
    """A posterior over 200 causes after 20 answers, against CategoricalNB, the collector at rest.

    Like with like, twice: rows that are kept from case to case against `predict_proba` of a fitted
    model; rows worked out anew from the tree against log tables made anew from a fit's counts.
    """
    plan = chain(399)
    count, asked = len(plan.findings), list(range(0, 40, 2))
    answers = [1] * 20

    def ours() -> list[float]:
        given = zip(asked, answers, strict=True)
        rows = (likelihood(plan, step, answer, 0.05) for step, answer in given)
        return normalised(updated(prior(plan), *rows))

    def ours_anew() -> list[float]:
        likelihood.cache_clear()
        return ours()

    model = CategoricalNB()
    model.classes_ = np.arange(count)
    model.class_count_ = np.ones(count)
    model.n_features_in_ = 20
    model.n_categories_ = np.full(20, 2)
    model.class_log_prior_ = np.array(prior(plan))
    chances = [np.exp(likelihood(plan, step, 1, 0.05)) for step in asked]
    model.category_count_ = [np.stack([1 - one, one], axis=1) for one in chances]
    sample = np.array([answers])

    def theirs_anew() -> list[float]:
        model._update_feature_log_prob(0.0)
        return list(model.predict_proba(sample)[0])

    assert np.allclose(ours(), theirs_anew(), atol=1e-12), "the two posteriors differ"
    gc.collect()
    gc.disable()
    try:
        kept = best(ours, 30), best(lambda: model.predict_proba(sample), 30)
        anew = best(ours_anew, 30), best(theirs_anew, 30)
    finally:
        gc.enable()
    what = "posterior over 200 causes, 20 answers"
    return [
        (f"{what}, rows kept / CategoricalNB fitted", kept[0] / kept[1], 1.0, in_ms(*kept)),
        (f"{what}, rows anew / tables anew", anew[0] / anew[1], 1.0, in_ms(*anew)),
    ]


def in_ms(*seconds: float) -> str:
    return ", ".join(f"{1e3 * each:.2f} ms" for each in seconds)


def simulation_figures() -> list[Figure]:
    """200,000 cases in the real walk: how far the mean is from what is expected."""
    library = ReadyLibrary(built_in())
    library.machine("dock")
    figures = []
    for symptom in ("streaking", "poor-pickup", "no-solution-flow"):
        mean, error, expected = simulated(library, symptom, 200_000, 11)
        shown = f"{mean:.3f} min, expected {expected:.3f}"
        away = abs(mean - expected) / error
        figures.append((f"200,000 cases of {symptom}, standard errors off", away, 3.0, shown))
    return figures


if __name__ == "__main__":
    sys.exit(report(order_figures, minutes_figures, posterior_figures, simulation_figures))
