"""The story of a machine, and what its rounds have noted: cases, findings, readings and rounds.

Pure: the log's milestones in, plain data out.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.files import replies
from diagnose.log.account import Account, releases, reported
from diagnose.log.events import (
    CaseOver,
    Found,
    ItemReplied,
    Noted,
    Opened,
    Released,
    Replied,
    Resumed,
    RoundOpened,
)
from diagnose.log.history import LATELY, repeats
from diagnose.log.summary import Cure
from diagnose.round.walk import STOPS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from diagnose.log.events import CameTo, Event
    from diagnose.log.history import Repeat
    from diagnose.log.protocol import CaseRecord, Listed, LoggedEvent, Milestone

#: What a line of a story is about.
CASE: Final = "case"
FINDING: Final = "finding"
READING: Final = "reading"
NOTE: Final = "note"
ROUND: Final = "round"
RELEASE: Final = "release"


class StoryLine(Struct, frozen=True, kw_only=True):
    """One line of a story: when, of which case, about what, in words."""

    at: str
    case: str
    about: str
    text: str


def by_case(milestones: Iterable[Milestone]) -> Iterator[tuple[CaseRecord, list[LoggedEvent]]]:
    """Yield each case with its milestones, in the order of the log."""
    for _, group in groupby(milestones, key=lambda milestone: milestone.case.key):
        own = list(group)
        yield own[0].case, [milestone.logged for milestone in own]


def story(milestones: Iterable[Milestone]) -> list[StoryLine]:
    """Return a machine's story in the order of time. What was withdrawn is no part of it."""
    milestones = list(milestones)
    often = repeats(_cures(milestones))
    lines: list[StoryLine] = []
    for case, events in by_case(milestones):
        if case.outcome == "withdrawn":
            continue
        if case.round is not None:
            lines += _round(case, events)
        else:
            lines += _case(case, events, often.get(case.key))
        for logged in events:
            if isinstance(logged.event, Noted):
                lines.append(_line(case, logged, NOTE, logged.event.words))
            elif isinstance(logged.event, Released):
                lines.append(_line(case, logged, RELEASE, f"released by {logged.event.name}"))
    return sorted(lines, key=lambda line: line.at)


def _cures(milestones: Iterable[Milestone]) -> list[Cure]:
    cures = [
        cure for one in milestones for cure in cures_by(one.case, one.logged.at, one.logged.event)
    ]
    return sorted(cures, key=lambda cure: (cure.finding, cure.at))


def cures_by(case: CaseRecord, at: str, event: Event) -> Iterator[Cure]:
    """Yield what an event says was cured or found."""
    if not isinstance(event, Replied | Found) or not event.milestone:
        return
    for place, cured in enumerate(event.cures):
        own = isinstance(event, Replied) and place == len(event.cures) - 1
        yield Cure(
            machine=case.machine,
            finding=cured,
            at=at,
            case=case.key,
            words=event.shown.finding if own and isinstance(event, Replied) else None,
            parts=event.shown.parts if own and isinstance(event, Replied) else (),
        )


def came_to(events: Iterable[LoggedEvent]) -> str:
    """Return in words what the replies of a case or a round have made of it."""
    told = [e.event for e in events if isinstance(e.event, _REPLIES)]
    last = next((event for event in reversed(told) if event.outcome), told[-1])
    return _came_to(last)


#: The events that can tell what became of a case or a round.
_REPLIES: Final = (Opened, RoundOpened, Replied, ItemReplied, CaseOver)


def _came_to(event: Event) -> str:
    end = event.outcome
    if end is None:
        return "left, not finished"
    if isinstance(event, Replied | ItemReplied) and event.reply == replies.DANGER:
        return f"{end}: {reported(event.answer)}"
    if isinstance(event, ItemReplied) and event.outcome == "referred":
        return f"{end}: not right: {event.shown.do}"
    if isinstance(event, ItemReplied | CaseOver):
        return end
    if isinstance(event, Replied) and event.reply in (replies.CURED, replies.REFER):
        return f"{end}: {event.shown.finding or event.step}"
    return f"{end}: nothing is left that an operator can check"


