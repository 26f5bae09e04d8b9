"""Where a round stands: frozen, so that *back* is the state before."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.study.tailored import against

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.case.cautions import CautionState
    from diagnose.case.screens import Cause, Phrase, Screen
    from diagnose.case.state import Exchange
    from diagnose.files.card import Card
    from diagnose.files.rounds import Item, Round
    from diagnose.study.in_force import CautionTable


class ReadyRound(Struct, frozen=True, kw_only=True, eq=False):
    """A checklist, ready to be walked: `needs` are the cautions that each item needs, as bits.

    `skipped` are the lines of the machine's card for which items were left out.
    """

    round: str
    title: str
    every: str
    names: tuple[str, ...]
    items: tuple[Item, ...]
    needs: tuple[int, ...]
    skipped: tuple[str, ...] = ()


class RoundState(Struct, frozen=True, kw_only=True):
    """A round between two replies.

    `at` is the number of an item from 0; `marks` are the replies to items, by id. `begins` is the
    symptom whose case has to be walked before the round goes on; `alarm`: a danger was reported,
    and it is asked what it is. `over` are those that ended, each with its outcome. `before` is the
    state whose screen took the last reply that can be withdrawn.
    `ranking` are the likeliest causes of the case with which the round ended.
    """

    round: ReadyRound
    cautions: CautionState
    at: int = 0
    marks: Mapping[str, str] = {}
    begins: str | None = None
    alarm: bool = False
    over: tuple[tuple[str, str], ...] = ()
    before: RoundState | None = None
    outcome: str | None = None
    ranking: tuple[Cause, ...] = ()
    notes: tuple[Phrase, ...] = ()


class RoundTurn(Struct, frozen=True, kw_only=True):
    """What a reply came to. One that could not be understood, and *why*, have no `exchange`."""

    state: RoundState
    interludes: tuple[Screen, ...] = ()
    exchange: Exchange | None = None


def ready_round(round_: Round, table: CautionTable, card: Card | None = None) -> ReadyRound:
    """Return a round that was checked, made ready under the cautions of its library.

    What the machine's card says does not apply is no item of it.
    """
    own = {
        name: item
        for name, item in round_.items.items()
        if card is None or card.fits(item.applies_to)
    }
    left_out = [item for name, item in round_.items.items() if name not in own]
    lines = [against(card, item.applies_to) for item in left_out if card is not None]
    items = tuple(own.values())
    return ReadyRound(
        round=round_.round,
        title=round_.title,
        every=round_.every,
        names=tuple(own),
        items=items,
        needs=tuple(table.needs(item) for item in items),
        skipped=tuple(dict.fromkeys(lines)),
    )
