"""A log of format 1 lifted into today's: its events, and the cases that stood inside its rounds.

Format 1 kept a diagnosis that a round had begun among the round's own events, told apart by their
symptom, and what a kind of event alone had in a dictionary `more`. Each such diagnosis becomes a
case of its own here. This module alone knows how format 1 wrote things.
"""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

import msgspec

from diagnose.case.state import Trace
from diagnose.files import replies
from diagnose.log.events import (
    CameTo,
    CaseOver,
    Damaged,
    Event,
    FigureTaken,
    Found,
    ItemReplied,
    Opened,
    Outset,
    ReadingTaken,
    Replied,
    Resumed,
    RoundOpened,
    Shown,
    TreeKept,
    read,
    written,
)
from diagnose.log.protocol import CaseRecord, LoggedEvent

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

VERSION: Final = 1

#: Today's tables take the old ones' names.
ASIDE: Final = """
DROP INDEX cases_by_machine;
DROP INDEX milestones;
ALTER TABLE cases RENAME TO old_cases;
ALTER TABLE events RENAME TO old_events;
"""
CASES: Final = (
    "SELECT key, name, symptom, machine, opened, changed, outcome, finding, found, round, "
    "NULL FROM old_cases ORDER BY opened, name"
)
EVENTS: Final = 'SELECT at, body FROM old_events WHERE "case" = ? ORDER BY number'
DROP: Final = """
DROP TABLE old_events;
DROP TABLE old_cases;
"""


class CannotLift(Exception):
    """An event that format 1 never wrote; the message says at which case it stands."""


@dataclass(slots=True, kw_only=True)
class Lifted:
    """A case as today's log keeps it, with its events; `begun_in` is the key of its round."""

    record: CaseRecord
    begun_in: bytes | None = None
    events: list[LoggedEvent] = field(default_factory=list)
    told: set[str] = field(default_factory=set)

    def add(self, at: str, event: Event) -> None:
        """Put an event at the end."""
        self.events.append(LoggedEvent(number=len(self.events) + 1, at=at, event=event))

    @property
    def outcome(self) -> str | None:
        """What the case has come to by its events; None while it is open."""
        outcomes = [logged.event.outcome for logged in self.events]
        return next((outcome for outcome in reversed(outcomes) if outcome), None)


def kept_beside(path: Path, content: bytes) -> Path:
    """Write the old file's content to a free name beside it; return that. Raises `OSError`."""
    beside = path.with_name(f"{path.name}.format-1")
    number = 1
    while beside.exists():
        number += 1
        beside = path.with_name(f"{path.name}.format-1.{number}")
    try:
        with beside.open("xb") as copy:
            copy.write(content)
            copy.flush()
            os.fsync(copy.fileno())
        shutil.copystat(path, beside)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return beside


def lifted(
    old: CaseRecord,
    rows: Sequence[tuple[str, str]],
    key: Callable[[], bytes],
    name: Callable[[], str],
) -> list[Lifted]:
    """Return a case of format 1 as today's log keeps it, and those that stood inside it.

    `rows` are its events (when, text); `key` and `name` give free ones for the cases that a round
    held. Raises `CannotLift`.
    """
    try:
        events = [(at, json.loads(body)) for at, body in rows]
        told = [_case(old, events)] if old.round is None else _Round(old, key, name).told(events)
        for case in told:
            _look_through(case)
    except _UNREADABLE as error:
        raise CannotLift(f"case {old.name}") from error
    return told


#: What comes of taking events apart that format 1 never wrote.
_UNREADABLE: Final = (
    *(ValueError, LookupError, TypeError, AttributeError, RecursionError),
    *(msgspec.MsgspecError, Damaged),
)


def _look_through(case: Lifted) -> None:
    """Read what will be written, since what cannot be read again must not replace the old log."""
    for logged in case.events:
        read(written(logged.event))
    if not isinstance(case.events[0].event, Opened | RoundOpened):
        raise ValueError("it has no beginning")


def _case(old: CaseRecord, events: Sequence[tuple[str, dict[str, Any]]]) -> Lifted:
    case = Lifted(record=old)
    for at, body in events:
        case.add(at, _event(body, _trail(body)))
    return case


