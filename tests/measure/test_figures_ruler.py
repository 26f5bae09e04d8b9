"""Blades, brushes and pads. Common practice has no published source: the bands are the trade's,
the arithmetic and unit sizes are checked against the inch, 25.4 mm (exact, NIST, M) and numpy.
"""

import numpy as np
import pytest


@pytest.mark.parametrize(
    ("reply", "millimetres"),
    [("1.5", 1.5), ("0,06 in", 1.524), ("0.15 cm", 1.5), ("0.0625 inch", 1.5875)],
)
def test_blade_edge(take, reply, millimetres):
    figure = take("blade-edge", reply)
    assert figure.value == pytest.approx(millimetres, rel=1e-12)
    assert figure.expected.high == 1.5  # common practice


@pytest.mark.parametrize(
    ("used", "said"), [("2", "2 left, turn it"), ("4", "none left"), ("5", "none left")]
)
def test_edges_left(take, used, said):
    card = {"squeegee.rear_edges": "4", "squeegee.edges_used": used}
    assert any(said in line for line in take("blade-edge", "2 mm", **card).workings)


@pytest.mark.parametrize(
    ("left", "right", "value", "apart"),
    [
        ("12 mm", "13 mm", 12, 1),  # common practice: 10 to 15 mm, ends within 3 mm
        ("9 mm", "13 mm", 9, 4),
        ("0.5 in", "0.75 in", 19.05, 6.35),
    ],
)
def test_blade_bend_and_level(take, left, right, value, apart):
    reply = f"left={left} right={right}"
    bend, level = take("blade-bend", reply), take("blade-level", reply)
    assert bend.value == pytest.approx(value, rel=1e-12)
    assert level.value == pytest.approx(apart, rel=1e-12)
    assert (bend.expected.low, bend.expected.high, level.expected.high) == (10, 15, 3)
    assert any("out of level" in line for line in bend.workings) is (apart > 3)


def test_the_cards_bend_wins(take):
    bend = take("blade-bend", "left=11 right=14", **{"squeegee.bend": "14 mm"})
    assert bend.value == 11
    assert (bend.expected.low, bend.expected.high) == (14, 14)


@pytest.mark.parametrize("name", ["bristle", "pad"])
@pytest.mark.parametrize(
    ("reply", "values"),
    [
        ("24, 22, 23 mm", [24, 22, 23]),
        ("1 in; 1 in; 20 mm", [25.4, 25.4, 20]),
        ("7 8 9", [7, 8, 9]),
    ],
)
def test_the_least_of_three_places_decides(take, name, reply, values):
    assert take(name, reply).value == pytest.approx(np.min(values), rel=1e-12)


def test_bristle_and_pad_are_changed_where_the_trade_does(take):
    """Common practice: bristle at 15 to 20 mm, pad under 8 of 25 mm."""
    bristle = take("bristle", "24 22 23", **{"brushes.bristle_new": "40 mm"})
    assert (bristle.expected.low, bristle.expected.high) == (20, 40)
    assert any("22 of 40 mm new: 55 %" in line for line in bristle.workings)
    assert take("pad", "12 12 12").expected.low == 8


@pytest.mark.parametrize(
    ("amps", "percent"), [("18 A", 100), ("21.6", 120), ("14400 mA", 80), ("0", 0)]
)
def test_brush_current(take, amps, percent):
    """Common practice: the card's ±20 %; near 0 there is no contact, or the side is dead."""
    figure = take("brush-current", amps, **{"brushes.current": "18 A"})
    assert figure.value == pytest.approx(percent, abs=1e-9)
    assert (figure.expected.low, figure.expected.high) == (80, 120)


@pytest.mark.parametrize(("other", "weak"), [("14 A", True), ("15 A", False), ("0 A", True)])
def test_brush_sides(take, other, weak):
    figure = take("brush-current", f"reading=18 A other={other}", **{"brushes.current": "18 A"})
    assert any("more than 20 %" in line for line in figure.workings) is weak


def test_a_plain_value(take):
    assert [take("value", text).value for text in ("12", "-1,5", "1e3")] == [12, -1.5, 1000]
    assert take("value", "12").unit == ""
