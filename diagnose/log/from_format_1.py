"""A log of format 1 lifted into today's: its events, and the cases that stood inside its rounds.

Format 1 kept a diagnosis that a round had begun among the round's own events, told apart by their
symptom, and what a kind of event alone had in a dictionary `more`. Each such diagnosis becomes a
case of its own here. This module alone knows how format 1 wrote things.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from diagnose.case.state import Trace
from diagnose.files import replies
from diagnose.log.events import (
    Damaged,
    Event,
    Found,
    Opened,
    Replied,
    RoundOpened,
    read,
    written,
)
from diagnose.log.protocol import CaseRecord, LoggedEvent

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

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


class Lifted(Struct, kw_only=True):
    """A case as today's log keeps it, with its events; `begun_in` is the key of its round."""

    record: CaseRecord
    begun_in: bytes | None = None
    events: list[LoggedEvent] = []
    told: set[str] = set()

    def add(self, at: str, event: Event) -> None:
        """Put an event at the end."""
        self.events.append(LoggedEvent(number=len(self.events) + 1, at=at, event=event))

    @property
    def outcome(self) -> str | None:
        """What the case has come to by its events; None while it is open."""
        outcomes = [logged.event.outcome for logged in self.events]
        return next((outcome for outcome in reversed(outcomes) if outcome), None)


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
        kind = body["kind"] if body["kind"] in ("opened", "found", "resumed") else "replied"
        case.add(at, _event(kind, body, _trail(body)))
    return case


class _Round:
    """A round of format 1, taken apart: its own events, and a case for each diagnosis in it."""

    def __init__(self, old: CaseRecord, key: Callable[[], bytes], name: Callable[[], str]) -> None:
        self.own = Lifted(record=replace(old, found=None))
        self.key = key
        self.name = name
        self.cases: list[Lifted] = []
        self.going_on = False
        self.trees: dict[str, Any] = {}
        self.outset: Mapping[str, Any] = {}

    def told(self, events: Sequence[tuple[str, dict[str, Any]]]) -> list[Lifted]:
        """Take the events in, and return the round and its cases."""
        for at, body in events:
            kind, more = body["kind"], body["more"] or {}
            self.trees |= more.get("trees", {})
            if kind == "opened":
                self.outset = more
                named = {**more["round"], "round": more["round"]["id"]}
                self.own.add(at, _event("round opened", body, _trail(body), **named))
            elif kind == "found":
                self._found(at, body)
            elif kind == "resumed":
                self._resumed(at, body)
            elif body["symptom"]:
                self._in_case(at, body, _trail(body, of_round=False))
            elif kind == replies.BACK and self.going_on:
                symptom = _first(self.cases[-1]).symptom
                trail = [Trace(what="ended", symptom=symptom, step="", why="withdrawn")]
                self._in_case(at, {**body, "symptom": symptom}, trail)
            else:
                self._item(at, body, more.get("starts", ""))
        return [self.own, *map(self._recorded, self.cases)]

    def _item(self, at: str, body: Mapping[str, Any], starts: str) -> None:
        trail = _trail(body, of_round=True)
        self.own.add(at, _event("item", body, trail, item=body["step"]))
        # Where the tree of the case in which the round was left had gone, the round went on.
        self.going_on = False
        if starts:
            case = Lifted(record=self.own.record, begun_in=self.own.record.key)
            trail = _trail(body, of_round=False)
            new = {"symptom": starts, "trees": self._new_trees(case, [starts])}
            case.add(at, _event("opened", body, trail, **new, outset=self.outset))
            self.cases.append(case)
            self._over(at, body, case)

    def _in_case(self, at: str, body: Mapping[str, Any], trail: Sequence[Trace]) -> None:
        case = self.cases[-1]
        entered = [trace.why for trace in trail if trace.what == "entered"]
        case.add(at, _event("replied", body, trail, trees=self._new_trees(case, entered)))
        self._over(at, body, case)

    def _resumed(self, at: str, body: Mapping[str, Any]) -> None:
        bare: dict[str, Any] = {"symptom": "", "likely": {}, "trees": {}, "passed": ()}
        self.own.add(at, _event("resumed", body, _trail(body, of_round=True), **bare))
        if self.going_on:
            case, trail = self.cases[-1], _trail(body, of_round=False)
            entered = [trace.why for trace in trail if trace.what == "entered"]
            own: dict[str, Any] = {"symptom": _first(case).symptom, "round": None}
            own["trees"] = self._new_trees(case, entered)
            case.add(at, _event("resumed", body, trail, **own))
            self.going_on = case.outcome is None

    def _found(self, at: str, body: Mapping[str, Any]) -> None:
        """Put what service found with the last case of its symptom."""
        for case in reversed(self.cases):
            if _first(case).symptom == body["symptom"]:
                case.add(at, _event("found", body, ()))
                return

    def _over(self, at: str, body: Mapping[str, Any], case: Lifted) -> None:
        """Tell the round what became of a case, where the event says so."""
        # A round that was left goes on in this case.
        left = body["kind"] == replies.LEAVE
        self.going_on = left or case.outcome is None
        if left or case.outcome is not None:
            how = "left" if left else case.outcome
            how = replies.DANGER if body["kind"] == replies.DANGER else how
            own = {"symptom": _first(case).symptom, "how": how}
            self.own.add(at, _event("case over", body, _trail(body, of_round=True), **own))

    def _new_trees(self, case: Lifted, entered: Sequence[str]) -> dict[str, Any]:
        """Return the trees that a case comes to anew."""
        new = [name for name in entered if name in self.trees and name not in case.told]
        case.told.update(new)
        return {name: self.trees[name] for name in new}

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


def _event(kind: str, body: Mapping[str, Any], trail: Sequence[Trace], **changes: Any) -> Event:
    """Return an event of today's kind; `changes` stand in for what the old one says.

    Keys of the old one that today's kind does not have are passed over.
    """
    told = {**body, **(body["more"] or {}), **changes}
    round_, outset = told.get("round"), told.get("outset", told)
    parts = {
        "event": kind,
        "reply": body["kind"],
        "finding": body["answer"],
        "shown": _shown(body),
        "came_to": round_ if isinstance(round_, dict) and "marks" in round_ else None,
        "outset": {name: outset[name] for name in _OUTSET if name in outset},
        "reading": {"inputs": {}, "si": (), **told} if "figure" in told else None,
        "trail": trail,
    }
    known = {name: value for name, value in {**told, **parts}.items() if value is not None}
    event: Event = msgspec.convert(known, Event)
    return event


_OUTSET: Final = ("role", "name", "card", "cautions")


def _shown(body: Mapping[str, Any]) -> dict[str, Any]:
    shown = dict(body["shown"] or {"screen": ""})
    for name in ("answers", "hazards"):
        shown[name] = [named["title"] for named in shown.get(name, ())]
    return {name: value for name, value in shown.items() if value is not None}


def _trail(body: Mapping[str, Any], *, of_round: bool | None = None) -> list[Trace]:
    """Return what followed from an event; of a round's, its own part, or that of its case."""
    return [
        Trace(**trace)
        for trace in body["trail"]
        if of_round is None or of_round == (trace["symptom"] == "")
    ]