def noted_now(rounds: Iterable[Listed]) -> dict[str | None, list[tuple[str, str]]]:
    """Return, by machine, what its rounds found not right, with when; they come in their order.

    It stays noted until that item of the same round is done, or the machine was released since.
    """
    noted: dict[tuple[str | None, str, str], tuple[str, str]] = {}
    for one in rounds:
        case, summary = one.case, one.summary
        name = case.round or ""
        if case.outcome == "walked" and summary.left_at and not summary.going_on:
            # What was done has no mark; what was not right anew is noted anew, or has a case.
            later = {mark.item for mark in summary.left if mark.mark == replies.NOT_NOW}
            over = [key for key in noted if key[:2] == (case.machine, name) and key[2] not in later]
            for key in over:
                del noted[key]
        for own in summary.not_right:
            noted[case.machine, name, own.item] = (own.at, own.do)
    found: dict[str | None, list[tuple[str, str]]] = {}
    for (machine, _, _), note in noted.items():
        found.setdefault(machine, []).append(note)
    return {machine: sorted(notes) for machine, notes in found.items()}


def standing(events: Sequence[LoggedEvent], marks: Mapping[str, str] | None) -> list[LoggedEvent]:
    """Return what a round found not right and its machine was not released from since.

    `marks` are those with which it ended or was left, by item, None where it broke off.
    """
    own = Account(events).unresolved if marks is None else _standing(events, marks)
    after = max((logged.number for logged in events if releases(logged.event)), default=0)
    return [logged for logged in own if logged.number > after]


def _standing(events: Iterable[LoggedEvent], marks: Mapping[str, str]) -> list[LoggedEvent]:
    """Return the notes of a round that stand among its marks at the end: none was withdrawn."""
    return [
        logged
        for logged in events
        if isinstance(logged.event, ItemReplied)
        and logged.event.unresolved
        and marks.get(logged.event.item) == replies.NOT_RIGHT
    ]


def _case(
    case: CaseRecord, events: Sequence[LoggedEvent], repeat: Repeat | None
) -> Iterator[StoryLine]:
    for logged in events:
        event = logged.event
        if isinstance(event, Opened):
            tree = event.trees.get(case.symptom)
            title = case.symptom if tree is None else tree.title
            yield _line(case, logged, CASE, f"opened: {title}")
        elif isinstance(event, Found):
            also = ", released" if event.released else ""
            yield _line(case, logged, FINDING, f"service found: {event.words}{also}")
            continue
        elif isinstance(event, Replied) and event.reading is not None:
            figure = event.reading.figure
            value = f"{figure.value:.4g} {figure.unit}".strip()
            text = f"{event.shown.title}: {value}, {event.answer}"
            yield _line(case, logged, READING, text)
        if any(trace.what == "ended" for trace in event.trail):
            often = (
                f" It comes back: {repeat.times} times within {LATELY.days} days." if repeat else ""
            )
            yield _line(case, logged, FINDING, f"{_came_to(event)}{often}")


def _round(case: CaseRecord, events: Sequence[LoggedEvent]) -> Iterator[StoryLine]:
    came = [told for logged in events if (told := _told_at_end(logged.event)) is not None]
    standing = None if not came else {mark.item for mark in came[-1].marks}
    title = case.round or ""
    for logged in events:
        event = logged.event
        if isinstance(event, RoundOpened):
            title = event.title
            who = ", ".join(word for word in (event.outset.name, event.outset.role) if word)
            yield _line(case, logged, ROUND, f"{title}: begun by {who}")
        # One that was withdrawn again does not stand among the marks at the end.
        elif (
            isinstance(event, ItemReplied)
            and event.reply == replies.NOT_RIGHT
            and (standing is None or event.item in standing)
        ):
            yield _line(case, logged, ROUND, f"not right: {event.shown.do}")
        told = _told_at_end(event)
        if told is not None:
            yield _line(case, logged, ROUND, _round_came_to(title, event, told))


def _told_at_end(event: Event) -> CameTo | None:
    return event.came_to if isinstance(event, ItemReplied | CaseOver | Resumed) else None


def _round_came_to(title: str, event: Event, told: CameTo) -> str:
    """Return in words how a round ended, and what was left for another time."""
    whys = [trace.why for trace in event.trail if trace.what == "ended"]
    how = {
        replies.DANGER: "stopped, a danger was reported",
        STOPS: "stopped, it was not right",
        replies.LEAVE: "left",
        "left": "left",
    }
    line = f"{title}: {how.get(''.join(whys[-1:]), 'walked')}, {told.done} of {told.total} done"
    later = [mark.do for mark in told.marks if mark.mark == replies.NOT_NOW]
    return f"{line}; not now: {' '.join(later)}" if later else line


def _line(case: CaseRecord, logged: LoggedEvent, about: str, text: str) -> StoryLine:
    return StoryLine(at=logged.at, case=case.name, about=about, text=text)
