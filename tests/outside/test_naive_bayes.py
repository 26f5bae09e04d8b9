"""Beliefs against scikit-learn's naive Bayes with the probabilities given to it."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.naive_bayes import CategoricalNB
from strategies.libraries import libraries
from strategies.observer import Files
from strategies.plain import Plain
from strategies.sampling import several
from strategies.written import Written, read

from diagnose.study.beliefs import likelihood, prior, updated
from diagnose.study.outlook import normalised


def model(plain: Plain, questions: list[str]) -> CategoricalNB:
    """Return a classifier of which each question is a feature and each finding a class."""
    classifier = CategoricalNB()
    classifier.classes_ = np.arange(len(plain.findings))
    classifier.class_count_ = np.ones(len(plain.findings))
    classifier.n_features_in_ = len(questions)
    classifier.n_categories_ = np.array([len(plain.ways(q)) for q in questions])
    classifier.class_log_prior_ = np.log([plain.prior()[finding] for finding in plain.findings])
    classifier.feature_log_prob_ = [
        np.log(
            [
                [plain.chance_of(q, answer, finding) for answer in range(len(plain.ways(q)))]
                for finding in plain.findings
            ]
        )
        for q in questions
    ]
    return classifier


@pytest.mark.many_cases
@settings(max_examples=several(100))
@given(libraries(most_trees=1), st.integers(0, 2**32))
def test_random_cases(written: Written, seed: int) -> None:
    library, random = read(written), Random(seed)
    plan = library.plan("alpha")
    start = str(library.trees["alpha"].start)
    plain = Plain(Files(written.trees, written.cautions), "alpha", start)
    questions = [plan.ids[n] for n, ways in enumerate(plan.ways) if ways]
    if not questions:
        return
    asked = random.sample(questions, random.randint(1, len(questions)))
    classifier = model(plain, asked)
    for _ in range(5):
        answers = [random.randrange(len(plain.ways(q))) for q in asked]
        logs = prior(plan)
        for name, answer in zip(asked, answers, strict=True):
            step = plan.number[name]
            logs = updated(logs, likelihood(plan, step, answer, plan.slip[step]))
        theirs = dict(zip(plain.findings, classifier.predict_proba([answers])[0], strict=True))
        ours = dict(zip((plan.ids[n] for n in plan.findings), normalised(logs), strict=True))
        assert ours == pytest.approx(theirs, abs=1e-12)
