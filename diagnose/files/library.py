"""A library: a folder with trees, cautions, machine cards and rounds, read whole or in part."""

from __future__ import annotations

import gc
import os
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct, field

from diagnose.files.cautions import Cautions
from diagnose.files.compose import Unreadable, text_of
from diagnose.files.definitions import (
    CARD,
    CAUTIONS,
    MACHINE_KIND,
    MEASUREMENTS,
    ROUND,
    SITE,
    TREE,
)
from diagnose.files.places import Places
from diagnose.files.problems import refused
from diagnose.files.reading import read_draft, read_node
from diagnose.files.recovery import composed
from diagnose.files.replies import REPLY_WORDS
from diagnose.files.whole_files import (
    empty_library,
    not_the_file_name,
    taken_name,
    unreadable_folder,
)
from diagnose.text import did_you_mean, printable

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.card import Card, MachineKind
    from diagnose.files.kinds import Record
    from diagnose.files.measurements import Declared
    from diagnose.files.places import Path as PathInside
    from diagnose.files.problems import Problem
    from diagnose.files.reading import Draft
    from diagnose.files.rounds import Round
    from diagnose.files.site import Site
    from diagnose.files.tree import Tree

CAUTIONS_FILE = "cautions.yaml"
SITE_FILE = "site.yaml"
MEASUREMENTS_FILE = "measurements.yaml"
#: What each of the files says that a library has once, beside its trees.
COMMON = {CAUTIONS_FILE: CAUTIONS, SITE_FILE: SITE, MEASUREMENTS_FILE: MEASUREMENTS}
#: What was allowed of earlier changes, and why: for people, nothing reads it.
CHANGES = "CHANGES"
#: The folders inside a library, each before those that build on it.
KINDS, MACHINES, ROUNDS = FOLDERS = ("machines/kinds", "machines", "rounds")

#: Folders in which Python keeps what was installed.
_INSTALLED = {"site-packages", "dist-packages"}


class NoLibrary(Exception):
    """The folder is not there or cannot be listed; the message says so in one line."""


class Library(Struct):
    """What a folder holds. What could not be read is missing here and named in `problems`.

    `symptoms` are the ids of all trees, those that could not be read too, so that a broken one is
    told from one that never was. `measurements` are those that it declares. `machines` are as their
    own files say; `card` completes one.
    `files` are those that were looked at so far, each by what leads to it.
    `places` says for each file, named as in the problems, where its values stand, and `mended`
    which of its lines, from 1, were read otherwise than they were typed.
    """

    folder: Path
    trees: dict[str, Tree] = {}
    drafts: dict[str, Draft] = {}
    cautions: Cautions = field(default_factory=lambda: Cautions(hazards={}, cautions={}))
    machines: dict[str, Card] = {}
    kinds: dict[str, MachineKind] = {}
    site: Site | None = None
    measurements: dict[str, Declared] = {}
    rounds: dict[str, Round] = {}
    problems: list[Problem] = []
    symptoms: tuple[str, ...] = ()
    files: list[tuple[str, ...]] = []
    places: dict[str, Places] = {}
    mended: dict[str, frozenset[int]] = {}

    def card(self, machine: str) -> Card | None:
        """Return a machine card with the lines of its kind and of the site that it lacks."""
        card = self.machines.get(machine)
        if card is None:
            return None
        if card.kind in self.kinds:
            card = card.completed(self.kinds[card.kind].lines)
        if self.site is not None:
            card = card.completed(self.site.lines())
        return card

    def problems_of(self, file: str) -> list[Problem]:
        """Return the problems of one file, named as in the problems."""
        return [problem for problem in self.problems if problem.file == file]

    def file(self, *parts: str) -> str:
        """Return how problems name a file of this library."""
        return printable(str(self.folder.joinpath(*parts)))

    def place(self, file: str, path: PathInside) -> tuple[int, int]:
        """Return line and column, from 1, of what stands at a path of a file."""
        return self.places[file].at(path) if file in self.places else (1, 1)


def built_in() -> Path:
    """Return the folder of the built-in library: the checkout's own, or the package's copy."""
    package = Path(__file__).resolve().parent.parent
    checkout = package.parent / "trees"
    return checkout if (checkout / CAUTIONS_FILE).is_file() else package / "trees"


