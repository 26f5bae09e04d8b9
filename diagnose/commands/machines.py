"""The shift lead's list, `diagnose cases --open`: which machine is out of use, and what is open."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.view import comes_back_for
from diagnose.commands import options as opt
from diagnose.faces.words import render
from diagnose.log import clock
from diagnose.log.account import Account
from diagnose.log.events import ItemReplied, Replied
from diagnose.log.history import lately, repeats
from diagnose.log.machine_state import IN_USE, WORST_FIRST, held, machine_state, since
from diagnose.log.story import came_to, unfinished

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable, Sequence

    from diagnose.log.history import Repeat
    from diagnose.log.protocol import CaseLog, CaseRecord, LoggedEvent
    from diagnose.log.story import Unfinished


def open_list(log: CaseLog | None, options: argparse.Namespace) -> int:
    """Print every machine of the log, those out of use first, with what waits for service."""
    rows = [] if log is None else _rows(log, options.machine)
    lines = (line for row in rows for line in _lines(row))
    return opt.listed(options, rows, lines, f"No machine yet in {opt.log_path(options)}.")


def comes_back(repeat: Repeat) -> dict[str, Any]:
    """Return a cure that came too often as JSON, with what it means in words."""
    return {
        "finding": repeat.finding[1],
        "words": repeat.words,
        "times": repeat.times,
        "means": render(comes_back_for(repeat.parts, repeat.times)),
    }


def _rows(log: CaseLog, machine: str | None) -> list[dict[str, Any]]:
    milestones = log.milestones(machine)
    often = lately(repeats(milestones), milestones, clock.now())
    found = unfinished(milestones, held(log, machine), log.events)
    rows = [_row(log, one, often.get(one.machine, ())) for one in found]
    return sorted(rows, key=_urgency)


def _urgency(row: dict[str, Any]) -> tuple[int, bool, str, str]:
    """Return what puts the worst state first, then what is open, then what has been so longest."""
    nothing_open = not row["waiting"] and not row["noted"]
    state = WORST_FIRST.index(row["state"])
    return state, nothing_open, row["since"] or "", row["machine"] or ""


def _row(log: CaseLog, machine: Unfinished, often: Iterable[Repeat]) -> dict[str, Any]:
    waiting = [_waiting(log, case, events) for case, events in machine.waiting]
    whys = [each["why"] for each in waiting] + ["not right in a round" for _ in machine.noted]
    first = machine.holding[0] if machine.holding else None
    return {
        "machine": machine.machine,
        "state": IN_USE if first is None else first.is_.state,
        "why": [*whys, "nothing is open"][0] if first is None else first.is_.why,
        "since": since(machine.holding),
        "tag": None if first is None else first.is_.tag,
        "case": None if first is None else first.case.name,
        "waiting": waiting,
        "noted": [{"at": at, "do": do} for at, do in machine.noted],
        "last_round": [{"at": at, "words": words} for at, words in machine.last_round],
        "comes_back": [comes_back(repeat) for repeat in often],
    }


def _waiting(log: CaseLog, case: CaseRecord, events: Sequence[LoggedEvent]) -> dict[str, Any]:
    begun = log.begun_in(case) if case.round is not None else ()
    is_ = machine_state(case, log.events(case), begun)
    replied = [e.event for e in events if isinstance(e.event, Replied | ItemReplied)]
    ended = [event for event in replied if event.outcome is not None] or replied
    shown = ended[-1].shown if ended else None
    found = "" if case.found is None else f" Service found {case.found}."
    return {
        "case": case.name,
        "since": case.opened,
        "symptom": case.symptom or None,
        "state": is_.state,
        "why": is_.why,
        "what": f"{came_to(events)}{found}",
        "for_service": case.outcome == "referred" and case.found is None,
        "ask_service": None if shown is None else shown.ask_service,
        "parts": [] if shown is None else list(shown.parts),
        "noted": [] if case.round else [note.words for _, note in Account(events).notes],
    }


def _lines(row: dict[str, Any]) -> list[str]:
    at = f" since {clock.local(row['since'])}" if row["since"] else ""
    held_by = [f"case {row['case']}"] if row["case"] else []
    held_by += [f"tag of {row['tag']}"] if row["tag"] else []
    by = f" ({'; '.join(held_by)})" if held_by else ""
    lines = [f"{row['machine'] or 'no machine'}: {row['state']}{at}, {row['why']}{by}"]
    for each in row["waiting"]:
        line = f"  {each['case']}  {each['symptom'] or 'round'}  {each['what']}"
        if each["ask_service"]:
            line += f" Service: {each['ask_service']}"
        if each["parts"]:
            line += f" Parts: {', '.join(each['parts'])}."
        lines.append(line)
        lines += [f"    noted: {words}" for words in each["noted"]]
    lines += [f"  noted in the last round: {one['words']}" for one in row["last_round"]]
    lines += [f"  not right: {noted['do']}" for noted in row["noted"]]
    return lines + [f"  {often['words']} {often['means']}" for often in row["comes_back"]]
