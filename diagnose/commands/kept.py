"""What the log keeps beside a reply, so that a handover never needs the tree."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from diagnose.case import present
from diagnose.case.round_walk import RoundWalk
from diagnose.case.screens import as_data
from diagnose.case.state import Event
from diagnose.case.walk import Turn, Walk
from diagnose.files import replies
from diagnose.files.tree import Check, Finding, Question, Reading
from diagnose.measure.registry import MEASUREMENTS, missing_line

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from diagnose.case.round_state import RoundState, RoundTurn
    from diagnose.case.state import State, Trace
    from diagnose.files.tree import Step
    from diagnose.study.ready import ReadyTree

#: How many causes of each symptom are kept with a reply: enough for a page, few in a large tree.
LIKELY: Final = 6


def opened(walk: Walk, state: State, words: str, trail: Sequence[Trace]) -> Event:
    """Return the first event of a case: what stands for all of it, and where it begins.

    `words` are the operator's own for the symptom, empty where it was picked from the list.
    """
    more: dict[str, Any] = {"words": words, **_throughout(walk)}
    event = Event(
        kind="opened", symptom=state.frames[0].symptom, step="", trail=tuple(trail), more=more
    )
    return kept(walk, state, event, ())


def _throughout(walk: Walk) -> dict[str, Any]:
    """Return what stands for all of a case: who is there, the machine card, the cautions."""
    lockouts = walk.table.names(walk.table.lockouts)
    return {
        "role": walk.role,
        "card": dict(walk.card.lines) if walk.card else None,
        "cautions": {
            str(name): {
                "title": str(caution.title),
                "lapses": caution.lapsing,
                "lockout": name in lockouts,
            }
            for name, caution in walk.cautions.cautions.items()
        },
    }


def kept(walk: Walk, state: State, event: Event, told: Collection[str]) -> Event:
    """Return the event with what holds after it, `state` being the one that it led to.

    `told` are the symptoms whose trees the log of this case has already.
    """
    fresh = [symptom for symptom in _in_order(state) if symptom not in told]
    passed = [
        _passed(walk, state, trace)
        for trace in event.trail
        # What was shown and not known is in the event's own words.
        if trace.what == "passed" and trace.why != replies.UNSURE
    ]
    more: dict[str, Any] = {
        **(event.more or {}),
        "in_force": walk.table.names(state.in_force),
        "likely": {
            frame.symptom: as_data(present.ranking(walk, frame)[:LIKELY]) for frame in state.frames
        },
    }
    if fresh:
        more["trees"] = {symptom: about(walk, walk.ready(symptom)) for symptom in fresh}
    if passed:
        more["passed"] = passed
    return replace(event, more=more)


def after(walk: Walk | RoundWalk, turn: Turn | RoundTurn, told: Collection[str]) -> Event:
    """Return the event of a turn with what holds after it, in a round as in a case."""
    assert turn.event is not None
    if isinstance(turn, Turn):
        assert isinstance(walk, Walk)
        return kept(walk, turn.state, turn.event, told)
    assert isinstance(walk, RoundWalk)
    event = turn.event
    if turn.diagnosis is not None:
        # What followed in the round has no symptom; the rest is told as in any case.
        below = tuple(trace for trace in event.trail if trace.symptom)
        own = kept(walk.walk, turn.diagnosis, replace(event, trail=below), told)
        event = replace(own, trail=event.trail)
    in_force = walk.walk.table.names(turn.state.in_force)
    return replace(event, more={**(event.more or {}), "in_force": in_force})


def round_opened(walk: RoundWalk, state: RoundState, name: str, trail: Sequence[Trace]) -> Event:
    """Return the first event of a round; `name` is the person's own, empty where not given."""
    more = {
        **_throughout(walk.walk),
        "name": name,
        "round": {
            "id": str(walk.round.round),
            "title": str(walk.round.title),
            "every": walk.round.every,
        },
        "in_force": walk.walk.table.names(state.in_force),
    }
    return Event(kind="opened", symptom="", step="", trail=tuple(trail), more=more)


def about(walk: Walk, ready: ReadyTree) -> dict[str, Any]:
    """Return what the log keeps of a tree: title, content hash, what the card answered in it, and
    its findings with their chances."""
    plan = ready.plan
    chances = dict(zip(plan.findings, plan.chances, strict=True))
    hazards = walk.cautions.hazards
    return {
        "title": str(ready.tree.title),
        "hash": ready.digest,
        "from_card": [
            {
                "step": plan.ids[place],
                "words": _words(step),
                "line": str(step.from_card),
                "answer": str(step.exits[answer].answer),
            }
            for place, answer in ready.from_card.items()
            if isinstance(step := ready.steps[place], Question)
        ],
        "findings": {
            plan.ids[place]: {
                "finding": str(step.finding),
                "chance": chance,
                "who": step.who,
                "parts": list(step.parts),
                "ask_service": step.ask_service,
                "leave_safe": step.leave_safe,
                "hazards": [str(hazards[name].title) for name in step.hazards],
            }
            for place, chance in chances.items()
            if isinstance(step := ready.steps[place], Finding)
        },
    }


def _in_order(state: State) -> list[str]:
    """Return the symptoms that were entered, the first one first."""
    first = state.frames[0].symptom
    return [first, *sorted(state.entered - {first})]


def _passed(walk: Walk, state: State, trace: Trace) -> dict[str, str]:
    """Return a step that was passed over, in words, with the reason in words."""
    ready = walk.ready(trace.symptom)
    step = ready.steps[ready.plan.number[trace.step]]
    return {
        "symptom": trace.symptom,
        "step": trace.step,
        "words": _words(step),
        "why": trace.why,
        "reason": _reason(walk, state, step, trace.why),
    }


def _reason(walk: Walk, state: State, step: Step, why: str) -> str:
    """Return what stood in the way: who may do it, the cautions refused, the card's silence."""
    if why == "by":
        return step.by if isinstance(step, Question) else step.who
    if why == "caution":
        table = walk.table
        refused = table.names(table.closed(table.needs(step)) & state.refused)
        titles = {str(name): str(own.title) for name, own in walk.cautions.cautions.items()}
        return ", ".join(titles[name] for name in refused)
    if why == "card" and isinstance(step, Reading):
        line = walk.card.line if walk.card is not None else (lambda path: None)
        return f"{missing_line(MEASUREMENTS[step.read], line) or ''}"
    return ""


def _words(step: Step) -> str:
    if isinstance(step, Finding):
        return str(step.finding)
    if isinstance(step, Reading):
        return MEASUREMENTS[step.read].title
    assert isinstance(step, Check)
    return f"{step.do or ''} {step.ask}".strip()
