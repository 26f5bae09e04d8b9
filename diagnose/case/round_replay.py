"""A round taken up again: its log told anew on today's round and trees.

A reply stands where its item is still there and says the same, or where it started a symptom. Items
without one are asked, so an item that has come into the file is not missed.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from diagnose.case.replay import RESUMED, replay
from diagnose.case.round_state import RoundState
from diagnose.case.screens import phrase
from diagnose.files import replies

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.case.round_walk import RoundWalk
    from diagnose.case.state import Trace

_MARKS = (replies.DONE, replies.NOT_RIGHT, replies.NOT_NOW)


@dataclass(frozen=True, slots=True, kw_only=True)
class ResumedRound:
    """A round taken up again: how many replies still fit, and how many do not.

    `trail` is what followed by itself, which may be the end of the round.
    """

    state: RoundState
    trail: tuple[Trace, ...]
    fits: int
    misfits: int


@dataclass(slots=True)
class _Move:
    """A reply that moved the round, and the diagnosis that it started."""

    event: Mapping[str, Any]
    below: list[Mapping[str, Any]] = field(default_factory=list)

    @property
    def starts(self) -> str | None:
        starts: str | None = (self.event["more"] or {}).get("starts")
        return starts

    def over(self) -> str | None:
        """Return the outcome of the diagnosis, None while it goes on."""
        for event in (self.event, *self.below):
            for trace in event["trail"]:
                if trace["what"] == "ended" and trace["symptom"] and trace["why"] != "left":
                    return "cured" if trace["why"] == "cured" else "referred"
        return None

    def passed(self) -> list[str]:
        """Return the items that were left for now without being shown."""
        return [
            trace["step"]
            for event in (self.event, *self.below)
            for trace in event["trail"]
            if trace["what"] == "passed" and not trace["symptom"]
        ]


def replay_round(walk: RoundWalk, events: Sequence[Mapping[str, Any]]) -> ResumedRound:
    """Return the round as its events left it, with nothing in force."""
    marks: dict[str, str] = {}
    over: list[tuple[str, str]] = []
    before: RoundState | None = None
    fits = misfits = 0
    standing = _standing(events)
    for move in standing:
        name = move.event["step"]
        if not _stands(walk, move):
            misfits += 1
            before = None
            continue
        fits += 1
        at = walk.names.index(name)
        earlier = RoundState(at=at, marks=dict(marks), over=tuple(over), before=before)
        kind = move.event["kind"]
        marks[name] = kind if kind in _MARKS else replies.NOT_NOW
        marks |= {item: replies.NOT_NOW for item in move.passed() if item in walk.names}
        outcome = move.over()
        if move.starts is not None and outcome is None and move is standing[-1]:
            state = RoundState(at=at, marks=marks, over=tuple(over), before=earlier)
            return _within(walk, state, move, fits, misfits)
        if move.starts is not None and outcome is not None:
            over.append((move.starts, outcome))
        before = None if move.starts is not None else earlier
    note = phrase("resumed", fits=fits, misfits=misfits)
    state = RoundState(marks=marks, over=tuple(over), before=before, notes=(note,))
    trail: list[Trace] = []
    state = walk.settle(state, trail)
    return ResumedRound(state=state, trail=tuple(trail), fits=fits, misfits=misfits)


def _within(
    walk: RoundWalk, state: RoundState, move: _Move, fits: int, misfits: int
) -> ResumedRound:
    """Return the round in the diagnosis that was left."""
    symptom = move.starts
    trail: list[Trace] = []
    if symptom is None or walk.walk.library(symptom) is None:
        note = phrase("doorway-shut", symptom=symptom)
        state = replace(state, before=None, notes=(note,))
        state = walk.settle(state, trail)
        return ResumedRound(state=state, trail=tuple(trail), fits=fits, misfits=misfits)
    told = replay(walk.walk, symptom, [_of_symptom(event) for event in (move.event, *move.below)])
    trail += told.trail
    fits, misfits = fits + told.fits, misfits + told.misfits
    below = replace(
        told.state,
        notes=(phrase("resumed", fits=fits, misfits=misfits), *told.state.notes[1:]),
    )
    state = walk.within(state, below, trail)
    return ResumedRound(state=state, trail=tuple(trail), fits=fits, misfits=misfits)


def _standing(events: Sequence[Mapping[str, Any]]) -> list[_Move]:
    """Return the replies that moved the round and were not withdrawn by *back*."""
    moves: list[_Move] = []
    for event in events:
        kind = event["kind"]
        if event["symptom"]:
            if moves:
                moves[-1].below.append(event)
        elif kind == RESUMED:
            if moves and moves[-1].starts is not None and moves[-1].over() is None:
                moves[-1].below.append(event)
        elif kind == replies.BACK:
            del moves[-1:]
        elif kind == replies.CANNOT or (kind in _MARKS and not event["caution"]):
            moves.append(_Move(event))
    return moves


def _stands(walk: RoundWalk, move: _Move) -> bool:
    name = move.event["step"]
    if name not in walk.names:
        return False
    shown = (move.event["shown"] or {}).get("do")
    item = walk.items[walk.names.index(name)]
    return shown is None or shown == item.do or move.starts is not None


def _of_symptom(event: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return an event of a diagnosis without what followed in the round."""
    return {**event, "trail": [trace for trace in event["trail"] if trace["symptom"]]}
