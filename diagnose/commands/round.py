"""`diagnose round`: a routine checklist, walked; the list of them; what is overdue."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.case.screens import as_data
from diagnose.commands import options as opt
from diagnose.commands.at_machine import at_machine
from diagnose.commands.danger import DangerMet, keep
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.round_session import run_round
from diagnose.commands.session import NewCase, begin
from diagnose.commands.visits import desk_of
from diagnose.faces.selection import face_for
from diagnose.files.tree import ROLES
from diagnose.log import clock
from diagnose.log.history import Due, due
from diagnose.log.round_record import round_opened
from diagnose.log.summary import IN_USE, WORST_FIRST
from diagnose.round.walk import opened

if TYPE_CHECKING:
    import argparse
    from collections.abc import Mapping, Sequence


def run(args: Sequence[str]) -> int:
    """Walk a round, list all, or say what is overdue. Returns 0 once it ended, however it did."""
    parser = opt.parser("round", "Walk a routine checklist; without a name, list them.")
    parser.add_argument("name", nargs="?", metavar="round", help="a round's id")
    opt.add_person(parser)
    opt.add_name(parser)
    parser.add_argument("--trial", action="store_true", help="walk without a log")
    parser.add_argument(
        "--due", action="store_true", help="say what is overdue, machine by machine"
    )
    options = parser.parse_args(args)
    # No tree is needed before an item is not right.
    library = ReadyLibrary(opt.trees_folder(options), frozenset(), finished=not options.trial)
    if options.due:
        return _due(library, options)
    if options.name is None:
        return _list(library, options)
    round_ = library.require_round(options.name)
    if all(ROLES.index(item.by) > ROLES.index(options.role) for item in round_.items):
        least = min((item.by for item in round_.items), key=ROLES.index)
        raise opt.WrongUse(f'The round "{options.name}" is for {least} people: add --as {least}.')
    face = face_for(plain=options.plain, json=options.json)
    try:
        there = at_machine(library, face, options)
    except DangerMet as met:
        return keep(library, face, options, met)
    if there is None:
        return opt.OK
    # It may be for other machines than the one that was chosen.
    round_ = library.require_round(options.name)
    log = None if options.trial else there.log or opt.open_log(options)
    desk = desk_of(library, log, face, options)
    state, trail = opened(desk.visit, round_)
    state = replace(state, notes=(*there.notes, *state.notes))
    event = round_opened(desk.visit, state, trail, desk.name)
    record = None
    if log is not None:
        record, busy = begin(log, NewCase(desk.machine, event), set())
        state = replace(state, notes=(*state.notes, *busy))
    run_round(desk, state, record)
    return opt.OK


def _list(library: ReadyLibrary, options: argparse.Namespace) -> int:
    rows = [
        {
            "round": name,
            **opt.fields(round_, "title", "every"),
            "items": len(round_.items),
            "minutes": sum(item.minutes for item in round_.items.values()),
        }
        for name, round_ in library.rounds.items()
    ]
    lines = map("{round}  every {every}  {minutes:.0f} min  {title}".format_map, rows)
    return opt.listed(options, rows, lines, f"No round in {library.folder}/rounds.")


def _due(library: ReadyLibrary, options: argparse.Namespace) -> int:
    if options.name:
        library.require_round(options.name)
    library.machine(options.machine)
    log = opt.existing_log(options)
    walked = log.begun() if log is not None else {}
    rounds = library.rounds
    wanted = {name: rounds[name] for name in rounds if options.name in (None, name)}
    machines = _machines(library, options.machine, log.machines() if log is not None else ())
    entries = due(wanted, machines, walked, clock.now())
    states: dict[str | None, str] = {}
    for machine, state, _, _ in log.heads() if log is not None else ():
        states[machine] = min(state, states.get(machine, IN_USE), key=WORST_FIRST.index)
    lines = (_line(entry, states) for entry in entries if entry.overdue)
    return opt.listed(options, as_data(entries), lines, "No round is overdue.")


def _machines(
    library: ReadyLibrary, named: str | None, in_log: Sequence[str | None]
) -> list[str | None]:
    """Return the machine that was named, else those of the library, then those of the log alone."""
    if named is not None:
        return [None if named == "none" else named]
    known = list(library.machines)
    others = {machine for machine in in_log if machine}.difference(known)
    return [*known, *sorted(others)] or [None]


def _line(entry: Due, states: Mapping[str | None, str]) -> str:
    ago = "never walked" if entry.hours is None else f"last walked {_ago(entry.hours)} ago"
    state = states.get(entry.machine, IN_USE)
    state = "" if state == IN_USE else f"; {state}"
    return f"{entry.machine or 'no machine'}  {entry.round}  {ago}, due every {entry.every}{state}"


def _ago(hours: float) -> str:
    return f"{hours:.0f} h" if hours < 72 else f"{hours / 24:.0f} days"
