"""What the log keeps of a round: its items' replies, and what became of the cases it began."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.case.screens import CautionScreen
from diagnose.files import replies
from diagnose.log.events import CameTo, CaseOver, ItemReplied, Mark, Noted, Resumed, RoundOpened
from diagnose.log.record import noted, outset, shown

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.case.state import Trace
    from diagnose.case.visit import Visit
    from diagnose.round.state import RoundState, RoundTurn


def round_opened(
    visit: Visit, state: RoundState, trail: Sequence[Trace], name: str = ""
) -> RoundOpened:
    """Return the first event of a round; `name` is the person's own, empty where not given."""
    return RoundOpened(
        round=state.round.round,
        title=state.round.title,
        every=state.round.every,
        outset=outset(visit, name),
        trail=tuple(trail),
        in_force=visit.table.names(state.cautions.in_force),
    )


def item_replied(visit: Visit, turn: RoundTurn) -> ItemReplied | Noted:
    """Return the event of a turn in which something happened."""
    exchange, state = turn.exchange, turn.state
    assert exchange is not None
    screen = exchange.screen
    if exchange.kind == replies.NOTE:
        return noted(exchange, screen.in_force)
    return ItemReplied(
        reply=exchange.kind,
        item=exchange.step,
        shown=shown(screen),
        caution=screen.id if isinstance(screen, CautionScreen) else "",
        refused=exchange.refused,
        typed=exchange.typed,
        answer=exchange.answer,
        starts=state.begins or "" if exchange.kind == replies.NOT_RIGHT else "",
        came_to=came_to(visit, state),
        trail=exchange.trail,
        in_force=visit.table.names(state.cautions.in_force),
    )


def case_over(
    visit: Visit, state: RoundState, trail: Sequence[Trace], symptom: str, how: str
) -> CaseOver:
    """Return the event with which a case that the round had begun comes back."""
    return CaseOver(
        symptom=symptom,
        how=how,
        came_to=came_to(visit, state),
        trail=tuple(trail),
        in_force=visit.table.names(state.cautions.in_force),
    )


def round_resumed(
    visit: Visit,
    state: RoundState,
    trail: Sequence[Trace],
    *,
    fits: int,
    misfits: int,
    name: str = "",
) -> Resumed:
    """Return the event with which a round is taken up again."""
    return Resumed(
        role=visit.role,
        name=name,
        fits=fits,
        misfits=misfits,
        came_to=came_to(visit, state),
        trail=tuple(trail),
        in_force=visit.table.names(state.cautions.in_force),
    )


def came_to(visit: Visit, state: RoundState) -> CameTo | None:
    """Return what a round came to, or None while it goes on."""
    if state.outcome is None:
        return None
    marked = [
        (name, item, state.marks[name])
        for name, item in zip(state.round.names, state.round.items, strict=True)
        if name in state.marks
    ]
    return CameTo(
        total=len(state.round.items),
        done=sum(mark == replies.DONE for _, _, mark in marked),
        marks=tuple(
            Mark(item=name, do=item.do, mark=mark, starts=item.starts)
            for name, item, mark in marked
            if mark != replies.DONE
        ),
        locked=bool(state.cautions.in_force & visit.table.lockouts),
    )
