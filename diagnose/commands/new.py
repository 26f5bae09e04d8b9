"""`diagnose new`: a library of one's own, or a file of it, to begin with."""

from __future__ import annotations

import json
import os
import re
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Final

from diagnose.commands import options as opt
from diagnose.commands.output import write_folder, write_new
from diagnose.commands.rewriting import add_caution, with_caution
from diagnose.commands.skeletons import EMPTY_CAUTIONS, SMALL_LIBRARY, skeleton
from diagnose.files.compose import Unreadable, text_of
from diagnose.files.kinds import is_id
from diagnose.files.library import (
    CAUTIONS_FILE,
    COMMON,
    FOLDERS,
    KINDS,
    MACHINES,
    ROUNDS,
    SITE_FILE,
    Library,
    add,
    built_in,
    files_in,
    load,
)
from diagnose.files.places import BLANK, Places
from diagnose.files.refusals import not_an_id
from diagnose.files.replies import REPLY_WORDS
from diagnose.text import did_you_mean, printable, shortened

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

LIBRARY, SYMPTOM, MACHINE, ROUND, CAUTION = "library", "symptom", "machine", "round", "caution"

#: What a new file is called.
_WHAT: Final = {
    SYMPTOM: "A symptom tree",
    MACHINE: "A machine card",
    ROUND: "A round",
    CAUTION: "A caution",
}
_KNOWN: Final = (LIBRARY, *_WHAT)
#: The folder inside the library in which a file of its kind stands.
_INSIDE: Final = {SYMPTOM: "", MACHINE: MACHINES, ROUND: ROUNDS}
#: How it is tried out.
_TRIED: Final = {
    SYMPTOM: "start {} --machine none --trial",
    ROUND: "round {} --machine none --trial",
}


def run(args: Sequence[str]) -> int:
    """Make a library, or a file of the library in use with blanks to fill in."""
    parser = opt.parser(
        "new",
        "Begin a library of your own: a copy of the built-in one, or a small worked one (--empty). "
        "Or begin a file in the library in use, with FILL IN where you have to write something.",
    )
    parser.add_argument("what", nargs="?", metavar="WHAT", help=", ".join(_KNOWN))
    about = "the new library's folder; or the id: small letters, digits and hyphens"
    parser.add_argument("file", nargs="*", metavar="DIR|ID", help=about)
    parser.add_argument(
        "--empty", action="store_true", help="a small worked library, to be read and replaced"
    )
    options = parser.parse_args(args)
    what = options.what
    if what not in _KNOWN:
        files = ", ".join(_WHAT)
        hint = "" if what is None else did_you_mean(what, _KNOWN)
        raise opt.WrongUse(f"Say what to begin: library DIR; or one of {files}, and its ID.{hint}")
    if not options.file:
        wanted = "the folder it goes into" if what == LIBRARY else "its id, such as leak-2"
        raise opt.WrongUse(f"Say how the new {what} is called: {wanted}.")
    if what == LIBRARY and len(options.file) > 1:
        raise opt.WrongUse("Name one folder; a name with blanks stands in quotes.")
    options.file = " ".join(options.file)
    if what == LIBRARY:
        return _library(options)
    if options.empty:
        raise opt.WrongUse("--empty goes with `new library DIR`.")
    return _file(options)


# A library


def _library(options: argparse.Namespace) -> int:
    name = options.file
    if options.trees:
        raise opt.WrongUse("`new library` copies the built-in library: leave --trees out.")
    if printable(name) != name or not name.strip():
        mend = "use letters that can be seen"
        raise opt.Unusable(f"{shortened(name)}: no folder can have this name; {mend}.")
    opt.own_folder(Path(name))
    source = SMALL_LIBRARY if options.empty else built_in()
    files = _contents(source)
    folder = write_folder(name, files)
    first = SITE_FILE
    if options.json:
        said = {"made": LIBRARY, "folder": str(folder), "files": sorted(files), "first": first}
        opt.say(json.dumps(said))
        return opt.OK
    what = "A small worked library" if options.empty else "A copy of the built-in library"
    quoted = shlex.quote(str(folder))
    for line in (
        f"{what} is in {folder}",
        "",
        f"1. Open {folder / first} first: its names and telephone numbers are invented,",
        "   and they are what somebody in danger will read. Write your own.",
        "2. Say once that it is the library in use (or write --trees DIR behind each command):",
        f"     export DIAGNOSE_TREES={quoted}",
        "3. See what is in it, and that nothing is wrong with it:",
        "     diagnose check",
        "4. Begin a machine and a symptom of your own:",
        "     diagnose new machine ID",
        "     diagnose new symptom ID",
    ):
        opt.say(line)
    return opt.OK


