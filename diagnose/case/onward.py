"""Where the case goes next: what an answer says, steps passed over, branches, doorways.

Pure: a state in, the state out. What followed by itself goes on the `trail`, for the log.
"""

from __future__ import annotations

from array import array
from operator import add
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeAlias

from msgspec.structs import replace

from diagnose.case import cautions
from diagnose.case.branches import TOO_LITTLE, open_branches
from diagnose.case.screens import phrase
from diagnose.case.state import Frame, State, Trace
from diagnose.files import replies
from diagnose.files.tree import ROLES, Finding, Question, Reading
from diagnose.measure.registry import missing_line
from diagnose.study.beliefs import LEAST_SLIP, after_failed_remedy, likelihood, prior, updated

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.case.screens import Phrase
    from diagnose.case.visit import Visit
    from diagnose.files.tree import Step
    from diagnose.study.ready import ReadyTree

#: A state, and the step that is entered next (with whether an answer points to it), or None.
Move: TypeAlias = "tuple[State, tuple[int, bool] | None]"

WITHDRAWN = "withdrawn"


def opened(
    visit: Visit,
    symptom: str,
    held: cautions.CautionState | None = None,
    *,
    returns: bool = False,
    chosen: bool = False,
    seen: Mapping[str, str] = MappingProxyType({}),
) -> tuple[State, tuple[Trace, ...]]:
    """Return the state of a case just opened, and what followed by itself.

    A symptom that a round begins finds the round's cautions as they are, and `returns` to it; one
    that was `chosen` at the prompt can be taken back to it, and finds those of one taken back.
    `seen` are answers, by step, that were seen before. Raises `KeyError` for a symptom that cannot
    be started.
    """
    tree = visit.tree(symptom)
    if tree is None:
        raise KeyError(symptom)
    frame = with_seen(at_start(tree), seen)
    trail: list[Trace] = []
    state = State(
        frames=(frame,),
        cautions=held or cautions.CautionState(),
        entered=frozenset({symptom}),
        returns=returns,
        chosen=chosen,
        notes=_card_notes(tree),
    )
    return settle(visit, state, frame.at, True, trail), tuple(trail)


def at_start(tree: ReadyTree, door: int | None = None) -> Frame:
    """Return a symptom at its start, with what the machine card answers believed."""
    said = dict(tree.from_card)
    for step, answer in tree.from_card.items():
        # Steps that look at the same say it once.
        if step in said:
            for twin, _ in tree.plan.twins.get((step, answer), ()):
                said.pop(twin, None)
    rows = (likelihood(tree.plan, step, answer, LEAST_SLIP) for step, answer in said.items())
    return Frame(
        tree=tree,
        closed=dict(tree.from_card),
        logs=updated(prior(tree.plan), *rows),
        at=tree.plan.start,
        door=door,
    )


def with_seen(frame: Frame, seen: Mapping[str, str]) -> Frame:
    """Return the frame with what was seen before the case believed; what the tree lacks is not."""
    plan = frame.tree.plan
    for name, answer in seen.items():
        question = frame.tree.named(name)
        if not isinstance(question, Question) or plan.number[name] in frame.closed:
            continue
        numbers = [n for n, way in enumerate(question.exits) if way.answer == answer]
        if numbers:
            frame = answered(frame, plan.number[name], numbers[0])
    return frame


def answered(frame: Frame, step: int, answer: int) -> Frame:
    """Return the frame with a question answered and the answer believed."""
    plan = frame.tree.plan
    row = frame.tree.rows.get((step, answer))
    if row is None:
        row = likelihood(plan, step, answer, plan.slip[step])
    return replace(
        frame,
        closed={**frame.closed, **dict(plan.twins.get((step, answer), ())), step: answer},
        logs=array("d", map(add, frame.logs, row)),
        visited=frame.visited | {step},
    )


def failed(frame: Frame, finding: int) -> Frame:
    """Return the frame with what a failed remedy says believed."""
    return replace(frame, logs=after_failed_remedy(frame.logs, frame.tree.plan.bit[finding]))


def without(frame: Frame, finding: int) -> Frame:
    """Return the frame with a finding tried or set aside."""
    return replace(frame, gone=frame.gone | {finding})


def on_top(state: State, frame: Frame) -> State:
    """Return the state with the symptom that is being walked replaced."""
    return replace(state, frames=(*state.frames[:-1], frame))


def ended(state: State, outcome: str, trail: list[Trace], why: str = "") -> State:
    """Return the state at its end; `why` is said where it is not the person's own reply."""
    symptom = state.frames[-1].tree.symptom
    trail.append(Trace(what="ended", symptom=symptom, step="", why=why or outcome))
    notes = (phrase(f"end-{why}"),) if why else ()
    danger = why == replies.DANGER
    return replace(state, outcome=outcome, danger=danger, notes=(*state.notes, *notes))


def settle(visit: Visit, state: State, to: int, checked: bool, trail: list[Trace]) -> State:
    """Enter a step of the top frame, and go on until one is to be shown or the case ends."""
    return go_on(visit, (state, (to, checked)), trail)


def go_on(visit: Visit, move: Move, trail: list[Trace]) -> State:
    """Go on from a move until a step is to be shown or the case ends."""
    # A loop and no recursion: a refused caution may pass over a thousand steps in a row.
    state, entry = move
    while entry is not None:
        state, entry = _enter(visit, state, *entry, trail)
    return state


