"""Pages and pictures as files: where they go, what they are on, and what is said of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import asdict

from diagnose.commands import options as opt
from diagnose.commands.output import write
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.log import clock
from diagnose.paper.letters import CannotRender
from diagnose.text import printable

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable, Sequence

    from diagnose.commands.progress import Progress
    from diagnose.study.ready import ReadyTree

#: What pages can be written as.
ENDINGS = ("pdf", "svg", "png")


class Written(Struct, frozen=True, kw_only=True):
    """A file that was written: what of which symptom stands in it, in type of which points."""

    file: str
    symptom: str
    sheets: int = 1
    paper: str | None = None
    type_size: float | None = None
    note: str = ""

    def __str__(self) -> str:
        """Return what is said of the file."""
        words = [self.symptom]
        if self.paper is not None:
            words.append(f"{self.sheets} sheet{'' if self.sheets == 1 else 's'} {self.paper}")
        words += [f"type {self.type_size:.1f} pt"] if self.type_size is not None else []
        return f"{printable(self.file)}: {'; '.join([*words, *filter(None, [self.note])])}."


def add_output(parser: argparse.ArgumentParser, endings: Sequence[str], standard: str) -> None:
    """Add the options that all files on paper have."""
    known = ", ".join(f".{one}" for one in endings)
    about = f"where to; its ending ({known}) says what ({standard})"
    parser.add_argument("-o", dest="output", metavar="FILE", help=about)
    add_font(parser)


def add_font(parser: argparse.ArgumentParser) -> None:
    """Add the font that brings letters which the program's own lacks."""
    about = "a font file with letters that the program's own font lacks"
    parser.add_argument("--font", metavar="FILE", type=Path, help=about)


def ending_of(output: str | None, endings: Sequence[str]) -> str:
    """Return what a file is to be, by its ending; a PDF where none is named. Raises `WrongUse`."""
    ending = Path(output or "x.pdf").suffix.lower().removeprefix(".")
    if ending not in endings:
        known = ", ".join(f".{one}" for one in endings)
        raise opt.WrongUse(f'"{output}" has to end in one of {known}.')
    return ending


def say(files: Iterable[Written], *, as_json: bool, progress: Progress | None = None) -> None:
    """Say what was written, each file as it is done; as JSON all at the end."""
    data = []
    try:
        for one in files:
            data.append({name: value for name, value in asdict(one).items() if name != "note"})
            if progress is not None:
                progress.step()
            if not as_json:
                opt.say(f"{one}")
    except CannotRender as error:
        raise opt.Unusable(f"{error}") from error
    if as_json:
        opt.say(json.dumps({"files": data}))


def put(output: Path, pages: Sequence[bytes]) -> list[str]:
    """Write pages, each to a file of its own where there are more; return the files' names."""
    paths = [output]
    if len(pages) > 1:
        paths = [
            output.with_name(f"{output.stem}-{number}{output.suffix}")
            for number, _ in enumerate(pages, 1)
        ]
    for path, page in zip(paths, pages, strict=True):
        write(str(path), page)
    return [str(path) for path in paths]


def foot(ready: ReadyTree) -> str:
    """Return the foot of a page: whose rules come first, and which content it has."""
    return (
        "Site rules, the machine's own manual and licensed practice come first."
        f" Content {ready.digest[:12]}, printed {clock.now().astimezone():%Y-%m-%d}."
    )


def opened(options: argparse.Namespace) -> ReadyLibrary:
    """Return the library; where one symptom is named, of its trees that one alone is read."""
    only = frozenset({options.symptom}) if options.symptom else None
    return ReadyLibrary(opt.trees_folder(options), only)


def openable(
    library: ReadyLibrary, symptom: str | None, few: Iterable[str] = ()
) -> tuple[list[ReadyTree], list[str]]:
    """Return the ready tree of a symptom, or of all, and the symptoms whose files have errors.

    Where none is named, all can mean a `few` as well. Raises `WrongUse` for one that is not there,
    `Unusable` for one with errors.
    """
    named = [symptom] if symptom is not None else [*few]
    if named:
        return [library.require(one) for one in named], []
    found: dict[str, Any] = {one: library(one) for one in library.symptoms}
    if not found:
        raise opt.Unusable(f"{library.folder}: no symptom tree there; name a library with --trees.")
    broken = [one for one, ready in found.items() if ready is None]
    return [ready for ready in found.values() if ready is not None], broken
