"""What lists say of a case, from its events: the one place that makes a summary.

Pure. The log keeps what comes of it in the same transaction as the event.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.log.account import Account
from diagnose.log.events import CaseOver, Found, ItemReplied, Replied, Resumed, releases
from diagnose.log.machine_state import machine_state
from diagnose.log.story import came_to, standing
from diagnose.log.summary import IN_USE, MachineState, Note, NotRight, Summary

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.log.events import CameTo, Event, Mark
    from diagnose.log.protocol import CaseRecord, LoggedEvent


def summed_up(
    case: CaseRecord, events: Sequence[LoggedEvent], begun: Sequence[CaseRecord] = ()
) -> Summary:
    """Return what lists say of a case or round, given all its events; `begun` are a round's cases.

    A machine is held by a case that is open or referred, and by a round that was walked to its end
    with a lockout in force, until that says that the machine was released.
    """
    last = events[-1]
    is_ = machine_state(case, events, begun)
    milestones = [logged for logged in events if logged.event.milestone]
    replied = [e.event for e in milestones if isinstance(e.event, Replied | ItemReplied)]
    ended = [event for event in replied if event.outcome is not None] or replied
    shown = ended[-1].shown if ended else None
    summary = Summary(
        number=last.number,
        is_=is_,
        holds=is_.state != IN_USE and _may_hold(case, last.event),
        what=came_to(milestones),
        ask_service=None if shown is None else shown.ask_service,
        parts=() if shown is None else shown.parts,
        noted=tuple(Note(at, note.words) for at, note in Account(events).notes),
        cures=_cures(case, milestones),
        closing=_closing(case, replied),
    )
    return summary if case.round is None else _of_round(summary, events)


def _may_hold(case: CaseRecord, last: Event) -> bool:
    if releases(last) or case.outcome in ("cured", "withdrawn"):
        return False
    told = _told(last)
    return case.outcome != "walked" or (told is not None and told.locked)


def _cures(case: CaseRecord, milestones: Sequence[LoggedEvent]) -> tuple[tuple[str, str], ...]:
    if case.round is not None or case.outcome not in ("cured", "referred"):
        return ()
    kinds = Replied if case.outcome == "cured" else Found
    told = [e.event.cures for e in milestones if isinstance(e.event, kinds)]
    return told[-1] if told else ()


def _closing(case: CaseRecord, replied: Sequence[Replied | ItemReplied]) -> dict[str, float]:
    if case.outcome != "referred":
        return {}
    told = [dict(event.closing) for event in replied if isinstance(event, Replied)]
    return told[-1] if told else {}


def _of_round(summary: Summary, events: Sequence[LoggedEvent]) -> Summary:
    left: tuple[Mark, ...] = ()
    left_at, going_on = "", False
    for logged in events:
        going_on = going_on or isinstance(logged.event, Resumed)
        told = _told(logged.event)
        if told is not None:
            left_at, left, going_on = logged.at, told.marks, False
    marks = {mark.item: mark.mark for mark in left} if left_at and not going_on else None
    return replace(
        summary,
        left_at=left_at,
        left=left,
        going_on=going_on,
        not_right=tuple(
            NotRight(logged.event.item, logged.at, logged.event.shown.do or "")
            for logged in standing(events, marks)
            if isinstance(logged.event, ItemReplied)
        ),
    )


def _told(event: Event) -> CameTo | None:
    return event.came_to if isinstance(event, ItemReplied | CaseOver | Resumed) else None


def past_damage(known: Summary, number: int, event: Event, damaged: int) -> Summary:
    """Return a summary after an event of a case whose events cannot all be read any more.

    It stays as it was, but a machine that is released is released.
    """
    summary = replace(known, number=number, damaged=damaged)
    if not releases(event):
        return summary
    who = event.name if hasattr(event, "name") else ""
    why = f"released by {who}" if who else "released"
    return replace(summary, is_=MachineState(state=IN_USE, why=why), holds=False)
