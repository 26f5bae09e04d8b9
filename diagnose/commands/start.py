"""`diagnose start`: a new case, from the choice of machine and symptom to its end."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.commands import options as opt
from diagnose.commands.at_machine import at_machine
from diagnose.commands.intake import symptom_of
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import start
from diagnose.commands.visits import desk_of
from diagnose.faces.selection import face_for

if TYPE_CHECKING:
    from collections.abc import Sequence


def run(args: Sequence[str]) -> int:
    """Start a case. Returns 0 once it ended, however it did."""
    parser = opt.parser("start", "Find out what is wrong with a machine, step by step.")
    opt.add_symptom(parser)
    opt.add_person(parser)
    opt.add_name(parser)
    parser.add_argument("--trial", action="store_true", help="walk without a log")
    options = parser.parse_args(args)
    symptom = options.symptom
    spoken: list[str] = []
    library = ReadyLibrary(opt.trees_folder(options), frozenset({symptom}) if symptom else None)
    if symptom and symptom not in library.content.symptoms:
        library.require(symptom)
    face = face_for(plain=options.plain, json=options.json)
    there = at_machine(library, face, options)
    if there is None:
        return opt.OK
    notes = there.notes
    if symptom is None:
        symptom, spoken = symptom_of(library, face, first=there.first, notes=notes)
        notes = ()
        if symptom is None:
            return opt.OK
    library.require(symptom)
    log = None if options.trial else there.log or opt.open_log(options)
    words = spoken[-1] if spoken else ""
    start(desk_of(library, log, face, options), symptom, words, notes)
    return opt.OK
