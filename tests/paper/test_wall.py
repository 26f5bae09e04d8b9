"""The wall chart: one readable sheet with the tree, its cautions in full, and whom to call."""

from __future__ import annotations

import functools
import json
import re
import unicodedata
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pygraphviz
import pytest
import yaml
from drawn import SYMPTOMS, arrows, pdf_of, read_back, tree_of, words
from hypothesis import given
from hypothesis import strategies as st

from diagnose import app
from diagnose.commands import draw as verb
from diagnose.commands import options as opt
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.library import built_in
from diagnose.files.reading import content_hash
from diagnose.paper import render
from diagnose.paper.flowchart import Node, node_around
from diagnose.paper.flowchart_text import AnswerText
from diagnose.paper.node_styles import NodeKind
from diagnose.paper.sheet import PAPERS
from diagnose.paper.wall_column import CIRCLE, Branch, Column, QuestionRow
from diagnose.paper.wrap import LEADING, FittedText

if TYPE_CHECKING:
    from collections import Counter


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")


def wall(symptom: str, *more: str) -> int:
    return app.run(["draw", symptom, "--wall", "-o", "wall.pdf", "--json", *more])


@functools.cache
def chart(symptom: str) -> tuple[str, bytes, float]:
    """Return a chart's DOT text, taken where it is drawn, its PDF and its type size."""
    taken: list[str] = []
    drawn = render.drawn
    said: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(render, "drawn", lambda dot, *rest: (taken.append(dot), drawn(dot, *rest))[1])
        patch.setattr(opt, "say", said.append)
        assert wall(symptom, "--machine", "dock") == 0
    (dot,) = taken
    (file,) = json.loads(said[0])["files"]
    return dot, Path("wall.pdf").read_bytes(), file["type_size"]


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_every_tree_hangs_on_one_sheet_in_type_that_can_be_read(symptom: str) -> None:
    _, pdf, size = chart(symptom)
    assert size >= 8.0
    (page,) = pdf_of(pdf).pages
    sides = sorted([float(page.mediabox.width), float(page.mediabox.height)])
    assert sides == pytest.approx(sorted(PAPERS["a3"]), abs=1)


def test_every_tree_hangs_on_tabloid_paper_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert app.run(["draw", "--all", "--wall", "--paper", "tabloid", "-o", "x.pdf", "--json"]) == 0
    files = json.loads(capsys.readouterr().out)["files"]
    assert [(one["symptom"], one["sheets"]) for one in files] == [(one, 1) for one in SYMPTOMS]
    assert min(one["type_size"] for one in files) >= 8.0
    for page in pdf_of(Path("x.pdf").read_bytes()).pages:
        sides = sorted([float(page.mediabox.width), float(page.mediabox.height)])
        assert sides == pytest.approx(PAPERS["tabloid"], abs=1)


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_a_chart_says_all_that_hangs_beside_the_machine(symptom: str) -> None:
    (page,) = pdf_of(chart(symptom)[1]).pages
    there = words(page.extract_text())
    tree = tree_of(symptom)
    rules: dict[str, Any] = yaml.load(
        (built_in() / "cautions.yaml").read_text("utf-8"), yaml.BaseLoader
    )
    needed: Counter[str] = words(tree["title"])
    for step in tree["steps"].values():
        needed |= words(step.get("ask", ""))
        first, stop, _ = step.get("finding", "").partition(". ")
        needed |= words(f"{first}{stop}")
        for answer in step.get("answers", ()):
            needed |= words(answer)
        if step.get("who") == "service" or "continue_with" in step:
            continue
        for caution in rules["cautions"].values():
            if set(caution["covers"]) & set(step.get("hazards", ())):
                for line in [
                    caution["title"],
                    caution["text"],
                    *caution["confirm"],
                    *caution.get("release", ()),
                    *caution["signs"],
                ]:
                    needed |= words(line)
    # The first sentence of a cause may end where the file's goes on.
    missing = {word for word in needed - there if word.rstrip(".") not in there}
    assert not missing
    text = unicodedata.normalize("NFKC", " ".join(page.extract_text().split()))
    ready = ReadyLibrary(built_in()).require(symptom)
    assert f"Content {content_hash(ready.tree)[:12]}" in text
    assert "555-0142" in text
    assert "second mark of six" in text
    assert "What the shapes mean" in text
    assert "licensed practice come first" in text
    printed = re.search(r"printed (\d{4}-\d\d-\d\d)\.", text)
    assert printed
    age = datetime.now(UTC).date() - date.fromisoformat(printed[1])
    assert abs(age.days) <= 1


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_a_chart_is_the_tree(symptom: str) -> None:
    dot = chart(symptom)[0]
    samples = pygraphviz.AGraph(string=dot)
    for node in [node for node in samples.nodes() if "sample-" in node or "note" in node]:
        samples.remove_node(node)
    assert read_back([samples.string()]) == arrows(tree_of(symptom))


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_nothing_on_a_chart_lies_on_anything_else(symptom: str) -> None:
    """Shapes, and answers against shapes, by the places and sizes in the DOT text."""
    graph = pygraphviz.AGraph(string=chart(symptom)[0])
    boxes = []
    for node in graph.nodes():
        if "note" in node:
            continue
        x, y = (float(value) for value in node.attr["pos"].split(","))
        wide, high = float(node.attr["width"]) * 36, float(node.attr["height"]) * 36
        boxes.append((str(node), x - wide, y - high, x + wide, y + high))
    for place, (one, l0, b0, r0, t0) in enumerate(boxes):
        for other, l1, b1, r1, t1 in boxes[place + 1 :]:
            apart = l0 >= r1 - 1 or l1 >= r0 - 1 or b0 >= t1 - 1 or b1 >= t0 - 1
            assert apart, (one, other)
    left, right = min(box[1] for box in boxes), max(box[3] for box in boxes)
    for edge in graph.edges():
        if edge.attr["lp"]:
            x = float(edge.attr["lp"].split(",")[0])
            assert left < x < right


