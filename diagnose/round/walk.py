"""The walk of a round: replies in, the next item out.

Items come in the order of the file, under the same cautions as the steps of a tree: what lapses is
released before an item that runs the machine, and what an item needs is confirmed before a word of
it is shown. *Not right* has the round wait for a case of the symptom that the item names, which
whoever walks the round opens, walks and brings back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.case import cautions
from diagnose.case.cautions import CautionState
from diagnose.case.onward import WITHDRAWN
from diagnose.case.screens import CautionScreen, DangerScreen, RefusedScreen, WhyScreen, phrase
from diagnose.case.state import Exchange, Trace
from diagnose.case.view import call_notes, comes_back, contacts, ranking
from diagnose.case.walk import LONGEST_TYPED, Refusal, at_danger, note_in, replied
from diagnose.files import replies
from diagnose.files.tree import ROLES
from diagnose.round import view
from diagnose.round.state import RoundState, RoundTurn

if TYPE_CHECKING:
    from diagnose.case.screens import Screen
    from diagnose.case.state import State
    from diagnose.case.visit import Visit
    from diagnose.case.walk import Meaning
    from diagnose.round.state import ReadyRound

#: How a round ends that was walked to its last item.
WALKED = "walked"

#: Why a round ended at an item that has to be right before the machine may be used.
STOPS = "stops"


def opened(visit: Visit, round_: ReadyRound) -> tuple[RoundState, tuple[Trace, ...]]:
    """Return the state of a round just opened, and what followed by itself."""
    trail: list[Trace] = []
    notes = tuple(phrase("not-here", line=line) for line in round_.skipped)
    state = RoundState(round=round_, cautions=CautionState(), notes=notes)
    state = settle(visit, state, trail)
    return state, tuple(trail)


def reply(visit: Visit, state: RoundState, text: str, screen: Screen | None = None) -> RoundTurn:
    """Return what a reply comes to. One that cannot be understood changes nothing."""
    screen = screen or view.screen(visit, state)
    asked = isinstance(screen, DangerScreen)
    meaning = at_danger(text) if asked else note_in(text) or replied(screen, text)
    if isinstance(meaning, Refusal):
        message = meaning.message
        if message.id == "no-way-back" and state.over:
            message = phrase("round-no-way-back")
        refused = RefusedScreen(in_force=screen.in_force, message=message)
        return RoundTurn(state=state, interludes=(refused,))
    if meaning.kind == replies.WHY and isinstance(screen, CautionScreen):
        why = WhyScreen(in_force=screen.in_force, text=cautions.why_caution(screen), ranking=())
        return RoundTurn(state=state, interludes=(why,))
    trail: list[Trace] = []
    if meaning.kind in (replies.DANGER, replies.MISTAKE) and not meaning.answer:
        after = replace(state, alarm=meaning.kind == replies.DANGER)
    elif meaning.kind == replies.NOTE:
        after = replace(state, notes=(*state.notes, phrase("noted", text=meaning.answer)))
    else:
        after = _done(visit, state, screen, meaning, trail)
    exchange = Exchange(
        kind=meaning.kind,
        symptom="",
        step=state.round.names[state.at],
        screen=screen,
        typed=text[:LONGEST_TYPED],
        answer=meaning.answer,
        refused=cautions.refused_by(screen, meaning.kind, meaning.which),
        trail=tuple(trail),
    )
    return RoundTurn(state=after, exchange=exchange)


def came_back(
    visit: Visit, state: RoundState, case: State, how: str
) -> tuple[RoundState, tuple[Trace, ...]]:
    """Return the round after the case that it had begun, and what followed by itself.

    `how` is cured, referred, withdrawn, left or danger. The cautions are as the case left them. A
    case that ended leaves no way back; one that was left or met a danger ends the round too.
    """
    trail: list[Trace] = []
    if how == WITHDRAWN:
        return _earlier(state, case.cautions), ()
    symptom = case.frames[0].tree
    state = replace(state, cautions=case.cautions, notes=())
    if how in (replies.DANGER, "left"):
        state = replace(state, ranking=ranking(case.frames[0]))
        outcome = "referred" if how == replies.DANGER else "left"
        state = ended(visit, state, outcome, how, trail)
        return state, tuple(trail)
    state = replace(
        state,
        begins=None,
        before=None,
        over=(*state.over, (symptom.symptom, how)),
        notes=(phrase(f"round-after-{how}", title=symptom.title), *comes_back(visit, case)),
    )
    return settle(visit, state, trail), tuple(trail)


def with_service(state: RoundState) -> frozenset[str]:
    """Return the symptoms that this round has referred."""
    return frozenset(symptom for symptom, outcome in state.over if outcome == "referred")


def settle(visit: Visit, state: RoundState, trail: list[Trace]) -> RoundState:
    """Go to the first item that has no mark yet and may be shown, or end the round."""
    reasons: list[str] = []
    for at, name in enumerate(state.round.names):
        if name in state.marks:
            continue
        why = _hindrance(visit, state, at)
        if not why:
            trail.append(Trace(what="rests", symptom="", step=name))
            return replace(state, at=at, notes=(*state.notes, *view.passing(reasons)))
        reasons.append(why)
        state = _passed(state, at, why, trail)
    marks = list(state.marks.values())
    counts = phrase(
        "round-counts",
        done=marks.count(replies.DONE),
        not_right=marks.count(replies.NOT_RIGHT),
        not_now=marks.count(replies.NOT_NOW),
    )
    state = replace(state, notes=(*state.notes, *view.passing(reasons), counts))
    return ended(visit, state, WALKED, WALKED, trail)


def ended(
    visit: Visit, state: RoundState, outcome: str, why: str, trail: list[Trace]
) -> RoundState:
    """Return the round at its end."""
    trail.append(Trace(what="ended", symptom="", step="", why=why))
    danger = (phrase("end-danger"), *call_notes(visit.call)) if why == replies.DANGER else ()
    return replace(state, outcome=outcome, notes=(*state.notes, *danger))


def _done(
    visit: Visit, state: RoundState, screen: Screen, meaning: Meaning, trail: list[Trace]
) -> RoundState:
    kind = meaning.kind
    fresh = replace(state, notes=(), alarm=False)
    if kind == replies.DANGER:
        return ended(visit, fresh, "referred", replies.DANGER, trail)
    if kind == replies.LEAVE:
        return ended(visit, fresh, "left", "left", trail)
    if kind == replies.BACK:
        return _earlier(state, state.cautions)
    if isinstance(screen, CautionScreen):
        return _at_caution(visit, fresh, screen, meaning, trail)
    name = state.round.names[state.at]
    moved = replace(fresh, before=state, marks={**state.marks, name: kind})
    return (
        _not_right(visit, moved, trail)
        if kind == replies.NOT_RIGHT
        else settle(visit, moved, trail)
    )


def _earlier(state: RoundState, held: CautionState) -> RoundState:
    """Return the state before the last reply; what happened to the machine stays."""
    earlier = state.before
    assert earlier is not None
    return replace(earlier, cautions=cautions.after_back(earlier.cautions, held), notes=())


def _at_caution(
    visit: Visit, state: RoundState, screen: CautionScreen, meaning: Meaning, trail: list[Trace]
) -> RoundState:
    held = cautions.replied(visit.table, state.cautions, screen, meaning.kind, meaning.which)
    if meaning.kind == replies.DONE:
        return replace(state, cautions=held)
    moved = replace(state, before=state, cautions=held)
    if screen.phase == cautions.RELEASE:
        # Somebody else's tag: what was not released yet stays in force.
        moved = _passed(moved, state.at, "tag", trail)
    return settle(visit, moved, trail)


def _not_right(visit: Visit, state: RoundState, trail: list[Trace]) -> RoundState:
    """Wait for a case of the symptom that the item names, where it has one that can be started.

    An item that stops the round begins none: what it starts would have the machine run.
    """
    if state.round.items[state.at].stops:
        notes = (phrase("end-stops"), *call_notes(contacts(visit.card)))
        return ended(visit, replace(state, notes=notes), "referred", STOPS, trail)
    symptom = state.round.items[state.at].starts
    if symptom is None:
        note = phrase("round-noted")
    elif symptom in with_service(state):
        note = phrase("round-with-service")
    elif visit.tree(symptom) is None:
        note = phrase("doorway-shut", symptom=symptom)
    else:
        return replace(state, begins=symptom)
    return settle(visit, replace(state, notes=(note,)), trail)


def _hindrance(visit: Visit, state: RoundState, at: int) -> str:
    """Return why an item is left for now without a word of it, or an empty string."""
    item = state.round.items[at]
    energises = item.energises
    if ROLES.index(item.by) > ROLES.index(visit.role):
        return "by"
    if energises and with_service(state):
        # What was handed to service was left safe, and is not started again for a checklist.
        return "referred"
    needs = state.round.needs[at]
    return "caution" if cautions.refused(visit.table, state.cautions, needs, energises) else ""


def _passed(state: RoundState, at: int, why: str, trail: list[Trace]) -> RoundState:
    name = state.round.names[at]
    trail.append(Trace(what="passed", symptom="", step=name, why=why))
    return replace(state, marks={**state.marks, name: replies.NOT_NOW})
