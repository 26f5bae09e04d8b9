"""What every verb understands, and how a verb says that it cannot go on."""

from __future__ import annotations

import argparse
import json
import os
import re
import stat
import sys
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

from diagnose.files.library import built_in, comes_with_the_program
from diagnose.files.regular import is_ordinary
from diagnose.files.tree import ROLES
from diagnose.text import printable

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from _typeshed import SupportsWrite

    from diagnose.log.sqlite import SqliteLog

_Thing = TypeVar("_Thing")

#: Exit codes; `app` alone turns them into an exit.
OK, BAD_ANSWER, WRONG_USE, UNUSABLE = 0, 1, 2, 3

#: As much of a person's name is kept.
LONGEST_NAME = 200


class WrongUse(Exception):
    """The command line asks for what is not there; one line says what is."""


class Unusable(Exception):
    """A file, a unit or a log cannot be used; one line says which, where and what to do."""


# Options whose value names a file or a folder.
_FILES = ("trees", "log", "output", "file", "font", "draw", "paths")

# How Python spells bytes that are no UTF-8.
_NO_TEXT = re.compile("[\ud800-\udfff]")


def _as_text(value: object) -> object:
    """Return a value of the command line with U+FFFD for what is no text."""
    if isinstance(value, list):
        return [_as_text(one) for one in value]
    return _NO_TEXT.sub("\N{REPLACEMENT CHARACTER}", value) if isinstance(value, str) else value


class Parser(argparse.ArgumentParser):
    """An argument parser that says what is wrong in one line and leaves exiting to `app`."""

    def error(self, message: str) -> NoReturn:
        """Raise `WrongUse` with the parser's own sentence."""
        raise WrongUse(f"{self.prog}: {message}; `{self.prog} --help` explains.")

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> tuple[Any, list[str]]:
        """Return what was given; bytes that are no UTF-8 stay only in the names of files."""
        found, more = super().parse_known_args(args, namespace)
        for name, value in vars(found).items():
            if name not in _FILES:
                setattr(found, name, _as_text(value))
        return found, more

    def _print_message(self, message: str, file: SupportsWrite[str] | None = None) -> None:
        """Write the help. argparse's own says nothing where it cannot be written."""
        (file or sys.stdout).write(message)


def parser(verb: str, about: str) -> Parser:
    """Return the parser of a verb, with the options that all verbs share."""
    made = Parser(prog=f"diagnose {verb}".strip(), description=about, allow_abbrev=False)
    shared = made.add_argument_group("everywhere")
    shared.add_argument("--trees", metavar="DIR", help="the library (or DIAGNOSE_TREES)")
    shared.add_argument("--log", metavar="FILE", help="the case log (or DIAGNOSE_LOG)")
    shared.add_argument("--plain", action="store_true", help="lines only, for a screen reader")
    shared.add_argument("--json", action="store_true", help="JSON for other programs")
    return made


def add_symptom(made: Parser) -> None:
    """Add the symptom that a case or a drill is about."""
    made.add_argument("symptom", nargs="?", help="a symptom's id; asked where left out")


def add_person(
    made: Parser,
    machine: str = 'a machine card\'s id, or "none"',
    role: str = "who stands at the machine (operator where left out)",
) -> None:
    """Add the machine, and what somebody may do there."""
    made.add_argument("--machine", metavar="ID", help=machine)
    made.add_argument("--as", dest="role", choices=ROLES, default="operator", help=role)


def add_name(made: Parser, about: str = "who it is, for the log") -> None:
    """Add the person's own name."""
    made.add_argument(
        "--name", dest="person", metavar="WHO", default="", help=f"{about} (or DIAGNOSE_NAME)"
    )


def person(options: argparse.Namespace) -> str:
    """Return the person's own name, empty where nobody gave one."""
    said = options.person or os.environ.get("DIAGNOSE_NAME", "")
    return " ".join(printable(said[:LONGEST_NAME]).split())


def trees_folder(options: argparse.Namespace) -> Path:
    """Return the folder of the library. Raises `Unusable` where there is none."""
    folder = library_in_use(options)
    try:
        is_there = stat.S_ISDIR(folder.stat().st_mode)
    except FileNotFoundError:
        is_there = False
    except (OSError, ValueError) as error:
        raise Unusable(f"{folder}: {_reason(error)}; name a library with --trees.") from error
    if not is_there:
        raise Unusable(f"{folder}: no such folder; name a library with --trees.")
    return folder


def library_in_use(options: argparse.Namespace) -> Path:
    """Return the folder of the library as it was named, whether it is there or not."""
    said = options.trees or os.environ.get("DIAGNOSE_TREES")
    return Path(said) if said else built_in()


