"""Any text is shown exactly, broken where it may be, and inside its shape."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import pygraphviz
import pytest
from drawn import SVG, SYMPTOMS, inside, sketched
from hypothesis import example, given, settings
from hypothesis import strategies as st

from diagnose.files.compose import CONTROL
from diagnose.paper import render
from diagnose.paper.dot_attributes import FONT
from diagnose.paper.flowchart import Edge, Flowchart, Node
from diagnose.paper.node_styles import NodeKind
from diagnose.paper.pagination import HeadAndFoot, Paginator
from diagnose.paper.sheet import paper
from diagnose.paper.wrap import LEADING, FontMetrics, fitted, pieces, wrapped

if TYPE_CHECKING:
    from diagnose.paper.sheet import Sheet

ODD = st.text(
    st.one_of(
        st.sampled_from("\\\"<>&;{}|lnrNGTHEL #%'`äöüßé€→·😀🧽漢字абв\u0301\u200d"),
        st.characters(exclude_categories=["Cs", "Cc", "Zs", "Zl", "Zp"]),
    ),
    min_size=1,
    max_size=40,
).filter(lambda text: not CONTROL.search(text) and text.strip())
SENTENCES = st.lists(ODD, min_size=1, max_size=12).map(" ".join)


class Even(dict[str, float]):
    """Six points a letter, for any text."""

    def __missing__(self, text: str) -> float:
        return 6.0 * len(text)


METRICS = FontMetrics(Even(), 3.0)


@given(SENTENCES, st.floats(20, 400))
def test_every_letter_is_kept_and_no_line_is_too_long(text: str, room: float) -> None:
    found = wrapped(METRICS, text, room)
    assert "".join("".join(found).split()) == "".join(text.split())
    for line in found:
        assert METRICS.width_of(line) <= room or len(pieces(line)) == 1


@given(SENTENCES)
def test_words_are_broken_only_where_they_may_be(text: str) -> None:
    parts = pieces(text)
    assert " ".join("".join(("" if p.glued else " ") + p.text for p in parts).split()) == " ".join(
        text.split()
    )
    for before, after in pairwise(parts):
        if after.glued:
            assert before.text[-1] in "-/" or len(before.text) == 24


@given(
    st.lists(SENTENCES, min_size=1, max_size=3),
    st.sampled_from([0.0, 0.5, 1.0]),
    st.sampled_from([2.6, 4.0, 7.0]),
)
def test_lines_lie_inside_the_shape_that_was_fitted(
    texts: list[str], taper: float, aspect: float
) -> None:
    fit = fitted(METRICS, texts, taper=taper, aspect=aspect)
    assert "".join("".join(fit.lines).split()) == "".join("".join(texts).split())
    top = -len(fit.lines) * LEADING / 2
    for number, line in enumerate(fit.lines):
        for y in (top + number * LEADING, top + (number + 1) * LEADING):
            room = fit.width * (1 - taper * 2 * abs(y) / fit.height)
            assert METRICS.width_of(line) <= room
            assert abs(y) <= fit.height / 2


@settings(max_examples=60)
@given(ODD, ODD)
@example("\\N", "a\\lb\\")
@example("<b>", "<i>x</i>")
@example('"', '\\"')
@example("&amp;", "&lt;b&gt; &#65; &auml;")
@example("\\", "\\\\")
@example("graph", "node")
@example("Ä ö ß", "🧽 👩‍🔧")
def test_a_label_shows_exactly_its_text(text: str, answer: str) -> None:
    one = Node(name="n0", kind=NodeKind.CHECK, step="a", lines=(text, "x"), width=300, height=90)
    two = Node(name="n1", kind=NodeKind.OPERATOR, step="b", lines=(answer,), width=300, height=40)
    arrow = Edge(source="n0", target="n1", answer=answer, lines=(answer,))
    dot = render.dot_text(Flowchart(symptom="s", nodes=(one, two), edges=(arrow,)))
    with render.chatter_aside():
        svg = pygraphviz.AGraph(string=dot).draw(format="svg", prog="dot").decode()
    root = ElementTree.fromstring(svg)
    # XML itself folds a carriage return and the like; none of them can stand in a file.
    said = [(node.text or "").strip() for node in root.iter(f"{SVG}text")]
    assert sorted(said) == sorted([text.strip(), "x", answer.strip(), answer.strip()])


def test_a_text_longer_than_graphviz_reads_at_once_is_shown_whole() -> None:
    text = " ".join(f'word\\{number}"' for number in range(6000))
    metrics = render.measure([text])
    fit = fitted(metrics, [text], taper=0.0, aspect=1.0, widest=2000)
    shape = Node(
        name="n0",
        kind=NodeKind.CHECK,
        step="a",
        lines=fit.lines,
        width=fit.width,
        height=fit.height,
    )
    dot = render.dot_text(Flowchart(symptom="s", nodes=(shape,), edges=()))
    with render.chatter_aside():
        svg = pygraphviz.AGraph(string=dot).draw(format="svg", prog="dot").decode()
    root = ElementTree.fromstring(svg)
    assert " ".join(node.text or "" for node in root.iter(f"{SVG}text")) == text


def test_a_measure_is_graphvizs_own() -> None:
    metrics = render.measure(["Wave", "iiii", "👩‍🔧", "漢字", "a&b\\l<b>"])
    assert metrics.width_of("Wave") > metrics.width_of("iiii") > 0
    assert 0 < metrics.space < metrics.width_of("Wave")
    dot = (
        'digraph {a [shape=plaintext, margin=0, width=0, height=0, fontsize=40, label="Wave iiii",'
        f' fontname="{FONT}"]}}'
    )
    with render.chatter_aside():
        plain = pygraphviz.AGraph(string=dot).draw(format="plain", prog="dot").decode()
    width = float(re.search(r"^node a \S+ \S+ (\S+)", plain, re.MULTILINE)[1]) * 72 / 4  # type: ignore[index]
    assert metrics.width_of("Wave iiii") == pytest.approx(width, rel=0.02)


def _sheets(symptom: str) -> list[Sheet]:
    drawn, _ = sketched(symptom)
    around = HeadAndFoot(title=drawn.title, under=symptom, foot=("The foot.",))
    return Paginator(drawn, around, paper("a4", landscape=False)).sheets()


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_no_label_is_cut_off(symptom: str) -> None:
    """Outlines and line widths are Graphviz's, from its xdot output, not ours."""
    seen = 0
    for sheet in _sheets(symptom):
        with render.chatter_aside():
            text = pygraphviz.AGraph(string=sheet.dot).draw(format="xdot", prog="nop2").decode()
        graph = pygraphviz.AGraph(string=text)
        for node in graph.nodes():
            if node.attr["class"] == "note":
                continue
            outline = _outline(node)
            for x, y, align, width in _spans(node.attr["_ldraw_"]):
                left = x - width * (align + 1) / 2
                # The baseline is about a fifth of the type size above the line's own foot.
                for corner in (
                    (left, y),
                    (left + width, y),
                    (left, y + 24),
                    (left + width, y + 24),
                ):
                    assert inside(outline, *corner, slack=4.0), (node.attr["label"], corner)
                seen += 1
    assert seen > 50


def _outline(node: pygraphviz.Node) -> list[tuple[float, float]]:
    polygon = re.search(r"[pP] (\d+) ((?:[-0-9.]+ ?)+)", node.attr["_draw_"] or "")
    if polygon:
        values = [float(value) for value in polygon[2].split()]
        return list(zip(values[::2], values[1::2], strict=True))
    x, y = (float(value) for value in node.attr["pos"].rstrip("!").split(","))
    wide, high = float(node.attr["width"]) * 36, float(node.attr["height"]) * 36
    return [(x - wide, y - high), (x + wide, y - high), (x + wide, y + high), (x - wide, y + high)]


def _spans(drawing: str) -> list[tuple[float, float, int, float]]:
    found = re.findall(r"T (-?[\d.]+) (-?[\d.]+) (-?\d) (-?[\d.]+) \d+ -", drawing or "")
    return [(float(x), float(y), int(align), float(width)) for x, y, align, width in found]
