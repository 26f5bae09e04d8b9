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
from diagnose.measure.registry import MEASUREMENTS
from diagnose.paper.flowchart import Extras, Flowchart

if TYPE_CHECKING:
    from pathlib import Path

SYMPTOMS = tuple(
    sorted(path.stem for path in built_in().glob("*.yaml") if path.stem not in ("cautions", "site"))
)
SVG = "{http://www.w3.org/2000/svg}"

#: The program with its clock stopped: the date stands below the title.
AT_ONE_TIME = """
import sys
from datetime import UTC, datetime
from diagnose import app
from diagnose.log import clock
clock.now = lambda: datetime(2026, 11, 25, 12, tzinfo=UTC)
sys.exit(app.run(sys.argv[1:]))
"""


def flowchart_of(symptom: str, folder: Path | None = None, **extras: Any) -> Flowchart:
    """Return one symptom's flowchart."""
    library = ReadyLibrary(folder or built_in())
    return Flowchart(library.require(symptom), library.table, extras=Extras(**extras))


def tree_of(symptom: str, folder: Path | None = None) -> dict[str, Any]:
    """Return a tree's file as PyYAML reads it, every scalar a string."""
    text = (folder or built_in()).joinpath(f"{symptom}.yaml").read_text("utf-8")
    data: dict[str, Any] = yaml.load(text, Loader=yaml.BaseLoader)
    return data


def exits(step: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the answers of a step in a file, with where they lead."""
    if "answers" in step:
        # An answer that not every machine gives is a map.
        ways = step["answers"].items()
        return [(answer, to if isinstance(to, str) else to["go"]) for answer, to in ways]
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


#: The limits of the built-in trees that lie just above what belongs below them, as people say it.
SAID_BY = {"15.1": "15", "3.1": "3", "120.1": "120", "0.0205": "0.02", "0.0305": "0.03"}


def answers(step: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Return the answers of a step in a file: words, a band's range, where it leads."""
    bands = [band.get("below") for band in step.get("bands", ())]
    found = []
    for which, (answer, to) in enumerate(exits(step)):
        limit = ""
        if len(bands) > 1:
            low, high = bands[which - 1] if which else "", bands[which] or ""
            begin = f"more than {SAID_BY[low]}" if low in SAID_BY else low
            if low and high:
                between = ", up to" if low in SAID_BY else " to"
                assert low not in SAID_BY or high in SAID_BY
                limit = f"{begin}{between} {SAID_BY.get(high, high)}"
            elif high:
                limit = f"up to {SAID_BY[high]}" if high in SAID_BY else f"below {high}"
            else:
                limit = begin
            limit += f" {MEASUREMENTS[step['read']].unit}".rstrip()
            limit += "" if high or low in SAID_BY else " or more"
        found.append((answer, limit, to))
    return found


def arrows(tree: dict[str, Any]) -> Counter[tuple[str, str, str]]:
    """Return the arrows of a file: step, what stands at it, next step."""
    return Counter(
        (name, bare(answer + limit), to)
        for name, step in tree["steps"].items()
        for answer, limit, to in answers(step)
    )


def unlabelled(text: str) -> str:
    """Return what a DOT label shows: Graphviz's escapes undone, its lines joined by spaces."""
    text = re.sub(r"\\(.)", lambda found: "\n" if found[1] in "nlr" else found[1], text)
    return " ".join(text.replace("&amp;", "&").split())


def read_back(dot: str) -> Counter[tuple[str, str, str]]:
    """Return the arrows of a drawing, the cautions taken out: step, answer, next step.

    Parsed by pygraphviz, walked by networkx.
    """
    graph = nx.nx_agraph.from_agraph(pygraphviz.AGraph(string=dot))
    kind = {node: data.get("class", "") for node, data in graph.nodes(data=True)}

    def landed(node: Any) -> str:
        if kind[node] == "caution":
            (node,) = graph.successors(node)
        return step_of(graph, node)

    found: Counter[tuple[str, str, str]] = Counter()
    for node, data in graph.nodes(data=True):
        if kind[node] == "answer":
            (source,), (target,) = graph.predecessors(node), graph.successors(node)
            words = bare(unlabelled(data["label"]))
            found[step_of(graph, source), words, landed(target)] += 1
    return found


def step_of(graph: nx.MultiDiGraph, node: Any) -> str:
    """Return the id of the step that a shape belongs to."""
    return str(graph.nodes[node]["id"]).partition(".")[0]


def bare(text: str) -> str:
    """Return a text as paper has it: ligatures undone, without spaces and ends of lines."""
    return "".join(unicodedata.normalize("NFKC", text).replace("\u200b", "").split())


def pdf_of(data: bytes) -> PdfReader:
    """Return a PDF, read by pypdf."""
    return PdfReader(BytesIO(data))
