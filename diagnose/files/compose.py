"""YAML text to nodes, with everything refused that a library file has no use for.

Only the composer of PyYAML is used, never its constructor: nodes carry places, and a scalar stays
the text that was typed (``yes`` is a word, ``12:30`` is no number, ``010`` keeps its nought).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import yaml

from diagnose.files import whole_files as refusals
from diagnose.files.places import LOADER
from diagnose.files.problems import refused
from diagnose.files.refusals import control_character, wrong_shape
from diagnose.files.regular import content

if TYPE_CHECKING:
    from pathlib import Path

    from diagnose.files.problems import Problem
    from diagnose.files.refusals import Refusal

LARGEST = 8 * 1024 * 1024

#: Values in one file. A tree of 10,000 steps has a third of them.
MOST_VALUES = 400_000

# Anchors, aliases and tags leave no trace on a node. They are looked for among the events, which
# costs a second parse, so only where one of their marks stands where they could begin.
_MARKS = re.compile(r"""(?:^|[\s\[\]{},:?"'-])[&*!]""", re.MULTILINE)

# What a terminal or a page could be fooled with: control characters, separators, and the marks that
# turn text round. A text may also hold tabs and ends of lines (of both kinds), a value may not.
_HIDDEN = (
    "\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069"
    "\ud800-\udfff\ufeff"
)
CONTROL = re.compile(f"[{_HIDDEN}]|\r(?!\n)")
CONTROL_IN_VALUE = re.compile(f"[{_HIDDEN}\r\t]")

# What has no width and no look of its own, so that two answers could look alike: Unicode calls them
# default-ignorable (DerivedCoreProperties). What only chooses between two looks of the character
# before it (FE00 to FE0F, E0100 to E01EF) may stand, as after many emoji.
UNSEEN = re.compile(
    "[\u00ad\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200d\u2060-\u2065\u206a-\u206f\u3164"
    "\uffa0\ufff0-\ufffb\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e00ff"
    "\U000e01f0-\U000e0fff]"
)

_PLAIN_WORDS = (
    ("mapping values", "Write the text in quotes: a colon here begins a second value"),
    ("could not find expected ':'", "Write a colon after the key, or end the line above"),
    ("did not find expected key", "Write this line as far in as those that it belongs to"),
    ("expected ',' or '}'", "Write a comma between entries inside { }, and texts in quotes"),
    ("expected ',' or ']'", "Write a comma between entries inside [ ], and texts in quotes"),
    ("did not find expected '-' indicator", "Write this list entry as far in as the others"),
    ("found character '\\t'", "Write spaces instead of this tab"),
    (
        "found character that cannot start",
        "Write the text in quotes: this character cannot begin it",
    ),
    (
        "found unexpected end of stream",
        "Write the closing quotation mark too: one is opened and never closed",
    ),
    ("exceeded maximum", "Write it flatter: the nesting is too deep for a library file"),
    ("unknown escape", "Write single quotes round the text: this backslash is no known escape"),
    ("undefined alias", "Write the value out: aliases (*name) are not used in library files"),
    ("duplicate anchor", "Write the value out: anchors (&name) are not used in library files"),
    ("expected a single document", "Write one document a file: this one holds a second (---)"),
)


class Unreadable(Exception):
    """A file that cannot be read as YAML at all. Carries the one `problem` that says why."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(f"{problem}")
        self.problem = problem


def text_of(path: Path, name: str) -> str:
    """Return the text of a library file.

    Raises `Unreadable` for a file that is missing, no ordinary one, over 8 MiB, or not UTF-8.
    """
    try:
        raw = content(path, LARGEST + 1)
    except OSError as error:
        reason = (error.strerror or "it cannot be opened").lower()
        raise _unreadable(name, refusals.unreadable(reason)) from error
    if len(raw) > LARGEST:
        raise _unreadable(name, refusals.too_large())
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # Of what was read, which is less than the file where that begins with a mark of its order.
        before = error.object[: error.start]
        line = before.count(b"\n") + 1
        column = len(before.rpartition(b"\n")[2].decode()) + 1
        raise _unreadable(name, refusals.not_text(), line, column) from error


def compose(text: str, name: str) -> yaml.MappingNode:
    """Return the top mapping of a library file's text. `name` stands in the problems.

    Raises `Unreadable` for text that is no YAML, is empty, holds no mapping, or uses control
    characters, anchors, aliases or tags.
    """
    _refuse_characters(text, name)
    # A node takes some 300 bytes, and most are parted by one of these.
    if sum(map(text.count, ",[{\n:")) > MOST_VALUES:
        raise _unreadable(name, refusals.too_many())
    try:
        if _MARKS.search(text):
            _refuse_marks(text, name)
        top = yaml.compose(text, Loader=LOADER)
    except (yaml.YAMLError, RecursionError) as error:
        raise _not_yaml(error, text, name) from error
    if top is None:
        raise _unreadable(name, refusals.empty())
    if not isinstance(top, yaml.MappingNode):
        refusal = wrong_shape("Write keys and values, one a line: the first is `format: 2`.")
        raise _unreadable(name, refusal, top.start_mark.line + 1, top.start_mark.column + 1)
    return top


def _unreadable(name: str, refusal: Refusal, line: int = 1, column: int = 1) -> Unreadable:
    return Unreadable(refused(name, refusal, line, column))


def _refuse_characters(text: str, name: str) -> None:
    if found := CONTROL.search(text):
        raise _unreadable(name, hidden(found[0]), *_place(text, found.start()))
    if "\t" in text and (tab := re.search(r"^ *\t", text, re.MULTILINE)):
        refusal = refusals.yaml("Write spaces instead of this tab.")
        raise _unreadable(name, refusal, *_place(text, tab.end() - 1))


def hidden(character: str) -> Refusal:
    """Return why a character that no one can see may not stand in a file."""
    number = f"U+{ord(character):04X}"
    return control_character(f"Delete this character, which no one can see: {number}.")


def _place(text: str, position: int) -> tuple[int, int]:
    """Return line and column, from 1, of a position from 0."""
    return text.count("\n", 0, position) + 1, position - text.rfind("\n", 0, position)


def _refuse_marks(text: str, name: str) -> None:
    for event in yaml.parse(text, Loader=LOADER):
        if isinstance(event, yaml.AliasEvent):
            what = "aliases (*name) are"
        elif getattr(event, "anchor", None) is not None:
            what = "anchors (&name) are"
        elif getattr(event, "tag", None) is not None:
            what = "tags (!name) are"
        else:
            continue
        mark = event.start_mark
        assert mark is not None
        raise _unreadable(name, refusals.anchor(what), mark.line + 1, mark.column + 1)


def _not_yaml(error: Exception, text: str, name: str) -> Unreadable:
    """Return what PyYAML has against a text in plain words, at its place where it names one."""
    mark = None
    message = "This is not YAML text."
    if isinstance(error, yaml.MarkedYAMLError):
        mark = error.problem_mark or error.context_mark
        message = f"{_plain(error)}."
    elif isinstance(error, RecursionError):
        message = "Write it flatter: the nesting is too deep for a library file."
    place = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    # Where a text ends too early PyYAML may name the line behind its last one.
    return _unreadable(name, refusals.yaml(message), *min(place, _place(text, len(text))))


def _plain(error: yaml.MarkedYAMLError) -> str:
    said = f"{error.problem or ''} {error.context or ''}"
    for theirs, ours in _PLAIN_WORDS:
        if theirs in said:
            return ours
    return f"This is not YAML ({(error.problem or 'it breaks off here').strip()})"
