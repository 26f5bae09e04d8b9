"""A drawing is the same graph as its file, shape by shape and arrow by arrow."""

from __future__ import annotations

from collections import Counter

import pygraphviz
import pytest
from drawn import (
    SYMPTOMS,
    arrows,
    read_back,
    sketched,
    tree_of,
    unlabelled,
    whole,
)

from diagnose.paper.node_styles import STYLES, NodeKind
from diagnose.paper.pagination import HeadAndFoot, Paginator
from diagnose.paper.sheet import paper


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_dot_parsed_back_is_the_tree(symptom: str) -> None:
    assert read_back([whole(*sketched(symptom))]) == arrows(tree_of(symptom))


@pytest.mark.parametrize("symptom", SYMPTOMS)
@pytest.mark.parametrize("size", ["a4", "a3"])
def test_all_sheets_together_are_the_tree(symptom: str, size: str) -> None:
    drawn, _ = sketched(symptom)
    around = HeadAndFoot(title=drawn.title, under=symptom, foot=())
    sheets = Paginator(drawn, around, paper(size, landscape=False)).sheets()
    assert read_back(sheet.dot for sheet in sheets) == arrows(tree_of(symptom))
    assert min(sheet.type_size for sheet in sheets) >= 8.0 - 1e-6


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_every_shape_is_what_its_step_is(symptom: str) -> None:
    steps = tree_of(symptom)["steps"]
    graph = pygraphviz.AGraph(string=whole(*sketched(symptom)))
    seen: Counter[str] = Counter()
    for node in graph.nodes():
        name, _, step = node.attr["id"].partition("-")
        if not name.startswith("n"):
            continue
        body = steps[step]
        if "continue_with" in body:
            kind = "doorway"
        elif "finding" in body:
            kind = body["who"]
        else:
            kind = "reading" if "read" in body else "check"
        assert node.attr["class"] == kind
        assert node.attr["shape"] == STYLES[NodeKind(kind)].shape
        label = unlabelled(node.attr["label"])
        assert label.startswith(f"{list(steps).index(step) + 1} ") or " " not in label
        for key in ("do", "ask", "finding", "remedy", "leave_safe"):
            # Lines are broken at spaces and after hyphens, and only there.
            assert key not in body or "".join(body[key].split()) in "".join(label.split())
        for key in ("ask_service", "look_for"):
            assert key not in body or "".join(body[key].split()) not in "".join(label.split())
        seen[step] += 1
    assert seen == Counter(list(steps))
