"""The kinds of value a library file holds: each reads one node, and says what is wrong with it.

A kind is data (what the reference page and the schema print) and one method, `read`. Nothing is
raised: every problem of a file is collected, and a value that could not be read is `BAD`.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any, Final, Protocol

import yaml
from msgspec import Struct

from diagnose.files import refusals
from diagnose.files.compose import CONTROL_IN_VALUE, UNSEEN
from diagnose.files.problems import refused
from diagnose.text import did_you_mean, shortened

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from diagnose.files.problems import Problem
    from diagnose.files.refusals import Refusal


class _Bad:
    """The value of what could not be read."""


BAD: Final = _Bad()
#: How a number is written, in a pattern that means the same in a JSON Schema (ECMA-262).
NUMBER: Final = r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?"
_NUMBER: Final = re.compile(NUMBER)


#: As many problems of one file are kept by the reader: it is another kind of file, or all of it is
#: wrong in the same way.
MOST_PROBLEMS: Final = 1000

#: The tag of a key that the lift from an older format put in, which its author could not know.
LIFTED: Final = "lifted"


class Notes:
    """Collects the problems of one file, which says that it is of `format`."""

    def __init__(self, file: str, format: int = 1) -> None:  # noqa: A002
        self.file = file
        self.format = format
        self.problems: list[Problem] = []

    @property
    def full(self) -> bool:
        """Whether so much is wrong already that no more of it is looked at closely."""
        return len(self.problems) >= MOST_PROBLEMS

    def wrong(self, node: yaml.Node, refusal: Refusal) -> _Bad:
        """Note an error at `node` and return `BAD`."""
        mark = node.start_mark
        if not self.full:
            self.problems.append(refused(self.file, refusal, mark.line + 1, mark.column + 1))
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


class Text(Struct, frozen=True):
    """Any text of at least one character, on one line unless `lines` says that it may run on."""

    words: str = "text"
    lines: bool = False

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the text, stripped."""
        if type(node) is not yaml.ScalarNode:
            message = f"Here stands {self.words}, in one piece."
            return notes.wrong(node, refusals.wrong_shape(message))
        value: str = node.value
        if not (value.isascii() and value.isprintable()):
            if CONTROL_IN_VALUE.search(value):
                message = "The text holds a control character: take it (or its escape) out."
                return notes.wrong(node, refusals.control_character(message))
            if found := UNSEEN.search(value):
                number = f"U+{ord(found[0]):04X}"
                message = f"The text holds {number}, which no one can see: take it out."
                return notes.wrong(node, refusals.control_character(message))
        value = value.strip()
        if "\n" in value and not self.lines:
            return notes.wrong(node, refusals.line_end(self.words))
        return value or notes.wrong(node, refusals.empty_value(self.words))


TEXT: Final = Text()
PROSE: Final = Text(lines=True)

# One unit of each, for a sentence. Which others there are is known where readings are taken.
_EXAMPLES: Final = {
    "length": "5 mm",
    "volume": "5 L",
    "speed": "5 km/h",
    "flow": "5 L/min",
    "pressure": "5 kPa",
    "temperature": "5 degC",
    "current": "5 A",
    "charge": "5 Ah",
    "time": "5 h",
    "share": "5 %",
}

#: A number, and a word that no digit begins.
QUANTITY: Final = re.compile(
    "[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})? *[A-Za-z°%\"'].*"
)


class Word(Struct, frozen=True):
    """Text that fits a pattern as a whole, which means the same in a JSON Schema (ECMA-262).

    `refusal` says why one does not fit, which it gets as it is shown.
    """

    words: str
    pattern: re.Pattern[str]
    refusal: Callable[[str], Refusal]

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the text."""
        value = TEXT.read(node, notes)
        if value is BAD or self.fits(value):
            return value
        return notes.wrong(node, self.refusal(shortened(value)))

    def fits(self, text: str) -> bool:
        """Return whether a text fits."""
        return self.pattern.fullmatch(text) is not None


#: A name inside the library: small letters, digits and hyphens, a letter first, 100 at most.
ID: Final = Word("an id", re.compile("[a-z][a-z0-9-]{0,99}"), refusals.not_an_id)


def is_id(word: str) -> bool:
    """Return whether a word can be an id, as it is."""
    mark = yaml.Mark("", 0, 0, 0, "", 0)
    read: object = ID.read(yaml.ScalarNode("", word, mark, mark), Notes(""))
    return read == word


class Choice(Struct, frozen=True):
    """One of a few words."""

    options: tuple[str, ...]

    @property
    def words(self) -> str:
        """Name them."""
        return " or ".join(filter(None, (", ".join(self.options[:-1]), self.options[-1])))

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the word."""
        value = TEXT.read(node, notes)
        if value is BAD or self.fits(value):
            return value
        shown = shortened(value)
        hint = did_you_mean(shown, self.options)
        message = f'"{shown}" is not known here: write {self.words}.{hint}'
        return notes.wrong(node, refusals.unknown_word(message))

    def fits(self, text: str) -> bool:
        """Return whether it is one of them."""
        return text in self.options


def choice(*options: str) -> Choice:
    """Return the kind of one of a few words."""
    return Choice(options)


