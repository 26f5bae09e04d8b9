"""The kinds of value a library file holds: each reads one node, and says what is wrong with it.

A kind is data (what the reference page and the schema print) and one method, `read`. Nothing is
raised: every problem of a file is collected, and a value that could not be read is `BAD`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Protocol

import yaml

from diagnose.files.compose import CONTROL_IN_VALUE
from diagnose.files.problems import Placed, Problem
from diagnose.text import did_you_mean, shortened

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping


class _Bad:
    """The value of what could not be read."""

    def __repr__(self) -> str:
        return "BAD"


BAD: Final = _Bad()

ID = re.compile(r"[a-z][a-z0-9-]*\Z")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\Z", re.ASCII)


class Notes:
    """Collects the problems of one file."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []

    def wrong(self, node: yaml.Node, code: str, message: str) -> _Bad:
        """Note an error at `node` and return `BAD`."""
        mark = node.start_mark
        self.problems.append(
            Problem(
                file=self.file,
                line=mark.line + 1,
                column=mark.column + 1,
                code=code,
                severity="error",
                message=message,
            )
        )
        return BAD


class Kind(Protocol):
    """What a value may be."""

    @property
    def words(self) -> str:
        """What it is, for a sentence: "one of …", "a number above 0"."""
        ...

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the value of `node`, or note what is wrong and return `BAD`."""
        ...


@dataclass(frozen=True, slots=True)
class Text:
    """Any text of at least one character, as a `Placed`."""

    words: str = "text"

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the text, stripped, at its place."""
        if type(node) is not yaml.ScalarNode:
            return notes.wrong(node, "wrong-shape", f"Here stands {self.words}, in one piece.")
        value: str = node.value
        if CONTROL_IN_VALUE.search(value):
            message = "The text holds a control character: take it (or its escape) out."
            return notes.wrong(node, "control-character", message)
        mark = node.start_mark
        placed = Placed.at(value.strip(), mark.line + 1, mark.column + 1)
        if not placed:
            return notes.wrong(node, "empty-value", f"Nothing stands here: write {self.words}.")
        return placed


TEXT: Final = Text()


@dataclass(frozen=True, slots=True)
class Id:
    """A name inside the library: small letters, digits and hyphens, a letter first."""

    words: str = "an id"

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the id at its place."""
        value = TEXT.read(node, notes)
        if value is BAD or ID.match(value):
            return value
        shown = shortened(value)
        message = f'"{shown}" is no id: use small letters, digits and hyphens, a letter first.'
        return notes.wrong(node, "not-an-id", message)


@dataclass(frozen=True, slots=True)
class Shaped:
    """Text of a given shape, a regular expression for all of it."""

    pattern: str
    words: str

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the text at its place."""
        value = TEXT.read(node, notes)
        if value is BAD or re.fullmatch(self.pattern, value, re.ASCII):
            return value
        message = f'"{shortened(value)}" does not fit: write {self.words}.'
        return notes.wrong(node, "unknown-word", message)


