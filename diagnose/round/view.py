"""From where a round stands to what is shown: one function a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case import cautions
from diagnose.case.danger import danger_screen
from diagnose.case.screens import EndScreen, ItemScreen, phrase
from diagnose.case.view import ALWAYS, card_lines, named
from diagnose.files import replies

if TYPE_CHECKING:
    from diagnose.case.screens import Phrase, Screen
    from diagnose.case.visit import Visit
    from diagnose.round.state import RoundState


def screen(visit: Visit, state: RoundState) -> Screen:
    """Return the screen of a state: the end, a release, a caution, or the item."""
    common: dict[str, Any] = {
        "in_force": named(visit.table, state.cautions.in_force),
        "notes": state.notes,
    }
    if state.outcome is not None:
        return EndScreen(**common, outcome=state.outcome, ranking=state.ranking)
    if state.alarm:
        return danger_screen(visit.call, in_force=common["in_force"])
    item = state.round.items[state.at]
    back = (replies.BACK,) if state.before is not None else ()
    needs = state.round.needs[state.at]
    called = cautions.due(visit.table, state.cautions, needs, item.energises)
    if called is not None:
        kinds = (replies.DONE, replies.CANNOT, *back, replies.WHY, *ALWAYS)
        shared = {**common, "replies": kinds}
        return cautions.caution_screen(visit.table, state.cautions, called, item.hazards, shared)
    return ItemScreen(
        **common,
        replies=(replies.DONE, replies.NOT_RIGHT, replies.NOT_NOW, *back, *ALWAYS),
        round=state.round.round,
        item=state.round.names[state.at],
        number=state.at + 1,
        total=len(state.round.items),
        do=item.do,
        look_for=item.look_for,
        card=card_lines(visit.card, item.show_card),
        note_down=item.note_down,
    )


def passing(reasons: list[str]) -> tuple[Phrase, ...]:
    """Return one line for each reason for which items were left for now."""
    return tuple(
        phrase(f"items-passed-{why}", count=reasons.count(why)) for why in dict.fromkeys(reasons)
    )
