"""Formulas: what is read, what is refused in one sentence, and what stands on paper."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.measure import formula
from diagnose.measure.formula import DEEPEST, LONGEST
from diagnose.measure.model import Unreadable

VALUES = {"a": 2.0, "b": 3.0}


@pytest.mark.parametrize(
    ("text", "figure"),
    [
        ("1 + 2 * 3", 7),
        ("(1 + 2) * 3", 9),
        ("10 - 3 - 2", 5),
        ("12 / 3 / 2", 2),
        ("-2 ^ 2", -4),
        ("(-2) ^ 2", 4),
        ("2 ^ 3 ^ 2", 512),
        ("2 ^ -1", 0.5),
        ("2 * -3", -6),
        ("+4", 4),
        ("4 ^ 0.5", 2),
        ("a × b ÷ 6 − 1", 0),
        ("a·b", 6),
        (".5 + 1.", 1.5),
    ],
)
def test_school_arithmetic(text: str, figure: float) -> None:
    assert formula.evaluated(formula.parsed(text), VALUES) == figure


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "breaks off at its end"),
        ("1 +", "breaks off at its end"),
        ("(1 + 2", "breaks off at its end. A parenthesis is still open"),
        ("(1 2)", '"2" cannot stand at character 4'),
        ("1)", '")" cannot stand at character 2'),
        ("()", '")" cannot stand at character 2'),
        ("a b", '"b" cannot stand at character 3'),
        ("a ** b", '"*" cannot stand at character 4'),
        ("1..2", '".2" cannot stand at character 3'),
        ("a = b", '"=" is nothing that a formula knows'),
        ("a.b", '".b" is nothing that a formula knows'),
        ("__import__('os')", "is nothing that a formula knows"),
        ("a[0]", "is nothing that a formula knows"),
        ("1 / 0", "divides by nought"),
        ("1 / (a - 2)", "divides by nought"),
        ("0 ^ -1", "divides by nought"),
        ("10 ^ 400", "too large to be computed"),
        ("10 ^ 300 * 10 ^ 300", "too large to be computed"),
        ("(-8) ^ 0.5", "root of a negative number"),
        ("9" * 310, "300 characters at most, this one 310"),
        ("(" * (DEEPEST + 1) + "1" + ")" * (DEEPEST + 1), "nested 20 deep at most"),
        ("-" * (DEEPEST + 2) + "1", "nested 20 deep at most"),
    ],
)
def test_what_is_none_is_refused_in_one_sentence(text: str, said: str) -> None:
    with pytest.raises(Unreadable) as refused:
        formula.evaluated(formula.parsed(text), VALUES)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


@given(st.one_of(st.text(max_size=400), st.text("ab12.+-*/^() ×", max_size=400)))
def test_no_text_does_anything_but_compute_or_be_refused(text: str) -> None:
    try:
        term = formula.parsed(text)
        formula.refuse_names(term, VALUES)
        assert isinstance(formula.evaluated(term, VALUES), float)
    except Unreadable:
        pass


def test_a_formula_as_long_as_may_be_is_computed() -> None:
    text = "+".join("1" * (LONGEST // 2))
    assert formula.evaluated(formula.parsed(text), {}) == LONGEST // 2


def test_inputs_and_names_are_the_same() -> None:
    with pytest.raises(
        Unreadable, match=r'"volme" in the formula is no input\. Did you mean "volume"'
    ):
        formula.refuse_names(formula.parsed("volme + 1"), {"volume": ""})
    with pytest.raises(Unreadable, match='no use for the input "b"'):
        formula.refuse_names(formula.parsed("a"), {"a": "", "b": ""})
    formula.refuse_names(formula.parsed("a * -b"), {"a": "", "b": ""})


@pytest.mark.parametrize(
    ("text", "paper"),
    [
        ("a*b", "2 L × 3 min"),
        ("a/(b*2)", "2 L / (3 min × 2)"),
        ("-(a+1)", "-(2 L + 1)"),
        ("a^2", "(2 L) ^ 2"),
        ("2^a", "2 ^ (2 L)"),
        ("(a-b)-(a-b)", "2 L - 3 min - (2 L - 3 min)"),
    ],
)
def test_on_paper_it_has_its_numbers_in(text: str, paper: str) -> None:
    assert formula.with_numbers(formula.parsed(text), {"a": "2 L", "b": "3 min"}) == paper
