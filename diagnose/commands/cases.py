"""`diagnose cases`: the log as a list, one case as a story, and service's verdict."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from diagnose.case.diagnoses import diagnoses
from diagnose.case.screens import as_data
from diagnose.case.state import Event
from diagnose.case.story import story
from diagnose.commands import options as opt
from diagnose.commands.machines import open_list
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from diagnose.case.diagnoses import Diagnosis
    from diagnose.case.log import CaseRecord
    from diagnose.case.sqlite_log import SqliteLog


def run(args: Sequence[str]) -> int:
    """List cases, show one, or note what service found."""
    parser = opt.parser("cases", "The cases in the log; `show CASE`; `found CASE FINDING`.")
    parser.add_argument("what", nargs="?", choices=("show", "found"), help="one case, or a verdict")
    parser.add_argument("case", nargs="?", help="the case's short name")
    parser.add_argument("finding", nargs="?", help="the finding that service reports")
    parser.add_argument("--machine", metavar="ID", help="the story of this machine")
    parser.add_argument("--open", action="store_true", help="which machine stands, limps or runs")
    options = parser.parse_args(args)
    log = opt.existing_log(options)
    if options.what == "show":
        return _show(log, options)
    if options.what == "found":
        return _found(log, options)
    if options.open:
        return open_list(log, options)
    if options.machine is not None:
        return _story(log, options)
    cases = log.cases() if log is not None else []
    if options.json:
        opt.say(json.dumps([_data(case) for case in cases]))
    elif not cases:
        opt.say(f"No case yet in {opt.log_path(options)}.")
    for case in [] if options.json else cases:
        opt.say(_line(case))
    return opt.OK


def case_named(
    log: SqliteLog | None, options: argparse.Namespace, *, open_only: bool = False
) -> CaseRecord:
    """Return the case that was asked for, or the last open one where none was named.

    Raises `WrongUse` where there is none.
    """
    cases = log.cases() if log is not None else []
    if options.case is None:
        left = [case for case in cases if case.outcome == "open"]
        if not open_only or not left:
            raise opt.WrongUse(f"Name a case; `diagnose cases` lists them ({len(left)} open).")
        return left[0]
    case = log.case(options.case) if log is not None else None
    if case is None:
        hint = did_you_mean(options.case.upper()[:40], [case.name for case in cases])
        where = opt.log_path(options)
        raise opt.WrongUse(f'There is no case "{options.case[:40]}" in {where}.{hint}')
    if open_only and case.outcome != "open":
        raise opt.WrongUse(f"Case {case.name} has ended ({case.outcome}); start a new one.")
    return case


def _story(log: SqliteLog | None, options: argparse.Namespace) -> int:
    entries = story(log.milestones(options.machine)) if log is not None else []
    if options.json:
        opt.say(json.dumps([as_data(entry) for entry in entries]))
        return opt.OK
    if not entries:
        opt.say(f'Nothing yet of "{options.machine[:40]}" in {opt.log_path(options)}.')
    for entry in entries:
        opt.say(f"{_when(entry.at)}  {entry.case}  {entry.about}  {entry.text}")
    return opt.OK


def _found(log: SqliteLog | None, options: argparse.Namespace) -> int:
    case = case_named(log, options)
    assert log is not None
    events = log.events(case)
    referred = [d for d in diagnoses(case, events) if d.case.outcome == "referred"]
    if not referred:
        raise opt.WrongUse(f"Case {case.name} was not referred ({case.outcome}).")
    # Where more than one symptom was referred or entered, the finding says which is meant; where
    # two know it, the one that was come to last.
    known = [
        (each, symptom, findings)
        for each in referred
        for symptom, findings in _findings(each).items()
    ]
    findings = {name: told for _, _, own in known for name, told in own.items()}
    if options.finding is None:
        raise opt.WrongUse(f"Say what service found: one of {', '.join(findings)}.")
    if options.finding not in findings:
        hint = did_you_mean(options.finding, findings)
        names = " or ".join(symptom for _, symptom, _ in known) or f"case {case.name}"
        raise opt.WrongUse(f'"{options.finding[:40]}" is no finding of {names}.{hint}')
    diagnosis, tree = next((d, s) for d, s, own in reversed(known) if options.finding in own)
    event = Event(
        kind="found",
        symptom=diagnosis.case.symptom,
        step="",
        answer=options.finding,
        more={"cures": [[tree, options.finding], *_doors(diagnosis, tree)]},
    )
    log.append(case, events[-1].number + 1, event)
    opt.say(f"{case.name}: service found {findings[options.finding]['finding']}")
    return opt.OK


def _findings(diagnosis: Diagnosis) -> dict[str, dict[str, Any]]:
    """Return the findings of each symptom that a diagnosis came to, in that order."""
    entered = {diagnosis.case.symptom} | {below for below, _ in _entries(diagnosis)}
    return {
        symptom: tree["findings"]
        for event in diagnosis.events
        for symptom, tree in ((event.body["more"] or {}).get("trees") or {}).items()
        if symptom in entered
    }


def _entries(diagnosis: Diagnosis) -> list[tuple[str, list[str]]]:
    """Return each symptom entered through a doorway, with the doorway: symptom and finding."""
    return [
        (trace["why"], [trace["symptom"], trace["step"]])
        for event in diagnosis.events
        for trace in event.body["trail"]
        if trace["what"] == "entered"
    ]


def _doors(diagnosis: Diagnosis, symptom: str) -> list[list[str]]:
    """Return the doorways that led to a symptom: what counts for it counts for them too."""
    through = dict(_entries(diagnosis))
    doors: list[list[str]] = []
    while symptom in through and through[symptom] not in doors:
        doors.append(through[symptom])
        symptom = through[symptom][0]
    return doors


def _show(log: SqliteLog | None, options: argparse.Namespace) -> int:
    case = case_named(log, options)
    assert log is not None
    events = log.events(case)
    if options.json:
        story = [{"number": e.number, "at": e.at, **e.body} for e in events]
        opt.say(json.dumps({**_data(case), "events": story}))
        return opt.OK
    opt.say(_line(case))
    for event in events:
        opt.say(f"  {event.at[11:16]}  {story_line(event.body)}")
    return opt.OK


def story_line(body: dict[str, Any] | Any) -> str:
    """Return one event as a line a person reads."""
    shown = body["shown"] or {}
    kind = body["kind"]
    if kind == "opened":
        of = body["more"].get("round") or body["more"]["trees"][body["symptom"]]
        return f"opened: {of['title']}"
    if body["caution"]:
        phase = "released" if shown.get("phase") == "release" else "confirmed"
        return f"{shown.get('title')}: {phase if kind == 'done' else kind}"
    figure = (body["more"] or {}).get("figure")
    if figure:
        value = f"{figure['value']:.4g} {figure['unit']}".strip()
        return f"{shown.get('title')}: {value}, {body['answer']}"
    if shown.get("screen") == "item":
        return f"{shown['do']} {kind}"
    if shown.get("ask"):
        return f"{shown['ask']} {body['answer'] or kind}"
    if shown.get("finding"):
        return f"{shown['finding']} {kind}"
    return f"{kind} {body['answer']}".strip()


def _line(case: CaseRecord) -> str:
    machine = case.machine or "no machine"
    end = case.outcome if case.finding is None else f"{case.outcome}: {case.finding}"
    found = f", service found {case.found}" if case.found else ""
    return (
        f"{case.name}  {_when(case.opened)}  {machine}  {case.round or case.symptom}  {end}{found}"
    )


def _when(at: str) -> str:
    return at[:16].replace("T", " ")


def _data(case: CaseRecord) -> dict[str, Any]:
    return {**asdict(case), "key": case.key.hex()}
