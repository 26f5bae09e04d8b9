"""`diagnose start`: a new case, from the choice of machine and symptom to its end."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.commands import options as opt
from diagnose.commands.intake import choose, machine_of, symptoms
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import Desk, start
from diagnose.commands.visits import visit_of
from diagnose.faces.selection import face_for
from diagnose.files.tree import ROLES

if TYPE_CHECKING:
    from collections.abc import Sequence


def run(args: Sequence[str]) -> int:
    """Start a case. Returns 0 once it ended, however it did."""
    parser = opt.parser("start", "Find out what is wrong with a machine, step by step.")
    parser.add_argument("symptom", nargs="?", help="a symptom's id; asked where left out")
    parser.add_argument("--machine", metavar="ID", help='a machine card\'s id, or "none"')
    parser.add_argument(
        "--as",
        dest="role",
        choices=ROLES,
        default="operator",
        help="who stands at the machine (operator where left out)",
    )
    parser.add_argument("--trial", action="store_true", help="walk without a log")
    options = parser.parse_args(args)
    folder = opt.trees_folder(options)
    wanted = frozenset({options.symptom}) if options.symptom else None
    library = ReadyLibrary(folder, wanted)
    if options.symptom and options.symptom not in library.content.symptoms:
        library.require(options.symptom)
    face = face_for(plain=options.plain, json=options.json)
    go_on, asked = machine_of(library, options.machine, face)
    if not go_on:
        return opt.OK
    words = ""
    symptom = options.symptom
    if symptom is None:
        if not library.content.symptoms:
            raise opt.Unusable(f"{folder}: no symptom tree there; name a library with --trees.")
        spoken: list[str] = []
        symptom = choose(face, *symptoms(library, spoken), first=not asked)
        if symptom is None:
            return opt.OK
        words = spoken[-1] if spoken else ""
    library.require(symptom)
    log = None if options.trial else opt.open_log(options)
    desk = Desk(
        visit=visit_of(library, log, options.role), face=face, log=log, where=opt.where(options)
    )
    start(desk, symptom, words)
    return opt.OK
