"""`diagnose start`: a new case, from the choice of machine and symptom to its end."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.case.screens import RefusedScreen, phrase
from diagnose.case.view import named
from diagnose.commands import options as opt
from diagnose.commands.at_machine import at_machine
from diagnose.commands.danger import DangerMet, keep
from diagnose.commands.intake import symptom_of
from diagnose.commands.output import write
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import start
from diagnose.commands.visits import desk_of
from diagnose.faces.face import Heading
from diagnose.faces.selection import face_for
from diagnose.log.protocol import LogBusy, LoggedEvent
from diagnose.text import printable

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from diagnose.commands.at_machine import AtMachine
    from diagnose.commands.session import Desk
    from diagnose.faces.face import Face
    from diagnose.log.events import Event


def run(args: Sequence[str]) -> int:
    """Start a case. Returns 0 once it ended, however it did."""
    parser = opt.parser("start", "Find out what is wrong with a machine, step by step.")
    opt.add_symptom(parser)
    opt.add_person(parser)
    opt.add_name(parser)
    parser.add_argument("--trial", action="store_true", help="walk without a log")
    parser.add_argument(
        "--worked", metavar="FILE", help="with --trial: write it as a worked case into this file"
    )
    options = parser.parse_args(args)
    if options.worked is not None and not options.trial:
        raise opt.WrongUse("--worked goes with --trial; a case is printed by `cases show CASE`.")
    symptom = options.symptom
    only = frozenset({symptom}) if symptom else None
    library = ReadyLibrary(opt.trees_folder(options), only, finished=not options.trial)
    if symptom and symptom not in library.content.symptoms:
        library.require(symptom)
    face = face_for(plain=options.plain, json=options.json)
    heard: list[Event] | None = None if options.worked is None else []
    try:
        _begin(library, face, options, heard)
    except DangerMet as met:
        return keep(library, face, options, met)
    if heard is not None:
        _write_worked(library, heard, options.worked)
    return opt.OK


def _write_worked(library: ReadyLibrary, heard: Sequence[Event], file: str) -> None:
    """Write what was walked as worked cases. Raises `WrongUse` where it names no cause."""
    from diagnose.commands.worked_text import worked_lines
    from diagnose.log.account import Account
    from diagnose.log.as_worked import NoCause, as_worked

    # Nobody asks a trial when something was said.
    logged = [LoggedEvent(number=n, at="", event=event) for n, event in enumerate(heard, 1)]
    try:
        if not logged:
            raise NoCause("nothing was walked")
        found = as_worked(Account(logged), library, "a trial")
    except NoCause as error:
        raise opt.WrongUse(f"{file}: the trial makes no worked case: {error}.") from error
    text = "".join(f"{printable(line)}\n" for line in worked_lines(found))
    if write(file, text.encode()):
        print(f"The worked case is in {printable(file)}.", file=sys.stderr)


def _begin(
    library: ReadyLibrary, face: Face, options: argparse.Namespace, heard: list[Event] | None
) -> None:
    there = at_machine(library, face, options, library.content.trees.get(options.symptom))
    if there is None:
        return
    if options.symptom is None:
        _from_the_choice(library, face, options, there, heard)
    else:
        library.require(options.symptom)
        start(_desk(library, face, options, there, heard), options.symptom, notes=there.notes)


def _from_the_choice(
    library: ReadyLibrary,
    face: Face,
    options: argparse.Namespace,
    there: AtMachine,
    heard: list[Event] | None,
) -> None:
    """Walk the symptom that is chosen; one that is taken back at its first screen, choose anew."""
    desk, held, first, notes = None, None, there.first, there.notes
    while True:
        in_force = named(library.table, held.in_force) if held is not None else ()
        choice = symptom_of(library, face, first=first, notes=notes, in_force=in_force)
        if choice.symptom is None:
            return
        try:
            desk = desk or _desk(library, face, options, there, heard)
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


def _desk(
    library: ReadyLibrary,
    face: Face,
    options: argparse.Namespace,
    there: AtMachine,
    heard: list[Event] | None,
) -> Desk:
    # Opened late: whoever leaves at a choice has begun no log.
    log = None if options.trial else there.log or opt.open_log(options)
    return replace(desk_of(library, log, face, options), heard=heard)
