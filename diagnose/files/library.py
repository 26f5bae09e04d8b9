"""A library: a folder with trees, cautions, machine cards and rounds, read whole or in part."""

from __future__ import annotations

import gc
import hashlib
from collections.abc import Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import yaml

from diagnose.files.cautions import Cautions
from diagnose.files.compose import Unreadable, compose, text_of
from diagnose.files.definitions import CARD, CAUTIONS, FORMAT, ID, ROUND, STEP, TREE
from diagnose.files.kinds import BAD, Notes
from diagnose.files.problems import Placed, Problem
from diagnose.files.tree import Tree
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.card import Card
    from diagnose.files.kinds import Record
    from diagnose.files.rounds import Round

CAUTIONS_FILE = "cautions.yaml"


class NoLibrary(Exception):
    """The folder is not there or cannot be listed; the message says so in one line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What could be read of a tree with errors, and the ids of its steps that could not.

    It is never walked: rules look at it, so that all that is wrong with a file is said at once.
    """

    tree: Tree
    unread: frozenset[str]


@dataclass(slots=True)
class Library:
    """What a folder holds. What could not be read is missing here and named in `problems`.

    `names` maps every tree, card and round file to its id, those that could not be read too, so
    that a broken one is told from one that never was.
    """

    folder: Path
    trees: dict[str, Tree] = field(default_factory=dict)
    drafts: dict[str, Draft] = field(default_factory=dict)
    cautions: Cautions = field(default_factory=lambda: Cautions(hazards={}, cautions={}))
    machines: dict[str, Card] = field(default_factory=dict)
    rounds: dict[str, Round] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    symptoms: tuple[str, ...] = ()

    def problems_of(self, file: str) -> list[Problem]:
        """Return the problems of one file, named as in the problems."""
        return [problem for problem in self.problems if problem.file == file]

    def file(self, *parts: str) -> str:
        """Return how problems name a file of this library."""
        return str(self.folder.joinpath(*parts))


def built_in() -> Path:
    """Return the folder of the built-in library: the checkout's own, or the package's copy."""
    package = Path(__file__).resolve().parent.parent
    checkout = package.parent / "trees"
    return checkout if (checkout / CAUTIONS_FILE).is_file() else package / "trees"


def load(folder: Path, only: frozenset[str] | None = None) -> Library:
    """Read a library, all of it or only the trees of some symptoms, and never raise for a file.

    Raises `NoLibrary` where the folder cannot be listed.
    """
    try:
        names = sorted(path.name for path in folder.iterdir() if path.suffix == ".yaml")
    except OSError as error:
        reason = error.strerror or "cannot be listed"
        raise NoLibrary(
            f"{folder}: no library there ({reason}); name a folder of trees."
        ) from error
    library = Library(folder)
    library.symptoms = tuple(name[:-5] for name in names if name != CAUTIONS_FILE)
    with collector_at_rest():
        if CAUTIONS_FILE in names:
            cautions = _read(library, CAUTIONS, CAUTIONS_FILE)
            if cautions is not None:
                library.cautions = cautions
        for symptom in library.symptoms:
            if only is None or symptom in only:
                _read_tree(library, symptom)
        for path in _yaml_files(folder / "machines"):
            card = _read(library, CARD, "machines", path.name)
            if card is not None and _named(library, card.machine, path.stem, "machine", "machines"):
                library.machines[path.stem] = card
        for path in _yaml_files(folder / "rounds"):
            round_ = _read(library, ROUND, "rounds", path.name)
            if round_ is not None and _named(library, round_.round, path.stem, "round", "rounds"):
                library.rounds[path.stem] = round_
    return library


def read_tree(text: str, name: str) -> tuple[Tree | None, list[Problem]]:
    """Read one tree from its text; `name` stands in the problems. No rule is checked."""
    return read_text(TREE, text, name)


