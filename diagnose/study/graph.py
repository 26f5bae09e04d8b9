"""A symptom tree as a networkx graph: one arrow an answer. The only importer of networkx."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import networkx as nx

from diagnose.files.tree import Question

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from diagnose.files.tree import Tree

Graph: TypeAlias = nx.MultiDiGraph


def graph_of(tree: Tree) -> Graph:
    """Return the graph of a tree: steps as nodes, answers as arrow keys.

    Answers that name no step of the tree are left out: naming them is the checker's business, and
    networkx would make nodes of them.
    """
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(tree.steps)
    graph.add_edges_from(
        (step, way.to, way.answer)
        for step, body in tree.steps.items()
        if isinstance(body, Question)
        for way in body.exits
        if way.to in tree.steps
    )
    return graph


def reached(graph: Graph, start: str) -> set[str]:
    """Return the steps that can be reached from `start`, itself among them."""
    return {start, *nx.descendants(graph, start)}


def loop(graph: Graph) -> list[tuple[str, str, str]]:
    """Return the arrows (step, next step, answer) of one closed route, or none.

    The arrow that closes the loop, back to the step that comes first in the file, is the last.
    """
    if nx.is_directed_acyclic_graph(graph):
        return []
    arrows = [(u, v, key) for u, v, key in nx.find_cycle(graph)]
    place = {step: number for number, step in enumerate(graph)}
    first = min(range(len(arrows)), key=lambda i: place[arrows[i][0]])
    return arrows[first:] + arrows[:first]


def in_order(graph: Graph) -> list[str]:
    """Return the steps so that each comes before all that it leads to. No loop is allowed."""
    return list(nx.topological_sort(graph))


def walking_order(tree: Tree) -> list[str]:
    """Return the steps so that each comes before all that it leads to, else as in the file.

    A tree whose steps stand so already is left as it is.
    """
    place = {step: number for number, step in enumerate(tree.steps)}
    return list(nx.lexicographical_topological_sort(graph_of(tree), key=place.__getitem__))


def nearest_before(graph: Graph, start: str) -> dict[str, str]:
    """Return, for each step but the start, the last one that every route to it has passed."""
    above: dict[str, str] = nx.immediate_dominators(graph, start)
    # networkx 3.6 leaves the root out of its result; before, the root led to itself.
    above.pop(start, None)
    return above


def always_before(nearest: Mapping[str, str], step: str) -> Iterator[str]:
    """Yield the steps that stand on every route to `step`, the last one first."""
    while step in nearest:
        step = nearest[step]
        yield step
