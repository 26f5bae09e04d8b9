"""The story of a machine, and what of it is not over: cases, findings, readings and rounds.

Pure: the log's milestones in, plain data out.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.files import replies
from diagnose.log.account import Account, reported
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
    releases,
)
from diagnose.log.history import LATELY, repeats
from diagnose.round.walk import STOPS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from diagnose.log.events import CameTo, Event
    from diagnose.log.history import Repeat
    from diagnose.log.machine_state import Held
    from diagnose.log.protocol import CaseRecord, LoggedEvent, Milestone

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


class Unfinished(Struct, frozen=True, kw_only=True):
    """What of a machine's story is not over.

    `holding` is what keeps it from being simply in use; `waiting` are cases that were left or that
    service has not answered, and all that hold it, each with its milestones; `noted` are items that
    rounds found not right and began no case for, with when; `last_round` is what was written
    down in the last round, for the next shift, with when.
    """

    machine: str | None
    holding: tuple[Held, ...]
    waiting: tuple[tuple[CaseRecord, tuple[LoggedEvent, ...]], ...]
    noted: tuple[tuple[str, str], ...]
    last_round: tuple[tuple[str, str], ...] = ()


def by_case(milestones: Iterable[Milestone]) -> Iterator[tuple[CaseRecord, list[LoggedEvent]]]:
    """Yield each case with its milestones, in the order of the log."""
    for _, group in groupby(milestones, key=lambda milestone: milestone.case.key):
        own = list(group)
        yield own[0].case, [milestone.logged for milestone in own]


def story(milestones: Iterable[Milestone]) -> list[StoryLine]:
    """Return a machine's story in the order of time. What was withdrawn is no part of it."""
    milestones = list(milestones)
    often = repeats(milestones)
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


def unfinished(
    milestones: Iterable[Milestone],
    holding: Iterable[Held],
    events_of: Callable[[CaseRecord], Sequence[LoggedEvent]],
) -> list[Unfinished]:
    """Return for each machine of the log what is not over.

    `holding` is what holds the machines; `events_of` gives all events of a round that broke off
    without a word.
    """
    machines: dict[str | None, list[tuple[CaseRecord, list[LoggedEvent]]]] = {}
    for case, events in by_case(milestones):
        machines.setdefault(case.machine, []).append((case, events))
    holds: dict[str | None, list[Held]] = {}
    for one in holding:
        holds.setdefault(one.case.machine, []).append(one)
    found = []
    for machine, own in machines.items():
        held = tuple(holds.get(machine, ()))
        names = {one.case.name for one in held}
        found.append(
            Unfinished(
                machine=machine,
                holding=held,
                waiting=tuple(
                    (case, tuple(events))
                    for case, events in own
                    if case.name in names or (case.round is None and case.waits)
                ),
                noted=tuple(sorted(_noted(own, events_of))),
                last_round=_last_round(own),
            )
        )
    return found


def _last_round(
    own: Sequence[tuple[CaseRecord, Sequence[LoggedEvent]]],
) -> tuple[tuple[str, str], ...]:
    """Return what was written down in the last round of one machine."""
    rounds = [events for case, events in own if case.round and case.outcome != "withdrawn"]
    last = Account(rounds[-1]).notes if rounds else []
    return tuple((at, note.words) for at, note in last)


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


def _noted(
    rounds: Iterable[tuple[CaseRecord, Sequence[LoggedEvent]]],
    events_of: Callable[[CaseRecord], Sequence[LoggedEvent]],
) -> list[tuple[str, str]]:
    """Return what the rounds of one machine found not right, with when.

    It stays noted until that item of the same round is done, or the machine was released since.
    """
    noted: dict[tuple[str, str], tuple[str, str]] = {}
    for case, events in rounds:
        if case.round is None:
            continue
        marks = _marks(events)
        if case.outcome == "walked" and marks is not None:
            # What was done has no mark; what was not right anew is noted anew, or has a case.
            noted = {
                (name, item): note
                for (name, item), note in noted.items()
                if name != case.round or marks.get(item) == replies.NOT_NOW
            }
        own = Account(events_of(case)).unresolved if marks is None else _standing(events, marks)
        after = max((logged.number for logged in events if releases(logged.event)), default=0)
        for logged in own:
            event = logged.event
            if isinstance(event, ItemReplied) and logged.number > after:
                noted[case.round, event.item] = (logged.at, event.shown.do or "")
    return list(noted.values())


def _standing(events: Iterable[LoggedEvent], marks: Mapping[str, str]) -> list[LoggedEvent]:
    """Return the notes of a round that stand among its marks at the end: none was withdrawn."""
    return [
        logged
        for logged in events
        if isinstance(logged.event, ItemReplied)
        and logged.event.unresolved
        and marks.get(logged.event.item) == replies.NOT_RIGHT
    ]


def _marks(events: Iterable[LoggedEvent]) -> dict[str, str] | None:
    """Return the marks with which a round ended or was left, by item; None where it broke off."""
    marks = None
    for logged in events:
        if isinstance(logged.event, Resumed):
            marks = None
        told = _told_at_end(logged.event)
        if told is not None:
            marks = {mark.item: mark.mark for mark in told.marks}
    return marks


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
            yield _line(case, logged, FINDING, f"service found: {event.finding}{also}")
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
