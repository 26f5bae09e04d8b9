"""One round at one face, each case that it begins included."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.case import onward
from diagnose.commands.session import NewCase, begin, said, show_end, took, walked
from diagnose.files import replies
from diagnose.log.record import opened
from diagnose.log.round_record import case_over, item_replied
from diagnose.round import view, walk

if TYPE_CHECKING:
    from diagnose.case.state import State
    from diagnose.commands.session import Desk, Record
    from diagnose.round.state import RoundState


def run_round(
    desk: Desk,
    state: RoundState,
    record: Record | None,
    case: tuple[State, Record | None] | None = None,
) -> None:
    """Walk a round to its end, each case that it begins included, and show the end.

    `case` is the one in which it was left, where it is taken up again.
    """
    first = True
    while state.outcome is None:
        if state.begins is not None:
            state = _with_case(desk, state, record, case)
            case, first = None, False
            continue
        screen = view.screen(desk.visit, state)
        heading = desk.heading(record, state.round.title, first=first and not state.alarm)
        turn = walk.reply(desk.visit, state, said(desk.face, screen, heading), screen)
        first = first and state.alarm
        event = None if turn.exchange is None else item_replied(desk.visit, turn)
        if not took(record, event, screen, desk.face, heading):
            continue
        for interlude in turn.interludes:
            desk.face.show(interlude, replace(heading, first=False))
        state = turn.state
    # What ended it at an item is told on its own page, whatever became of its cases.
    page = state.outcome == "referred" and state.begins is None
    try:
        show_end(desk, record, state.round.title, view.screen(desk.visit, state), page=page)
    finally:
        # Also where nobody sees the end any more.
        if record is not None:
            record.settle()


def _with_case(
    desk: Desk,
    state: RoundState,
    record: Record | None,
    case: tuple[State, Record | None] | None,
) -> RoundState:
    """Return the round after the case that it begins, which is opened unless it is at hand."""
    assert state.begins is not None
    inner, own = case or _begun(desk, state, record)
    inner = walked(desk, inner, own)
    if record is not None and own is not None and own.open_ends:
        record.within.append(own)
    how = replies.DANGER if inner.danger else inner.outcome or ""
    after, trail = walk.came_back(desk.visit, state, inner, how)
    if record is not None:
        over = case_over(desk.visit, after, trail, state.begins, how)
        if own is not None and own.case is None:
            # The round does not go on from a case that is not there yet.
            record.unkept.append(over)
        else:
            # The reply that ended the case is kept: this only says so to the round, and can wait.
            record.write_or_go_on(over)
    return after


def _begun(desk: Desk, state: RoundState, record: Record | None) -> tuple[State, Record | None]:
    """Open the case that a round begins."""
    assert state.begins is not None
    seen = state.round.items[state.at].seen
    inner, trail = onward.opened(desk.visit, state.begins, state.cautions, returns=True, seen=seen)
    if record is None:
        return inner, None
    event = opened(desk.visit, inner, trail, name=desk.name, seen=seen)
    new = NewCase(desk.machine, event, record.case)
    own, busy = begin(record.log, new, set(inner.entered))
    # A round that was taken up again here has not said so yet.
    return replace(inner, notes=(*state.notes, *inner.notes, *busy)), own
