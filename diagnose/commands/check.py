"""`diagnose check`: every problem of a library, with its place."""

from __future__ import annotations

import os
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.case.screens import as_data
from diagnose.commands import coverage
from diagnose.commands import options as opt
from diagnose.files.kinds import MOST_PROBLEMS
from diagnose.files.library import (
    CAUTIONS_FILE,
    KINDS,
    MACHINES,
    MEASUREMENTS_FILE,
    ROUNDS,
    SITE_FILE,
    library_inside,
    load,
)
from diagnose.files.strays import library_of
from diagnose.rules.check import all_causes, errors
from diagnose.text import did_you_mean, printable, shortened

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Sequence

    from diagnose.files.library import Library
    from diagnose.files.problems import Problem


#: As many problems of one file are said, and of all files together; of the others, how many.
MOST, MOST_IN_ALL = 100, 1000

#: What can be read, by its name in JSON, and how one and several of it are called; nothing where a
#: library has one at most.
_WORDS: Final = {
    "trees": ("tree", "trees"),
    "machines": ("card", "cards"),
    "kinds": ("kind of machine", "kinds of machine"),
    "rounds": ("round", "rounds"),
    "cautions": None,
    "site": None,
    "measurements": None,
}


class More(Struct, frozen=True):
    """How many problems of a file are not said; `at_least`: so many are known, and maybe more."""

    file: str
    count: int
    at_least: bool


class Checked(Struct, frozen=True):
    """What was looked at of one library, how many files of each kind, and what is wrong there.

    `symptoms` are the trees that were asked for.
    """

    library: Library
    read: dict[str, int]
    problems: list[Problem]
    symptoms: tuple[str, ...]


def run(args: Sequence[str]) -> int:
    """Check a library. Returns 1 where something has to be mended."""
    parser = opt.parser("check", "Say what is wrong with a library, file by file, line by line.")
    about = "only these: trees by their ids, files or folders of a library; else all of it"
    parser.add_argument("paths", nargs="*", metavar="PATH", help=about)
    parser.add_argument("--strict", action="store_true", help="a warning counts as an error does")
    parser.add_argument("--explain", metavar="CODE", help="say what a [code] is about, and why")
    parser.add_argument(
        "--coverage", action="store_true", help="say what no worked case walks, with its place"
    )
    options = parser.parse_args(args)
    if options.explain is not None:
        opt.say(_explained(options.explain.strip("[]")))
        return opt.OK
    checked = [_checked(folder, wanted) for folder, wanted in _wanted(options).items()]
    problems = [problem for one in checked for problem in one.problems]
    said, more = _first_of(problems)
    data, lines = _data(checked, said, more), [*_lines(checked, said, more)]
    if options.coverage:
        walked = [
            (one.library, coverage.coverages(one.library, one.symptoms, one.problems))
            for one in checked
        ]
        data["coverage"] = coverage.as_data(walked)
        lines = [*coverage.lines(walked), *lines]
    opt.listed(options, data, lines, "")
    return opt.BAD_ANSWER if (problems if options.strict else errors(problems)) else opt.OK


def _wanted(options: argparse.Namespace) -> dict[Path, set[tuple[str, ...]]]:
    """Return, by the folder of a library, what leads to what is to be looked at in it."""
    if not options.paths:
        return {opt.trees_folder(options): {()}}
    wanted: dict[Path, set[tuple[str, ...]]] = {}
    as_named: dict[str, Path] = {}
    for word in options.paths:
        folder, parts = _tree_named(options, word) or _path_named(options, word)
        first = as_named.setdefault(os.path.realpath(folder), folder)
        wanted.setdefault(first, set()).add(parts)
    return wanted


def _tree_named(options: argparse.Namespace, word: str) -> tuple[Path, tuple[str, ...]] | None:
    """Return where a tree of the library stands, by its id; None for what looks like a path.

    Raises `WrongUse` for what is neither.
    """
    if any(sign in word for sign in (os.sep, "/", ".")):
        return None
    folder = opt.trees_folder(options)
    symptoms = load(folder, only=frozenset()).symptoms
    if word in symptoms:
        return folder, (f"{word}.yaml",)
    if _is_there(Path(word)) or _is_there(folder / word):
        return None
    hint = did_you_mean(word, symptoms)
    raise opt.WrongUse(f'There is no symptom "{shortened(word)}" in {folder}.{hint}')


