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
from diagnose.files.whole_files import yaml as not_yaml
from diagnose.text import did_you_mean, nearest, shortened

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
# What begins a mapping or a list but for a space, and a text that ends with an unopened quotation
# mark. Behind a digit it may be inches.
_NO_SPACE = re.compile(r"[A-Za-z][^:\n]*:(?=[^\s:/])|-(?=[^\s-])")
_OPENED = re.compile(r'(?:[^"]*"[^"]*")*[^"]*[^"\d]"\Z')


_NOWHERE: Final[frozenset[str]] = frozenset()

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
        #: Keys that the entries now read lack, since they are in the file but too far to the left.
        self.elsewhere: frozenset[str] = _NOWHERE

    @property
    def full(self) -> bool:
        """Whether so much is wrong already that no more of it is looked at closely."""
        return len(self.problems) >= MOST_PROBLEMS

    def wrong(self, node: yaml.Node, refusal: Refusal, behind: int = 0) -> _Bad:
        """Note an error at `node`, or as many characters behind its beginning, and return `BAD`."""
        mark = node.start_mark
        if not self.full:
            place = mark.line + 1, mark.column + 1 + behind
            self.problems.append(refused(self.file, refusal, *place))
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
            return notes.wrong(*_no_text(node, self.words))
        value: str = node.value
        if not (value.isascii() and value.isprintable()):
            if CONTROL_IN_VALUE.search(value):
                message = "Delete the control character in this text, or its escape."
                return notes.wrong(node, refusals.control_character(message))
            if found := UNSEEN.search(value):
                number = f"U+{ord(found[0]):04X}"
                message = f"Delete {number} in this text: no one can see it."
                return notes.wrong(node, refusals.control_character(message))
        value = value.strip()
        if "\n" in value and not self.lines:
            return notes.wrong(node, refusals.line_end(self.words))
        if value[-1:] == '"' and not node.style and _OPENED.match(value):
            return notes.wrong(
                node,
                not_yaml("Delete this quotation mark: none is open here."),
                len(node.value) - 1,
            )
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

_NAME: Final = "a name of small letters, digits and underlines, a letter first"
#: A name as it stands in a formula, where a hyphen would be a minus.
NAME: Final = Word(
    _NAME,
    re.compile("[a-z][a-z0-9_]{0,39}"),
    lambda shown: refusals.not_a_name(shown, _NAME),
)


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
        message = f'Write {self.words}: "{shown}" is not known here.{hint}'
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
            return notes.wrong(*_other_shape(node, f"Write {self.words}: [one, another]."))
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
            return notes.wrong(*_other_shape(node, f"Write lines of `{self.words}`."))
        result: dict[str, Any] = {}
        noted = len(notes.problems)
        lines: dict[str, int] = {}
        before = notes.elsewhere
        notes.elsewhere = self._elsewhere(node)
        for key_node, value_node in node.value:
            if key_node.value in notes.elsewhere:
                notes.wrong(key_node, refusals.too_far_left(key_node.value, self.value.words))
                continue
            key = self.key.read(key_node, notes)
            value = self.value.read(value_node, notes)
            if key is not BAD and value is not BAD and key in result:
                lines = lines or lines_of(node)
                notes.wrong(key_node, refusals.repeated_key(shortened(key), lines[key]))
            else:
                result[key] = value
        notes.elsewhere = before
        if len(notes.problems) > noted:
            return BAD
        if len(result) < self.at_least:
            return notes.wrong(node, refusals.too_few(self.at_least))
        return result

    def _elsewhere(self, node: yaml.Node) -> frozenset[str]:
        """Return the keys that are no entries but belong into the one above, further right."""
        if not isinstance(self.value, Record | OneOf):
            return _NOWHERE
        marks = self.value.records if isinstance(self.value, OneOf) else self.value.required
        return frozenset(
            key.value
            for key, value in node.value[1:]
            if type(key) is yaml.ScalarNode
            and key.value in self.value.keys
            and not (
                type(value) is yaml.MappingNode
                and any(one.value in marks for one, _ in value.value)
            )
        )


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
            return notes.wrong(*_other_shape(node, _no_mapping(self.words)))
        values = dict(self.defaults)
        seen = set()
        noted = len(notes.problems)
        typed: dict[str, int] = {}
        for key_node, value_node in node.value:
            if notes.full:
                return BAD
            name = key_node.value
            key = self.keys.get(name) if type(key_node) is yaml.ScalarNode else None
            if key is None or name in seen:
                typed = typed or lines_of(node)
                notes.wrong(*self._refused(key_node, typed))
            elif key.since > notes.format and key_node.tag != LIFTED:
                notes.wrong(key_node, refusals.later_key(name, key.since, notes.format))
                seen.add(name)
            else:
                seen.add(name)
                values[name] = key.kind.read(value_node, notes)
        whole = seen.issuperset(self.required)
        if not whole:
            self._missing(node, seen, typed, notes)
        return self.make(**values) if whole and len(notes.problems) == noted else BAD

    def _missing(
        self, node: yaml.Node, seen: set[str], typed: Mapping[str, int], notes: Notes
    ) -> None:
        """Note the keys that are missing, but for those that a key which is not known was to be.

        `typed` has all keys that are there, where one of them is not known.
        """
        absent = [name for name in self.keys if name not in typed]
        meant = {nearest(name, absent) for name in typed if name not in self.keys}
        meant |= {name.partition(":")[0] for name in typed}
        for name in self.required:
            if name not in seen and name not in meant and name not in notes.elsewhere:
                wanted = self.keys[name].kind.words
                notes.wrong(node, refusals.missing_key(self.words, name, wanted))

    def _refused(self, key: yaml.Node, typed: Mapping[str, int]) -> tuple[yaml.Node, Refusal, int]:
        """Return why a key cannot stand here: it is not known, or stands here already.

        `typed` has the lines of all keys that do.
        """
        name = key.value
        if not isinstance(name, str):
            return key, refusals.unknown_key("This", self.words, ""), 0
        if name in self.keys:
            return key, refusals.repeated_key(name, typed[name.strip()]), 0
        shown, colon, _ = name.partition(":")
        if colon and shown in self.keys:
            return key, not_yaml("Write a space after this colon."), len(shown) + 1
        shown = shortened(name)
        absent = [name for name in self.keys if name not in typed]
        hint = did_you_mean(shown, absent) or did_you_mean(shown, self.keys)
        return key, refusals.unknown_key(shown, self.words, hint), 0


