"""`diagnose cases`: the log as a list, one case as a story, and service's verdict."""

from __future__ import annotations

import json
import shlex
from typing import TYPE_CHECKING, Any

from msgspec.structs import asdict

from diagnose.case.cautions import RELEASE
from diagnose.case.screens import DangerScreen, as_data
from diagnose.commands import options as opt
from diagnose.commands.damage import Look, in_words
from diagnose.commands.machines import comes_back, open_list
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.release import holding_of
from diagnose.commands.worked_text import worked_data, worked_lines
from diagnose.files import replies
from diagnose.files.library import load
from diagnose.log import clock
from diagnose.log.account import DANGERS, Account
from diagnose.log.as_worked import NoCause, as_worked
from diagnose.log.events import (
    CaseOver,
    Found,
    ItemReplied,
    Noted,
    Opened,
    Released,
    Replied,
    Resumed,
    RoundOpened,
)
from diagnose.log.events import as_data as event_data
from diagnose.log.history import repeats
from diagnose.log.story import story
from diagnose.log.summary import IN_USE
from diagnose.text import did_you_mean, printable

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from diagnose.log.events import Event
    from diagnose.log.history import Repeat
    from diagnose.log.protocol import CaseLog, CaseRecord, LoggedEvent
    from diagnose.log.sqlite import SqliteLog


#: As much is kept of what service found where no finding is it.
LONGEST_OTHER = 300


def run(args: Sequence[str]) -> int:
    """List cases, show one, or note what service found."""
    parser = opt.parser("cases", "The cases in the log; `show CASE`; `found CASE FINDING`.")
    parser.add_argument(
        "--worked", action="store_true", help="with show: as worked cases, to put into the trees"
    )
    parser.add_argument(
        "--other", metavar="WORDS", help="with found: what it was, where no finding is it"
    )
    parser.add_argument(
        "--unknown", action="store_true", help="the causes that service found and no tree has"
    )
    parser.add_argument("what", nargs="?", choices=("show", "found"), help="one case, or a verdict")
    parser.add_argument("case", nargs="?", help="the case's short name")
    parser.add_argument("finding", nargs="?", help="the finding that service reports")
    parser.add_argument("--machine", metavar="ID", help="the story of this machine")
    parser.add_argument(
        "--open", action="store_true", help="which machine is out of use, and what is open"
    )
    parser.add_argument(
        "--released", action="store_true", help="a verdict with which the machine is released"
    )
    opt.add_name(parser, "who brings the verdict; it stands in the log")
    options = parser.parse_args(args)
    if options.released and options.what != "found":
        raise opt.WrongUse("--released goes with `found CASE FINDING`; else `diagnose release`.")
    _must_go_together(options)
    if options.what is not None:
        return _show(options) if options.what == "show" else _found(options)
    log = opt.existing_log(options)
    if options.open:
        return open_list(log, options)
    if options.unknown:
        return _unknown(log, options)
    return _list(log, options) if options.machine is None else _story(log, options)


def _must_go_together(options: argparse.Namespace) -> None:
    """Raise `WrongUse` for options that mean nothing together."""
    if options.worked and options.what != "show":
        raise opt.WrongUse("--worked goes with `show CASE`.")
    if options.other is None:
        return
    if options.what != "found" or options.finding is not None:
        raise opt.WrongUse("--other goes with `found CASE`, in place of a finding's id.")
    if not " ".join(printable(options.other).split()):
        raise opt.WrongUse('Say what it was: --other "WORDS".')


def _unknown(log: CaseLog | None, options: argparse.Namespace) -> int:
    """List what service found that is no finding of the trees, the newest first."""
    told = [] if log is None else [one for one in log.ended(options.machine) if one.summary.other]
    rows = [
        {
            **opt.fields(one.case, "symptom", "machine"),
            "case": one.case.name,
            "opened": one.case.opened,
            "other": one.summary.other,
        }
        for one in sorted(told, key=lambda one: one.case.opened, reverse=True)
    ]
    lines = [
        f"{row['case']}  {_when(row['opened'])}  {row['machine'] or 'no machine'}  "
        f"{row['symptom']}  {row['other']}"
        for row in rows
    ]
    nothing = f"No cause that the trees lack in {opt.log_path(options)}."
    return opt.listed(options, rows, lines, nothing)


def _list(log: CaseLog | None, options: argparse.Namespace) -> int:
    often = repeats(log.cures()) if log is not None else {}
    listed = _with_damage(log) if log is not None else ()
    where = f"{opt.log_path(options)}. The library in use: {opt.library_in_use(options)}"
    if options.json:
        rows = (json.dumps(_data(case, often, damaged)) for case, damaged in listed)
        return opt.streamed(opt.as_array(rows), "")
    return opt.streamed(_list_lines(log, listed, often, where), f"No case yet in {where}")


