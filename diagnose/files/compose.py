"""YAML text to nodes, with everything refused that a library file has no use for.

Only the composer of PyYAML is used, never its constructor: nodes carry places, and a scalar stays
the text that was typed (``yes`` is a word, ``12:30`` is no number, ``010`` keeps its nought).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NoReturn

import yaml

from diagnose.files.problems import Problem

if TYPE_CHECKING:
    from pathlib import Path

LARGEST = 8 * 1024 * 1024

# The resolver of the base loader leaves scalars alone, which also makes it the faster one.
_LOADER = getattr(yaml, "CBaseLoader", yaml.BaseLoader)

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

_PLAIN_WORDS = (
    (
        "mapping values are not allowed",
        "A colon here starts a second value: put the text in quotes",
    ),
    ("could not find expected ':'", "A colon is missing after the key, or the line above runs on"),
    ("did not find expected key", "The indentation does not fit the lines above"),
    (
        "did not find expected ',' or '}'",
        "Inside { } put a comma between entries and quote the text",
    ),
    (
        "did not find expected ',' or ']'",
        "Inside [ ] put a comma between entries and quote the text",
    ),
    ("did not find expected '-' indicator", "This list entry does not line up with the others"),
    ("found character '\\t'", "A tab cannot indent: use spaces"),
    ("found character that cannot start", "This character cannot start a value: quote the text"),
    ("found unexpected end of stream", "A quotation mark is opened and never closed"),
    ("exceeded maximum", "The nesting is too deep for a library file"),
    ("unknown escape", "This backslash is no known escape: use single quotes"),
    ("undefined alias", "Aliases (*name) are not used in library files: write the value out"),
    ("duplicate anchor", "Anchors (&name) are not used in library files: write the value out"),
    ("expected a single document", "The file holds a second document (---): split it in two files"),
)


class Unreadable(Exception):
    """A file that cannot be read as YAML at all. Carries the one `problem` that says why."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(str(problem))
        self.problem = problem


def text_of(path: Path, name: str) -> str:
    """Return the text of a library file.

    Raises `Unreadable` for a file that is missing, over 8 MiB, or not UTF-8.
    """
    try:
        with path.open("rb") as stream:
            raw = stream.read(LARGEST + 1)
    except OSError as error:
        reason = error.strerror or "cannot be opened"
        _refuse(name, 1, 1, "unreadable", f"The file cannot be read: {reason}.")
    if len(raw) > LARGEST:
        _refuse(name, 1, 1, "too-large", "The file is over 8 MiB: split it, one symptom a file.")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        line = before.count(b"\n") + 1
        column = len(before.rpartition(b"\n")[2].decode("utf-8", "replace")) + 1
        _refuse(name, line, column, "not-text", "This byte is not UTF-8: save the file as UTF-8.")


def compose(text: str, name: str) -> yaml.MappingNode:
    """Return the top mapping of a library file's text. `name` stands in the problems.

    Raises `Unreadable` for text that is no YAML, is empty, holds no mapping, or uses control
    characters, anchors, aliases or tags.
    """
    found = CONTROL.search(text)
    if found:
        _refuse_character(text, name, found.start())
    if "\t" in text and (tab := re.search(r"^ *\t", text, re.MULTILINE)):
        line = text.count("\n", 0, tab.start()) + 1
        _refuse(name, line, tab.end() - tab.start(), "yaml", "A tab cannot indent: use spaces.")
    try:
        if _MARKS.search(text):
            _refuse_marks(text, name)
        top = yaml.compose(text, Loader=_LOADER)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        _refuse(name, line, column, "yaml", _plain(error) + ".")
    except RecursionError:
        _refuse(name, 1, 1, "yaml", "The nesting is too deep for a library file.")
    except yaml.YAMLError:
        _refuse(name, 1, 1, "yaml", "This is not YAML text.")
    if top is None:
        _refuse(name, 1, 1, "empty", "The file is empty: it starts with `format: 1`.")
    if not isinstance(top, yaml.MappingNode):
        line, column = top.start_mark.line + 1, top.start_mark.column + 1
        _refuse(
            name, line, column, "wrong-shape", "The file is no list of keys: start `format: 1`."
        )
    return top


def _refuse(name: str, line: int, column: int, code: str, message: str) -> NoReturn:
    raise Unreadable(
        Problem(file=name, line=line, column=column, code=code, severity="error", message=message)
    )


def _refuse_character(text: str, name: str, position: int) -> NoReturn:
    line = text.count("\n", 0, position) + 1
    column = position - (text.rfind("\n", 0, position) + 1) + 1
    number = f"U+{ord(text[position]):04X}"
    _refuse(
        name, line, column, "control-character", f"Character {number} is not allowed: delete it."
    )


def _refuse_marks(text: str, name: str) -> None:
    for event in yaml.parse(text, Loader=_LOADER):
        if isinstance(event, yaml.AliasEvent):
            word = "Aliases (*name) are"
        elif getattr(event, "anchor", None) is not None:
            word = "Anchors (&name) are"
        elif getattr(event, "tag", None) is not None:
            word = "Tags (!name) are"
        else:
            continue
        mark = event.start_mark
        assert mark is not None
        message = f"{word} not used in library files: write the value out, or quote the text."
        _refuse(name, mark.line + 1, mark.column + 1, "anchor", message)


def _plain(error: yaml.MarkedYAMLError) -> str:
    said = f"{error.problem or ''} {error.context or ''}"
    for theirs, ours in _PLAIN_WORDS:
        if theirs in said:
            return ours
    return f"This is not YAML ({(error.problem or 'it breaks off here').strip()})"
