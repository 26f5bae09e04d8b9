"""`diagnose handover`: the page that licensed service gets, from the log alone."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from diagnose.commands import options as opt
from diagnose.commands.cases import case_named
from diagnose.commands.output import write
from diagnose.paper.handover import handover
from diagnose.paper.handover_sheet import as_json, as_markdown

if TYPE_CHECKING:
    from collections.abc import Sequence


def run(args: Sequence[str]) -> int:
    """Print the handover of a case, or write it to a file."""
    parser = opt.parser("handover", "The page that service gets: what was found, tried and left.")
    parser.add_argument("case", nargs="?", help="the case's short name; it may still be open")
    parser.add_argument("-o", dest="file", metavar="FILE", help="write it there, not to the screen")
    forms = ("md", "json")
    parser.add_argument("--format", choices=forms, help="md (Markdown, to print) or json")
    options = parser.parse_args(args)
    log, case = case_named(options)
    round_ = None if case.begun_in is None else log.case(case.begun_in)
    around = () if round_ is None else log.events(round_)
    page = handover(case, log.events(case), log.begun_in(case), around)
    form = options.format or ("json" if options.json else "md")
    text = as_markdown(page) if form == "md" else json.dumps(as_json(page), indent=2) + "\n"
    if options.file is None:
        opt.say(text.rstrip("\n"))
        return opt.OK
    write(options.file, text.encode(), log=log.path)
    opt.say(f"The handover of case {case.name} is in {options.file}.")
    return opt.OK