def _contents(source: Path) -> dict[str, bytes]:
    """Return what a library's files hold, by their paths inside it; its cautions last.

    A tree without them is of no use, so that what is not whole cannot be used. Raises `Unusable`.
    """
    library = Library(source)
    found: list[tuple[str, ...]] = [
        (name,) for name in sorted(path.name for path in source.glob("*.yaml"))
    ]
    for inside in FOLDERS:
        found += files_in(library, inside)
    found.sort(key=lambda parts: parts == (CAUTIONS_FILE,))
    try:
        return {
            "/".join(parts): text_of(source.joinpath(*parts), library.file(*parts)).encode()
            for parts in found
        }
    except Unreadable as error:
        raise opt.Unusable(f"{error.problem}") from error


# A file


def _file(options: argparse.Namespace) -> int:
    what, name = options.what, options.file
    _require_id(what, name)
    folder = opt.own_folder(opt.trees_folder(options))
    library = load(folder, only=frozenset())
    add(library, *files_in(library, KINDS))
    if not library.symptoms and not any((folder / f).exists() for f in (CAUTIONS_FILE, SITE_FILE)):
        mend = "make one first: diagnose new library DIR"
        raise opt.Unusable(f"{folder}: no library is there; {mend}")
    text = skeleton(what, name, library)
    _say(options, _written(what, name, library, text), text)
    return opt.OK


def _require_id(what: str, name: str) -> None:
    """Raise `WrongUse` where a word cannot be the id of something new."""
    if not is_id(name):
        near = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")
        hint = f' Did you mean "{near}"?' if is_id(near) else ""
        raise opt.WrongUse(f"{not_an_id(shortened(name)).message}{hint}")
    if name in REPLY_WORDS:
        message = f'"{name}" is a reply that the program itself uses'
        raise opt.WrongUse(f"{message}: give the {what} another name.")
    if what == SYMPTOM and f"{name}.yaml" in COMMON:
        raise opt.WrongUse(
            f"{name}.yaml is a file of every library: give the symptom another name."
        )


def _written(what: str, name: str, library: Library, text: str) -> Path:
    """Write the new file, or the new caution into `cautions.yaml`; return its path."""
    if what != CAUTION:
        path = library.folder / _INSIDE[what] / f"{name}.yaml"
        if os.path.lexists(path):
            raise opt.WrongUse(f'There is a {what} "{name}" already, in {path}.')
        write_new(path, text.encode())
        return path
    path = library.folder / CAUTIONS_FILE
    if name in library.cautions.cautions:
        raise opt.WrongUse(f'There is a caution "{name}" already, in {path}.')
    if os.path.lexists(path):
        add_caution(path, name, text)
    else:
        write_new(path, with_caution(EMPTY_CAUTIONS, path, name, text).encode())
    return path


def _say(options: argparse.Namespace, path: Path, text: str) -> None:
    what, name = options.what, options.file
    blanks = sum(1 for _ in Places(text).blanks())
    if options.json:
        opt.say(json.dumps({"made": what, "id": name, "file": str(path), "blanks": blanks}))
        return
    again = opt.where(options)
    checked = f" {name}" if what == SYMPTOM else ""
    lines = [
        f"{_WHAT[what]} with {blanks} blank{'' if blanks == 1 else 's'} is in {path}",
        f"Open it, and write what stands behind each {BLANK}. Those that are left are named by:",
        f"  diagnose check{checked}{again}",
    ]
    if what in _TRIED:
        lines += [
            "Try it out, with nothing kept:",
            f"  diagnose {_TRIED[what].format(name)}{again}",
        ]
    if what == CAUTION:
        lines.append(
            "Then write the hazard that it covers under `hazards`, and its id in `covers`."
        )
    for line in lines:
        opt.say(line)
