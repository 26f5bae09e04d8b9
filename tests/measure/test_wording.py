"""Figures, shares and ranges in words, from both sides of where the wording changes."""

import pytest

from diagnose.measure.model import Expected
from diagnose.measure.wording import expected_range, percent, with_unit


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0, "under 1 %"),
        (0.0049, "under 1 %"),
        (0.005, "under 1 %"),
        (0.0051, "1 %"),
        (0.125, "12 %"),
        (0.126, "13 %"),
        (1, "100 %"),
    ],
)
def test_a_share(share, words):
    assert percent(share) == words


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (64.6371, "%", "64.64 %"),
        (999.94, "L", "999.9 L"),
        (1000, "L", "1000 L"),
        (-1000.4, "L", "-1000 L"),
        (82408.7, "m²/h", "82409 m²/h"),
        (0.0444444, "mm", "0.04444 mm"),
        (1.28, "", "1.28"),
    ],
)
def test_a_figure_with_its_unit(value, unit, words):
    assert with_unit(value, unit) == words


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (None, None, "no range is known"),
        (None, 3, "at most 3 mm"),
        (3, None, "at least 3 mm"),
        (0, 0, "0 mm"),
        (4.5, 4.5, "4.5 mm"),
        (0, 1.5, "0 to 1.5 mm"),
        (1000.4, 12345.6, "1000 to 12346 mm"),
    ],
)
def test_a_range(low, high, words):
    assert expected_range(Expected(low=low, high=high, source=""), "mm") == words