def pass_over(visit: Visit, state: State, why: str, trail: list[Trace]) -> Move:
    """Pass a question over: on by its safe way where it has one, else by its best branch."""
    frame = state.frames[-1]
    _note(trail, "passed", frame, why)
    after = on_top(state, replace(frame, closed={**frame.closed, frame.at: None}))
    safe = frame.tree.unsure_way(frame.at)
    if safe is not None:
        return after, (safe, False)
    return choose(visit, after, frame.at, trail)


def choose(visit: Visit, state: State, near: int | None, trail: list[Trace]) -> Move:
    """Choose the open branch worth most, one of the step `near` first; or refer the case."""
    while True:
        frame = state.frames[-1]
        plan = frame.tree.plan
        branches = open_branches(frame, visit.table, state.cautions.in_force)
        least = 0.0 if state.answered else TOO_LITTLE
        if branches.worth and branches.operators_share >= least:
            target = branches.best(plan.ways[near]) if near is not None else None
            if target is None:
                target = branches.best()
            assert target is not None
            trail.append(Trace(what="chose", symptom=frame.tree.symptom, step=plan.ids[target]))
            return state, (target, False)
        if frame.door is None:
            return ended(state, "referred", trail, "nothing-left"), None
        # Behind a doorway nothing is left: it counts as tried, and the first tree goes on.
        state = replace(state, frames=state.frames[:-1])
        state, near = _door_tried(state, frame.door, trail), None


def _enter(visit: Visit, state: State, to: int, checked: bool, trail: list[Trace]) -> Move:
    tree = state.frames[-1].tree
    while True:
        frame = replace(state.frames[-1], at=to, checked=checked)
        if to in frame.gone:
            return choose(visit, on_top(state, frame), None, trail)
        frame = replace(frame, visited=frame.visited | {to})
        state = on_top(state, frame)
        if to not in frame.closed:
            break
        answer = frame.closed[to]
        if answer is None:
            return choose(visit, state, to, trail)
        _note(trail, "through", frame)
        to, checked = tree.plan.ways[to][answer], True
    step = tree.steps[to]
    if isinstance(step, Finding) and step.continue_with is not None:
        return _through(visit, state, step, trail)
    why, note = _hindrance(visit, state, step)
    if not why:
        _note(trail, "rests", frame, "" if checked else "unchecked")
        return state, None
    if note is not None and note not in state.notes:
        state = replace(state, notes=(*state.notes, note))
    if isinstance(step, Question):
        return pass_over(visit, state, why, trail)
    _note(trail, "passed", frame, why)
    return choose(visit, on_top(state, without(frame, to)), None, trail)


def _hindrance(visit: Visit, state: State, step: Step) -> tuple[str, Phrase | None]:
    """Return why a step is passed over without a word of it, or an empty string."""
    who = step.by if isinstance(step, Question) else step.who
    for_service = isinstance(step, Finding) and who == "service"
    if not for_service and ROLES.index(who) > ROLES.index(visit.role):
        return "by", phrase("passed-by", who=who)
    frame = state.frames[-1]
    plan, held = frame.tree.plan, state.cautions
    if held.refused and cautions.refused(
        visit.table, held, plan.needs[frame.at], plan.energises[frame.at]
    ):
        return "caution", phrase("passed-caution")
    if isinstance(step, Reading):
        lacking = missing_line(frame.tree.measurements[step.read], visit.line)
        if lacking is not None:
            return "card", phrase("passed-card", message=lacking)
    return "", None


def _through(visit: Visit, state: State, door: Finding, trail: list[Trace]) -> Move:
    """Go through a doorway; into what was entered before or cannot be opened, it is tried."""
    frame = state.frames[-1]
    symptom = door.continue_with
    assert symptom is not None
    below = visit.tree(symptom)
    if symptom in state.entered or below is None:
        if symptom not in state.entered:
            note = phrase("doorway-shut", symptom=symptom)
            state = replace(state, notes=(*state.notes, note))
        return choose(visit, _door_tried(state, frame.at, trail), None, trail)
    _note(trail, "entered", frame, symptom)
    known = next((held for held in state.held if held.tree.symptom == symptom), None)
    inner = replace(known or at_start(below), door=frame.at, at=below.plan.start)
    state = replace(
        state,
        frames=(*state.frames, inner),
        entered=state.entered | {symptom},
        held=tuple(held for held in state.held if held.tree.symptom != symptom),
        doorway=door.finding,
        notes=(*state.notes, *_card_notes(below)),
    )
    return state, (inner.at, True)


def _door_tried(state: State, door: int, trail: list[Trace]) -> State:
    frame = state.frames[-1]
    name = frame.tree.plan.ids[door]
    trail.append(Trace(what="returned", symptom=frame.tree.symptom, step=name))
    # A resume on an edited tree may lead behind a doorway that has counted as tried before.
    if door not in frame.gone:
        frame = without(failed(frame, door), door)
    return on_top(state, frame)


def _note(trail: list[Trace], what: str, frame: Frame, why: str = "") -> None:
    step = frame.tree.plan.ids[frame.at]
    trail.append(Trace(what=what, symptom=frame.tree.symptom, step=step, why=why))


def _card_notes(tree: ReadyTree) -> tuple[Phrase, ...]:
    notes = []
    for place, answer in tree.from_card.items():
        step = tree.steps[place]
        assert isinstance(step, Question)
        if place in tree.skipped:
            note = phrase("not-here", line=tree.skipped[place])
        else:
            words = step.exits[answer].answer
            note = phrase("from-card", line=step.from_card, answer=words)
        if note not in notes:
            notes.append(note)
    return tuple(notes)