@dataclass(frozen=True, slots=True)
class Number:
    """A finite number; bounds are `(limit, whether the limit itself is allowed)`."""

    low: tuple[float, bool] | None = None
    high: tuple[float, bool] | None = None
    whole: bool = False

    @property
    def words(self) -> str:
        """Name the range."""
        what = "a whole number" if self.whole else "a number"
        bounds = []
        if self.low:
            bounds.append(f"{'from' if self.low[1] else 'above'} {self.low[0]:g}")
        if self.high:
            bounds.append(f"{'up to' if self.high[1] else 'below'} {self.high[0]:g}")
        return " ".join([what, *bounds])

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the number as a float (an int where whole)."""
        if type(node) is not yaml.ScalarNode or not _NUMBER.match(node.value):
            return notes.wrong(node, "not-a-number", f"Here stands {self.words}, without a unit.")
        value = float(node.value)
        fits = math.isfinite(value)
        if self.low is not None:
            fits = fits and (value >= self.low[0] if self.low[1] else value > self.low[0])
        if self.high is not None:
            fits = fits and (value <= self.high[0] if self.high[1] else value < self.high[0])
        if not fits or (self.whole and value != int(value)):
            shown = shortened(node.value)
            return notes.wrong(node, "out-of-range", f"{shown} is out of range: {self.words}.")
        return int(value) if self.whole else value


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words."""

    options: tuple[str, ...]

    @property
    def words(self) -> str:
        """List the options."""
        *most, last = self.options
        return f"{', '.join(most)} or {last}" if most else last

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the word at its place."""
        value = TEXT.read(node, notes)
        if value is BAD or value in self.options:
            return value
        hint = did_you_mean(value, self.options)
        message = f'"{shortened(value)}" is not known here: write {self.words}.{hint}'
        return notes.wrong(node, "unknown-word", message)


@dataclass(frozen=True, slots=True)
class Flag:
    """``true`` or ``false``; the words yes, no, on and off mean neither."""

    words: str = "true or false"

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return a bool."""
        value = getattr(node, "value", None)
        if value == "true":
            return True
        if value == "false":
            return False
        return notes.wrong(node, "unknown-word", "Write true or false.")


_UNITS: Final[dict[str, tuple[str, ...]]] = {
    "length": ("mm", "cm", "m", "in", "inch", "ft"),
    "volume": ("mL", "L", "l", "ml", "m3", "gal", "imperial_gallon"),
    "speed": ("km/h", "m/s", "m/min", "mph", "ft/min"),
    "flow": ("L/min", "l/min", "mL/min", "L/h", "gpm", "gal/min"),
    "pressure": ("Pa", "kPa", "mbar", "hPa", "bar", "inH2O", "mmH2O", "inHg", "psi"),
    "temperature": ("degC", "degF", "°C", "°F", "C", "F"),
    "current": ("A", "mA"),
    "charge": ("Ah",),
    "time": ("s", "min", "h", "day", "days", "month", "months", "year", "years"),
    "share": ("%",),
}
_QUANTITY = re.compile(r"([+-]?\d+(?:[.,]\d+)?) ?([^\d\s][^\s]*)\Z", re.ASCII)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit, kept as written and converted only when it is needed."""

    dimension: str

    @property
    def words(self) -> str:
        """Name the dimension and a unit."""
        return f"a {self.dimension} with its unit, such as 5 {_UNITS[self.dimension][0]}"

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the text at its place, once its number and unit look right."""
        value = TEXT.read(node, notes)
        if value is BAD:
            return BAD
        match = _QUANTITY.match(value)
        known = _UNITS[self.dimension]
        if match and match[2] in known:
            return value
        message = f'"{shortened(value)}" is no {self.dimension}: write a number and a unit'
        return notes.wrong(node, "not-a-quantity", f"{message} ({', '.join(known)}).")


@dataclass(frozen=True, slots=True)
class ListOf:
    """A list, as a tuple."""

    item: Kind
    at_least: int = 0

    @property
    def words(self) -> str:
        """Name the item."""
        return f"a list, each {self.item.words}"

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return a tuple of the items."""
        if type(node) is not yaml.SequenceNode:
            return notes.wrong(node, "wrong-shape", f"Here stands {self.words}: [one, another].")
        if len(node.value) < self.at_least:
            return notes.wrong(node, "too-few", f"At least {self.at_least} are needed here.")
        values = tuple(self.item.read(item, notes) for item in node.value)
        return BAD if BAD in values else values


@dataclass(frozen=True, slots=True)
class MapOf:
    """A mapping whose keys are the author's own, as a dict in the file's order."""

    key: Kind
    value: Kind
    at_least: int = 0

    @property
    def words(self) -> str:
        """Name key and value."""
        return f"{self.key.words}: {self.value.words}"

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return a dict from placed key to value."""
        if type(node) is not yaml.MappingNode:
            return notes.wrong(node, "wrong-shape", f"Here stand lines of `{self.words}`.")
        result: dict[Any, Any] = {}
        good = True
        for key_node, value_node in node.value:
            key = self.key.read(key_node, notes)
            value = self.value.read(value_node, notes)
            if key is BAD or value is BAD:
                good = False
            elif key in result:
                message = f'"{shortened(key)}" stands here a second time: keep one of the two.'
                notes.wrong(key_node, "repeated-key", message)
                good = False
            else:
                result[key] = value
        if good and len(result) < self.at_least:
            return notes.wrong(node, "too-few", f"At least {self.at_least} are needed here.")
        return result if good else BAD


