"""`diagnose quiz`: ten situations of a symptom on paper, and their key on a sheet of its own."""

from __future__ import annotations

from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

from diagnose.commands import options as opt
from diagnose.commands.drawings import Drawing, said, write
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.paper import render
from diagnose.paper.quiz import SITUATIONS, situations
from diagnose.paper.quiz_sheet import sheets_of
from diagnose.paper.sheet import PAPERS, paper

if TYPE_CHECKING:
    from collections.abc import Sequence

_ENDINGS = ("pdf", "svg", "png")


def run(args: Sequence[str]) -> int:
    """Print a quiz. Returns 0 once every file is written."""
    parser = opt.parser("quiz", "Ten situations of a symptom to answer on paper, with their key.")
    parser.add_argument("symptom", help="a symptom's id")
    parser.add_argument("-o", dest="output", metavar="FILE", help="where to (SYMPTOM-quiz.pdf)")
    parser.add_argument("--seed", type=int, default=1, help="the same number, the same sheet (1)")
    parser.add_argument("--paper", choices=PAPERS, default="a4", help="the sheet's size (a4)")
    options = parser.parse_args(args)
    output = Path(options.output or f"{options.symptom}-quiz.pdf")
    ending = output.suffix.lower().removeprefix(".")
    if ending not in _ENDINGS:
        raise opt.WrongUse(f'"{output}" has to end in one of .pdf, .svg, .png.')
    library = ReadyLibrary(opt.trees_folder(options), frozenset({options.symptom}))
    ready = library.require(options.symptom)
    drawn = situations(ready, library.content.cautions, library.table, Random(options.seed))
    foot = (
        "Site rules, the machine's own manual and licensed practice come first."
        f" Seed {options.seed}, content {ready.digest[:12]}."
    )
    try:
        sheets, metrics = sheets_of(
            ready.tree.title, drawn, foot, paper(options.paper, landscape=False)
        )
        few = f"the tree has only {len(drawn)} situations" if len(drawn) < SITUATIONS else ""
        drawing = Drawing(
            symptom=ready.tree.symptom,
            dots=tuple(sheet.dot for sheet in sheets),
            metrics=metrics,
            type_size=min(sheet.type_size for sheet in sheets),
            paper=options.paper,
            note=few,
        )
        said(write([drawing], output, ending), as_json=options.json)
    except render.CannotRender as error:
        raise opt.Unusable(f"{error}") from error
    return opt.OK
