"""From where a case stands to what is shown: one function a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.branches import outlook_here
from diagnose.case.screens import (
    Cause,
    CautionScreen,
    CheckScreen,
    EndScreen,
    FindingScreen,
    Input,
    Named,
    ReadingScreen,
    WhyScreen,
    as_data,
    phrase,
)
from diagnose.files import replies
from diagnose.files.tree import Check, Finding, Question, Reading
from diagnose.measure.registry import MEASUREMENTS
from diagnose.study.beliefs import normalised
from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.case.screens import Phrase, Screen
    from diagnose.case.state import Frame, State
    from diagnose.case.walk import Walk
    from diagnose.files.cautions import Cautions
    from diagnose.study.in_force import CautionTable

#: What may be replied at every screen.
ALWAYS = (replies.DANGER, replies.LEAVE)

#: Once cured so often lately, the same finding has a cause that its remedy does not reach.
OFTEN = 2


def question(walk: Walk, state: State, step: Question) -> Screen:
    """Return the screen of a check or a reading."""
    frame = state.top
    ready = walk.ready(frame.symptom)
    outlook = outlook_here(ready, frame, walk.table, state.in_force)
    common = _common(walk, state)
    common["notes"] += tuple(
        phrase("card-list", shown=shown, meaning=meaning)
        for shown, meaning in walk.card_list(step).items()
    )
    shared: dict[str, Any] = {
        **common,
        "replies": (replies.UNSURE, replies.CANNOT, *_back(walk, state), replies.WHY, *ALWAYS),
        "step": ready.plan.ids[frame.at],
        "do": step.do,
        "look_for": step.look_for,
        "tool": step.tool,
        "open": outlook.reach.bit_count(),
        "minutes_left": outlook.mean,
    }
    if isinstance(step, Check):
        answers = tuple(Named(way.answer, way.answer) for way in step.exits)
        return CheckScreen(ask=step.ask, answers=answers, **shared)
    assert isinstance(step, Reading)
    measurement = MEASUREMENTS[step.read]
    card = walk.card
    needs = tuple(
        Input(name=need.name, unit=need.unit, title=need.title)
        for need in measurement.needs
        if need.asked and not (need.optional and card and need.card and card.line(need.card))
    )
    return ReadingScreen(read=step.read, title=measurement.title, needs=needs, **shared)


def finding(walk: Walk, state: State, step: Finding) -> Screen:
    """Return the screen of a finding: an operator's with its remedy, service's without."""
    frame = state.top
    ready = walk.ready(frame.symptom)
    service = step.who == "service"
    kinds = (
        (replies.REFER, replies.KEEP_LOOKING)
        if service
        else (replies.CURED, replies.NOT_CURED, replies.CANNOT)
    )
    release: list[str] = []
    if not service:
        for number in reversed(list(bits(state.in_force & walk.table.lapsing))):
            # Cautions that end together may ask for the same: once is enough.
            release += [line for line in _caution(walk, number).release if line not in release]
    common = _common(walk, state)
    if not service:
        common["notes"] += _comes_back(walk, state)
    return FindingScreen(
        **common,
        replies=(*kinds, *_back(walk, state), replies.WHY, *ALWAYS),
        step=ready.plan.ids[frame.at],
        finding=step.finding,
        who=step.who,
        checked=frame.checked,
        remedy=step.remedy,
        before_trying=tuple(release),
        leave_safe=step.leave_safe,
        probability=normalised(frame.logs)[ready.plan.bit[frame.at]],
        minutes=step.minutes,
        parts=step.parts,
    )


def caution(walk: Walk, state: State, number: int, phase: str) -> Screen:
    """Return the screen that takes a caution, or releases it."""
    return caution_at(
        walk.step(state).hazards,
        number,
        phase,
        cautions=walk.cautions,
        table=walk.table,
        in_force=state.in_force,
        taken=state.taken,
        common={
            **_common(walk, state),
            "replies": (
                *(replies.DONE, replies.CANNOT, *_back(walk, state), replies.WHY),
                *ALWAYS,
            ),
        },
    )


def caution_at(
    threats: Sequence[str],
    number: int,
    phase: str,
    *,
    cautions: Cautions,
    table: CautionTable,
    in_force: int,
    taken: int,
    common: Mapping[str, Any],
) -> CautionScreen:
    """Return the screen of a caution before something with the hazards `threats`.

    `taken` are the cautions confirmed before in this case; `common` what every screen carries.
    """
    own = cautions.cautions[table.ids[number]]
    taking = phase == "take"
    confirm: list[str] = []
    hazards: tuple[Named, ...] = ()
    if taking:
        inner = table.closure[number] & ~in_force & ~(1 << number)
        for included in bits(inner):
            confirm += cautions.cautions[table.ids[included]].confirm
        confirm += own.confirm
        covered = table.closure[number]
        hazards = tuple(
            Named(hazard, cautions.hazards[hazard].title)
            for hazard in threats
            if table.cover.get(hazard, 0) & covered
        )
    return CautionScreen(
        **common,
        id=table.ids[number],
        phase=phase,
        title=own.title,
        signal=own.signal,
        signs=own.signs,
        text=own.text if taking else "",
        confirm=tuple(confirm) if taking else own.release,
        hazards=hazards,
        again=taking and bool(taken >> number & 1),
    )


def end(walk: Walk, state: State) -> Screen:
    """Return the end of a case, with the ranking of the first symptom."""
    assert state.outcome is not None
    common = _common(walk, state)
    common["symptom"] = state.frames[0].symptom
    return EndScreen(**common, outcome=state.outcome, ranking=ranking(walk, state.frames[0]))


def why(walk: Walk, state: State) -> Screen:
    """Return why this is asked or this caution called, and what is likely now."""
    frame = state.top
    ready = walk.ready(frame.symptom)
    step = walk.step(state)
    screen = walk.screen(state)
    causes = ranking(walk, frame)
    text = []
    if isinstance(screen, CautionScreen):
        text += why_caution(screen)
    elif isinstance(step, Question):
        reach = ready.plan.reach[frame.at].bit_count()
        text.append(phrase("why-question", causes=reach, answers=len(step.exits)))
        if isinstance(step, Reading):
            measurement = MEASUREMENTS[step.read]
            text.append(phrase("why-reading", title=measurement.title, how=measurement.how))
    elif frame.checked:
        text.append(phrase("why-finding"))
    else:
        text.append(phrase("why-unchecked"))
    if not isinstance(screen, CautionScreen):
        text += walk.undone.get(frame.symptom, ())
    return WhyScreen(
        symptom=frame.symptom, in_force=screen.in_force, text=tuple(text), ranking=causes[:5]
    )


def why_caution(screen: CautionScreen) -> list[Phrase]:
    """Return why a caution is called, or released."""
    hazards = [phrase("why-hazard", title=hazard.title) for hazard in screen.hazards]
    return [phrase(f"why-{screen.phase}", title=screen.title), *hazards]


def ranking(walk: Walk, frame: Frame) -> tuple[Cause, ...]:
    """Return all findings of a symptom, the likeliest first; ties go by place in the file."""
    ready = walk.ready(frame.symptom)
    causes = []
    for place, share in zip(ready.plan.findings, normalised(frame.logs), strict=True):
        step = ready.steps[place]
        assert isinstance(step, Finding)
        causes.append(Cause(ready.plan.ids[place], step.finding, share))
    return tuple(sorted(causes, key=lambda cause: -cause.probability))


def logged(walk: Walk, state: State, screen: Screen) -> dict[str, Any]:
    """Return the words of a screen for the log, with what only the handover may say."""
    data: dict[str, Any] = as_data(screen)
    for name in ("replies", "in_force", "notes", "symptom", "doorway"):
        del data[name]
    step = walk.step(state)
    if isinstance(screen, FindingScreen) and isinstance(step, Finding):
        data["ask_service"] = None if step.ask_service is None else str(step.ask_service)
    return data


def _common(walk: Walk, state: State) -> dict[str, Any]:
    in_force = tuple(
        Named(walk.table.ids[number], _caution(walk, number).title)
        for number in bits(state.in_force)
    )
    return {
        "symptom": state.top.symptom,
        "in_force": in_force,
        "doorway": state.doorway,
        "notes": state.notes,
    }


def _comes_back(walk: Walk, state: State) -> tuple[Phrase, ...]:
    """Return the advice where this remedy has cured the same finding often enough already."""
    name = walk.ready(state.top.symptom).plan.ids[state.top.at]
    before = walk.cured_before.get((state.top.symptom, name), 0)
    return (phrase("comes-back", before=before),) if before >= OFTEN else ()


def _back(walk: Walk, state: State) -> tuple[str, ...]:
    return (replies.BACK,) if walk.can_go_back(state) else ()


def _caution(walk: Walk, number: int) -> Any:
    return walk.cautions.cautions[walk.table.ids[number]]