class _Round:
    """A round of format 1, taken apart: its own events, and a case for each diagnosis in it."""

    def __init__(self, old: CaseRecord, key: Callable[[], bytes], name: Callable[[], str]) -> None:
        self.own = Lifted(record=replace(old, found=None))
        self.key = key
        self.name = name
        self.cases: list[Lifted] = []
        self.going_on = False
        self.trees: dict[str, TreeKept] = {}
        self.outset = Outset()

    def told(self, events: Sequence[tuple[str, dict[str, Any]]]) -> list[Lifted]:
        """Take the events in, and return the round and its cases."""
        for at, body in events:
            more = body["more"] or {}
            self.trees |= msgspec.convert(more.get("trees", {}), dict[str, TreeKept])
            if body["kind"] == "opened":
                self._opened(at, body, more)
            elif body["kind"] == "found":
                self._found(at, body)
            elif body["kind"] == "resumed":
                self._resumed(at, body, more)
            elif body["symptom"]:
                self._in_case(at, body, more)
            elif body["kind"] == replies.BACK and self.going_on:
                self._withdrawn(at, body)
            else:
                self._item(at, body, more)
        return [self.own, *map(self._recorded, self.cases)]

    def _opened(self, at: str, body: Mapping[str, Any], more: Mapping[str, Any]) -> None:
        self.outset = _outset(more)
        event = RoundOpened(
            round=more["round"]["id"],
            title=more["round"]["title"],
            every=more["round"]["every"],
            outset=self.outset,
            trail=_trail(body),
            in_force=tuple(more.get("in_force", ())),
        )
        self.own.add(at, event)

    def _item(self, at: str, body: Mapping[str, Any], more: Mapping[str, Any]) -> None:
        event = ItemReplied(
            reply=body["kind"],
            item=body["step"],
            shown=_shown(body),
            caution=body["caution"],
            typed=body["typed"],
            starts=more.get("starts", ""),
            came_to=_came_to(more),
            trail=_trail(body, of_round=True),
            in_force=tuple(more.get("in_force", ())),
        )
        self.own.add(at, event)
        # Where the tree of the case in which the round was left had gone, the round went on.
        self.going_on = False
        if event.starts:
            self._begun(at, body, more, event.starts)

    def _begun(
        self, at: str, body: Mapping[str, Any], more: Mapping[str, Any], symptom: str
    ) -> None:
        case = Lifted(record=self.own.record, begun_in=self.own.record.key)
        case.add(
            at,
            Opened(
                symptom=symptom,
                outset=self.outset,
                trail=_trail(body, of_round=False),
                in_force=tuple(more.get("in_force", ())),
                **self._held(case, more, [symptom]),
            ),
        )
        self.cases.append(case)
        self._over(at, body, case)

    def _in_case(self, at: str, body: Mapping[str, Any], more: Mapping[str, Any]) -> None:
        case = self.cases[-1]
        trail = _trail(body, of_round=False)
        entered = [trace.why for trace in trail if trace.what == "entered"]
        event = _event(body, trail)
        case.add(at, msgspec.structs.replace(event, **self._held(case, more, entered)))
        self._over(at, body, case)

    def _withdrawn(self, at: str, body: Mapping[str, Any]) -> None:
        case = self.cases[-1]
        symptom = _first(case).symptom
        trail = (Trace(what="ended", symptom=symptom, step="", why="withdrawn"),)
        event = _event({**body, "symptom": symptom}, trail)
        case.add(at, event)
        self._over(at, body, case)

    def _resumed(self, at: str, body: Mapping[str, Any], more: Mapping[str, Any]) -> None:
        in_case = _trail(body, of_round=False)
        event = msgspec.structs.replace(_event(body, _trail(body, of_round=True)), symptom="")
        self.own.add(at, msgspec.structs.replace(event, likely={}, trees={}, passed=()))
        if self.going_on:
            case = self.cases[-1]
            entered = [trace.why for trace in in_case if trace.what == "entered"]
            own = msgspec.structs.replace(
                _event(body, in_case), symptom=_first(case).symptom, came_to=None
            )
            case.add(at, msgspec.structs.replace(own, **self._held(case, more, entered)))
            self.going_on = case.outcome is None

    def _found(self, at: str, body: Mapping[str, Any]) -> None:
        """Put what service found with the last case of its symptom."""
        for case in reversed(self.cases):
            if _first(case).symptom == body["symptom"]:
                case.add(at, _event(body, ()))
                return

    def _over(self, at: str, body: Mapping[str, Any], case: Lifted) -> None:
        """Tell the round what became of a case, where the event says so."""
        trail = _trail(body, of_round=True)
        left = body["kind"] == replies.LEAVE
        self.going_on = case.outcome is None and not left
        if case.outcome is None and not left:
            return
        how = "left" if left else case.outcome or ""
        if body["kind"] == replies.DANGER:
            how = replies.DANGER
        more = body["more"] or {}
        over = CaseOver(
            symptom=_first(case).symptom,
            how=how,
            came_to=_came_to(more),
            trail=trail,
            in_force=tuple(more.get("in_force", ())),
        )
        self.own.add(at, over)
        # A round that was left goes on in this case.
        self.going_on = left

    def _held(
        self, case: Lifted, more: Mapping[str, Any], entered: Sequence[str]
    ) -> dict[str, Any]:
        """Return what holds of a case after an event, with the trees that it comes to anew."""
        new = [name for name in entered if name in self.trees and name not in case.told]
        case.told.update(new)
        return {**_held(more), "trees": {name: self.trees[name] for name in new}}

    def _recorded(self, case: Lifted) -> Lifted:
        """Return a case with the record that its events tell."""
        events = [logged.event for logged in case.events]
        cured = [e.step for e in events if isinstance(e, Replied) and e.outcome == "cured"]
        found = [e.finding for e in events if isinstance(e, Found)]
        case.record = CaseRecord(
            key=self.key(),
            name=self.name(),
            symptom=_first(case).symptom,
            machine=self.own.record.machine,
            opened=case.events[0].at,
            changed=case.events[-1].at,
            outcome=case.outcome or "open",
            finding=cured[-1] if cured else None,
            found=found[-1] if found else None,
            begun_in=self.own.record.name,
        )
        return case