def _with_damage(log: CaseLog) -> Iterator[tuple[CaseRecord, int | None]]:
    """Yield each case with its first damaged event, None where none is known."""
    for one, damaged in Look(log).through(log.listed()):
        # One that was taken back at its first screen is no case that anybody looks for.
        if one.case.outcome != "withdrawn":
            yield one.case, damaged


def _list_lines(
    log: CaseLog | None,
    listed: Iterable[tuple[CaseRecord, int | None]],
    often: Mapping[bytes, Repeat],
    where: str,
) -> Iterator[str]:
    told = set()
    case = None
    for case, damaged in listed:
        yield f"{_line(case, log.begun_in(case) if log and case.round else ())}\n"
        if damaged is not None:
            yield f"      {in_words(case, damaged)}\n"
        repeat = often.get(case.key)
        # The newest says it for those before it.
        if repeat is not None and (case.machine, repeat.finding) not in told:
            told.add((case.machine, repeat.finding))
            yield f"      {comes_back(repeat)['means']}\n"
    if case is not None:
        yield f"The log: {where}\n"


def case_named(options: argparse.Namespace, *, left: bool = False) -> tuple[SqliteLog, CaseRecord]:
    """Return the log, and in it the case that was asked for; with `left`, one that is open.

    That is the last one left where none was named. Raises `WrongUse` where there is none.
    """
    log = opt.existing_log(options)
    name = options.case
    if name is None:
        last, count = (None, 0) if log is None else log.last_open()
        if log is None or last is None or not left:
            raise opt.WrongUse(f"Name a case; `diagnose cases` lists them ({count} open).")
        return log, last
    case = log.case(name) if log is not None else None
    if log is None or case is None:
        typed = name.upper()[:40]
        hint = did_you_mean(typed, [] if log is None else log.names(typed))
        where = opt.log_path(options)
        raise opt.WrongUse(f'There is no case "{name[:40]}" in {where}.{hint}')
    if left and case.outcome != "open":
        raise opt.WrongUse(f"Case {case.name} has ended ({case.outcome}); start a new one.")
    return log, case


def _story(log: CaseLog | None, options: argparse.Namespace) -> int:
    entries = story(log.milestones(options.machine)) if log is not None else []
    lines = [f"{_when(one.at)}  {one.case}  {one.about}  {one.text}" for one in entries]
    cases = log.cases(options.machine) if log is not None else []
    for page in opt.pages(cases):
        damaged = log.damaged(page) if log is not None else {}
        lines += [
            f"{one.name}: {in_words(one, damaged[one.key])}" for one in page if one.key in damaged
        ]
    nothing = f'Nothing yet of "{options.machine[:40]}" in {opt.log_path(options)}.'
    return opt.listed(options, as_data(entries), lines, nothing)


def _found(options: argparse.Namespace) -> int:
    log, case = case_named(options)
    _require_referred(log, case)
    account = Account(log.events(case))
    # Where two symptoms know a finding, the one that was come to last is meant.
    known = {
        name: (symptom, finding)
        for symptom, tree in account.trees.items()
        for name, finding in tree.findings.items()
    }
    id_, words = "", _other_words(options)
    cures: tuple[tuple[str, str], ...] = ()
    if not words:
        id_ = _known_by(options, account, known)
        symptom, finding = known[id_]
        cures = ((symptom, id_), *account.doors_to(symptom))
        words = finding.finding
    name = opt.person(options)
    if options.released and not name:
        raise opt.WrongUse("Say who releases the machine: --name WHO.")
    event = Found(
        symptom=case.symptom,
        finding=id_,
        cures=cures,
        name=name,
        released=options.released,
        other="" if id_ else words,
    )
    log.append(case, account.events[-1].number + 1, event)
    opt.say(f"{case.name}: service found {words}")
    if not id_:
        opt.say("No finding is it: `diagnose cases --unknown` lists such causes for the next edit.")
    opt.say(_state_now(log, case.machine or "none", name))
    return opt.OK


def _other_words(options: argparse.Namespace) -> str:
    """Return what it was where no finding is it, as it is kept."""
    return " ".join(printable((options.other or "")[:LONGEST_OTHER]).split())


def _known_by(options: argparse.Namespace, account: Account, known: Mapping[str, object]) -> str:
    """Return the id of a finding as the case knew it; it may have been renamed since.

    Raises `WrongUse` for one that the case does not know.
    """
    said = options.finding
    if said is None:
        other = 'or --other "WORDS" for what no finding is'
        raise opt.WrongUse(f"Say what service found: one of {', '.join(known)}, {other}.")
    if said in known:
        return f"{said}"
    trees = load(opt.trees_folder(options), only=frozenset(account.trees)).trees
    for tree in trees.values():
        for old in tree.steps[said].was if said in tree.steps else ():
            if old in known:
                return old
    hint = did_you_mean(said, known)
    names = " or ".join(account.trees)
    other = "" if hint else ' What no finding is, is noted with --other "WORDS".'
    raise opt.WrongUse(f'"{said[:40]}" is no finding of {names}.{hint}{other}')


