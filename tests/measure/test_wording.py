"""Figures, shares and ranges in words, from both sides of where the wording changes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.measure.model import Expected
from diagnose.measure.wording import about, expected_range, percent, verdict, with_unit


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


@pytest.mark.parametrize(
    ("value", "good_to", "said"),
    [
        (44.4, 10, "about 45 u, ± 10"),
        (64.69, 1.94, "about 65 u, ± 2"),
        (12.32, 0.74, "about 12.3 u, ± 0.7"),
        (12.3, 1, "about 12.5 u, ± 1"),
        (11.9, 1, "about 12 u, ± 1"),
        (1.2452, 0.005, "about 1.245 u, ± 0.005"),
        (1.25, 0.005, "about 1.250 u, ± 0.005"),
        (2.0432, 0.01, "about 2.045 u, ± 0.01"),
        (0.0444, 0.0067, "about 0.044 u, ± 0.007"),
        (2480, 125, "about 2500 u, ± 100"),
        (98, 9.6, "about 100 u, ± 10"),
        (7, 0.96, "about 7 u, ± 1"),
        (-0.1, 1, "about 0 u, ± 1"),
        (123456, 7000, "about 123000 u, ± 7000"),
        (33.33333, None, "33.33 u"),
        (0, 0, "0 u"),
    ],
)
def test_a_figure_is_rounded_to_what_the_method_can_know(
    value: float, good_to: float | None, said: str
) -> None:
    assert about(value, "u", good_to) == said


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6))
def test_rounding_is_small_beside_what_the_method_cannot_know(value: float, good_to: float) -> None:
    shown, _, off = about(value, "", good_to).removeprefix("about ").partition(", ± ")
    assert abs(float(shown) - value) <= 0.51 * good_to
    # One digit, and no more digits than that allows.
    assert len(off.strip("0.").replace(".", "")) <= 1
    assert 0.66 < float(off) / good_to < 1.51


@pytest.mark.parametrize(
    ("value", "low", "high", "good_to", "said"),
    [
        (79.9, 80, None, 3, "too low"),
        (80, 80, None, 3, "right"),
        (120, 80, 120, 3, "right"),
        (120.1, 80, 120, None, "too high"),
        (5, None, 4, None, "too high"),
        # One figure is expected: what may be it is right.
        (11.2, 12, 12, 1, "right"),
        (10.9, 12, 12, 1, "too low"),
        (13.1, 12, 12, 1, "too high"),
        (12, 12, 12, None, "right"),
        (5, None, None, 1, ""),
    ],
)
def test_where_a_figure_lies(
    value: float, low: float | None, high: float | None, good_to: float | None, said: str
) -> None:
    expected = Expected(low=low, high=high, source="a card")
    assert verdict(value, expected, good_to) == said
    assert verdict(value, None, good_to) == ""
