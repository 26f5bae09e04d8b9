"""`diagnose check`: every problem of a library, with its place."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from diagnose.case.screens import as_data
from diagnose.commands import options as opt
from diagnose.files.library import load
from diagnose.rules.check import check, errors
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Sequence


def run(args: Sequence[str]) -> int:
    """Check a library. Returns 1 where something has to be mended."""
    parser = opt.parser("check", "Say what is wrong with the trees, file by file and line by line.")
    parser.add_argument("symptom", nargs="*", help="only these; all where left out")
    options = parser.parse_args(args)
    folder = opt.trees_folder(options)
    library = load(folder)
    for name in options.symptom:
        if name not in library.symptoms:
            hint = did_you_mean(name, library.symptoms)
            raise opt.WrongUse(f'There is no symptom "{name[:40]}" in {folder}.{hint}')
    problems = check(library)
    if options.symptom:
        files = {library.file(f"{name}.yaml") for name in options.symptom}
        problems = [problem for problem in problems if problem.file in files]
    count = len(options.symptom or library.symptoms)
    if options.json:
        opt.say(json.dumps({"trees": count, "problems": as_data(problems)}))
    else:
        for problem in problems:
            opt.say(str(problem))
        bad = len(errors(problems))
        trees = f"{count} tree{'' if count == 1 else 's'}"
        opt.say(f"{trees}, {_counted(bad, 'error')}, {_counted(len(problems) - bad, 'warning')}.")
    return opt.BAD_ANSWER if errors(problems) else opt.OK


def _counted(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"
