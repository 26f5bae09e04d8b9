"""Why something is asked, called or shown, and what is likely now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.case.cautions import why_caution
from diagnose.case.likelier import ENOUGH
from diagnose.case.screens import CautionScreen, WhyScreen, phrase
from diagnose.case.view import looked_at, ranking
from diagnose.files.tree import Question, Reading
from diagnose.measure.wording import percent
from diagnose.study.outlook import normalised

if TYPE_CHECKING:
    from diagnose.case.screens import Phrase, Screen
    from diagnose.case.state import Frame, State
    from diagnose.case.visit import Visit

#: As many causes of a ranking are told.
LIKELIEST = 5


def why(visit: Visit, state: State, shown: Screen) -> WhyScreen:
    """Return why this is asked, shown or called, and what is likely now."""
    frame = state.frames[-1]
    ranked = ranking(frame)[:LIKELIEST]
    if isinstance(shown, CautionScreen):
        text = why_caution(shown)
    else:
        step = frame.tree.steps[frame.at]
        if isinstance(step, Question):
            text = _question(frame, step) + _heard(state, frame.tree.plan.number[ranked[0].step])
        else:
            text = _finding(state)
        text += visit.undone.get(frame.tree.symptom, ())
    return WhyScreen(symptom=frame.tree.symptom, in_force=shown.in_force, text=text, ranking=ranked)


def _question(frame: Frame, step: Question) -> tuple[Phrase, ...]:
    reach = frame.tree.plan.reach[frame.at].bit_count()
    text: tuple[Phrase, ...] = (phrase("why-question", causes=reach, answers=len(step.exits)),)
    if isinstance(step, Reading):
        measurement = frame.tree.measurements[step.read]
        text += (phrase("why-reading", title=measurement.title, how=measurement.how),)
    return text


def _finding(state: State) -> tuple[Phrase, ...]:
    frame = state.frames[-1]
    if not frame.checked:
        return (phrase("why-seen" if looked_at(frame) else "why-unchecked"), *_heard(state))
    text = (phrase("why-finding"), *_heard(state))
    # Whoever has just seen the sign of it asks why it is not certain.
    rare = normalised(frame.logs)[frame.tree.plan.bit[frame.at]] < ENOUGH
    return (*text, phrase("why-rare")) if rare else text


def _heard(state: State, likeliest: int | None = None) -> tuple[Phrase, ...]:
    """Return what the last reply did to the chance of the finding on the screen.

    Or to that of the `likeliest`, where a question is on the screen. Nothing where it did nothing,
    or where it was given in another symptom.
    """
    frame = state.frames[-1]
    before = None if state.before is None else state.before.frames[-1]
    if before is None or before.tree is not frame.tree:
        return ()
    bit = frame.tree.plan.bit[frame.at if likeliest is None else likeliest]
    earlier, now = normalised(before.logs)[bit], normalised(frame.logs)[bit]
    told = {"before": percent(earlier), "now": percent(now)}
    if told["before"] == told["now"]:
        return ()
    if likeliest is not None:
        return (phrase("why-likeliest", **told),)
    if frame.closed.get(before.at) is None:
        return (phrase("why-ruled-out", **told),)
    return (phrase("why-answer-for" if now > earlier else "why-answer-against", **told),)