def _state_now(log: CaseLog, machine: str, name: str) -> str:
    """Return how a machine is after a verdict: another case may hold it, or this one still."""
    holding = holding_of(log, machine)
    if not holding:
        return f"{machine}: {IN_USE}, nothing holds it any more."
    cases = ", ".join(one.case.name for one in holding)
    how = f"diagnose release {machine} --name {shlex.quote(name) if name else 'WHO'}"
    return f"{machine}: still {holding[0].is_.state} (cases {cases}). Once it may be used: {how}"


def _require_referred(log: CaseLog, case: CaseRecord) -> None:
    """Raise `WrongUse` where a case did not go to service, or is a round."""
    if case.round is not None:
        begun = [one.name for one in log.begun_in(case) if one.outcome == "referred"]
        which = f"name one of its cases: {', '.join(begun)}" if begun else "it referred no case"
        raise opt.WrongUse(f"{case.name} is a round; {which}.")
    if case.outcome != "referred":
        raise opt.WrongUse(f"Case {case.name} was not referred ({case.outcome}).")


def _show(options: argparse.Namespace) -> int:
    log, case = case_named(options)
    logged = log.events(case)
    if options.worked:
        return _as_worked(case, logged, options)
    events = [{"number": e.number, "at": e.at, **event_data(e.event)} for e in logged]
    lines = [f"  {clock.local(entry.at)[11:16]}  {event_line(entry.event)}" for entry in logged]
    often = repeats(log.cures(case.machine)) if case.machine is not None else {}
    if case.key in often:
        lines.append(f"  {comes_back(often[case.key])['means']}")
    head = _line(case, log.begun_in(case))
    return opt.listed(options, {**_data(case, often), "events": events}, [head, *lines], "")


def _as_worked(case: CaseRecord, logged: Sequence[LoggedEvent], options: argparse.Namespace) -> int:
    """Print a case as worked cases of the trees that led to its cause."""
    if case.round is not None:
        raise opt.WrongUse(f"{case.name} is a round; name one of its cases.")
    trees = ReadyLibrary(opt.trees_folder(options))
    try:
        found = as_worked(Account(logged), trees, f"case {case.name}, {case.outcome}")
    except NoCause as error:
        raise opt.WrongUse(f"{case.name} makes no worked case: {error}.") from error
    return opt.listed(options, worked_data(found), worked_lines(found), "")


def event_line(event: Event) -> str:
    """Return one event as a line a person reads."""
    match event:
        case Opened():
            tree = event.trees.get(event.symptom)
            return f"opened: {event.symptom if tree is None else tree.title}"
        case RoundOpened():
            return f"opened: {event.title}"
        case Resumed():
            return "resumed"
        case Found():
            return f"found {event.words}{', released' if event.released else ''}"
        case Released():
            return f"released by {event.name}"
        case Noted():
            return f"noted {event.words}"
        case CaseOver():
            return f"back from {event.symptom}: {event.how}"
    return _exchange_line(event)


def _exchange_line(event: Replied | ItemReplied) -> str:
    """Return what was shown and replied as a line a person reads."""
    if event.shown.screen == DangerScreen.screen:
        return f"Danger: {DANGERS.get(event.answer, event.reply)}"
    if event.caution:
        phase = "released" if event.shown.phase == RELEASE else "confirmed"
        reply = phase if event.reply == replies.DONE else event.reply
        meant = [one for one in event.cautions if not event.refused or one.id in event.refused]
        # What came along with another caution has no title on the screen.
        titles = [one.title for one in meant] or event.refused
        return f"{', '.join(titles)}: {reply}"
    answer = event.answer if isinstance(event, Replied) else ""
    if isinstance(event, Replied) and event.reading is not None:
        figure = event.reading.figure
        value = f"{figure.value:.4g} {figure.unit}".strip()
        return f"{event.shown.title}: {value}, {answer}"
    return f"{event.shown.words} {answer or event.reply}".strip()


def _line(case: CaseRecord, begun: Sequence[CaseRecord] = ()) -> str:
    """Return one case as a line; a round with the cases that it has begun."""
    machine = case.machine or "no machine"
    end = case.outcome if case.finding is None else f"{case.outcome}: {case.finding}"
    end += f", service found {case.found}" if case.found else ""
    end += f", in round {case.begun_in}" if case.begun_in else ""
    cases = [f"{one.name} {one.outcome}" for one in begun if one.outcome != "withdrawn"]
    end += f"; its cases: {', '.join(cases)}" if cases else ""
    return f"{case.name}  {_when(case.opened)}  {machine}  {case.round or case.symptom}  {end}"


def _when(at: str) -> str:
    return clock.local(at)


def _data(
    case: CaseRecord, often: Mapping[bytes, Repeat], damaged: int | None = None
) -> dict[str, Any]:
    repeat = often.get(case.key)
    told = None if repeat is None else comes_back(repeat)
    data = {**asdict(case), "key": case.key.hex(), "comes_back": told}
    return data if damaged is None else {**data, "damaged": damaged}