def own_folder(folder: Path) -> Path:
    """Return the folder of a library that is to be written to.

    Raises `Unusable` for the one inside an installed package: the next update would replace it, and
    on a shared computer it belongs to everybody.
    """
    if comes_with_the_program(folder):
        mend = "make a library of your own first: diagnose new library DIR"
        raise Unusable(f"{folder}: this library comes with the program; {mend}")
    return folder


def log_path(options: argparse.Namespace) -> Path:
    """Return where the case log is, or would be."""
    said = options.log or os.environ.get("DIAGNOSE_LOG")
    if said:
        return Path(said)
    from platformdirs import user_data_path

    return user_data_path("diagnose", appauthor=False) / "cases.sqlite"


def where(options: argparse.Namespace) -> str:
    """Return what a command line has to add, to mean the same library and log again."""
    import shlex

    given = (("--trees", options.trees), ("--log", options.log))
    return "".join(f" {name} {shlex.quote(value)}" for name, value in given if value)


def open_log(
    options: argparse.Namespace, mode: str = "rwc", wait: float | None = None
) -> SqliteLog:
    """Return the case log, made where it is missing unless `mode` is "rw".

    `wait` is for how many seconds, where others are writing to it; who waits is told on standard
    error, until a face does it. Raises `LogError`, `Unusable`.
    """
    from diagnose.log.sqlite import SqliteLog

    path = log_path(options)
    _is_there(path)
    return SqliteLog(path, mode, wait=wait, busy=_say_busy)


def _say_busy() -> None:
    from diagnose.case.screens import phrase
    from diagnose.faces.words import render

    print(render(phrase("log-waits")), file=sys.stderr, flush=True)


def existing_log(options: argparse.Namespace) -> SqliteLog | None:
    """Return the case log, or None where there is none yet. Raises `LogError`, `Unusable`."""
    return open_log(options, "rw") if _is_there(log_path(options)) else None


def _is_there(log: Path) -> bool:
    """Return whether a log lies there. Raises `Unusable` where something else does, or none can."""
    try:
        f"{log}".encode()
        ordinary = is_ordinary(log)
    except (FileNotFoundError, NotADirectoryError):
        return False
    except (OSError, ValueError) as error:
        raise Unusable(f"{log}: {_reason(error)}; name another file with --log.") from error
    if not ordinary:
        raise Unusable(f"{log}: this is no ordinary file; name another with --log.")
    return True


def _reason(error: OSError | ValueError) -> str:
    if isinstance(error, UnicodeError):
        return "this name is not UTF-8"
    return (getattr(error, "strerror", None) or "it cannot be used").lower()


def fields(thing: object, *names: str) -> dict[str, Any]:
    """Return some attributes of a thing by their names, for JSON."""
    return {name: getattr(thing, name) for name in names}


def say(line: str) -> None:
    """Print lines of a command's own output: nothing in them moves a cursor."""
    page("\n".join(map(printable, line.split("\n"))))


def page(text: str) -> None:
    """Print a text that was made printable, whatever the locale can spell."""
    encoding = sys.stdout.encoding or "utf-8"
    print(text.encode(encoding, "replace").decode(encoding))


def streamed(pieces: Iterable[str], nothing: str) -> int:
    """Print a list as its pieces come, each with its own end; or the line for nothing. Returns 0.

    It may be long: no more than some of it is in the memory at a time. No cursor is moved by it.
    """
    encoding = sys.stdout.encoding or "utf-8"
    said = False
    for page in pages(pieces):
        said = True
        text = "\n".join(map(printable, "".join(page).split("\n")))
        sys.stdout.write(text.encode(encoding, "replace").decode(encoding))
    if not said:
        say(nothing)
    return OK


def pages(things: Iterable[_Thing], size: int = 400) -> Iterator[list[_Thing]]:
    """Yield things so many at a time."""
    rest = iter(things)
    while page := list(islice(rest, size)):
        yield page


def as_array(texts: Iterable[str]) -> Iterator[str]:
    """Yield the pieces of a JSON array as `json.dumps` writes it; its members are JSON already."""
    before = "["
    for text in texts:
        yield f"{before}{text}"
        before = ", "
    yield "]\n" if before == ", " else "[]\n"


def listed(options: argparse.Namespace, data: object, lines: Iterable[str], nothing: str) -> int:
    """Print a list: with `--json` its data; else its lines, or the one for nothing. Returns 0."""
    said = [json.dumps(data)] if options.json else list(lines) or [nothing]
    for line in said:
        say(line)
    return OK