def _first(case: Lifted) -> Opened:
    event = case.events[0].event
    if not isinstance(event, Opened):
        raise TypeError(f"{event} opens no case")
    return event


def _event(body: Mapping[str, Any], trail: tuple[Trace, ...]) -> Any:
    """Return an event of a case."""
    more = body["more"] or {}
    shared: dict[str, Any] = {"trail": trail, "in_force": tuple(more.get("in_force", ()))}
    kind = body["kind"]
    cures = tuple((symptom, finding) for symptom, finding in more.get("cures", ()))
    if kind == "found":
        return Found(symptom=body["symptom"], finding=body["answer"], cures=cures, **shared)
    shared |= _held(more)
    if kind == "opened":
        return Opened(
            symptom=body["symptom"], words=more.get("words", ""), outset=_outset(more), **shared
        )
    if kind == "resumed":
        return Resumed(
            symptom=body["symptom"],
            role=more.get("role", "operator"),
            name=more.get("name", ""),
            fits=more.get("fits", 0),
            misfits=more.get("misfits", 0),
            came_to=_came_to(more),
            **shared,
        )
    return Replied(
        reply=kind,
        symptom=body["symptom"],
        step=body["step"],
        shown=_shown(body),
        caution=body["caution"],
        typed=body["typed"],
        answer=body["answer"],
        to=more.get("to", ""),
        reading=_reading(more),
        cures=cures,
        closing=more.get("closing", {}),
        **shared,
    )


def _outset(more: Mapping[str, Any]) -> Outset:
    told = {name: more[name] for name in ("role", "name", "card", "cautions") if name in more}
    return msgspec.convert(told, Outset)


def _held(more: Mapping[str, Any]) -> dict[str, Any]:
    told = {name: more[name] for name in ("likely", "trees", "passed") if name in more}
    whole = msgspec.convert({"event": "resumed", **told}, Resumed)
    return {"likely": whole.likely, "trees": whole.trees, "passed": whole.passed}


def _reading(more: Mapping[str, Any]) -> ReadingTaken | None:
    if "figure" not in more:
        return None
    figure = msgspec.convert(more["figure"], FigureTaken)
    si = tuple((name, float(value), unit) for name, value, unit in more.get("si", ()))
    return ReadingTaken(inputs=more.get("inputs", {}), si=si, figure=figure)


def _shown(body: Mapping[str, Any]) -> Shown:
    shown = dict(body["shown"] or {"screen": ""})
    for name in ("answers", "hazards"):
        shown[name] = [named["title"] for named in shown.get(name, ())]
    known = {name: value for name, value in shown.items() if value is not None}
    return msgspec.convert(known, Shown)


def _came_to(more: Mapping[str, Any]) -> CameTo | None:
    told = more.get("round") or {}
    return msgspec.convert(told, CameTo) if "marks" in told else None


def _trail(body: Mapping[str, Any], *, of_round: bool | None = None) -> tuple[Trace, ...]:
    """Return what followed from an event; of a round's, its own part, or that of its case."""
    return tuple(
        Trace(**trace)
        for trace in body["trail"]
        if of_round is None or of_round == (trace["symptom"] == "")
    )