def _path_named(options: argparse.Namespace, word: str) -> tuple[Path, tuple[str, ...]]:
    """Return the library of a path, as given or inside the library in use, and where it is there.

    Raises `Unusable` where nothing is there, or what belongs to no library.
    """
    path = Path(word)
    if not _is_there(path) and not path.is_absolute():
        path = opt.trees_folder(options) / word
    if not _is_there(path):
        mend = "name a tree by its id, or a file or folder of a library"
        raise opt.Unusable(f"{shortened(word, 300)}: no such file or folder; {mend}.")
    found = library_of(path)
    if found is None:
        mend = "a library is a folder with trees and cautions.yaml"
        hint = library_inside(path)
        raise opt.Unusable(f"{word}: this belongs to no library; {mend}.{hint}")
    return found


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:
        return False  # Its name is too long, or it is in a folder that may not be searched.


def _checked(folder: Path, wanted: set[tuple[str, ...]]) -> Checked:
    """Check a library, and keep what is about the files and folders that are wanted."""
    library = load(folder)
    causes = all_causes(library)
    read = dict.fromkeys(_WORDS, 0)
    symptoms = []
    for parts in library.files:
        if any(parts[: len(inside)] == inside for inside in wanted):
            read[_kind(parts)] += 1
            symptoms += [parts[0].removesuffix(".yaml")] if _kind(parts) == "trees" else []
    if () not in wanted:
        files = [library.file(*parts) for parts in wanted]
        causes = [
            one
            for one in causes
            if any(_about(where, library, file) for where in one.files for file in files)
        ]
    return Checked(library, read, [one.problem for one in causes], tuple(symptoms))


def _about(where: str, library: Library, file: str) -> bool:
    """Whether what is at a place is about a file, what a folder holds, or what it stands in."""
    if where == library.file():
        return False
    return f"{where}/".startswith(f"{file}/") or f"{file}/".startswith(f"{where}/")


def _kind(parts: tuple[str, ...]) -> str:
    """Return which kind of file stands at a place of a library, by its name in JSON."""
    alone = {CAUTIONS_FILE: "cautions", SITE_FILE: "site", MEASUREMENTS_FILE: "measurements"}
    folders = {KINDS: "kinds", MACHINES: "machines", ROUNDS: "rounds", "": "trees"}
    return alone.get("/".join(parts)) or folders["/".join(parts[:-1])]


def _first_of(problems: Sequence[Problem]) -> tuple[list[Problem], list[More]]:
    """Return what is said of the problems, and how much is not, file by file."""
    said: list[Problem] = []
    more = []
    for file, group in groupby(problems, key=lambda problem: problem.file):
        own = list(group)
        first = own[: min(MOST, MOST_IN_ALL - len(said))]
        said += first
        if len(own) > len(first):
            more.append(More(file, len(own) - len(first), len(own) >= MOST_PROBLEMS))
    return said, more


def _data(
    checked: Sequence[Checked], said: Sequence[Problem], more: Sequence[More]
) -> dict[str, object]:
    read = {kind: sum(one.read[kind] for one in checked) for kind in _WORDS}
    return {
        "libraries": [one.library.file() for one in checked],
        "trees": read["trees"],
        "read": read,
        "problems": as_data(said),
        "more": as_data(more),
    }


def _lines(
    checked: Sequence[Checked], said: Sequence[Problem], more: Sequence[More]
) -> Iterator[str]:
    left = {one.file: one for one in more}
    shown = {file: list(own) for file, own in groupby(said, key=lambda problem: problem.file)}
    for file in sorted({*shown, *left}):
        yield from map(str, shown.get(file, ()))
        if (rest := left.get(file)) is not None:
            kept = "at least " if rest.at_least else ""
            yield f"{file}: and {kept}{rest.count} more; mend these first."
    for one in checked:
        bad = len(errors(one.problems))
        found = f"{_counted(bad, 'error')}, {_counted(len(one.problems) - bad, 'warning')}"
        yield f"Read in {printable(str(one.library.folder))}:"
        yield f"{_read(one.read)}; {found}."
    if said:
        yield "`diagnose check --explain CODE` and docs/checks.md say more on each [code]."


def _read(read: dict[str, int]) -> str:
    """Return in words how many files of each kind were read."""
    counted = [
        f"the {kind}" if words is None else f"{read[kind]} {words[read[kind] > 1]}"
        for kind, words in _WORDS.items()
        if read[kind]
    ]
    return ", ".join(counted) or "no file"


def _counted(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def _explained(code: str) -> str:
    from diagnose.rules import manual

    if code not in manual.PAGES:
        hint = did_you_mean(code, manual.PAGES)
        raise opt.WrongUse(f'There is no code "{code[:40]}".{hint} docs/checks.md lists all.')
    return manual.section(code).rstrip()
