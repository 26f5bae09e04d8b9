"""Shapes, lines and colours can be told apart: by eye, in grey, and by the colour-blind."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from colorspacious import cspace_convert, deltaE

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


@pytest.mark.parametrize(
    ("kind", "shape"),
    [
        # ISO 5807 (status R), in Graphviz's names; `note` stands for a document in bare DOT.
        (NodeKind.CHECK, "diamond"),
        (NodeKind.READING, "polygon"),
        (NodeKind.OPERATOR, "box"),
        (NodeKind.SERVICE, "note"),
        (NodeKind.CAUTION, "hexagon"),
    ],
)
def test_shapes_are_iso_5807s(kind: NodeKind, shape: str) -> None:
    assert STYLES[kind].shape == shape
