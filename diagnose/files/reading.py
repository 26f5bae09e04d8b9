"""One file's text, read by its definition: what it means, and what is wrong with it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import yaml
from msgspec import Struct

from diagnose.files import whole_files as refusals
from diagnose.files.definitions import FORMAT, STEP, TREE
from diagnose.files.formats import lifted
from diagnose.files.kinds import BAD, ID, Notes
from diagnose.files.places import Places
from diagnose.files.recovery import composed
from diagnose.files.tree import Tree

if TYPE_CHECKING:
    from diagnose.files.kinds import Record
    from diagnose.files.problems import Problem


class Draft(Struct, frozen=True, kw_only=True):
    """What could be read of a tree with errors, and the ids of its steps that could not.

    It is never walked: rules look at it, so that all that is wrong with a file is said at once.
    """

    tree: Tree
    unread: frozenset[str]


def read_tree(text: str, name: str) -> tuple[Tree | None, list[Problem]]:
    """Read one tree from its text; `name` stands in the problems. No rule is checked."""
    return read_text(TREE, text, name)


def read_text(record: Record, text: str, name: str) -> tuple[Any, list[Problem]]:
    """Read a file's text by its definition: what it means (None if broken), and its problems."""
    whole = composed(text, name)
    if whole.top is None:
        return None, whole.problems
    meaning, problems = read_node(record, whole.top, name)
    return (None if whole.problems else meaning), whole.problems + whole.typed(problems)


def read_node(record: Record, top: yaml.Node, name: str) -> tuple[Any, list[Problem]]:
    """Read a file's top node by its definition, as `read_text` does its text."""
    notes = Notes(name)
    if _newer(top, notes):
        return None, notes.problems
    if notes.format < FORMAT and isinstance(top, yaml.MappingNode):
        lifted(record, top, notes.format)
    meaning = record.read(top, notes)
    return (None if notes.problems else meaning), notes.problems


def read_draft(top: yaml.Node, symptom: str) -> Draft | None:
    """Return what can be read of a tree some of whose nodes cannot; None where it is too little."""
    silent = Notes("")
    keys = Places("", top).entries(top)
    if _newer(top, silent) or not {"start", "steps"} <= keys.keys():
        return None
    start, steps = ID.read(keys["start"][1], silent), keys["steps"][1]
    if start is BAD or not isinstance(steps, yaml.MappingNode):
        return None
    read: dict[str, Any] = {}
    unread = set()
    for key, value in steps.value:
        name, step = ID.read(key, silent), STEP.read(value, silent)
        if name is BAD or step is BAD:
            unread.add(f"{key.value}")
        elif name in read:
            unread.add("")  # The second of two with one id: nobody knows what it is called.
        else:
            read[name] = step
    tree = Tree(symptom=symptom, title=symptom, start=start, steps=read)
    return Draft(tree=tree, unread=frozenset(unread))


def content_hash(meaning: object) -> str:
    """Return the SHA-256 of what a file means, as 64 hexadecimal digits.

    Comments, layout and quoting do not count; the order of steps, answers and lists does, since it
    decides what is asked first. A key that a later format brought counts only where it says
    something that a file of format 1 could not (`LATER` of its type): such a file keeps its hash.
    """
    return hashlib.sha256(repr(_plain(meaning)).encode()).hexdigest()


def _newer(top: yaml.Node, notes: Notes) -> bool:
    """Note of which format a file is, and where the program does not know it."""
    # Where the file does not say, that is its one mistake.
    notes.format = FORMAT
    for key, value in top.value:
        if key.value == "format" and isinstance(value.value, str) and value.value.isdecimal():
            said = value.value[:20]
            if int(said) > FORMAT:
                notes.wrong(value, refusals.newer_format(said, FORMAT))
                return True
            notes.format = max(int(said), 1)
    return False


def _plain(value: object) -> object:
    """Return the value as tuples of str, int, float, bool and None, whatever holds it now."""
    if isinstance(value, tuple | list):
        return tuple(_plain(item) for item in value)
    if isinstance(value, Mapping):
        return tuple((key, _plain(item)) for key, item in value.items())
    if isinstance(value, Struct):
        later = getattr(value, "LATER", {})
        fields = ((name, getattr(value, name)) for name in value.__struct_fields__)
        counting = ((name, one) for name, one in fields if one not in later.get(name, ()))
        return (type(value).__name__, *((name, _plain(one)) for name, one in counting))
    return value
