"""Any text is shown exactly, broken where it may be, and inside its shape."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import pygraphviz
import pytest
from drawn import SVG, SYMPTOMS, flowchart_of
from hypothesis import example, given, settings
from hypothesis import strategies as st
from strategies.sampling import several

from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.compose import CONTROL
from diagnose.paper import render
from diagnose.paper.flowchart import SIZE, Extras, Flowchart
from diagnose.paper.letters import CannotRender, typeface

if TYPE_CHECKING:
    from pathlib import Path

ODD = st.text(
    st.one_of(
        st.sampled_from("\\\"<>&;{}|lnrNGTHEL #%'`äöüßé€→·😀🧽漢字абв\u0301\u200d"),
        st.characters(exclude_categories=["Cs", "Cc", "Zs", "Zl", "Zp"]),
    ),
    min_size=1,
    max_size=40,
).filter(lambda text: not CONTROL.search(text) and text.strip())


def shown(dot: str) -> list[str]:
    """Return every line of words that Graphviz draws."""
    render._drawn("graph {}", f"{typeface().fontconfig}")
    with render.chatter_aside():
        svg = pygraphviz.AGraph(string=dot).draw(format="svg", prog="dot").decode()
    lines = [node.text or "" for node in ElementTree.fromstring(svg).iter(f"{SVG}text")]
    return [line.strip() for line in lines]


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> ReadyLibrary:
    folder = tmp_path_factory.mktemp("library")
    (folder / "one.yaml").write_text(
        "format: 1\nsymptom: one\ntitle: One\nstart: a\nsteps:\n"
        "  a: {ask: Question?, answers: {An answer: b, Another: b}}\n"
        "  b: {finding: A cause, chance: 1, who: operator, remedy: A remedy}\n",
        "utf-8",
    )
    return ReadyLibrary(folder)


@settings(max_examples=several(60))
@given(ODD)
@example("\\N")
@example("a\\lb\\")
@example("<b>")
@example('"')
@example("&amp; &lt;b&gt; &#65; &auml;")
@example("\\")
@example("graph")
@example("👩‍🔧")
def test_a_label_shows_exactly_its_text(ready: ReadyLibrary, text: str) -> None:
    extras = Extras(last_lines={0: text, 1: text}, under=[text])
    dot = Flowchart(ready.require("one"), ready.table, extras=extras).dot(1000)
    # XML itself folds a carriage return and the like; none of them can stand in a file.
    said = ["".join(line.split()) for line in shown(dot)]
    assert "".join(said).count("".join(text.split())) >= 3


def test_a_text_longer_than_graphviz_reads_at_once_is_shown_whole(ready: ReadyLibrary) -> None:
    text = " ".join(f'word\\{number}"' for number in range(6000))
    extras = Extras(last_lines={0: text})
    dot = Flowchart(ready.require("one"), ready.table, extras=extras).dot()
    assert text in " ".join(shown(dot))


def test_a_letter_without_a_font_is_named() -> None:
    face = typeface()
    face.check(["Ä ß é Ω я № → · “”", "soft\u00adhyphen"])
    for text, name in (("漢", "U+6F22"), ("ok 🧽", "U+1F9FD")):
        with pytest.raises(CannotRender, match=re.escape(f"no letter for {name}")):
            face.check(["fine", text])


def test_a_width_is_graphvizs_own() -> None:
    words = "Wave iiii"
    dot = (
        f"digraph {{a [shape=plaintext, margin=0, width=0, height=0, fontsize={SIZE * 10:g},"
        f' fontname="Fira Sans", label="{words}"]}}'
    )
    render._drawn("graph {}", f"{typeface().fontconfig}")
    plain = pygraphviz.AGraph(string=dot).draw(format="plain", prog="dot").decode()
    width = float(re.search(r"^node a \S+ \S+ (\S+)", plain, re.MULTILINE)[1]) * 72  # type: ignore[index]
    assert typeface().width(words, SIZE * 10) == pytest.approx(width, rel=0.02)
    assert typeface().width(words, 10, bold=True) > typeface().width(words, 10)
    # What only steers how others are shown takes no room.
    assert typeface().width("\u200d", 10) == 0


def test_a_file_that_is_no_font_is_named(tmp_path: Path) -> None:
    file = tmp_path / "x.ttf"
    file.write_text("no font", "utf-8")
    for one in (file, tmp_path / "missing.ttf"):
        with pytest.raises(CannotRender, match="this is no font"):
            typeface(one)


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_no_label_is_cut_off(symptom: str) -> None:
    """Outlines are Graphviz's, from its SVG; the widths of lines are held to Graphviz's above."""
    seen = 0
    svg = render.as_svg(flowchart_of(symptom).dot(), "Title", "About", typeface())
    for group in ElementTree.fromstring(svg).iter(f"{SVG}g"):
        kind = group.get("class", "")
        if not kind.startswith("node") or kind == "node answer":
            continue  # The words of an answer have no outline.
        outline = _outline(group)
        for line in group.iter(f"{SVG}text"):
            x, y, wide = (float(line.get(key, 0)) for key in ("x", "y", "textLength"))
            # From the baseline to the height of a capital.
            for corner in ((x - wide / 2, y), (x + wide / 2, y), (x - wide / 2, y - 7)):
                assert _inside(outline, *corner, slack=1.0), (line.text, corner)
            seen += 1
    assert seen > 50


def _inside(outline: list[tuple[float, float]], x: float, y: float, slack: float) -> bool:
    """Whether a point lies in a convex outline, or not further than `slack` outside a side."""
    signs = []
    for (x0, y0), (x1, y1) in zip(outline, outline[1:] + outline[:1], strict=True):
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        if length:
            signs.append(((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)) / length)
    return all(sign >= -slack for sign in signs) or all(sign <= slack for sign in signs)


def _outline(group: ElementTree.Element) -> list[tuple[float, float]]:
    polygon = group.find(f".//{SVG}polygon")
    if polygon is not None:
        return _points(polygon.get("points", ""))
    points = [p for path in group.iter(f"{SVG}path") for p in _points(path.get("d", ""))]
    (left, right), (top, low) = ((min(one), max(one)) for one in zip(*points, strict=True))
    return [(left, low), (right, low), (right, top), (left, top)]


def _points(text: str) -> list[tuple[float, float]]:
    values = [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", text)]
    return list(zip(values[::2], values[1::2], strict=True))
