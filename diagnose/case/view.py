"""From where a case stands to what is shown: one function a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case import cautions
from diagnose.case.danger import danger_screen
from diagnose.case.likelier import advice
from diagnose.case.screens import (
    CardLine,
    Cause,
    CheckScreen,
    Contact,
    EndScreen,
    FindingScreen,
    Input,
    Named,
    ReadingScreen,
    phrase,
)
from diagnose.files import replies
from diagnose.files.tree import Check, Finding, Question, Reading
from diagnose.study.outlook import normalised, outlooks

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from diagnose.case.screens import Phrase, Screen
    from diagnose.case.state import Frame, State
    from diagnose.case.visit import Visit
    from diagnose.files.card import Card
    from diagnose.files.site import Site
    from diagnose.study.in_force import CautionTable

#: What may be replied at every screen.
ALWAYS = (replies.NOTE, replies.DANGER, replies.LEAVE)

#: So many cures of one finding on one machine within `LATELY` (log/history.py) are told: twice is
#: chance, three times is a habit of the machine or of its care. Common practice, no published
#: source.
OFTEN = 3


def screen(visit: Visit, state: State) -> Screen:
    """Return the screen of a state: an end, a release, a caution, or the step itself."""
    if state.outcome is not None:
        return _end(visit, state)
    frame = state.frames[-1]
    plan, held = frame.tree.plan, state.cautions
    common = {
        "symptom": frame.tree.symptom,
        "in_force": named(visit.table, held.in_force),
        "doorway": state.doorway,
        "notes": state.notes,
    }
    if state.alarm:
        return danger_screen(visit.call, symptom=common["symptom"], in_force=common["in_force"])
    step = frame.tree.steps[frame.at]
    needs, energises = plan.needs[frame.at], plan.energises[frame.at]
    if needs & ~held.in_force or (energises and held.in_force):
        called = cautions.due(visit.table, held, needs, energises)
        if called is not None:
            kinds = (replies.DONE, replies.CANNOT, *_back(visit, state), replies.WHY, *ALWAYS)
            shared = {**common, "replies": kinds}
            return cautions.caution_screen(visit.table, held, called, step.hazards, shared)
    if isinstance(step, Finding):
        return _finding(visit, state, step, common)
    return _question(visit, state, step, common)


def card_lines(card: Card | None, shown: Iterable[str]) -> tuple[CardLine, ...]:
    """Return what the machine card says at the lines that are to be shown, without those it lacks.

    A list, such as the lamps of the charger, is one line.
    """
    lines = []
    for path in shown if card is not None else ():
        assert card is not None
        listed = card.listed(path)
        value = "; ".join(f"{word}: {meaning}" for word, meaning in listed.items())
        said = value or card.line(path)
        if said:
            lines.append(CardLine(path, said))
    return tuple(lines)


def card_list(visit: Visit, step: Question) -> Mapping[str, str]:
    """Return what the machine card lists for a question: lamps or codes and their meanings."""
    if visit.card is None:
        return {}
    return {word: what for path in step.show_card for word, what in visit.card.listed(path).items()}


def ranking(frame: Frame) -> tuple[Cause, ...]:
    """Return all findings of a symptom, the likeliest first; ties go by place in the file."""
    causes = _causes(frame, frame.tree.plan.findings, normalised(frame.logs))
    return tuple(sorted(causes, key=lambda cause: -cause.probability))


def _causes(frame: Frame, places: Iterable[int], shares: Sequence[float]) -> tuple[Cause, ...]:
    plan, steps = frame.tree.plan, frame.tree.steps
    causes = []
    for place in places:
        step = steps[place]
        assert isinstance(step, Finding)
        causes.append(Cause(plan.ids[place], step.finding, shares[plan.bit[place]]))
    return tuple(causes)


def looked_at(frame: Frame) -> bool:
    """Whether an answer points to the finding, or somebody looked there and all looked right.

    Another answer that is not the passing one says nothing of this finding: it tells what was seen
    first.
    """
    plan = frame.tree.plan
    return frame.checked or any(
        answer is not None and answer == plan.passing[step] and frame.at in plan.ways[step]
        for step, answer in frame.closed.items()
        if step not in frame.tree.from_card
    )


def named(table: CautionTable, in_force: int) -> tuple[Named, ...]:
    """Return the cautions in force by their titles, in the order of the file."""
    return tuple(
        Named(name, record.title)
        for number, (name, record) in enumerate(zip(table.ids, table.records, strict=True))
        if in_force >> number & 1
    )


def _question(visit: Visit, state: State, step: Question, common: dict[str, Any]) -> Screen:
    frame = state.frames[-1]
    tree = frame.tree
    outlook = outlooks(
        tree.plan,
        visit.table,
        [frame.at],
        weights=normalised(frame.logs),
        own=tree.own,
        closed=frame.closed,
        gone=frame.gone,
        in_force=state.cautions.in_force,
    )[frame.at]
    shared: dict[str, Any] = {
        **common,
        "replies": (replies.UNSURE, replies.CANNOT, *_back(visit, state), replies.WHY, *ALWAYS),
        "step": tree.plan.ids[frame.at],
        "do": step.do,
        "look_for": step.look_for,
        "tool": step.tool,
        "open": outlook.reach.bit_count(),
        "minutes_left": outlook.minutes / outlook.weight if outlook.weight > 0 else 0.0,
        "card": card_lines(visit.card, step.show_card),
        "note_down": step.note_down,
    }
    if isinstance(step, Check):
        answers = tuple([Named(way.answer, way.answer) for way in step.exits])
        return CheckScreen(ask=step.ask, answers=answers, **shared)
    assert isinstance(step, Reading)
    measurement = tree.measurements[step.read]
    needs = tuple(
        Input(name=need.name, unit=need.unit, title=need.title)
        for need in measurement.needs
        if need.asked and not (need.optional and need.card and visit.line(need.card))
    )
    return ReadingScreen(read=step.read, title=measurement.title, needs=needs, **shared)


def _finding(visit: Visit, state: State, step: Finding, common: dict[str, Any]) -> Screen:
    """Return the screen of a finding: an operator's with its remedy, service's without."""
    frame = state.frames[-1]
    plan = frame.tree.plan
    shares = normalised(frame.logs)
    advised = advice(visit, state, shares)
    seen = looked_at(frame)
    if seen and not frame.checked:
        common["notes"] += (phrase("seen-otherwise"),)
    looked = (replies.NOT_IT,) if advised.look else ()
    kinds: tuple[str, ...]
    if step.who == "service":
        kinds = (replies.REFER, replies.KEEP_LOOKING)
        if not advised.refer and not advised.named:
            title = state.frames[-2].tree.title
            common["notes"] += (phrase("open-before", title=title),)
        kinds = (*(kinds if advised.refer else kinds[::-1]), *looked)
        before_trying: tuple[str, ...] = ()
    else:
        kinds = (replies.CURED, replies.NOT_CURED, *looked, replies.CANNOT)
        before_trying = cautions.release_lines(visit.table, state.cautions.in_force)
    return FindingScreen(
        **common,
        replies=(*kinds, *_back(visit, state), replies.WHY, *ALWAYS),
        step=plan.ids[frame.at],
        finding=step.finding,
        who=step.who,
        checked=seen,
        remedy=step.remedy,
        before_trying=before_trying,
        leave_safe=step.leave_safe,
        probability=shares[plan.bit[frame.at]],
        likelier=_causes(frame, advised.named, shares),
        minutes=step.minutes,
        parts=step.parts,
        until_mended=step.until_mended,
        card=card_lines(visit.card, step.show_card),
    )


def _end(visit: Visit, state: State) -> EndScreen:
    """Return the end of a case, with the ranking of the first symptom."""
    assert state.outcome is not None
    return EndScreen(
        symptom=state.frames[0].tree.symptom,
        in_force=named(visit.table, state.cautions.in_force),
        doorway=state.doorway,
        notes=(*state.notes, *comes_back(visit, state)),
        outcome=state.outcome,
        ranking=ranking(state.frames[0]),
    )


def comes_back(visit: Visit, state: State) -> tuple[Phrase, ...]:
    """Return what it means that a case was cured of what this machine had often lately."""
    if state.outcome != "cured":
        return ()
    frame = state.frames[-1]
    step = frame.tree.steps[frame.at]
    assert isinstance(step, Finding)
    finding = (frame.tree.symptom, frame.tree.plan.ids[frame.at])
    times = visit.cured_before.get(finding, 0) + 1
    return () if times < OFTEN else (comes_back_for(step.parts, times),)


def comes_back_for(parts: Collection[str], times: int) -> Phrase:
    """Return what it means that one finding was cured so many times within `LATELY`.

    A remedy without a part is cleaning or setting, and that is due more often; a part that does not
    last has a cause of its own.
    """
    return phrase(f"comes-back-{'part' if parts else 'care'}", times=times)


def contacts(card: Card | None, site: Site | None = None) -> tuple[Contact, ...]:
    """Return whom to call: in an emergency first, service last, as the card says or the site.

    Nobody without a number.
    """
    called = {} if site is None else dict(site.call)
    service, emergency = called.pop("service", None), called.pop("emergency", None)
    first = [emergency] if emergency is not None else []
    found = [Contact(who=one.name, phone=one.phone) for one in (*first, *called.values())]
    who = None if card is None else card.line("service.name")
    phone = None if card is None else card.line("service.phone")
    if phone is not None:
        found.append(Contact(who=who or "Service", phone=phone))
    elif service is not None:
        found.append(Contact(who=service.name, phone=service.phone))
    return tuple(found)


def call_notes(call: Sequence[Contact]) -> tuple[Phrase, ...]:
    """Return whom to call, to be said at an end."""
    return tuple(phrase("end-call", who=one.who, phone=one.phone) for one in call)


def _back(visit: Visit, state: State) -> tuple[str, ...]:
    out = state.returns or (state.chosen and _nothing_said(visit, state))
    return (replies.BACK,) if state.before is not None or out else ()


def leaves_nothing(visit: Visit, state: State) -> bool:
    """Whether nothing was said or noted in the case yet, and no lockout stands."""
    return _nothing_said(visit, state) and not state.noted


def _nothing_said(visit: Visit, state: State) -> bool:
    # A lockout that stands must be known to whoever comes next.
    return state.before is None and not state.cautions.in_force & visit.table.lockouts
