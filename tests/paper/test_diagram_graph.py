"""A drawing is the same graph as its file, shape by shape and arrow by arrow."""

from __future__ import annotations

from collections import Counter

import pygraphviz
import pytest
from drawn import SYMPTOMS, arrows, flowchart_of, read_back, tree_of, unlabelled

from diagnose.paper.node_styles import STYLES, NodeKind


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_dot_parsed_back_is_the_tree(symptom: str) -> None:
    assert read_back(flowchart_of(symptom).dot()) == arrows(tree_of(symptom))


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_every_shape_is_what_its_step_is(symptom: str) -> None:
    steps = tree_of(symptom)["steps"]
    graph = pygraphviz.AGraph(string=flowchart_of(symptom).dot())
    seen: Counter[str] = Counter()
    for node in graph.nodes():
        step = node.attr["id"]
        if step not in steps:
            assert node.attr["class"] in ("caution", "start", "answer")
            continue
        body = steps[step]
        if "continue_with" in body:
            kind = "doorway"
            assert node.attr["URL"] == f"{body['continue_with']}.svg"
        elif "finding" in body:
            kind = body["who"]
        else:
            kind = "reading" if "read" in body else "check"
        assert node == step
        assert node.attr["class"] == kind
        assert node.attr["shape"] == STYLES[NodeKind(kind)].shape
        label = unlabelled(node.attr["label"])
        assert label.startswith(f"{list(steps).index(step) + 1} ")
        for key in ("do", "ask", "finding", "remedy", "leave_safe"):
            # Lines are broken at spaces and after hyphens, and only there.
            assert key not in body or "".join(body[key].split()) in "".join(label.split())
        for key in ("ask_service", "look_for"):
            assert key not in body or "".join(body[key].split()) not in "".join(label.split())
        seen[step] += 1
    assert seen == Counter(list(steps))