class Quantity(Struct, frozen=True):
    """A number with the word of its unit, kept as written and converted when needed.

    Whether the unit is one of the `dimension`, and the number in range, is said by a rule.
    """

    dimension: str

    @property
    def words(self) -> str:
        """Name the dimension."""
        return f"a {self.dimension} with its unit, such as {_EXAMPLES[self.dimension]}"

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the text."""
        value = TEXT.read(node, notes)
        if value is BAD or QUANTITY.fullmatch(value):
            return value
        return notes.wrong(node, refusals.not_a_quantity(shortened(value), self.words))


class Number(Struct, frozen=True):
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
        if type(node) is not yaml.ScalarNode or not _NUMBER.fullmatch(node.value):
            return notes.wrong(node, refusals.not_a_number(self.words))
        value = float(node.value)
        if not self._fits(value):
            return notes.wrong(node, refusals.out_of_range(shortened(node.value), self.words))
        return int(value) if self.whole else value

    def _fits(self, value: float) -> bool:
        low, with_low = self.low or (-math.inf, False)
        high, with_high = self.high or (math.inf, False)
        within = low < value < high or (with_low and value == low) or (with_high and value == high)
        return within and not (self.whole and value % 1)


class Flag(Struct, frozen=True):
    """``true`` or ``false``; the words yes, no, on and off mean neither."""

    words: str = "true or false"

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return a bool."""
        if node.value in ("true", "false"):
            return node.value == "true"
        return notes.wrong(node, refusals.unknown_word("Write true or false."))


class ListOf(Struct, frozen=True):
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
            message = f"Here stands {self.words}: [one, another]."
            return notes.wrong(node, refusals.wrong_shape(message))
        if len(node.value) < self.at_least:
            return notes.wrong(node, refusals.too_few(self.at_least))
        values = tuple(self.item.read(item, notes) for item in node.value)
        return BAD if BAD in values else values


class MapOf(Struct, frozen=True):
    """A mapping whose keys are the author's own, as a dict in the file's order."""

    key: Kind
    value: Kind
    at_least: int = 0

    @property
    def words(self) -> str:
        """Name key and value."""
        return f"{self.key.words}: {self.value.words}"

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return a dict from key to value."""
        if type(node) is not yaml.MappingNode:
            message = f"Here stand lines of `{self.words}`."
            return notes.wrong(node, refusals.wrong_shape(message))
        result: dict[str, Any] = {}
        noted = len(notes.problems)
        for key_node, value_node in node.value:
            key = self.key.read(key_node, notes)
            value = self.value.read(value_node, notes)
            if key is not BAD and value is not BAD and key in result:
                notes.wrong(key_node, refusals.repeated_key(shortened(key)))
            else:
                result[key] = value
        if len(notes.problems) > noted:
            return BAD
        if len(result) < self.at_least:
            return notes.wrong(node, refusals.too_few(self.at_least))
        return result


class Either(Struct, frozen=True):
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


class Key(Struct, frozen=True):
    """One key of a record: how its value is read, what it means, and since which format.

    `example` is a value as it stands in a file, on one line; a key that holds whole records (all
    steps) has none, since theirs say it.
    """

    name: str
    kind: Kind
    about: str
    default: Any = None
    required: bool = False
    since: int = 1
    example: str = ""


class Record:
    """A mapping with known keys, made into one of our own types by `make`."""

    __slots__ = ("about", "defaults", "keys", "make", "required", "words")

    def __init__(self, words: str, about: str, make: Callable[..., Any], *keys: Key) -> None:
        self.words = words
        self.about = about
        self.make = make
        self.keys: Mapping[str, Key] = {key.name: key for key in keys}
        self.required = tuple(key.name for key in keys if key.required)
        self.defaults = {key.name: key.default for key in keys}

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return the record made of the values."""
        if type(node) is not yaml.MappingNode:
            return notes.wrong(node, _no_mapping(self.words))
        values = dict(self.defaults)
        seen = set()
        noted = len(notes.problems)
        for key_node, value_node in node.value:
            if notes.full:
                return BAD
            name = key_node.value
            key = self.keys.get(name) if type(key_node) is yaml.ScalarNode else None
            if key is None or name in seen:
                notes.wrong(key_node, self._refused(name))
            elif key.since > notes.format and key_node.tag != LIFTED:
                notes.wrong(key_node, refusals.later_key(name, key.since, notes.format))
                seen.add(name)
            else:
                seen.add(name)
                values[name] = key.kind.read(value_node, notes)
        for name in self.required:
            if name not in seen:
                wanted = self.keys[name].kind.words
                notes.wrong(node, refusals.missing_key(self.words, name, wanted))
        return self.make(**values) if len(notes.problems) == noted else BAD

    def _refused(self, name: Any) -> Refusal:
        """Return why a key cannot stand here: it is not known, or stands here already."""
        if isinstance(name, str) and name in self.keys:
            return refusals.repeated_key(name)
        shown = shortened(name) if isinstance(name, str) else "This"
        return refusals.unknown_key(shown, self.words, did_you_mean(shown, self.keys))


class OneOf:
    """A mapping that is one of several records, told apart by the key that only it has."""

    __slots__ = ("records", "words")

    def __init__(self, words: str, **records: Record) -> None:
        self.words = words
        self.records = records

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return what the one record that fits makes of the node."""
        if type(node) is not yaml.MappingNode:
            return notes.wrong(node, _no_mapping(self.words))
        keys = [key.value for key, _ in node.value if type(key) is yaml.ScalarNode]
        fitting = {key for key in keys if key in self.records}
        if len(fitting) == 1:
            return self.records[fitting.pop()].read(node, notes)
        marks = ", ".join(f"`{mark}`" for mark in self.records)
        if fitting:
            message = f"{self.words} has only one of {marks}."
        else:
            hints = filter(None, (did_you_mean(key, self.records) for key in keys))
            message = f"{self.words} has one of {marks}.{next(hints, '')}"
        return notes.wrong(node, refusals.no_such_step(message))


def _no_mapping(name: str) -> Refusal:
    return refusals.wrong_shape(f"Here stands {name}: keys and values, one a line.")
