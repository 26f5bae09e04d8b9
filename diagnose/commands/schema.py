"""`diagnose schema`: what a file of the library may hold, as JSON Schema for an editor."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from diagnose.commands import options as opt
from diagnose.files.definitions import FILES
from diagnose.files.schema import schema
from diagnose.text import did_you_mean, shortened

if TYPE_CHECKING:
    from collections.abc import Sequence


def run(args: Sequence[str]) -> int:
    """Print the schema of a kind of file, or list the kinds. Raises `WrongUse` for no such kind."""
    parser = opt.parser(
        "schema",
        "What a file of the library may hold, as JSON Schema (draft 2020-12), made from the "
        "definitions that the reader uses. An editor with YAML support checks and completes by it. "
        "Without a kind: list them.",
    )
    parser.add_argument("kind", nargs="?", help=f"the kind of file: {', '.join(FILES)}")
    options = parser.parse_args(args)
    if options.kind is None:
        wide = max(map(len, FILES))
        data = {"kinds": [{"kind": kind, "about": one.about} for kind, one in FILES.items()]}
        lines = (f"{kind:{wide}}  {one.about}" for kind, one in FILES.items())
        return opt.listed(options, data, lines, "")
    if options.kind not in FILES:
        hint = did_you_mean(options.kind, FILES)
        name = shortened(options.kind)
        raise opt.WrongUse(f'There is no kind of file "{name}".{hint} `diagnose schema` lists all.')
    opt.say(json.dumps(schema(FILES[options.kind]), indent=2, ensure_ascii=False))
    return opt.OK