def comes_with_the_program(folder: Path) -> bool:
    """Return whether a folder lies inside an installed package; that of a checkout does not."""
    package = Path(__file__).resolve().parent.parent
    there = Path(os.path.realpath(folder))
    return there.is_relative_to(package) or not _INSTALLED.isdisjoint(there.parts)


def load(folder: Path, only: frozenset[str] | None = None) -> Library:
    """Read a library, or what all of it shares and the trees of some symptoms; no file raises.

    Raises `NoLibrary` where the folder cannot be listed.
    """
    names = _listed(folder)
    library = Library(folder)
    library.symptoms = tuple(name[:-5] for name in names if name not in COMMON)
    if not library.symptoms:
        refusal = empty_library(library_inside(folder))
        library.problems.append(refused(library.file(), refusal, 1, 1))
    if only is not None:
        names = sorted({*COMMON, *(f"{symptom}.yaml" for symptom in only)} & set(names))
    add(library, *((name,) for name in names))
    if only is None:
        add(library, *(parts for inside in FOLDERS for parts in files_in(library, inside)))
    return library


def library_inside(folder: Path) -> str:
    """Return `` Did you mean "…"?`` for a library inside a folder that is none, or nothing."""
    try:
        inside = sorted(path for path in folder.iterdir() if (path / CAUTIONS_FILE).is_file())
    except OSError:
        return ""
    return f' Did you mean "{printable(str(inside[0]))}"?' if inside else ""


def add(library: Library, *files: tuple[str, ...]) -> None:
    """Read files of the folder into a library, each by what leads to it: ``machines, dock.yaml``.

    What is wrong with one goes to the library's problems.
    """
    with collector_at_rest():
        for parts in files:
            library.files.append(parts)
            try:
                text = text_of(library.folder.joinpath(*parts), library.file(*parts))
            except Unreadable as error:
                library.problems.append(error.problem)
            else:
                put_in(library, text, *parts)


def files_in(library: Library, inside: str) -> list[tuple[str, ...]]:
    """Return what leads to the files of a folder inside the library's; none where it is missing.

    A folder that may not be listed goes to the library's problems.
    """
    path = inside.split("/")
    try:
        return [(*path, name) for name in _yaml_names(library.folder.joinpath(*path))]
    except (FileNotFoundError, NotADirectoryError):
        return []
    except OSError as error:
        refusal = unreadable_folder((error.strerror or "it cannot be listed").lower())
        library.problems.append(refused(library.file(*path), refusal, 1, 1))
        return []


def put_in(library: Library, text: str, *parts: str) -> None:
    """Read a file's text into a library, as what its place says, such as ``machines, dock.yaml``.

    What is wrong with it goes to the library's problems.
    """
    name, stem = library.file(*parts), parts[-1].removesuffix(".yaml")
    whole = composed(text, name)
    library.problems += whole.problems
    if (top := whole.top) is None:
        return
    library.places[name] = Places(whole.text)
    library.mended[name] = whole.mended
    if len(parts) == 1 and parts[0] in COMMON:
        meaning, problems = read_node(COMMON[parts[0]], top, name)
        library.problems += whole.typed(problems)
        if meaning is not None and not whole.problems:
            setattr(library, stem, meaning)
        return
    others: dict[tuple[str, ...], tuple[Record, str, dict[str, Any]]] = {
        ("machines",): (CARD, "machine", library.machines),
        ("machines", "kinds"): (MACHINE_KIND, "kind", library.kinds),
        ("rounds",): (ROUND, "round", library.rounds),
    }
    record, what, held = others.get(parts[:-1], (TREE, "symptom", library.trees))
    meaning, problems = read_node(record, top, name)
    library.problems += whole.typed(problems)
    if meaning is None or whole.problems:
        draft = read_draft(top, stem) if record is TREE else None
        if draft is not None:
            library.drafts[stem] = draft
    elif (said := getattr(meaning, what)) == stem and stem not in REPLY_WORDS:
        held[stem] = meaning
    else:
        refusal = taken_name(what, said)
        if said != stem:
            refusal = not_the_file_name(what, said, parts[-1], did_you_mean(said, [stem]))
        line, column = library.place(name, (what,))
        library.problems.append(refused(name, refusal, line, column))


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


def _listed(folder: Path) -> list[str]:
    try:
        return _yaml_names(folder)
    except OSError as error:
        reason = error.strerror or "cannot be listed"
        message = f"{folder}: no library there ({reason}); name a folder of trees."
        raise NoLibrary(message) from error


def _yaml_names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.suffix == ".yaml")