@dataclass(frozen=True, slots=True)
class Either:
    """One piece of text, or a mapping."""

    single: Kind
    mapping: Kind

    @property
    def words(self) -> str:
        """Name both."""
        return f"{self.single.words}, or {self.mapping.words}"

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return what the kind that fits the node returns."""
        kind = self.mapping if type(node) is yaml.MappingNode else self.single
        return kind.read(node, notes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a record: how its value is read, and what it means."""

    name: str
    kind: Kind
    about: str
    required: bool = False
    default: Any = None


class Record:
    """A mapping with known keys, made into one of our own types by `make`."""

    __slots__ = ("about", "defaults", "keys", "make", "name", "required")

    def __init__(self, name: str, about: str, make: Callable[..., Any], *keys: Key) -> None:
        self.name = name
        self.about = about
        self.make = make
        self.keys: Mapping[str, Key] = {key.name: key for key in keys}
        self.required = tuple(key.name for key in keys if key.required)
        self.defaults = {key.name: key.default for key in keys}

    @property
    def words(self) -> str:
        """Name the record."""
        return self.name

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the record made of the values, with `at` the place of its first key."""
        if type(node) is not yaml.MappingNode:
            message = f"Here stands {self.name}: keys and values, one a line."
            return notes.wrong(node, "wrong-shape", message)
        values = dict(self.defaults)
        seen = set()
        good = True
        for key_node, value_node in node.value:
            name = key_node.value
            key = self.keys.get(name) if type(key_node) is yaml.ScalarNode else None
            if key is None:
                shown = shortened(name) if isinstance(name, str) else "This"
                hint = did_you_mean(shown, self.keys)
                notes.wrong(key_node, "unknown-key", f'"{shown}" is no key of {self.name}.{hint}')
                good = False
            elif name in seen:
                message = f'"{name}" stands here a second time: keep one of the two.'
                notes.wrong(key_node, "repeated-key", message)
                good = False
            else:
                seen.add(name)
                value = key.kind.read(value_node, notes)
                if value is BAD:
                    good = False
                else:
                    values[name] = value
        for name in self.required:
            if name not in seen:
                kind = self.keys[name].kind
                message = f"{self.name[0].upper()}{self.name[1:]} needs `{name}`: {kind.words}."
                notes.wrong(node, "missing-key", message)
                good = False
        return self.make(**values) if good else BAD


class OneOf:
    """A mapping that is one of several records, told apart by the key that only it has."""

    __slots__ = ("about", "name", "records")

    def __init__(self, name: str, about: str, **records: Record) -> None:
        self.name = name
        self.about = about
        self.records = records

    @property
    def words(self) -> str:
        """Name what it is."""
        return self.name

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return what the one record that fits makes of the node."""
        if type(node) is not yaml.MappingNode:
            message = f"Here stands {self.name}: keys and values, one a line."
            return notes.wrong(node, "wrong-shape", message)
        keys = [key.value for key, _ in node.value]
        fitting = [key for key in keys if isinstance(key, str) and key in self.records]
        if len(set(fitting)) == 1:
            return self.records[fitting[0]].read(node, notes)
        marks = ", ".join(f"`{mark}`" for mark in self.records)
        if fitting:
            message = f"{self.name} has only one of {marks}."
        else:
            hints = (did_you_mean(k, self.records) for k in keys if isinstance(k, str))
            message = f"{self.name} has one of {marks}.{next((h for h in hints if h), '')}"
        return notes.wrong(node, "no-such-step", message[0].upper() + message[1:])
