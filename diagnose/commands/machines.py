"""The shift lead's list, `diagnose cases --open`: which machine stands, limps or runs."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from diagnose.case.diagnoses import came_to, diagnoses
from diagnose.case.story import unfinished
from diagnose.commands import options as opt
from diagnose.paper.told import LIMPS, RUNS, STANDS, standing

if TYPE_CHECKING:
    import argparse

    from diagnose.case.diagnoses import Diagnosis
    from diagnose.case.log import CaseLog
    from diagnose.case.story import Unfinished

_WORST_FIRST: Final = (STANDS, LIMPS, RUNS)


def open_list(log: CaseLog | None, options: argparse.Namespace) -> int:
    """Print every machine of the log, those that stand first, with what waits for service."""
    found = unfinished(log.milestones(options.machine)) if log is not None else []
    rows = [_row(log, machine) for machine in found if log is not None]
    rows.sort(key=lambda row: (_WORST_FIRST.index(row["state"]), row["since"] or ""))
    if options.json:
        opt.say(json.dumps(rows))
        return opt.OK
    if not rows:
        opt.say(f"No machine yet in {opt.log_path(options)}.")
    for row in rows:
        for line in _lines(row):
            opt.say(line)
    return opt.OK


def _row(log: CaseLog, machine: Unfinished) -> dict[str, Any]:
    waiting = []
    states = [(LIMPS, "not right in a round") for _ in machine.noted]
    for each in machine.waiting:
        state = _standing(log, each)
        states.append(state)
        waiting.append(_waiting(each, *state))
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


def _standing(log: CaseLog, diagnosis: Diagnosis) -> tuple[str, str]:
    """Return whether the machine stands or limps with this, judged by all of its events."""
    first = diagnosis.events[0].number
    whole = next(
        each
        for each in diagnoses(diagnosis.whole, log.events(diagnosis.whole))
        if each.events[0].number == first and each.case.symptom == diagnosis.case.symptom
    )
    found = standing(whole.case.outcome, whole.events)
    return found.state, found.why


def _waiting(diagnosis: Diagnosis, state: str, why: str) -> dict[str, Any]:
    shown = diagnosis.last["shown"] or {}
    return {
        "case": diagnosis.case.name,
        "since": diagnosis.case.opened,
        "symptom": diagnosis.case.symptom or None,
        "state": state,
        "why": why,
        "what": came_to(diagnosis.last),
        "for_service": diagnosis.case.outcome == "referred",
        "ask_service": shown.get("ask_service"),
        "parts": list(shown.get("parts") or ()),
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
