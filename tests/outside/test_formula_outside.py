"""Formulas against Python's own reader of arithmetic with exact fractions, and units against pint.

Sources: the language's grammar (`ast`), `fractions.Fraction`; status: C. The units of a formula are
those that pint computes with quantities; status: C.
"""

from __future__ import annotations

import ast
from fractions import Fraction
from typing import Any

import pint
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from diagnose.measure import formula
from diagnose.measure.model import Unreadable
from diagnose.measure.units import refuse_units

VALUES = {"a": 2, "b": 3, "c": 0.5, "d": -4}

_numbers = st.sampled_from(["0", "1", "2", "10", "0.5", "3.25", ".125", "7."])
_leaves = st.one_of(_numbers, st.sampled_from(list(VALUES)))


def _wider(parts: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.one_of(
        st.builds("{} {} {}".format, parts, st.sampled_from("+-*/"), parts),
        st.builds("({})".format, parts),
        st.builds("-{}".format, parts),
        st.builds("{}^{}".format, parts, st.sampled_from(["2", "3", "1", "-1", "2^1"])),
    )


formulas = st.recursive(_leaves, _wider, max_leaves=12)


def exact(node: Any) -> Fraction:
    """Return what Python's reading of an expression is, in fractions."""
    if isinstance(node, ast.Constant):
        return Fraction(str(node.value))
    if isinstance(node, ast.Name):
        return Fraction(VALUES[node.id])
    if isinstance(node, ast.UnaryOp):
        return -exact(node.operand)
    left, right = exact(node.left), exact(node.right)
    match node.op:
        case ast.Add():
            return left + right
        case ast.Sub():
            return left - right
        case ast.Mult():
            return left * right
        case ast.Div():
            return left / right
    if right.denominator > 1 or abs(right) > 30:
        raise ValueError
    return left ** int(right)


@given(formulas)
def test_a_formula_is_what_python_reads_of_it_in_fractions(text: str) -> None:
    assume(len(text) <= formula.LONGEST)
    python = ast.parse(text.replace("^", "**"), mode="eval").body
    try:
        wanted = exact(python)
    except ZeroDivisionError:
        with pytest.raises(Unreadable, match=r"divides by nought|too large"):
            formula.evaluated(formula.parsed(text), VALUES)
        return
    except ValueError:
        assume(False)
        raise
    # Where differences cancel, a float keeps less than the whole: of the largest part, 12 digits.
    size = max(1.0, *(abs(one) for one in parts(python)))
    try:
        got = formula.evaluated(formula.parsed(text), VALUES)
    except Unreadable:
        got = None
    if got is None:
        assert near_nought(python)
        return
    assert abs(got - float(wanted)) <= 1e-12 * size * size or near_nought(python)


def parts(node: Any) -> list[float]:
    """Return the figure of each part of an expression."""
    inside = [
        one
        for child in ast.iter_child_nodes(node)
        if isinstance(child, ast.expr)
        for one in parts(child)
    ]
    return [float(exact(node)), *inside]


def near_nought(node: Any) -> bool:
    """Whether something is divided by what is nearly nothing, where a float knows least."""
    for one in ast.walk(node):
        if isinstance(one, ast.BinOp) and isinstance(one.op, ast.Div | ast.Pow):
            base = one.right if isinstance(one.op, ast.Div) else one.left
            if abs(exact(base)) < Fraction(1, 1000):
                return True
    return False


@given(formulas)
def test_what_is_written_with_names_is_the_same_formula(text: str) -> None:
    assume(len(text) <= formula.LONGEST)
    term = formula.parsed(text)
    again = formula.with_numbers(term, {name: name for name in VALUES})
    assume(len(again) <= formula.LONGEST)
    assert formula.parsed(again) == term


UNITS = {"L": "liter", "min": "minute", "s": "second", "m": "meter", "km/h": "km/hour", "V": "volt"}
UNITS |= {"A": "ampere", "W": "watt", "L/min": "liter/minute", "mm": "millimeter", "kg": "kilogram"}
UNITS |= {"m/s": "meter/second", "h": "hour", "": "dimensionless", "Ah": "ampere*hour"}
TEXTS = ("a * b", "a / b", "a * b / c", "a / (b * c)", "a ^ 2 / b", "a + b", "a - b", "(a + b) * c")


@given(st.sampled_from(TEXTS), st.lists(st.sampled_from(list(UNITS)), min_size=4, max_size=4))
def test_the_units_of_a_formula_come_out_as_with_quantities_of_pint(
    text: str, units: list[str]
) -> None:
    *inputs, unit = units
    term = formula.parsed(text)
    of = {name: one for name, one in zip("abc", inputs, strict=True) if name in text}
    registry = pint.application_registry
    values = dict(zip("abc", (2.0, 3.0, 5.0), strict=True))
    given_ = {name: registry.Quantity(values[name], UNITS[one]) for name, one in of.items()}
    fits = True
    if "a + b" in text or "a - b" in text:
        fits = of["a"] == of["b"]
    if fits:
        result = eval(text.replace("^", "**"), {}, given_)
        wanted = registry.Quantity(1, UNITS[unit])
        fits = result.check(wanted.dimensionality) and result.to(wanted.units).magnitude == (
            pytest.approx(formula.evaluated(term, values))
        )
    if fits:
        refuse_units(term, of, unit)
    else:
        with pytest.raises(Unreadable):
            refuse_units(term, of, unit)
