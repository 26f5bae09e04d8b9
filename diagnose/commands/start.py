"""`diagnose start`: a new case, from the choice of machine and symptom to its end."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.case.screens import RefusedScreen, phrase
from diagnose.case.view import named
from diagnose.commands import options as opt
from diagnose.commands.at_machine import at_machine
from diagnose.commands.danger import DangerMet, keep
from diagnose.commands.intake import symptom_of
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import start
from diagnose.commands.visits import desk_of
from diagnose.faces.face import Heading
from diagnose.faces.selection import face_for
from diagnose.log.protocol import LogBusy

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from diagnose.commands.at_machine import AtMachine
    from diagnose.commands.session import Desk
    from diagnose.faces.face import Face


def run(args: Sequence[str]) -> int:
    """Start a case. Returns 0 once it ended, however it did."""
    parser = opt.parser("start", "Find out what is wrong with a machine, step by step.")
    opt.add_symptom(parser)
    opt.add_person(parser)
    opt.add_name(parser)
    parser.add_argument("--trial", action="store_true", help="walk without a log")
    options = parser.parse_args(args)
    symptom = options.symptom
    library = ReadyLibrary(opt.trees_folder(options), frozenset({symptom}) if symptom else None)
    if symptom and symptom not in library.content.symptoms:
        library.require(symptom)
    face = face_for(plain=options.plain, json=options.json)
    try:
        _begin(library, face, options)
    except DangerMet as met:
        return keep(library, face, options, met)
    return opt.OK


def _begin(library: ReadyLibrary, face: Face, options: argparse.Namespace) -> None:
    there = at_machine(library, face, options, library.content.trees.get(options.symptom))
    if there is None:
        return
    if options.symptom is None:
        _from_the_choice(library, face, options, there)
    else:
        library.require(options.symptom)
        start(_desk(library, face, options, there), options.symptom, notes=there.notes)


def _from_the_choice(
    library: ReadyLibrary, face: Face, options: argparse.Namespace, there: AtMachine
) -> None:
    """Walk the symptom that is chosen; one that is taken back at its first screen, choose anew."""
    desk, held, first, notes = None, None, there.first, there.notes
    while True:
        in_force = named(library.table, held.in_force) if held is not None else ()
        choice = symptom_of(library, face, first=first, notes=notes, in_force=in_force)
        if choice.symptom is None:
            return
        try:
            desk = desk or _desk(library, face, options, there)
        except LogBusy:
            # What is in it of the machine has to be known.
            message = phrase("not-kept", what=f'your reply "{choice.words or choice.symptom}"')
            face.show(RefusedScreen(message=message), Heading())
            first = False
            continue
        held = start(desk, choice.symptom, choice.words, choice.notes, chosen=True, held=held)
        if held is None:
            return
        first, notes = False, ()


def _desk(library: ReadyLibrary, face: Face, options: argparse.Namespace, there: AtMachine) -> Desk:
    # Opened late: whoever leaves at a choice has begun no log.
    log = None if options.trial else there.log or opt.open_log(options)
    return desk_of(library, log, face, options)