def read_text(record: Record, text: str, name: str) -> tuple[Any, list[Problem]]:
    """Read a file's text by its definition: what it means (None if broken), and its problems."""
    notes = Notes(name)
    try:
        top = compose(text, name)
    except Unreadable as error:
        return None, [error.problem]
    for key, value in top.value:
        if key.value == "format" and isinstance(value.value, str) and value.value.isdecimal():
            said = value.value[:20]
            if len(said) > 9 or int(said) > FORMAT:
                message = f"Format {said} is newer than this program, which reads 1: update it."
                notes.wrong(value, "newer-format", message)
                return None, notes.problems
    meaning = record.read(top, notes)
    return (None if notes.problems else meaning), notes.problems


def content_hash(meaning: object) -> str:
    """Return the SHA-256 of what a file means, as 64 hexadecimal digits.

    Comments, layout and quoting do not count; the order of steps, answers and lists does, since it
    decides what is asked first.
    """
    return hashlib.sha256(repr(_plain(meaning)).encode()).hexdigest()


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """Hold the garbage collector off: it would walk tens of thousands of live nodes for nothing."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _read_tree(library: Library, symptom: str) -> None:
    name = library.file(f"{symptom}.yaml")
    try:
        text = text_of(library.folder / f"{symptom}.yaml", name)
        tree, problems = read_text(TREE, text, name)
        if problems and problems[-1].code != "newer-format":
            draft = _draft(compose(text, name), symptom)
            if draft is not None:
                library.drafts[symptom] = draft
    except Unreadable as error:
        library.problems.append(error.problem)
        return
    library.problems += problems
    if tree is not None and _named(library, tree.symptom, symptom, "symptom"):
        library.trees[symptom] = tree


def _draft(top: yaml.MappingNode, symptom: str) -> Draft | None:
    """Return what can be read of a tree some of whose nodes cannot."""
    silent = Notes("")
    values = {key.value: value for key, value in top.value if isinstance(key.value, str)}
    steps = values.get("steps")
    start: Any = ID.read(values["start"], silent) if "start" in values else BAD
    if not isinstance(steps, yaml.MappingNode) or start is BAD:
        return None
    read: dict[Any, Any] = {}
    unread = set()
    for key, value in steps.value:
        name, step = ID.read(key, silent), STEP.read(value, silent)
        if name is BAD or step is BAD:
            unread.add(str(key.value))
        else:
            read[name] = step
    place = Placed.at(symptom, 1, 1)
    tree = Tree(symptom=place, title=place, start=start, steps=read)
    return Draft(tree=tree, unread=frozenset(unread))


def _read(library: Library, record: Record, *parts: str) -> Any:
    name = library.file(*parts)
    try:
        text = text_of(library.folder.joinpath(*parts), name)
    except Unreadable as error:
        library.problems.append(error.problem)
        return None
    meaning, problems = read_text(record, text, name)
    library.problems += problems
    return meaning


def _named(library: Library, said: Any, stem: str, what: str, *folder: str) -> bool:
    if said == stem:
        return True
    name = library.file(*folder, f"{stem}.yaml")
    hint = did_you_mean(said, [stem])
    message = f'The {what} is "{said}" but the file is {stem}.yaml: make them the same.{hint}'
    library.problems.append(
        Problem(
            file=name,
            line=said.line,
            column=said.column,
            code="not-the-file-name",
            severity="error",
            message=message,
        )
    )
    return False


def _yaml_files(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.iterdir() if path.suffix == ".yaml")
    except OSError:
        return []


def _plain(value: object) -> object:
    """Return the value as tuples of plain str, int, float and bool, whatever holds it now."""
    if isinstance(value, str):
        return str.__str__(value)
    if isinstance(value, tuple | list):
        return tuple(_plain(item) for item in value)
    if isinstance(value, Mapping):
        return tuple((_plain(key), _plain(item)) for key, item in value.items())
    slots = [
        name for kind in reversed(type(value).__mro__) for name in getattr(kind, "__slots__", ())
    ]
    if slots:
        fields = tuple((name, _plain(getattr(value, name))) for name in slots)
        return (type(value).__name__, *fields)
    return value
