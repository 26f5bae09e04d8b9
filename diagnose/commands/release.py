"""`diagnose release`: a machine that was out of use is in use again, and the log says by whom."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.commands import options as opt
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.log.machine_state import held, holding, release
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from diagnose.log.machine_state import Held
    from diagnose.log.protocol import CaseLog


def run(args: Sequence[str]) -> int:
    """Release a machine. Raises `WrongUse` for one that is in use, or where nobody gave a name."""
    parser = opt.parser(
        "release",
        "Say that a machine may be used again: it is mended, tools are out, covers are shut, and "
        "whoever hung the tag has taken it off.",
    )
    parser.add_argument("machine", help='a machine\'s id; "none" for cases without a machine')
    opt.add_name(parser, "who says so; it stands in the log")
    options = parser.parse_args(args)
    name = opt.person(options)
    if not name:
        raise opt.WrongUse("Say who releases it: --name WHO.")
    log = opt.existing_log(options)
    holding = holding_of(log, options.machine)
    if log is None or not holding:
        raise opt.WrongUse(_in_use(log, options))
    release(log, holding, name)
    cases = ", ".join(one.case.name for one in holding)
    if options.json:
        return opt.listed(options, _data(options.machine, name, holding), (), "")
    opt.say(f"{options.machine}: in use, released by {name} (cases {cases}).")
    return opt.OK


def holding_of(log: CaseLog | None, machine: str) -> list[Held]:
    """Return what holds a machine by its id; "none" are the cases without one."""
    if log is None:
        return []
    if machine != "none":
        return held(log, machine)
    return holding(log, log.waiting_at(None))


def _in_use(log: CaseLog | None, options: argparse.Namespace) -> str:
    """Return in one line why there is nothing to release."""
    machine = options.machine
    known = {name for name in log.machines() if name is not None} if log is not None else set()
    if machine not in known and machine != "none":
        known |= set(ReadyLibrary(opt.trees_folder(options), frozenset()).machines)
    if machine not in known and machine != "none":
        hint = did_you_mean(machine, known)
        return f'There is no machine "{machine[:40]}" in the library or the log.{hint}'
    return f"{machine[:40]} is in use: there is nothing to release."


def _data(machine: str, name: str, holding: Sequence[Held]) -> dict[str, object]:
    return {"machine": machine, "released": name, "cases": [one.case.name for one in holding]}
