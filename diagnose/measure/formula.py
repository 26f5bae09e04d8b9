"""A formula in school arithmetic: read into a tree, evaluated, written with its numbers in.

Numbers, names, `+ - * / ^` and parentheses; `×`, `·`, `÷` and `−` are read as well. As at school,
`^` binds closest and from the right, a sign comes before it (-2 ^ 2 is -4), then `* /`, then `+ -`,
both from the left. Nothing of it is ever run as code.
"""

import operator
import re
from collections.abc import Callable, Iterator, Mapping
from math import isfinite
from typing import NoReturn, TypeAlias

from msgspec import Struct

from diagnose.measure.model import Unreadable
from diagnose.text import did_you_mean, shortened

#: A formula is one line on paper, and no deeper than a person can follow.
LONGEST, DEEPEST = 300, 20

_TOKEN = (
    r"\s*(?:(?P<number>[0-9]+(?:\.[0-9]*)?|\.[0-9]+)|(?P<name>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<sign>[-+*/^()]))\s*"
)
_SPELT = str.maketrans({"×": "*", "·": "*", "÷": "/", "−": "-"})
_BINDS = {"+": 1, "-": 1, "*": 2, "/": 2, "^": 4}
_SIGN_BINDS = 3
_COMPUTED: dict[str, Callable[[float, float], float]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": operator.truediv,
}


class Number(Struct, frozen=True):
    """A number as it was written."""

    text: str


class Name(Struct, frozen=True):
    """An input."""

    name: str


class Minus(Struct, frozen=True):
    """A sign before something."""

    of: "Term"


class Both(Struct, frozen=True):
    """Two parts with one of `+ - * / ^` between them."""

    sign: str
    left: "Term"
    right: "Term"


Term: TypeAlias = Number | Name | Minus | Both


def parsed(text: str) -> Term:
    """The tree of a formula. Raises Unreadable, one sentence that says where it stops."""
    if len(text) > LONGEST:
        raise Unreadable(f"a formula has {LONGEST} characters at most, this one {len(text)}")
    return _Reader(text).whole()


class _Reader:
    """Reads the signs of a formula from left to right."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._signs = [*_signs(text), ("end", "", len(text))]
        self._at = 0

    def whole(self) -> Term:
        term = self._term(0, 0)
        if self._signs[self._at][0] != "end":
            self._stop()
        return term

    def _term(self, least: int, depth: int) -> Term:
        """What follows, up to a sign that binds less than `least`."""
        if depth > DEEPEST:
            raise Unreadable(f"a formula is nested {DEEPEST} deep at most")
        term = self._first(depth)
        while (binds := _BINDS.get(self._signs[self._at][1], 0)) > least:
            sign = self._next()
            # A power is taken from the right: what follows it may be a power itself.
            term = Both(sign, term, self._term(binds - (sign == "^"), depth + 1))
        return term

    def _first(self, depth: int) -> Term:
        kind, text, _ = self._signs[self._at]
        if kind == "number":
            return Number(self._next())
        if kind == "name":
            return Name(self._next())
        if text in ("-", "+"):
            self._next()
            term = self._term(_SIGN_BINDS, depth + 1)
            return Minus(term) if text == "-" else term
        if text != "(":
            self._stop()
        self._next()
        term = self._term(0, depth + 1)
        if self._signs[self._at][1] != ")":
            self._stop(" A parenthesis is still open.")
        self._next()
        return term

    def _next(self) -> str:
        self._at += 1
        return self._signs[self._at - 1][1]

    def _stop(self, more: str = "") -> NoReturn:
        kind, text, place = self._signs[self._at]
        if kind == "end":
            raise Unreadable(f"the formula breaks off at its end.{more}")
        raise Unreadable(f'"{text}" cannot stand at character {place + 1} of the formula.{more}')


def _signs(text: str) -> Iterator[tuple[str, str, int]]:
    """The numbers, names and signs of a formula, each with its kind and its place from 0."""
    at = 0
    spelt = text.translate(_SPELT)
    while at < len(spelt):
        found = re.compile(_TOKEN).match(spelt, at)
        if found is None or found.lastgroup is None:
            shown = shortened(spelt[at:].split()[0] if spelt[at:].split() else spelt[at:])
            raise Unreadable(
                f'"{shown}" is nothing that a formula knows: write numbers, names of inputs,'
                " + - * / ^ and parentheses"
            )
        kind = found.lastgroup
        yield kind, found[kind], found.start(kind)
        at = found.end()


def names(term: Term) -> Iterator[str]:
    """The inputs of a formula, as often as they stand in it, from left to right."""
    match term:
        case Name(name):
            yield name
        case Minus(of):
            yield from names(of)
        case Both(_, left, right):
            yield from names(left)
            yield from names(right)


def refuse_names(term: Term, inputs: Mapping[str, object]) -> None:
    """Refuse a name that is no input, and an input that the formula does not use."""
    used = set(names(term))
    for name in names(term):
        if name not in inputs:
            hint = did_you_mean(name, inputs)
            raise Unreadable(f'"{shortened(name)}" in the formula is no input.{hint}')
    for name in inputs:
        if name not in used:
            raise Unreadable(f'the formula has no use for the input "{name}"')


def evaluated(term: Term, values: Mapping[str, float]) -> float:
    """The figure that a formula gives.

    Raises Unreadable for a division by nought, a power that is no real number, and what is too
    large.
    """
    value = _value(term, values)
    if not isfinite(value):
        raise Unreadable("the formula's figure is too large to be computed with these values")
    return value


def _value(term: Term, values: Mapping[str, float]) -> float:
    match term:
        case Number(text):
            return float(text)
        case Name(name):
            return values[name]
        case Minus(of):
            return -_value(of, values)
        case Both(sign, left, right):
            low, high = _value(left, values), _value(right, values)
            try:
                return _power(low, high) if sign == "^" else _COMPUTED[sign](low, high)
            except ZeroDivisionError:
                message = "the formula divides by nought with these values"
                raise Unreadable(message) from None
            except OverflowError:
                message = "the formula's figure is too large to be computed with these values"
                raise Unreadable(message) from None


def _power(base: float, exponent: float) -> float:
    if base < 0 and exponent % 1:
        raise Unreadable("the formula takes a root of a negative number with these values")
    return float(base**exponent)


def with_numbers(term: Term, shown: Mapping[str, str]) -> str:
    """The formula as one would write it on paper, with what is `shown` for each input."""
    return _written(term, shown, 0)


def _written(term: Term, shown: Mapping[str, str], least: int) -> str:
    match term:
        case Number(text):
            return text
        case Name(name):
            # A unit may not look as if it were left out of the power.
            text, binds = shown[name], _SIGN_BINDS + (" " not in shown[name]) * DEEPEST
        case Minus(of):
            text, binds = f"-{_written(of, shown, _SIGN_BINDS)}", _SIGN_BINDS
        case Both(sign, left, right):
            binds = _BINDS[sign]
            from_right = sign == "^"
            one = _written(left, shown, binds + from_right)
            other = _written(right, shown, binds + (not from_right))
            text = f"{one} {'×' if sign == '*' else sign} {other}"
    return f"({text})" if binds < least else text
