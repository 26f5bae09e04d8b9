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


#: The word in each kind of shape, a second time: nothing is told by shape or colour alone.
WORDS = {
    "check": "",
    "reading": "MEASURE",
    "operator": "OPERATOR",
    "battery-trained": "BATTERY-TRAINED",
    "service": "SERVICE",
    "doorway": "GO ON WITH",
}


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
        by = "BATTERY-TRAINED" if body.get("by") == "battery-trained" else ""
        head = [f"{list(steps).index(step) + 1}", *filter(None, [WORDS[kind], by])]
        assert label.startswith(f"{' · '.join(head)} ")
        for key in ("do", "ask", "finding", "remedy", "leave_safe"):
            # Lines are broken at spaces and after hyphens, and only there.
            assert key not in body or "".join(body[key].split()) in "".join(label.split())
        for key in ("ask_service", "look_for"):
            assert key not in body or "".join(body[key].split()) not in "".join(label.split())
        seen[step] += 1
    assert seen == Counter(list(steps))


#: Attributes of graphs, nodes and edges by Graphviz's own list (graphviz.org/doc/info/attrs.html),
#: as far as a flowchart has a use for them; from memory. It takes any other without a word.
OF_ALL = {"fontname", "fontsize", "label", "tooltip"}
OF_GRAPHS = OF_ALL | {"labeljust", "labelloc", "nodesep", "pad", "rankdir", "ranksep"}
OF_EDGES = OF_ALL | {"arrowhead", "arrowsize", "minlen", "penwidth", "style", "weight"}
OF_NODES = OF_ALL | {
    *("URL", "class", "color", "fillcolor", "height", "id", "margin", "penwidth", "peripheries"),
    *("shape", "sides", "skew", "style", "target", "width"),
}


def test_graphviz_knows_every_attribute_of_a_drawing() -> None:
    dot = flowchart_of("streaking", visits={0: "case: 1"}, walked={(0, 0): 1}).dot()
    graph = pygraphviz.AGraph(string=dot)
    assert {*graph.graph_attr.keys()} <= OF_GRAPHS
    assert {*graph.node_attr.keys()} <= OF_NODES
    assert {*graph.edge_attr.keys()} <= OF_EDGES
