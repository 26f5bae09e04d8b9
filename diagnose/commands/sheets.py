"""`diagnose sheets`: a symptom set in type, for the wall or for the hand."""

from __future__ import annotations

import argparse
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diagnose.commands import drawings as pages
from diagnose.commands import options as opt
from diagnose.commands.drawings import Written
from diagnose.commands.progress import Progress
from diagnose.faces.words import sign_words
from diagnose.measure.inputs import read
from diagnose.measure.model import Need, Unreadable
from diagnose.paper.letters import typeface
from diagnose.paper.sheets import Letters, Sheets, around
from diagnose.paper.typesetter import PAPERS, Document

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.commands.ready_library import ReadyLibrary
    from diagnose.study.ready import ReadyTree

#: Reading distances in metres: held in the hand, and on a wall.
_HAND, _WALL = 0.5, 1.0


def run(args: Sequence[str]) -> int:
    """Set the sheets of one symptom, or of all. Returns 0 once every file is written."""
    parser = opt.parser("sheets", "A symptom's steps on sheets, for the wall or for the hand.")
    parser.add_argument("symptom", nargs="?", help="a symptom's id")
    parser.add_argument("--all", action="store_true", help="all symptoms of the library")
    pages.add_output(parser, pages.ENDINGS, "SYMPTOM-sheets.pdf")
    parser.add_argument("--wall", action="store_true", help="to hang up: a3, to be read at 1 m")
    about = "from how far it is to be read: letters are made as large (0.5 m; on a wall 1 m)"
    parser.add_argument("--read-at", metavar="DISTANCE", type=_metres, help=about)
    parser.add_argument("--paper", choices=PAPERS, help="the sheet's size (a4; on a wall a3)")
    about = "how a sheet hangs (portrait)"
    parser.add_argument("--orientation", choices=("portrait", "landscape"), help=about)
    parser.add_argument("--machine", metavar="ID", help="with this machine's settings and service")
    options = parser.parse_args(args)
    if bool(options.symptom) == options.all:
        raise opt.WrongUse("Name a symptom, or --all; `diagnose sheets --help` explains.")
    options.ending = pages.ending_of(options.output, pages.ENDINGS)
    library = pages.opened(options)
    library.machine(options.machine)
    trees, broken = pages.openable(library, options.symptom)
    if trees:
        with Progress(len(trees), plain=options.plain, silent=options.json) as progress:
            written = _sheets(library, trees, options)
            pages.say(written, as_json=options.json, progress=progress)
    if broken:
        library.require(broken[0])
    return opt.OK


def _sheets(
    library: ReadyLibrary, trees: Sequence[ReadyTree], options: argparse.Namespace
) -> Iterator[Written]:
    """Set all sheets, and yield what was written for each symptom."""
    name = options.paper or ("a3" if options.wall else "a4")
    sides = PAPERS[name]
    if options.orientation == "landscape":
        sides = sides[1], sides[0]
    face = typeface(options.font)
    distance = options.read_at or (_WALL if options.wall else _HAND)
    letters = Letters.read_at(distance, face)
    title = trees[0].title if len(trees) == 1 else "All symptoms"
    data: dict[str, Any] = {
        **around(library.card, library.content.site),
        **letters.on(sides, face),
        "title": title,
        "wall": options.wall,
        "trees": [
            Sheets(one, library.table, sign_words, library.title).data() | {"foot": pages.foot(one)}
            for one in trees
        ],
    }
    document = Document("sheets", data, face, ("begin", "end"))
    stem = trees[0].symptom if len(trees) == 1 else "all-symptoms"
    files = pages.put(Path(options.output or f"{stem}-sheets.pdf"), document.pages(options.ending))
    begins = [*document.values("begin"), *document.values("end")]
    note = f"letters to be read at {distance:g} m"
    for (symptom, first), (_, after) in pairwise(begins):
        yield Written(
            file=files[0] if len(files) == 1 else files[first - 1],
            symptom=symptom,
            sheets=after - first,
            paper=name,
            type_size=round(letters.message, 2),
            note=note,
        )


def _metres(text: str) -> float:
    """Return a distance in metres, as typed with its unit."""
    need = Need("--read-at", "how far away the reader stands", "m", "1 m", 0.1, 20.0)
    try:
        found = read(need, text, bare=False).value
    except Unreadable as error:
        raise argparse.ArgumentTypeError(f"{error}") from error
    assert isinstance(found, float)
    return found
