"""The shift lead's list, `diagnose cases --open`: which machine is out of use, and what is open."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from diagnose.case.view import comes_back_for
from diagnose.commands import options as opt
from diagnose.commands.damage import Look, in_words
from diagnose.faces.words import render
from diagnose.log import clock
from diagnose.log.history import LATELY, came_back, since
from diagnose.log.story import noted_now
from diagnose.log.summary import IN_USE, WORST_FIRST

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable, Iterator

    from diagnose.log.history import Repeat
    from diagnose.log.protocol import CaseLog, Listed


def open_list(log: CaseLog | None, options: argparse.Namespace) -> int:
    """Print every machine of the log, those out of use first, with what waits for service."""
    machines = [] if log is None else _machines(log, options.machine)
    nothing = f"No machine yet in {opt.log_path(options)}."
    if log is None:
        return opt.listed(options, [], (), nothing)
    if options.json:
        return opt.streamed(_array(log, machines), nothing)
    look = Look(log)
    return opt.streamed((piece for one in machines for piece in _text(log, one, look)), nothing)


def comes_back(repeat: Repeat) -> dict[str, Any]:
    """Return a cure that came too often as JSON, with what it means in words."""
    return {
        "finding": repeat.finding[1],
        "words": repeat.words,
        "times": repeat.times,
        "means": render(comes_back_for(repeat.parts, repeat.times)),
    }


class _Machine(Struct):
    """A machine in the list: how it is, what its rounds noted, what comes back.

    `first` is the name of the case that holds it, of the worst the newest; `waits` whether anything
    does.
    """

    machine: str | None
    state: str = IN_USE
    since: str = ""
    newest: str = ""
    first: str | None = None
    waits: bool = False
    noted: list[tuple[str, str]] = []
    comes_back: list[Repeat] = []

    def add(self, state: str, since: str, case: str) -> None:
        """Take in something that waits; those opened first come first."""
        self.waits = True
        if state == IN_USE:
            return
        worse = WORST_FIRST.index(state) - WORST_FIRST.index(self.state)
        if worse < 0:
            self.state, self.since, self.newest, self.first = state, since, since, case
        elif worse == 0:
            self.since = min(filter(None, (self.since, since)), default="")
            if since > self.newest:
                self.newest, self.first = since, case

    @property
    def urgency(self) -> tuple[int, bool, str, str]:
        """What puts the worst state first, then what is open, then what has been so longest."""
        nothing_open = not self.waits and not self.noted
        state = WORST_FIRST.index(self.state)
        return state, nothing_open, self.since, self.machine or ""


def _machines(log: CaseLog, only: str | None) -> list[_Machine]:
    """Return the machines in their order; what waits there is read when it is printed."""
    known = log.machines()
    wanted = known if only is None else [only] if only in known else []
    found = {machine: _Machine(machine) for machine in wanted}
    for machine, state, since_, case in log.heads(only):
        found.setdefault(machine, _Machine(machine)).add(state, since_, case)
    for machine, notes in noted_now(log.not_right(only)).items():
        found.setdefault(machine, _Machine(machine)).noted = notes
    now = clock.now()
    # What came back within the last 30 days did so by cures of the 30 days before that.
    for machine, often in came_back(log.cures(only, since(now, 2 * LATELY)), now).items():
        found.setdefault(machine, _Machine(machine)).comes_back = often
    return sorted(found.values(), key=lambda one: one.urgency)


def _head(log: CaseLog, one: _Machine) -> dict[str, Any]:
    case = None if one.first is None else log.case(one.first)
    is_ = None if case is None else log.summary(case).is_
    if is_ is None:
        first = next(log.waiting_at(one.machine), None)
        whys = [] if first is None else [first.summary.is_.why]
        whys += ["not right in a round", "nothing is open"] if one.noted else ["nothing is open"]
    return {
        "machine": one.machine,
        "state": one.state,
        "why": whys[0] if is_ is None else is_.why,
        "since": one.since or None,
        "tag": None if is_ is None else is_.tag,
        "case": one.first,
    }


def _rest(log: CaseLog, one: _Machine) -> dict[str, Any]:
    last = log.last_round(one.machine)
    written = () if last is None else last.summary.noted
    return {
        "noted": [{"at": at, "do": do} for at, do in one.noted],
        "last_round": [{"at": note.at, "words": note.words} for note in written],
        "comes_back": [comes_back(repeat) for repeat in one.comes_back],
    }


def _array(log: CaseLog, machines: Iterable[_Machine]) -> Iterator[str]:
    """Yield the list as one array of JSON, piece by piece."""
    before, look = "[", Look(log)
    for one in machines:
        yield f'{before}{json.dumps(_head(log, one))[:-1]}, "waiting": ['
        between = ""
        for listed, damaged in look.through(log.waiting_at(one.machine)):
            yield f"{between}{json.dumps(_case(listed, damaged))}"
            between = ", "
        yield f"], {json.dumps(_rest(log, one))[1:]}"
        before = ", "
    yield "]\n" if before == ", " else "[]\n"


def _case(one: Listed, damaged: int | None) -> dict[str, Any]:
    case, summary = one.case, one.summary
    data = {
        "case": case.name,
        "since": case.opened,
        "symptom": case.symptom or None,
        "state": summary.is_.state,
        "why": summary.is_.why,
        "what": _what(one),
        "for_service": case.outcome == "referred" and case.found is None,
        "ask_service": summary.ask_service,
        "parts": summary.parts,
        "noted": [] if case.round else [note.words for note in summary.noted],
    }
    return data if damaged is None else {**data, "damaged": damaged}


def _what(one: Listed) -> str:
    found = one.case.found
    return one.summary.what if found is None else f"{one.summary.what} Service found {found}."


def _text(log: CaseLog, one: _Machine, look: Look) -> Iterator[str]:
    head, rest = _head(log, one), _rest(log, one)
    at = f" since {clock.local(head['since'])}" if head["since"] else ""
    held_by = [f"case {head['case']}"] if head["case"] else []
    held_by += [f"tag of {head['tag']}"] if head["tag"] else []
    by = f" ({'; '.join(held_by)})" if held_by else ""
    yield f"{head['machine'] or 'no machine'}: {head['state']}{at}, {head['why']}{by}\n"
    for listed, damaged in look.through(log.waiting_at(one.machine)):
        yield _case_text(listed, damaged)
    yield from (f"  noted in the last round: {note['words']}\n" for note in rest["last_round"])
    yield from (f"  not right: {noted['do']}\n" for noted in rest["noted"])
    yield from (f"  {often['words']} {often['means']}\n" for often in rest["comes_back"])


def _case_text(one: Listed, damaged: int | None) -> str:
    case, summary = one.case, one.summary
    line = f"  {case.name}  {case.symptom or 'round'}  {_what(one)}"
    if summary.ask_service:
        line += f" Service: {summary.ask_service}"
    if summary.parts:
        line += f" Parts: {', '.join(summary.parts)}."
    if summary.noted and case.round is None:
        line += "".join(f"\n    noted: {note.words}" for note in summary.noted)
    return f"{line}\n" if damaged is None else f"{line}\n    {in_words(case, damaged)}\n"