class OneOf:
    """A mapping that is one of several records, told apart by the key that only it has."""

    __slots__ = ("keys", "records", "words")

    def __init__(self, words: str, **records: Record) -> None:
        self.words = words
        self.records = records
        self.keys = frozenset(name for record in records.values() for name in record.keys)

    def read(self, node: yaml.Node, notes: Notes) -> Any:
        """Return what the one record that fits makes of the node."""
        if type(node) is not yaml.MappingNode:
            return notes.wrong(*_other_shape(node, _no_mapping(self.words)))
        keys = {key.value: key for key, _ in node.value if type(key) is yaml.ScalarNode}
        fitting = [key.value for key, _ in node.value if f"{key.value}" in self.records]
        if len(fitting) == 1:
            return self.records[fitting[0]].read(node, notes)
        if notes.elsewhere & self.records.keys():
            return BAD
        return notes.wrong(*self._refused(node, keys, len(fitting)))

    def _refused(
        self, node: yaml.Node, keys: Mapping[str, yaml.Node], fitting: int
    ) -> tuple[yaml.Node, Refusal, int]:
        """Return where it is no one of the records, and why: none fits, or several do."""
        marks = ", ".join(f"`{mark}`" for mark in self.records)
        if fitting:
            # What the next entry is called, where that is indented too far.
            for name, value in ((key.value, value) for key, value in node.value):
                if name in keys and name not in self.keys and value.value == "":
                    message = f'Write "{name}" further to the left: here it is no key.'
                    return keys[name], refusals.no_such_step(message), 0
            return node, refusals.no_such_step(f"Write only one of {marks}."), 0
        for name, key in keys.items():
            mark, colon, _ = name.partition(":")
            if colon and mark in self.records:
                return key, not_yaml("Write a space after this colon."), len(mark) + 1
            if name not in self.keys and (meant := nearest(name, self.records)):
                return (
                    key,
                    refusals.no_such_step(f"Write `{meant}` here: {self.words} has {marks}."),
                    0,
                )
        return node, refusals.no_such_step(f"Write one of {marks}: {self.words} needs it."), 0


def lines_of(node: yaml.Node) -> dict[str, int]:
    """Return the line, from 1, of each key of a mapping; the first where one is given twice."""
    return {
        key.value.strip(): key.start_mark.line + 1
        for key, _ in reversed(node.value)
        if type(key) is yaml.ScalarNode
    }


def _no_mapping(name: str) -> str:
    return f"Write {name}: keys and values, one a line."


def _no_text(node: yaml.Node, words: str) -> tuple[yaml.Node, Refusal]:
    """Return where a list or a mapping has its mark, and what to write to have it a text."""
    single = type(node) is yaml.MappingNode and len(node.value) == 1
    key = node.value[0][0] if single else node
    if key is not node and key.start_mark.column == node.start_mark.column:
        # Without a bracket: a colon in a sentence.
        end = yaml.ScalarNode("", "", key.end_mark)
        return end, not_yaml("Write this text in quotes: it has a colon and a space.")
    message = f"Write {words} in one piece, in quotes where it begins with a bracket."
    return node, refusals.wrong_shape(message)


def _other_shape(node: yaml.Node, message: str) -> tuple[yaml.Node, Refusal, int]:
    """Return the place and refusal of what is no list or mapping: a missing space, where one is."""
    plain = type(node) is yaml.ScalarNode and not node.style
    if plain and (found := _NO_SPACE.match(node.value)):
        what = "dash" if found[0] == "-" else "colon"
        return node, not_yaml(f"Write a space after this {what}."), found.end()
    return node, refusals.wrong_shape(message), 0
