"""From where a round stands to what is shown: one function a screen."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from diagnose.case import present
from diagnose.case.screens import EndScreen, ItemScreen, Named, as_data, phrase
from diagnose.files import replies
from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from diagnose.case.round_state import RoundState
    from diagnose.case.round_walk import RoundWalk
    from diagnose.case.screens import Phrase, Screen


def item(walk: RoundWalk, state: RoundState) -> Screen:
    """Return the screen of the item at which the round is."""
    own = walk.items[state.at]
    return ItemScreen(
        **_common(walk, state),
        replies=(
            *(replies.DONE, replies.NOT_RIGHT, replies.NOT_NOW, *_back(state)),
            *present.ALWAYS,
        ),
        round=str(walk.round.round),
        item=walk.names[state.at],
        number=state.at + 1,
        total=len(walk.items),
        do=own.do,
        look_for=own.look_for,
    )


def caution(walk: RoundWalk, state: RoundState, number: int, phase: str) -> Screen:
    """Return the screen that takes a caution, or releases it."""
    kinds = (replies.DONE, replies.CANNOT, *_back(state), replies.WHY, *present.ALWAYS)
    return present.caution_at(
        walk.items[state.at].hazards,
        number,
        phase,
        cautions=walk.walk.cautions,
        table=walk.walk.table,
        in_force=state.in_force,
        taken=state.taken,
        common={**_common(walk, state), "replies": kinds},
    )


def end(walk: RoundWalk, state: RoundState) -> EndScreen:
    """Return the end of a round; one that ended within a diagnosis ranks its causes."""
    assert state.outcome is not None
    common = _common(walk, state)
    below = state.diagnosis
    if below is None:
        return EndScreen(**common, outcome=state.outcome, ranking=())
    common["symptom"] = below.frames[0].symptom
    ranking = present.ranking(walk.walk, below.frames[0])
    return EndScreen(**common, outcome=state.outcome, ranking=ranking)


def summary(walk: RoundWalk, state: RoundState) -> dict[str, Any]:
    """Return for the log what a round came to: how many items were done, and each that was not."""
    marked = [
        (name, own, state.marks[name])
        for name, own in zip(walk.names, walk.items, strict=True)
        if name in state.marks
    ]
    return {
        "total": len(walk.items),
        "done": sum(mark == replies.DONE for _, _, mark in marked),
        "marks": [
            {
                "item": name,
                "do": str(own.do),
                "starts": None if own.starts is None else str(own.starts),
                "mark": mark,
            }
            for name, own, mark in marked
            if mark != replies.DONE
        ],
    }


def passing(reasons: list[str]) -> tuple[Phrase, ...]:
    """Return one line for each reason for which items were left for now."""
    return tuple(
        phrase(f"items-passed-{why}", count=reasons.count(why)) for why in dict.fromkeys(reasons)
    )


def with_back(screen: Screen) -> Screen:
    """Return the first screen of a diagnosis, with the way back to the item that started it."""
    place = screen.replies.index(replies.WHY)
    return replace(screen, replies=(*screen.replies[:place], replies.BACK, *screen.replies[place:]))


def logged(screen: Screen) -> dict[str, Any]:
    """Return the words of a screen for the log."""
    data: dict[str, Any] = as_data(screen)
    for name in ("replies", "in_force", "notes", "symptom", "doorway"):
        del data[name]
    return data


def _common(walk: RoundWalk, state: RoundState) -> dict[str, Any]:
    ids = walk.walk.table.ids
    titles = walk.walk.cautions.cautions
    in_force = tuple(
        Named(ids[number], titles[ids[number]].title) for number in bits(state.in_force)
    )
    return {"in_force": in_force, "notes": state.notes}


def _back(state: RoundState) -> tuple[str, ...]:
    return (replies.BACK,) if state.before is not None else ()
