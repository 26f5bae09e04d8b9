"""`diagnose quiz`: ten situations of a symptom on paper, and their key on a sheet of its own."""

from __future__ import annotations

from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

from msgspec.structs import asdict

from diagnose.commands import drawings as pages
from diagnose.commands import options as opt
from diagnose.commands.drawings import Written
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.paper.letters import typeface
from diagnose.paper.quiz import SITUATIONS, situations
from diagnose.paper.sheets import SMALLEST, Letters
from diagnose.paper.typesetter import PAPERS, Document

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Sequence


def run(args: Sequence[str]) -> int:
    """Print a quiz. Returns 0 once every file is written."""
    parser = opt.parser("quiz", "Ten situations of a symptom to answer on paper, with their key.")
    parser.add_argument("symptom", help="a symptom's id")
    pages.add_output(parser, pages.ENDINGS, "SYMPTOM-quiz.pdf")
    parser.add_argument("--seed", type=int, default=1, help="the same number, the same sheet (1)")
    parser.add_argument("--paper", choices=PAPERS, default="a4", help="the sheet's size (a4)")
    options = parser.parse_args(args)
    options.ending = pages.ending_of(options.output, pages.ENDINGS)
    pages.say(_written(options), as_json=options.json)
    return opt.OK


def _written(options: argparse.Namespace) -> Iterator[Written]:
    library = ReadyLibrary(opt.trees_folder(options), frozenset({options.symptom}))
    ready = library.require(options.symptom)
    drawn = situations(ready, library.table, Random(options.seed))
    face = typeface(options.font)
    document = Document(
        "quiz",
        {
            **Letters(SMALLEST, SMALLEST).on(PAPERS[options.paper], face),
            "title": ready.title,
            "situations": [asdict(one) for one in drawn],
            "foot": f"{pages.foot(ready)} Seed {options.seed}.",
        },
        face,
    )
    files = pages.put(
        Path(options.output or f"{ready.symptom}-quiz.pdf"), document.pages(options.ending)
    )
    few = f"the tree has only {len(drawn)} situations" if len(drawn) < SITUATIONS else ""
    sheets = document.values("pages")[0] // len(files)
    for file in files:
        yield Written(
            file=file,
            symptom=ready.symptom,
            sheets=sheets,
            paper=options.paper,
            type_size=SMALLEST,
            note=few,
        )
