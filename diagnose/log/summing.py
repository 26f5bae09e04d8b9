"""What lists say of a case, from its events: the one place that makes a summary.

Pure. The log keeps what comes of it in the same transaction as the event.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose.files import replies
from diagnose.files.tree import OUT_OF_USE
from diagnose.log.account import Account, releases
from diagnose.log.events import MOVES, CaseOver, Found, ItemReplied, Replied, Resumed
from diagnose.log.machine_state import IN_FORCE, NOT_KNOWN, NOTHING_HOLDS, TO_LEAVE_SAFE, state_by
from diagnose.log.story import came_to, standing
from diagnose.log.summary import IN_USE, WITH_CARE, MachineState, Note, NotRight, Summary

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.log.events import CameTo, Event, Mark
    from diagnose.log.protocol import CaseRecord, LoggedEvent


def summed_up(
    case: CaseRecord,
    events: Sequence[LoggedEvent],
    begun: Sequence[CaseRecord] = (),
    account: Account | None = None,
) -> Summary:
    """Return what lists say of a case or round, given all its events; `begun` are a round's cases.

    `account` is theirs, where it is at hand.

    A machine is held by a case that is open or referred, and by a round that was walked to its end
    with a lockout in force, or one of which nobody knows since it was taken up again, until that
    says that the machine was released.
    """
    account = account or Account(events)
    is_ = state_by(case, account, begun)
    milestones = [logged for logged in events if logged.event.milestone]
    replied = [e.event for e in milestones if isinstance(e.event, Replied | ItemReplied)]
    ended = [event for event in replied if event.outcome is not None] or replied
    shown = ended[-1].shown if ended else None
    summary = Summary(
        is_=is_,
        holds=is_.state != IN_USE and _may_hold(case, events[-1].event, is_),
        what=came_to(milestones),
        ask_service=None if shown is None else shown.ask_service,
        parts=() if shown is None else shown.parts,
        noted=tuple(Note(at, note.words) for at, note in account.notes),
        cures=_cures(case, milestones),
        closing=_closing(case, replied),
        other=_other(milestones),
    )
    return summary if case.round is None else _of_round(summary, events)


class Ground(Struct, frozen=True):
    """What a case stands on while replies only move it: its summary, which of its cautions are
    lockouts, those of them in force, and the findings that say how to leave the machine."""

    summary: Summary
    lockouts: frozenset[str]
    in_force: frozenset[str]
    leave_safe: frozenset[tuple[str, str]]


def ground(summary: Summary, account: Account) -> Ground | None:
    """Return what a case stands on after its events; None where the next has to look at them all.

    That is where more than a lockout in force, or a finding for service, holds the machine.
    """
    is_ = summary.is_
    if account.symptom == "" or is_.state == WITH_CARE:
        return None
    if is_.state == OUT_OF_USE and is_.why != TO_LEAVE_SAFE and not is_.why.endswith(IN_FORCE):
        return None
    if is_.state == IN_USE and is_.why != NOTHING_HOLDS:
        return None
    lockouts = {id_ for id_, kept in account.outset.cautions.items() if kept.lockout}
    safe = {
        (symptom, step)
        for symptom, tree in account.trees.items()
        for step, finding in tree.findings.items()
        if finding.leave_safe
    }
    in_force = lockouts.intersection(account.events[-1].event.in_force)
    return Ground(summary, frozenset(lockouts), frozenset(in_force), frozenset(safe))


def carried_on(known: Ground, logged: LoggedEvent) -> Ground | None:
    """Return what a case stands on after one more event, as `summed_up` would; no milestone.

    For most replies that is `known` itself, and nothing of it has to be kept. None where all the
    events have to be looked at.
    """
    event, is_ = logged.event, known.summary.is_
    if not isinstance(event, Replied) or event.reply not in _MOVES_ON or event.trees:
        return None
    if known.in_force != known.lockouts.intersection(event.in_force):
        return None
    if any((trace.symptom, trace.step) in known.leave_safe for trace in event.trail):
        return None
    if is_.why != TO_LEAVE_SAFE:
        return known
    is_ = MachineState(state=is_.state, why=is_.why, since=logged.at, tag=is_.tag)
    return replace(known, summary=replace(known.summary, is_=is_))


#: Replies that neither end a case nor withdraw anything.
_MOVES_ON: Final = MOVES | {replies.DONE}


def _may_hold(case: CaseRecord, last: Event, is_: MachineState) -> bool:
    if releases(last) or case.outcome in ("cured", "withdrawn"):
        return False
    told = _told(last)
    if case.outcome != "walked" or is_.why == NOT_KNOWN:
        return True
    return told is not None and told.locked


def _cures(case: CaseRecord, milestones: Sequence[LoggedEvent]) -> tuple[tuple[str, str], ...]:
    if case.round is not None or case.outcome not in ("cured", "referred"):
        return ()
    kinds = Replied if case.outcome == "cured" else Found
    told = [e.event.cures for e in milestones if isinstance(e.event, kinds)]
    return told[-1] if told else ()


def _other(milestones: Sequence[LoggedEvent]) -> str:
    """Return what service's last verdict says where no finding of the trees is it."""
    verdicts = [e.event.other for e in milestones if isinstance(e.event, Found)]
    return verdicts[-1] if verdicts else ""


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


def past_damage(known: Summary, event: Event, damaged: int) -> Summary:
    """Return a summary after an event of a case whose events cannot all be read any more.

    It stays as it was, but a machine that is released is released.
    """
    summary = replace(known, damaged=damaged)
    if not releases(event):
        return summary
    who = event.name if hasattr(event, "name") else ""
    why = f"released by {who}" if who else "released"
    return replace(summary, is_=MachineState(state=IN_USE, why=why), holds=False)
