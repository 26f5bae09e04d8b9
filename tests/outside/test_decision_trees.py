"""scikit-learn's decision trees, written as trees of ours and walked: the same leaf every time."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from sklearn.datasets import load_breast_cancer, load_iris, load_wine
from sklearn.tree import DecisionTreeClassifier
from strategies.written import Written, read, text_of

from diagnose.case.screens import FindingScreen, ReadingScreen

DATA = {"iris": load_iris, "wine": load_wine, "breast-cancer": load_breast_cancer}


def as_symptom_tree(model: DecisionTreeClassifier) -> str:
    """Return a fitted tree as YAML: each split a reading, each leaf a finding."""
    inner = model.tree_
    steps: dict[str, Any] = {}
    for node in range(inner.node_count):
        left, right = inner.children_left[node], inner.children_right[node]
        if left == -1:
            steps[f"node-{node}"] = {
                "finding": f"leaf {node}",
                "chance": float(inner.weighted_n_node_samples[node]),
                "who": "operator",
                "remedy": "none",
            }
            continue
        # `below` is strict and the split is x <= t: the next number above t is the limit.
        limit = math.nextafter(float(inner.threshold[node]), math.inf)
        steps[f"node-{node}"] = {
            "read": "value",
            "do": f"feature {inner.feature[node]}",
            "bands": [
                {"below": limit, "call": "low", "go": f"node-{left}"},
                {"otherwise": "high", "go": f"node-{right}"},
            ],
        }
    head = {"format": 1, "symptom": "alpha", "title": "t", "start": "node-0"}
    return text_of({**head, "steps": steps})


@pytest.mark.many_cases
@pytest.mark.parametrize("name", DATA)
@pytest.mark.parametrize("seed", [0, 1])
def test_every_sample_ends_at_the_same_leaf(name: str, seed: int) -> None:
    features, target = DATA[name](return_X_y=True)
    # The library compares in single precision; what is typed is that number in full.
    features = features.astype(np.float32)
    splitter = "best" if seed == 0 else "random"
    model = DecisionTreeClassifier(random_state=seed, splitter=splitter).fit(features, target)
    walk = read(Written(trees={"alpha": as_symptom_tree(model)})).walk()
    leaves = model.apply(features)
    assert len(features) in (150, 178, 569)
    for sample, leaf in zip(features, leaves, strict=True):
        state = walk.open("alpha")
        screen = walk.screen(state)
        while isinstance(screen, ReadingScreen):
            assert screen.do is not None
            value = float(sample[int(screen.do.split()[1])])
            state = walk.reply(state, repr(value)).state
            screen = walk.screen(state)
        assert isinstance(screen, FindingScreen)
        assert screen.checked
        assert screen.step == f"node-{leaf}"
