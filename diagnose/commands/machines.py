"""The shift lead's list, `diagnose cases --open`: which machine stands, limps or runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from diagnose.commands import options as opt
from diagnose.log.events import ItemReplied, Replied
from diagnose.log.machine_state import LIMPS, RUNS, STANDS, machine_state
from diagnose.log.story import came_to, unfinished

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from diagnose.log.protocol import CaseLog, CaseRecord, LoggedEvent
    from diagnose.log.story import Unfinished

_WORST_FIRST: Final = (STANDS, LIMPS, RUNS)


def open_list(log: CaseLog | None, options: argparse.Namespace) -> int:
    """Print every machine of the log, those that stand first, with what waits for service."""
    found = unfinished(log.milestones(options.machine)) if log is not None else []
    rows = [_row(log, machine) for machine in found if log is not None]
    rows.sort(key=lambda row: (_WORST_FIRST.index(row["state"]), row["since"] or ""))
    lines = (line for row in rows for line in _lines(row))
    return opt.listed(options, rows, lines, f"No machine yet in {opt.log_path(options)}.")


def _row(log: CaseLog, machine: Unfinished) -> dict[str, Any]:
    waiting = [_waiting(log, case, events) for case, events in machine.waiting]
    states = [(LIMPS, "not right in a round") for _ in machine.noted]
    states += [(each["state"], each["why"]) for each in waiting]
    states.sort(key=lambda state: _WORST_FIRST.index(state[0]))
    worst, why = states[0] if states else (RUNS, "nothing is open")
    return {
        "machine": machine.machine,
        "state": worst,
        "why": why,
        "since": machine.since,
        "waiting": waiting,
        "noted": [{"at": at, "do": do} for at, do in machine.noted],
    }


def _waiting(log: CaseLog, case: CaseRecord, events: Sequence[LoggedEvent]) -> dict[str, Any]:
    state = machine_state(case.outcome, log.events(case))
    replied = [e.event for e in events if isinstance(e.event, Replied | ItemReplied)]
    ended = [event for event in replied if event.outcome is not None] or replied
    shown = ended[-1].shown if ended else None
    return {
        "case": case.name,
        "since": case.opened,
        "symptom": case.symptom or None,
        "state": state.state,
        "why": state.why,
        "what": came_to(events),
        "for_service": case.outcome == "referred",
        "ask_service": None if shown is None else shown.ask_service,
        "parts": [] if shown is None else list(shown.parts),
    }


def _lines(row: dict[str, Any]) -> list[str]:
    since = f" since {row['since'][:16].replace('T', ' ')}" if row["since"] else ""
    lines = [f"{row['machine'] or 'no machine'}: {row['state']}{since}, {row['why']}"]
    for each in row["waiting"]:
        line = f"  {each['case']}  {each['symptom'] or 'round'}  {each['what']}"
        if each["ask_service"]:
            line += f" Service: {each['ask_service']}"
        if each["parts"]:
            line += f" Parts: {', '.join(each['parts'])}."
        lines.append(line)
    return lines + [f"  not right: {noted['do']}" for noted in row["noted"]]
