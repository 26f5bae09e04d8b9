"""The story of a machine, and what of it is not over: cases, findings, readings and rounds.

Pure: the log's milestones in, plain data out.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.files import replies
from diagnose.log.events import (
    CaseOver,
    Found,
    ItemReplied,
    Noted,
    Opened,
    Replied,
    Resumed,
    RoundOpened,
)
from diagnose.log.history import latest_marks

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from diagnose.log.events import CameTo, Event
    from diagnose.log.protocol import CaseRecord, LoggedEvent, Milestone

#: What a line of a story is about.
CASE: Final = "case"
FINDING: Final = "finding"
READING: Final = "reading"
NOTE: Final = "note"
ROUND: Final = "round"


class StoryLine(Struct, frozen=True, kw_only=True):
    """One line of a story: when, of which case, about what, in words."""

    at: str
    case: str
    about: str
    text: str


class Unfinished(Struct, frozen=True, kw_only=True):
    """What of a machine's story is not over, and since when (None: nothing).

    `waiting` are cases that were left or that service has not answered, and rounds that a danger
    ended, each with its milestones; `noted` are items of its latest rounds that were not right and
    started no symptom, with when.
    """

    machine: str | None
    waiting: tuple[tuple[CaseRecord, tuple[LoggedEvent, ...]], ...]
    noted: tuple[tuple[str, str], ...]
    since: str | None


def by_case(milestones: Iterable[Milestone]) -> Iterator[tuple[CaseRecord, list[LoggedEvent]]]:
    """Yield each case with its milestones, in the order of the log."""
    for _, group in groupby(milestones, key=lambda milestone: milestone.case.key):
        own = list(group)
        yield own[0].case, [milestone.logged for milestone in own]


def story(milestones: Iterable[Milestone]) -> list[StoryLine]:
    """Return a machine's story in the order of time. What was withdrawn is no part of it."""
    lines: list[StoryLine] = []
    for case, events in by_case(milestones):
        if case.outcome != "withdrawn":
            lines += _round(case, events) if case.round is not None else _case(case, events)
            lines += [
                _line(case, logged, NOTE, logged.event.words)
                for logged in events
                if isinstance(logged.event, Noted)
            ]
    return sorted(lines, key=lambda line: line.at)


def unfinished(milestones: Iterable[Milestone]) -> list[Unfinished]:
    """Return for each machine of the log what is not over.

    A danger that was met at an item of a round is over once a later round was walked to its end;
    what was noted in a round, once that round was walked again.
    """
    milestones = list(milestones)
    machines: dict[str | None, list[tuple[CaseRecord, list[LoggedEvent]]]] = {}
    walked: dict[str | None, str] = {}
    for case, events in by_case(milestones):
        machines.setdefault(case.machine, []).append((case, events))
        if case.outcome == "walked":
            walked[case.machine] = max(case.changed, walked.get(case.machine, ""))
    noted = _noted(milestones)
    found = []
    for machine, own in machines.items():
        waiting = tuple(
            (case, tuple(events))
            for case, events in own
            if _waits(case, events) and (case.symptom or case.changed >= walked.get(machine, ""))
        )
        lines = tuple(sorted(noted.get(machine, [])))
        begun = [case.opened for case, _ in waiting] + [at for at, _ in lines]
        found.append(
            Unfinished(
                machine=machine, waiting=waiting, noted=lines, since=min(begun, default=None)
            )
        )
    return found


def came_to(events: Iterable[LoggedEvent]) -> str:
    """Return in words what the replies of a case have made of it."""
    told = [e.event for e in events if isinstance(e.event, Opened | Replied | ItemReplied)]
    last = next((event for event in reversed(told) if event.outcome), told[-1])
    return _came_to(last)


def _came_to(event: Event) -> str:
    end = event.outcome
    if end is None:
        return "left, not finished"
    if isinstance(event, Replied | ItemReplied) and event.reply == replies.DANGER:
        return f"{end}: a danger was reported"
    if isinstance(event, Replied) and event.reply in (replies.CURED, replies.REFER):
        return f"{end}: {event.shown.finding or event.step}"
    return f"{end}: nothing is left that an operator can check"


def _waits(case: CaseRecord, events: Sequence[LoggedEvent]) -> bool:
    """Whether the machine still has what a case is about; of rounds, only a danger at an item."""
    if case.round is None:
        return case.waits
    replied = [e.event for e in events if isinstance(e.event, ItemReplied)]
    return case.waits and any(event.reply == replies.DANGER for event in replied)


def _noted(milestones: Iterable[Milestone]) -> dict[str | None, list[tuple[str, str]]]:
    noted: dict[str | None, list[tuple[str, str]]] = {}
    for (machine, _), (at, came) in latest_marks(milestones).items():
        for mark in came.marks:
            if mark.mark == replies.NOT_RIGHT and mark.starts is None:
                noted.setdefault(machine, []).append((at, mark.do))
    return noted


def _case(case: CaseRecord, events: Sequence[LoggedEvent]) -> Iterator[StoryLine]:
    for logged in events:
        event = logged.event
        if isinstance(event, Opened):
            tree = event.trees.get(case.symptom)
            title = case.symptom if tree is None else tree.title
            yield _line(case, logged, CASE, f"opened: {title}")
        elif isinstance(event, Found):
            yield _line(case, logged, FINDING, f"service found: {event.finding}")
            continue
        elif isinstance(event, Replied) and event.reading is not None:
            figure = event.reading.figure
            value = f"{figure.value:.4g} {figure.unit}".strip()
            text = f"{event.shown.title}: {value}, {event.answer}"
            yield _line(case, logged, READING, text)
        if any(trace.what == "ended" for trace in event.trail):
            yield _line(case, logged, FINDING, _came_to(event))


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
    how = {replies.DANGER: "stopped, a danger was reported", replies.LEAVE: "left", "left": "left"}
    line = f"{title}: {how.get(''.join(whys[-1:]), 'walked')}, {told.done} of {told.total} done"
    later = [mark.do for mark in told.marks if mark.mark == replies.NOT_NOW]
    return f"{line}; not now: {' '.join(later)}" if later else line


def _line(case: CaseRecord, logged: LoggedEvent, about: str, text: str) -> StoryLine:
    return StoryLine(at=logged.at, case=case.name, about=about, text=text)
