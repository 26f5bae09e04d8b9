"""The step that every route has passed: deleting steps one by one, and a published graph."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import networkx as nx
import pytest
from hypothesis import given, settings
from strategies.libraries import libraries
from strategies.sampling import several
from strategies.written import Written, read

from diagnose.study.graph import always_before, graph_of, in_order, nearest_before, reached

EXAMPLE = Path(__file__).parent.parent / "outside" / "data" / "networkx_idom_doc.json"


def needed_for(graph: nx.MultiDiGraph, start: str, step: str) -> set[str]:
    """Return the steps without which `step` cannot be reached, by leaving each out in turn."""
    needed = set()
    for left_out in graph:
        todo, seen = [start] if start != left_out else [], set()
        while todo:
            at = todo.pop()
            if at not in seen:
                seen.add(at)
                todo += [to for to in graph.successors(at) if to != left_out]
        if step not in seen and left_out != step:
            needed.add(left_out)
    return needed


@pytest.mark.many_cases
@settings(max_examples=several(150))
@given(libraries(most_trees=1))
def test_against_leaving_out_every_step(written: Written) -> None:
    tree = read(written).trees["alpha"]
    graph, start = graph_of(tree), tree.start
    nearest = nearest_before(graph, start)
    assert start not in nearest
    assert reached(graph, start) == set(graph)
    for step in graph:
        needed = needed_for(graph, start, step)
        chain = list(always_before(nearest, step))
        assert set(chain) == needed
        # Each of them stands before the one that was named before it.
        for later, earlier in pairwise(chain):
            assert earlier in needed_for(graph, start, later)


@pytest.mark.many_cases
@settings(max_examples=several(100))
@given(libraries(most_trees=1))
def test_the_order_keeps_every_arrow(written: Written) -> None:
    tree = read(written).trees["alpha"]
    graph = graph_of(tree)
    place = {step: number for number, step in enumerate(in_order(graph))}
    assert set(place) == set(tree.steps)
    assert all(place[u] < place[v] for u, v in graph.edges())


def test_the_example_of_the_networkx_documentation() -> None:
    # networkx documentation of `immediate_dominators`, versions 1.10 to 3.6; status: R.
    example = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    graph = nx.MultiDiGraph()
    graph.add_edges_from(map(tuple, example["inputs"]["edges"]))
    found = nearest_before(graph, example["inputs"]["root"])
    assert {str(step): above for step, above in found.items()} == example["expected"][
        "without_root"
    ]
