"""`diagnose round`: a routine checklist, walked; the list of them; what is overdue."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from diagnose.case.screens import as_data
from diagnose.commands import options as opt
from diagnose.commands.intake import machine_of
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import Desk, Record, run_round
from diagnose.commands.visits import visit_of
from diagnose.faces.selection import face_for
from diagnose.files.tree import ROLES
from diagnose.log import clock
from diagnose.log.history import Due, due
from diagnose.log.round_record import round_opened
from diagnose.round.walk import opened

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence


def run(args: Sequence[str]) -> int:
    """Walk a round, list all, or say what is overdue. Returns 0 once it ended, however it did."""
    parser = opt.parser("round", "Walk a routine checklist; without a name, list them.")
    parser.add_argument("name", nargs="?", metavar="round", help="a round's id")
    parser.add_argument("--machine", metavar="ID", help='a machine card\'s id, or "none"')
    parser.add_argument(
        "--as",
        dest="role",
        choices=ROLES,
        default="operator",
        help="who stands at the machine (operator where left out)",
    )
    parser.add_argument("--name", dest="person", default="", help="who it is, for the log")
    parser.add_argument("--trial", action="store_true", help="walk without a log")
    parser.add_argument(
        "--due", action="store_true", help="say what is overdue, machine by machine"
    )
    options = parser.parse_args(args)
    # No tree is needed before an item is not right.
    library = ReadyLibrary(opt.trees_folder(options), frozenset())
    if options.due:
        return _due(library, options)
    if options.name is None:
        return _list(library, options)
    round_ = library.require_round(options.name)
    face = face_for(plain=options.plain, json=options.json)
    go_on, _ = machine_of(library, options.machine, face)
    if not go_on:
        return opt.OK
    log = None if options.trial else opt.open_log(options)
    visit = visit_of(library, log, options.role)
    desk = Desk(
        visit=visit,
        face=face,
        log=log,
        where=opt.where(options),
        name=options.person[:200],
    )
    state, trail = opened(visit, round_)
    record = None
    if log is not None:
        event = round_opened(visit, state, trail, desk.name)
        record = Record(log, log.open_case(desk.machine, event))
    run_round(desk, state, record)
    return opt.OK


def _list(library: ReadyLibrary, options: argparse.Namespace) -> int:
    rounds = library.content.rounds
    if options.json:
        data = [
            {
                "round": name,
                "title": str(round_.title),
                "every": round_.every,
                "items": len(round_.items),
                "minutes": sum(item.minutes for item in round_.items.values()),
            }
            for name, round_ in rounds.items()
        ]
        opt.say(json.dumps(data))
        return opt.OK
    if not rounds:
        opt.say(f"No round in {library.folder}/rounds.")
    for name, round_ in rounds.items():
        minutes = sum(item.minutes for item in round_.items.values())
        opt.say(f"{name}  every {round_.every}  {minutes:.0f} min  {round_.title}")
    return opt.OK


def _due(library: ReadyLibrary, options: argparse.Namespace) -> int:
    for name in [options.name] if options.name else []:
        library.require_round(name)
    if options.machine is not None:
        library.machine(options.machine)
    log = opt.existing_log(options)
    cases = log.cases() if log is not None else []
    machines: list[str | None] = list(library.content.machines)
    machines += sorted({case.machine for case in cases if case.machine} - set(machines))
    if options.machine is not None:
        machines = [None if options.machine == "none" else options.machine]
    rounds = library.content.rounds
    wanted = {name: rounds[name] for name in rounds if options.name in (None, name)}
    entries = due(wanted, machines or [None], cases, clock.now())
    if options.json:
        opt.say(json.dumps([as_data(entry) for entry in entries]))
        return opt.OK
    late = [entry for entry in entries if entry.overdue]
    for entry in late:
        opt.say(_line(entry))
    if not late:
        opt.say("No round is overdue.")
    return opt.OK


def _line(entry: Due) -> str:
    ago = "never walked" if entry.hours is None else f"last walked {_ago(entry.hours)} ago"
    return f"{entry.machine or 'no machine'}  {entry.round}  {ago}, due every {entry.every}"


def _ago(hours: float) -> str:
    return f"{hours:.0f} h" if hours < 72 else f"{hours / 24:.0f} days"
