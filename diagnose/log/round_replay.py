"""A round taken up again: its log told anew on today's round.

A reply stands where its item is still there and says the same, or where it began a case. Items
without one are asked, so an item that has come into the file is not missed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose.case.cautions import CautionState
from diagnose.case.onward import WITHDRAWN
from diagnose.case.screens import phrase
from diagnose.files import replies
from diagnose.log.events import MARKS, CaseOver, ItemReplied
from diagnose.round.state import RoundState
from diagnose.round.walk import ended, settle

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from diagnose.case.state import Trace
    from diagnose.case.visit import Visit
    from diagnose.log.events import Event
    from diagnose.log.protocol import CaseRecord
    from diagnose.round.state import ReadyRound


class ResumedRound(Struct, frozen=True, kw_only=True):
    """A round taken up again: how many replies still fit, and how many do not.

    `case` is the case in which it was left (None where that was not opened yet), if the state
    `begins` one. `trail` is what followed by itself, which may be the end of the round.
    """

    state: RoundState
    trail: tuple[Trace, ...]
    fits: int
    misfits: int
    case: CaseRecord | None = None


class _Move(Struct):
    """A reply that moved the round, what followed, and what became of the case that it began."""

    event: ItemReplied
    case: CaseRecord | None = None
    over: CaseOver | None = None

    @property
    def withdrawn(self) -> bool:
        """Whether *back* took the case back, whether or not the round heard of it."""
        return self.case is not None and self.case.outcome == WITHDRAWN

    @property
    def outcome(self) -> str | None:
        """How the case ended; None while it goes on."""
        outcome = None if self.case is None else self.case.outcome
        return outcome if outcome in ("cured", "referred") else None

    def passed(self) -> list[str]:
        """Return the items that were left for now without being shown."""
        trail = (*self.event.trail, *(self.over.trail if self.over else ()))
        return [trace.step for trace in trail if trace.what == "passed"]


#: The replies with which a danger is reported and taken back.
_ALARMS: Final = (replies.DANGER, replies.MISTAKE)


def replay_round(
    visit: Visit,
    round_: ReadyRound,
    events: Iterable[Event],
    begun: Sequence[CaseRecord],
    *,
    danger: bool = False,
) -> ResumedRound:
    """Return the round as its events left it, with nothing in force.

    `begun` are the cases that it began, in order, withdrawn ones too; `danger`: one was met in the
    last of them. Where that is open, nobody said yet what it was, and it is asked: in the case
    itself, or in the round where that can no longer be walked.
    """
    events = list(events)
    told = [e.reply for e in events if isinstance(e, ItemReplied) and e.reply in _ALARMS]
    asked = told[-1:] == [replies.DANGER] or (danger and begun[-1].outcome == "open")
    again = _told_again(visit, round_, events, begun, danger=danger and not asked)
    alarm = asked and again.state.begins is None and again.state.outcome is None
    return replace(again, state=replace(again.state, alarm=alarm))


def _told_again(
    visit: Visit,
    round_: ReadyRound,
    events: Sequence[Event],
    begun: Sequence[CaseRecord],
    *,
    danger: bool,
) -> ResumedRound:
    marks: dict[str, str] = {}
    over: list[tuple[str, str]] = []
    before: RoundState | None = None
    fits = misfits = 0
    standing = _standing(events, begun)
    for move in standing:
        name = move.event.item
        if not _stands(round_, move):
            misfits += 1
            before = None
            continue
        fits += 1
        earlier = RoundState(
            round=round_,
            cautions=CautionState(),
            at=round_.names.index(name),
            marks=dict(marks),
            over=tuple(over),
            before=before,
        )
        marks[name] = move.event.reply if move.event.reply in MARKS else replies.NOT_NOW
        marks |= {item: replies.NOT_NOW for item in move.passed() if item in round_.names}
        outcome = move.outcome
        symptom = move.event.starts
        if symptom and outcome is None and move is standing[-1]:
            state = replace(earlier, marks=marks, before=earlier)
            return _within(visit, state, move, fits, misfits)
        if symptom and outcome is not None:
            over.append((symptom, outcome))
        before = None if symptom else earlier
    state = RoundState(
        round=round_,
        cautions=CautionState(),
        marks=marks,
        over=tuple(over),
        before=before,
        notes=(phrase("resumed", fits=fits, misfits=misfits),),
    )
    trail: list[Trace] = []
    if danger:
        # The program was ended before the round heard of it.
        state = ended(visit, state, "referred", replies.DANGER, trail)
    else:
        state = settle(visit, state, trail)
    return ResumedRound(state=state, trail=tuple(trail), fits=fits, misfits=misfits)


def _within(visit: Visit, state: RoundState, move: _Move, fits: int, misfits: int) -> ResumedRound:
    """Return the round in the case in which it was left; without it where that has gone."""
    symptom = move.event.starts
    if visit.tree(symptom) is not None:
        state = replace(state, begins=symptom)
        return ResumedRound(state=state, trail=(), fits=fits, misfits=misfits, case=move.case)
    note = phrase("doorway-shut", symptom=symptom)
    trail: list[Trace] = []
    state = settle(visit, replace(state, before=None, notes=(note,)), trail)
    return ResumedRound(state=state, trail=tuple(trail), fits=fits, misfits=misfits)


def _standing(events: Iterable[Event], begun: Sequence[CaseRecord]) -> list[_Move]:
    """Return the replies that moved the round and were not withdrawn by *back*.

    Each that began a case has it: the cases come in the order in which they were begun, and only
    the last may not have been opened yet.
    """
    moves: list[_Move] = []
    cases = iter(begun)
    for event in events:
        if isinstance(event, CaseOver):
            if moves:
                moves[-1].over = event
            continue
        # The program may have been ended before the round heard of it.
        if moves and moves[-1].withdrawn:
            moves.pop()
        if isinstance(event, ItemReplied) and event.reply == replies.BACK:
            del moves[-1:]
        elif isinstance(event, ItemReplied) and event.moves:
            moves.append(_Move(event, next(cases, None) if event.starts else None))
    if moves and moves[-1].withdrawn:
        moves.pop()
    return moves


def _stands(round_: ReadyRound, move: _Move) -> bool:
    name = move.event.item
    if name not in round_.names:
        return False
    item = round_.items[round_.names.index(name)]
    # A reply at a caution knows nothing of the item's words.
    return bool(move.event.caution or move.event.starts) or move.event.shown.do == item.do
