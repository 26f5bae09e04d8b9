"""`diagnose round`: a routine checklist, walked; the list of them; what is overdue."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

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
from diagnose.log.machine_state import machine_states
from diagnose.log.round_record import round_opened
from diagnose.log.summary import IN_USE
from diagnose.round.walk import opened
from diagnose.study.tailored import is_for

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping, Sequence


def run(args: Sequence[str]) -> int:
    """Walk a round, list all, or say what is overdue. Returns 0 once it ended, however it did."""
    parser = opt.parser("round", "Walk a routine checklist; without a name, list them.")
    parser.add_argument("name", nargs="?", metavar="round", help="a round's id")
    opt.add_person(parser)
    opt.add_name(parser)
    parser.add_argument("--trial", action="store_true", help="walk without a log")
    about = "say what is overdue, that which has been so longest first"
    parser.add_argument("--due", action="store_true", help=about)
    parser.add_argument("--all", action="store_true", help="with --due: what is not overdue too")
    options = parser.parse_args(args)
    if options.all and not options.due:
        raise opt.WrongUse("`--all` goes with --due.")
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
        there = at_machine(library, face, options, library.rounds[options.name])
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
    """Print the rounds, those of the machine that was named."""
    card = library.machine(options.machine)
    rows = [
        {
            "round": name,
            **opt.fields(round_, "title", "every"),
            "items": len(round_.items),
            "minutes": sum(item.minutes for item in round_.items.values()),
            "kinds": round_.kinds,
        }
        for name, round_ in library.rounds.items()
        if is_for(card, round_)
    ]
    return opt.listed(options, rows, map(_row, rows), f"No round in {library.folder}/rounds.")


def _row(row: Mapping[str, Any]) -> str:
    kinds = f" ({', '.join(row['kinds'])})" if row["kinds"] else ""
    return "{round}  every {every}  {minutes:.0f} min  {title}".format_map(row) + kinds


def _due(library: ReadyLibrary, options: argparse.Namespace) -> int:
    """Print what is overdue, that which has been so longest first, and how much is not."""
    library.machine(options.machine)
    if options.name:
        library.require_round(options.name)
    log = opt.existing_log(options)
    walked = log.begun() if log is not None else {}
    rounds = library.rounds
    wanted = {name: rounds[name] for name in rounds if options.name in (None, name)}
    machines = _machines(library, options.machine, log.machines() if log is not None else ())

    def offered(machine: str | None, name: str) -> bool:
        return not library.elsewhere(wanted[name], machine)

    entries = due(wanted, machines, walked, clock.now(), offered)
    states = {} if log is None else machine_states(log)
    said = [entry for entry in entries if entry.overdue or options.all]
    more = len(entries) - len(said)
    short = options.machine is None and not options.all
    lines = list(_short(said, states) if short else (_line(one, states) for one in said))
    if more:
        lines = lines or ["No round is overdue."]
        lines.append(f"Not overdue: {more}. `--all` lists these too.")
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


def _short(said: Sequence[Due], states: Mapping[str | None, str]) -> Iterator[str]:
    """Yield a line for each, and one a machine for several that were never walked on it."""
    for (machine, never), entries in groupby(said, lambda one: (one.machine, one.last is None)):
        few = list(entries)
        if never and len(few) > 1:
            named = ", ".join(entry.round for entry in few)
            yield f"{machine or 'no machine'}  never walked: {named}{_state(machine, states)}"
        else:
            yield from (_line(entry, states) for entry in few)


def _state(machine: str | None, states: Mapping[str | None, str]) -> str:
    state = states.get(machine, IN_USE)
    return "" if state == IN_USE else f"; {state}"


def _line(entry: Due, states: Mapping[str | None, str]) -> str:
    ago = "never walked" if entry.hours is None else f"last walked {_ago(entry.hours)} ago"
    every = f"due every {entry.every}{'' if entry.overdue else ', in time'}"
    state = _state(entry.machine, states)
    return f"{entry.machine or 'no machine'}  {entry.round}  {ago}, {every}{state}"


def _ago(hours: float) -> str:
    return f"{hours:.0f} h" if hours < 72 else f"{hours / 24:.0f} days"
