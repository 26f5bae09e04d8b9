"""Shapes, lines and colours can be told apart: by eye, in grey, and by the colour-blind."""

from __future__ import annotations

import itertools
from functools import cache
from xml.etree import ElementTree

import numpy as np
import pygraphviz
import pytest
from colorspacious import cspace_convert, deltaE
from drawn import SVG

from diagnose.paper import render
from diagnose.paper.node_styles import SIGNALS, STYLES, NodeKind

WHITE = "#FFFFFF"

#: Okabe and Ito, Color Universal Design, 2002 (status R).
OKABE_ITO = {
    "#000000",
    "#E69F00",
    "#56B4E9",
    "#009E73",
    "#F0E442",
    "#0072B2",
    "#D55E00",
    "#CC79A7",
}

LINES = sorted({mark.line for mark in STYLES.values()})


def channels(colour: str) -> np.ndarray:
    return np.array([int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)])


def contrast(one: str, other: str) -> float:
    """The ratio of WCAG 2.2 (status M), from relative luminance: Y of CIE XYZ, by colorspacious."""
    lights = sorted(
        float(cspace_convert(channels(colour), "sRGB1", "XYZ1")[1]) for colour in (one, other)
    )
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def test_contrast_is_that_of_the_standard() -> None:
    # WCAG 2.2 (status M): black on white is 21:1, and #767676 is the lightest grey with 4.5:1.
    assert contrast("#000000", WHITE) == pytest.approx(21, abs=0.01)
    assert contrast("#767676", WHITE) == pytest.approx(4.54, abs=0.01)


def test_all_colours_are_okabe_and_itos() -> None:
    assert {*LINES, *SIGNALS.values()} <= OKABE_ITO


@pytest.mark.parametrize("line", LINES)
def test_a_line_keeps_three_to_one_against_white(line: str) -> None:
    assert contrast(line, WHITE) >= 3.0


@pytest.mark.parametrize("signal", SIGNALS)
def test_black_text_keeps_its_contrast_on_a_signal(signal: str) -> None:
    # WCAG 2.2: 4.5:1 for text, also once the print is grey.
    assert contrast("#000000", SIGNALS[signal]) >= 4.5


@pytest.mark.parametrize("sight", ["", "deuteranomaly", "protanomaly", "tritanomaly"])
@pytest.mark.parametrize("colours", [LINES, list(SIGNALS.values())], ids=["lines", "signals"])
def test_colours_stay_apart_for_the_colour_blind(sight: str, colours: list[str]) -> None:
    def seen(colour: str) -> np.ndarray:
        if not sight:
            return channels(colour)
        space = {"name": "sRGB1+CVD", "cvd_type": sight, "severity": 100}
        return np.clip(cspace_convert(channels(colour), space, "sRGB1"), 0, 1)

    for one, other in itertools.combinations(colours, 2):
        # In CAM02-UCS about 1 can just be seen; 10 is told apart at a glance.
        assert float(deltaE(seen(one), seen(other), input_space="sRGB1")) > 10


def test_no_two_kinds_differ_by_colour_alone() -> None:
    told = [(mark.shape, mark.style, *mark.more.items(), mark.word) for mark in STYLES.values()]
    assert len(set(told)) == len(told)
    who = [STYLES[kind] for kind in (NodeKind.OPERATOR, NodeKind.BATTERY_TRAINED, NodeKind.SERVICE)]
    assert len({mark.word for mark in who}) == len(who)
    assert len({(mark.shape, mark.style, *mark.more) for mark in who}) == len(who)


# Shapes by ISO 5807 (status R), from the outlines that Graphviz draws: corners as shares of the
# width and of the height.


@cache
def corners(kind: NodeKind) -> list[tuple[float, float]]:
    """Return the corners of the outline around some words; none where it is rounded."""
    style = STYLES[kind]
    graph = pygraphviz.AGraph(directed=True)
    graph.add_node("a", label="Some words", shape=style.shape, style=style.style, **style.more)
    with render.chatter_aside():
        svg = graph.draw(format="svg", prog="dot").decode()
    (node,) = (g for g in ElementTree.fromstring(svg).iter(f"{SVG}g") if g.get("class") == "node")
    polygon = node.find(f".//{SVG}polygon")
    if polygon is None:
        assert node.find(f".//{SVG}path") is not None
        return []
    points = [tuple(map(float, point.split(","))) for point in polygon.get("points", "").split()]
    assert points[0] == points[-1]
    left, top = (min(point[axis] for point in points) for axis in (0, 1))
    wide, high = (max(point[axis] for point in points) - low for axis, low in ((0, left), (1, top)))
    return sorted((round((x - left) / wide, 2), round((y - top) / high, 2)) for x, y in points[1:])


def test_a_decision_is_a_diamond() -> None:
    assert corners(NodeKind.CHECK) == [(0, 0.5), (0.5, 0), (0.5, 1), (1, 0.5)]


def test_data_is_a_parallelogram() -> None:
    low_left, high_left, low_right, high_right = corners(NodeKind.READING)
    assert (low_left, high_right) == ((0, 1), (1, 0))
    assert (high_left[1], low_right[1]) == (0, 1)
    assert high_left[0] == pytest.approx(1 - low_right[0], abs=0.01)
    assert 0.05 < high_left[0] < 0.5


def test_a_preparation_is_a_hexagon() -> None:
    found = corners(NodeKind.CAUTION)
    assert (len(found), found[0], found[-1]) == (6, (0, 0.5), (1, 0.5))
    assert {y for _, y in found[1:-1]} == {0, 1}
    assert STYLES[NodeKind.CAUTION].style == "filled"


@pytest.mark.parametrize("kind", [NodeKind.START, NodeKind.OPERATOR, NodeKind.BATTERY_TRAINED])
def test_a_terminator_is_rounded(kind: NodeKind) -> None:
    assert corners(kind) == []


def test_what_service_gets_has_a_folded_corner() -> None:
    # In bare DOT a note stands for a document.
    found = corners(NodeKind.SERVICE)
    assert (len(found), (1, 0) in found) == (5, False)
    assert {(0, 0), (0, 1), (1, 1)} <= set(found)


def test_a_doorway_is_a_plain_box() -> None:
    assert corners(NodeKind.DOORWAY) == [(0, 0), (0, 1), (1, 0), (1, 1)]