def test_without_a_card_there_are_lines_to_write_on() -> None:
    assert wall("streaking") == 0
    text = pdf_of(Path("wall.pdf").read_bytes()).pages[0].extract_text()
    assert "from the machine's setup sheet" in " ".join(text.split())
    assert text.count("____") >= 6


def test_what_does_not_fit_is_not_made_smaller(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = ["format: 1", "symptom: long", "title: A long one", "start: q0", "steps:"]
    for number in range(120):
        on = f"q{number + 1}" if number < 119 else "end"
        lines += [
            f"  q{number}: {{ask: What do you see at the part with number {number}?,",
            f"    answers: {{It is broken: f{number}, It looks right: {on}}}}}",
            f"  f{number}: {{finding: Part number {number} is broken., chance: 1, who: operator,",
            "    remedy: Mend it.}",
        ]
    lines += ["  end: {finding: Nothing is broken., chance: 1, who: operator, remedy: Go on.}"]
    (tmp_path / "long.yaml").write_text("\n".join(lines), "utf-8")
    assert wall("long", "--trees", str(tmp_path)) == 3
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "long does not fit one a3 sheet in 8 pt" in said
    assert not Path("wall.pdf").exists()
    assert app.run(["draw", "long", "-o", "x.pdf", "--json", "--trees", str(tmp_path)]) == 0
    (drawn,) = json.loads(capsys.readouterr().out)["files"]
    assert drawn["type_size"] >= 8.0
    assert len(pdf_of(Path("x.pdf").read_bytes()).pages) == drawn["sheets"]


def test_the_fullest_words_that_fit_are_taken(capsys: pytest.CaptureFixture[str]) -> None:
    assert app.run(["draw", "low-runtime", "--wall"]) == 0
    assert "left out for room" in capsys.readouterr().out
    assert app.run(["draw", "low-runtime", "--wall", "--paper", "a2"]) == 0
    assert "left out" not in capsys.readouterr().out
    said = [bool(wanted.remedies) + bool(wanted.actions) for wanted in verb._BARER]
    assert said == sorted(said, reverse=True)


@given(
    st.lists(
        st.tuples(
            st.floats(10, 120),
            st.lists(st.tuples(st.integers(1, 5), st.floats(10, 150)), max_size=5),
            st.booleans(),
        ),
        min_size=1,
        max_size=8,
    )
)
def test_arrows_of_two_questions_never_meet(
    rows: list[tuple[float, list[tuple[int, float]], bool]],
) -> None:
    column = Column(question=150, answer=70, cause=110)
    for number, (high, causes, leads) in enumerate(rows):
        column = column.with_row(_row(number, high, causes, leads and number + 1 < len(rows)))
    column = column.closed()
    turns: list[tuple[float, float]] = []
    for number, _ in enumerate(rows):
        spans = [
            [y for x, y in route.points if abs(x - 153) < 0.01]
            for edge, route in column.edges
            if edge.source == f"n{number}" and len(route.points) > 4
        ]
        level = [y for span in spans for y in span]
        if level:
            turns.append((min(level), max(level)))
    for above, below in pairwise(turns):
        assert above[1] < below[0]
    for side in (True, False):
        track = sorted(
            (box.y - box.height / 2, box.y + box.height / 2)
            for _, box in column.nodes
            if (box.x < 150) == side
        )
        for one, other in pairwise(track):
            assert one[1] <= other[0] + 1e-6
    assert column.height >= max(box.y + box.height / 2 for _, box in column.nodes) - 1e-6


def _row(number: int, high: float, causes: list[tuple[int, float]], leads: bool) -> QuestionRow:
    def node(name: str, kind: NodeKind, width: float, height: float) -> Node:
        return node_around(FittedText(("x",), width, height), name, kind, "s")

    def branch(to: int, name: str, count: int, tall: float | None) -> Branch:
        made = () if tall is None else (node(f"f{name}", NodeKind.OPERATOR, 110, tall),)
        words = FittedText(("w",) * count, 5.0, count * LEADING)
        return Branch(
            answer=AnswerText(text="a", to=to),
            beside=words,
            narrow=words,
            wide=FittedText(("w",), 5.0, LEADING),
            nodes=made,
            connector=node(f"x{name}", NodeKind.CONNECTOR, CIRCLE, CIRCLE),
        )

    return QuestionRow(
        number=number,
        head=None,
        connector=node(f"in{number}", NodeKind.CONNECTOR, CIRCLE, CIRCLE),
        joined=high < 40,
        nodes=(node(f"n{number}", NodeKind.CHECK, 140, high),),
        down=branch(number + 1, f"{number}_d", 2, None) if leads else None,
        right=tuple(
            branch(900, f"{number}_{place}", count, tall)
            for place, (count, tall) in enumerate(causes)
        ),
    )
