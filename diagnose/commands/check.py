"""`diagnose check`: every problem of a library, with its place."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.case.screens import as_data
from diagnose.commands import options as opt
from diagnose.files.kinds import MOST_PROBLEMS
from diagnose.files.library import load
from diagnose.rules.check import all_causes, errors
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.files.problems import Problem


#: As many problems of one file are said, and of all files together; of the others, how many.
MOST, MOST_IN_ALL = 100, 1000


class More(Struct, frozen=True):
    """How many problems of a file are not said; `at_least`: so many are known, and maybe more."""

    file: str
    count: int
    at_least: bool


def run(args: Sequence[str]) -> int:
    """Check a library. Returns 1 where something has to be mended."""
    parser = opt.parser("check", "Say what is wrong with the trees, file by file and line by line.")
    parser.add_argument("symptom", nargs="*", help="only these; all where left out")
    parser.add_argument("--explain", metavar="CODE", help="say what a [code] is about, and why")
    options = parser.parse_args(args)
    if options.explain is not None:
        opt.say(_explained(options.explain.strip("[]")))
        return opt.OK
    folder = opt.trees_folder(options)
    library = load(folder)
    for name in options.symptom:
        if name not in library.symptoms:
            hint = did_you_mean(name, library.symptoms)
            raise opt.WrongUse(f'There is no symptom "{name[:40]}" in {folder}.{hint}')
    files = {library.file(f"{name}.yaml") for name in options.symptom}
    problems = [one.problem for one in all_causes(library) if not files or one.files & files]
    count = len(options.symptom or library.symptoms)
    said, more = _first_of(problems)
    data = {"trees": count, "problems": as_data(said), "more": as_data(more)}
    opt.listed(options, data, _lines(count, problems, said, more), "")
    return opt.BAD_ANSWER if errors(problems) else opt.OK


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


def _lines(
    trees: int, problems: Sequence[Problem], said: Sequence[Problem], more: Sequence[More]
) -> Iterator[str]:
    left = {one.file: one for one in more}
    shown = {file: list(own) for file, own in groupby(said, key=lambda problem: problem.file)}
    for file in sorted({*shown, *left}):
        yield from map(str, shown.get(file, ()))
        if (rest := left.get(file)) is not None:
            kept = "at least " if rest.at_least else ""
            yield f"{file}: and {kept}{rest.count} more; mend these first."
    bad = len(errors(problems))
    read = f"{trees} tree{'' if trees == 1 else 's'}"
    yield f"{read}, {_counted(bad, 'error')}, {_counted(len(problems) - bad, 'warning')}."
    if problems:
        yield "`diagnose check --explain CODE` and docs/checks.md say more on each [code]."


def _counted(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def _explained(code: str) -> str:
    from diagnose.rules import manual

    if code not in manual.PAGES:
        hint = did_you_mean(code, manual.PAGES)
        raise opt.WrongUse(f'There is no code "{code[:40]}".{hint} docs/checks.md lists all.')
    return manual.section(code).rstrip()
