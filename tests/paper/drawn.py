"""Reads drawings back with libraries and parsers that the program does not draw with."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from functools import cache
from io import BytesIO
from typing import TYPE_CHECKING, Any

import networkx as nx
import pygraphviz
import yaml
from pypdf import PdfReader

from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.library import built_in
from diagnose.paper import render
from diagnose.paper.flowchart import FlowchartBuilder
from diagnose.paper.flowchart_text import TextOptions, flowchart_text

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from diagnose.paper.flowchart_text import FlowchartText
    from diagnose.paper.wrap import FontMetrics

SYMPTOMS = tuple(sorted(path.stem for path in built_in().glob("*.yaml") if path.stem != "cautions"))
SVG = "{http://www.w3.org/2000/svg}"


def sketched(
    symptom: str, folder: Path | None = None, **wanted: Any
) -> tuple[FlowchartText, FontMetrics]:
    """Return the words of one symptom's flowchart, and their measure."""
    library = ReadyLibrary(folder or built_in())
    ready = library.require(symptom)
    drawn = flowchart_text(ready, library.content.cautions, library.table, TextOptions(**wanted))
    return drawn, render.measure(drawn.texts())


def whole(drawn: FlowchartText, metrics: FontMetrics) -> str:
    """Return the DOT text of the whole flowchart."""
    steps = [number for number, _ in enumerate(drawn.steps)]
    return render.dot_text(FlowchartBuilder(drawn, metrics).flowchart(steps, drawn.start))


def tree_of(symptom: str, folder: Path | None = None) -> dict[str, Any]:
    """Return a tree's file as PyYAML reads it, every scalar a string."""
    text = (folder or built_in()).joinpath(f"{symptom}.yaml").read_text("utf-8")
    data: dict[str, Any] = yaml.load(text, Loader=yaml.BaseLoader)
    return data


def exits(step: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the answers of a step in a file, with where they lead."""
    if "answers" in step:
        return list(step["answers"].items())
    return [(band.get("call", band.get("otherwise")), band["go"]) for band in step.get("bands", ())]


@cache
def caution_rules() -> dict[str, Any]:
    """Return the built-in cautions as PyYAML reads them, every scalar a string."""
    rules: dict[str, Any] = yaml.load(
        (built_in() / "cautions.yaml").read_text("utf-8"), Loader=yaml.BaseLoader
    )
    return rules


def called_cautions(tree: dict[str, Any]) -> dict[str, list[str]]:
    """Return the cautions that a drawing has to show before each step, in the order of their file.

    Those that some route comes to the step without, less what another of them includes. Every
    state (step, what is in force) is walked with sets of names, straight from the two files.
    """
    cautions: dict[str, Any] = caution_rules()["cautions"]
    steps = tree["steps"]

    def closure(name: str) -> set[str]:
        return {name}.union(*(closure(one) for one in cautions[name].get("includes", ())))

    def needs(step: dict[str, Any]) -> set[str]:
        needed = set(step.get("cautions", ()))
        if step.get("who") != "service" and "continue_with" not in step:
            for hazard in step.get("hazards", ()):
                needed |= {name for name, one in cautions.items() if hazard in one["covers"]}
        return needed

    always: dict[str, set[str]] = {}
    states = [(tree["start"], frozenset[str]())]
    seen = set(states)
    while states:
        name, held = states.pop()
        force = set(held)
        if steps[name].get("energises") == "true":
            force = {one for one in force if cautions[one]["lapses"] == "never"}
        always[name] = always.get(name, force) & force
        for one in needs(steps[name]):
            force |= closure(one)
        following = {(to, frozenset(force)) for _, to in exits(steps[name])} - seen
        seen |= following
        states += following
    called = {}
    for name, came in always.items():
        missing = needs(steps[name]) - came
        # What a needed caution includes is needed too, and may have lapsed on its own.
        missing |= set().union(*(closure(one) for one in needs(steps[name]))) - came
        inner = set().union(*(closure(one) - {one} for one in missing))
        called[name] = [one for one in cautions if one in missing - inner]
    return called


def arrows(tree: dict[str, Any]) -> Counter[tuple[str, str, str]]:
    """Return the arrows of a file: step, answer, next step."""
    return Counter(
        (name, answer, to) for name, step in tree["steps"].items() for answer, to in exits(step)
    )


def unlabelled(text: str) -> str:
    """Return what a DOT label shows: Graphviz's escapes undone, its lines joined by spaces."""
    text = re.sub(r"\\(.)", lambda found: "\n" if found[1] in "nlr" else found[1], text)
    return " ".join(text.replace("&amp;", "&").split())


def read_back(dots: Iterable[str]) -> Counter[tuple[str, str, str]]:
    """Return the arrows of drawings, their helpers taken out: step, answer, next step.

    Cautions and actions belong to the step that they stand before; a connector leads to the entry
    with its number on any of the sheets. Parsed by pygraphviz, walked by networkx.
    """
    graph = nx.MultiDiGraph()
    entries: dict[str, Any] = {}
    for number, dot in enumerate(dots):
        parsed = nx.nx_agraph.from_agraph(pygraphviz.AGraph(string=dot))
        graph = nx.union(graph, nx.relabel_nodes(parsed, {n: (number, n) for n in parsed}))
    kind = {node: data.get("class", "") for node, data in graph.nodes(data=True)}

    def number_on(node: Any) -> str:
        return unlabelled(graph.nodes[node]["label"]).split()[0]

    for node in graph:
        if kind[node] == "connector" and graph.in_degree(node) == 0 and graph.out_degree(node):
            assert number_on(node) not in entries, "two entries with one number"
            entries[number_on(node)] = node

    def landed(node: Any) -> str:
        """Follow helpers until the step itself."""
        while kind[node] in ("caution", "action", "connector"):
            if kind[node] == "connector" and graph.out_degree(node) == 0:
                node = entries[number_on(node)]
            following = list(graph.successors(node))
            assert len(following) == 1, (node, following)
            node = following[0]
        return step_of(graph, node)

    found: Counter[tuple[str, str, str]] = Counter()
    for source, target, data in graph.edges(data=True):
        if "tooltip" in data:
            answer = unlabelled(data["tooltip"])
            found[step_of(graph, source), answer, landed(target)] += 1
    return found


def step_of(graph: nx.MultiDiGraph, node: Any) -> str:
    """Return the id of the step that a shape belongs to."""
    name, _, step = str(graph.nodes[node]["id"]).partition("-")
    assert name
    return step


def words(text: str) -> Counter[str]:
    """Return the words of a text as paper has them: ligatures undone, broken after hyphens."""
    plain = unicodedata.normalize("NFKC", text)
    return Counter(part for word in plain.split() for part in re.split(r"(?<=[-/])(?=\w)", word))


def pdf_of(data: bytes) -> PdfReader:
    """Return a PDF, read by pypdf."""
    return PdfReader(BytesIO(data))


def inside(outline: list[tuple[float, float]], x: float, y: float, slack: float = 0.5) -> bool:
    """Whether a point lies in a convex outline, or not further than `slack` outside a side."""
    signs = []
    for (x0, y0), (x1, y1) in zip(outline, outline[1:] + outline[:1], strict=True):
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        if length:
            signs.append(((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)) / length)
    return all(sign >= -slack for sign in signs) or all(sign <= slack for sign in signs)
