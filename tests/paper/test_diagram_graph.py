"""A drawing is the same graph as its file, shape by shape and arrow by arrow."""

from __future__ import annotations

import itertools
from collections import Counter
from typing import Any

import pygraphviz
import pytest
import yaml
from drawn import (
    SYMPTOMS,
    arrows,
    exits,
    read_back,
    sketched,
    tree_of,
    unlabelled,
    whole,
)

from diagnose.files.library import built_in
from diagnose.paper.marks import MARKS, Kind
from diagnose.paper.printing import Margins, Printer
from diagnose.paper.sheet import paper


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_dot_parsed_back_is_the_tree(symptom: str) -> None:
    assert read_back([whole(*sketched(symptom))]) == arrows(tree_of(symptom))


@pytest.mark.parametrize("symptom", SYMPTOMS)
@pytest.mark.parametrize("size", ["a4", "a3"])
def test_all_sheets_together_are_the_tree(symptom: str, size: str) -> None:
    drawn, _ = sketched(symptom)
    margins = Margins(title=drawn.title, under=symptom, foot=())
    sheets = Printer(drawn, margins, paper(size, landscape=False)).sheets()
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
        assert node.attr["shape"] == MARKS[Kind(kind)].shape
        label = unlabelled(node.attr["label"])
        assert label.startswith(f"{list(steps).index(step) + 1} ") or " " not in label
        for key in ("do", "ask", "finding", "remedy", "leave_safe"):
            # Lines are broken at spaces and after hyphens, and only there.
            assert key not in body or "".join(body[key].split()) in "".join(label.split())
        for key in ("ask_service", "look_for"):
            assert key not in body or "".join(body[key].split()) not in "".join(label.split())
        seen[step] += 1
    assert seen == Counter(list(steps))


def _routes(steps: dict[str, Any], at: str, before: tuple[str, ...] = ()) -> Any:
    route = (*before, at)
    yield route
    for _, to in exits(steps[at]):
        yield from _routes(steps, to, route)


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_a_caution_stands_wherever_some_route_comes_without_it(symptom: str) -> None:
    """Every route is walked on its own, with sets of names, straight from the two files."""
    tree = tree_of(symptom)
    steps = tree["steps"]
    rules = yaml.load((built_in() / "cautions.yaml").read_text("utf-8"), yaml.BaseLoader)
    cautions: dict[str, Any] = rules["cautions"]

    def closure(name: str) -> set[str]:
        return {name}.union(*(closure(one) for one in cautions[name].get("includes", ())))

    def needs(step: dict[str, Any]) -> set[str]:
        needed = set(step.get("cautions", ()))
        if step.get("who") != "service" and "continue_with" not in step:
            for hazard in step.get("hazards", ()):
                needed |= {name for name, one in cautions.items() if hazard in one["covers"]}
        return needed

    always: dict[str, set[str]] = {}
    routes = itertools.islice(_routes(steps, tree["start"]), 200_000)
    for route in routes:
        force: set[str] = set()
        for name in route:
            if steps[name].get("energises") == "true":
                force = {one for one in force if cautions[one]["lapses"] == "never"}
            came = set(force)
            for one in needs(steps[name]):
                force |= closure(one)
        always[route[-1]] = always.get(route[-1], came) & came
    assert next(_routes(steps, tree["start"]), None) is not None
    expected = {}
    for name, came in always.items():
        missing = needs(steps[name]) - came
        inner = set().union(*(closure(one) - {one} for one in missing))
        expected[name] = missing - inner

    drawn, metrics = sketched(symptom)
    graph = pygraphviz.AGraph(string=whole(drawn, metrics))
    shown: dict[str, str] = {}
    for node in graph.nodes():
        if node.attr["class"] == "caution":
            shown[node.attr["id"].partition("-")[2]] = unlabelled(node.attr["label"])
    for name, called in expected.items():
        lines = [
            " ".join([body["signal"], body["title"], *body["signs"]])
            for caution, body in cautions.items()
            if caution in called
        ]
        assert shown.pop(name, "") == " ".join(lines), name
    assert shown == {}
