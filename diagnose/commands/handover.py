"""`diagnose handover`: the page that licensed service gets, from the log alone."""

from __future__ import annotations

import json
from pathlib import PurePath
from typing import TYPE_CHECKING, Final

from diagnose.commands import drawings as pages
from diagnose.commands import options as opt
from diagnose.commands.cases import case_named
from diagnose.commands.output import write
from diagnose.paper.handover import handover
from diagnose.paper.handover_sheet import as_json, as_markdown
from diagnose.paper.letters import CannotRender, typeface
from diagnose.paper.typesetter import PAPERS

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from diagnose.paper.handover_page import Handover

#: What a file is by its ending. A name without one promises nothing, and gets Markdown.
FORMS: Final = {".md": "md", ".txt": "md", "": "md", ".json": "json", ".pdf": "pdf"}

#: The name that stands for the screen, or for the pipe behind it.
SCREEN: Final = "-"


def run(args: Sequence[str]) -> int:
    """Print the handover of a case, or write it to a file."""
    parser = opt.parser("handover", "The page that service gets: what was found, tried and left.")
    parser.add_argument("case", nargs="?", help="the case's short name; it may still be open")
    about = "write it there (.md, .txt, .json or .pdf; - is here)"
    parser.add_argument("-o", dest="file", metavar="FILE", help=about)
    forms = ("md", "json")
    parser.add_argument("--format", choices=forms, help="md (Markdown, to print) or json")
    parser.add_argument("--paper", choices=PAPERS, default="a4", help="of a .pdf (a4)")
    pages.add_font(parser)
    options = parser.parse_args(args)
    file = None if options.file == SCREEN else options.file
    form = _form(file, options.format or ("json" if options.json else None))
    log, case = case_named(options)
    round_ = None if case.begun_in is None else log.case(case.begun_in)
    around = () if round_ is None else log.events(round_)
    page = handover(case, log.events(case), log.begun_in(case), around)
    if form == "pdf":
        made, told = _printed(page, options)
    else:
        text = as_markdown(page) if form == "md" else json.dumps(as_json(page), indent=2) + "\n"
        made, told = text.encode(), ""
    if file is None:
        opt.page(made.decode().rstrip("\n"))
        return opt.OK
    if write(file, made, log=log.path):
        opt.say(f"The handover of case {case.name} is in {file}{told}.")
    return opt.OK


def _printed(page: Handover, options: argparse.Namespace) -> tuple[bytes, str]:
    """Return the page as PDF, and how much paper it takes, in words. Raises `Unusable`."""
    from diagnose.paper.handover_print import as_pdf

    try:
        made, sheets = as_pdf(page, typeface(options.font), options.paper)
    except CannotRender as error:
        raise opt.Unusable(f"{error}") from error
    return made, f" ({sheets} {'page' if sheets == 1 else 'pages'} of {options.paper})"


def _form(file: str | None, asked: str | None) -> str:
    """Return md or json, as was asked for or as the file's ending says.

    Raises `WrongUse` for an ending that promises something else: nobody could open it.
    """
    if file is None:
        return asked or "md"
    ending = PurePath(file).suffix.lower()
    if ending not in FORMS:
        raise opt.WrongUse(
            f"{file}: a handover is written as .md, .txt, .json or .pdf; name such a file."
        )
    if asked is not None and ending and FORMS[ending] != asked:
        raise opt.WrongUse(f"{file}: this name and --format {asked} do not go together.")
    return asked or FORMS[ending]
