"""The story of a machine, and what of it is not over: cases, findings, readings and rounds.

Pure: the log's milestones in, plain data out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from diagnose.case.diagnoses import by_case, came_to, diagnoses
from diagnose.case.history import latest_marks
from diagnose.files import replies

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from diagnose.case.diagnoses import Diagnosis
    from diagnose.case.log import CaseRecord, LoggedEvent, Milestone

#: What a line of a story is about.
CASE: Final = "case"
FINDING: Final = "finding"
READING: Final = "reading"
ROUND: Final = "round"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of a story: when, of which case, about what, in words."""

    at: str
    case: str
    about: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfinished:
    """What of a machine's story is not over.

    `waiting` are diagnoses that were left or that service has not answered; `noted` are items of
    its latest rounds that were not right and started no symptom, with when.
    """

    machine: str | None
    waiting: tuple[Diagnosis, ...]
    noted: tuple[tuple[str, str], ...]
    since: str | None


def story(milestones: Iterable[Milestone]) -> list[Entry]:
    """Return a machine's story in the order of time."""
    entries: list[Entry] = []
    for case, events in by_case(milestones):
        entries += _round(case, events) if case.round is not None else _case(case, events)
    return sorted(entries, key=lambda entry: entry.at)


def unfinished(milestones: Sequence[Milestone]) -> list[Unfinished]:
    """Return for each machine of the log what is not over, and since when (None: nothing).

    A danger that was met at an item of a round is over once a later round was walked to its end;
    what was noted in a round, once that round was walked again.
    """
    machines: dict[str | None, list[Diagnosis]] = {}
    walked: dict[str | None, str] = {}
    for case, events in by_case(milestones):
        machines.setdefault(case.machine, []).extend(diagnoses(case, events))
        if case.outcome == "walked":
            walked[case.machine] = max(case.changed, walked.get(case.machine, ""))
    noted: dict[str | None, list[tuple[str, str]]] = {}
    for (machine, _), (at, marks) in latest_marks(milestones).items():
        for mark in marks:
            if mark["mark"] == replies.NOT_RIGHT and mark["starts"] is None:
                noted.setdefault(machine, []).append((at, mark["do"]))
    found = []
    for machine, own in machines.items():
        waiting = tuple(
            each
            for each in own
            if each.waits and (each.case.symptom or each.case.changed >= walked.get(machine, ""))
        )
        lines = tuple(sorted(noted.get(machine, [])))
        begun = [each.case.opened for each in waiting] + [at for at, _ in lines]
        found.append(
            Unfinished(
                machine=machine, waiting=waiting, noted=lines, since=min(begun, default=None)
            )
        )
    return found


def _case(case: CaseRecord, events: Sequence[LoggedEvent]) -> Iterator[Entry]:
    opened = events[0]
    title = _title(opened.body, case.symptom)
    yield Entry(at=opened.at, case=case.name, about=CASE, text=f"opened: {title}")
    for event in events:
        yield from _course(case, event)


def _round(case: CaseRecord, events: Sequence[LoggedEvent]) -> Iterator[Entry]:
    opened = events[0].body["more"]
    title = opened["round"]["title"]
    who = ", ".join(word for word in (opened["name"], opened["role"]) if word)
    yield Entry(at=events[0].at, case=case.name, about=ROUND, text=f"{title}: begun by {who}")
    last = next((s for e in reversed(events) if "marks" in (s := _summary(e.body))), None)
    standing = None if last is None else {mark["item"] for mark in last["marks"]}
    for event in events:
        body = event.body
        # One that was withdrawn again does not stand among the marks at the end.
        if body["kind"] == replies.NOT_RIGHT and (standing is None or body["step"] in standing):
            text = f"not right: {body['shown']['do']}"
            yield Entry(at=event.at, case=case.name, about=ROUND, text=text)
        yield from _course(case, event)
        summary = _summary(body)
        if "marks" in summary:
            text = _came_to(title, body, summary)
            yield Entry(at=event.at, case=case.name, about=ROUND, text=text)


def _course(case: CaseRecord, event: LoggedEvent) -> Iterator[Entry]:
    """Yield what a milestone says of a diagnosis: a reading, an end, what service found."""
    body = event.body
    figure = (body["more"] or {}).get("figure")
    if figure:
        value = f"{figure['value']:.4g} {figure['unit']}".strip()
        text = f"{body['shown']['title']}: {value}, {body['answer']}"
        yield Entry(at=event.at, case=case.name, about=READING, text=text)
    if body["kind"] == "found":
        text = f"service found: {body['answer']}"
        yield Entry(at=event.at, case=case.name, about=FINDING, text=text)
        return
    ended = any(trace["what"] == "ended" and trace["symptom"] for trace in body["trail"])
    # That a round was left says so itself.
    if ended and not (case.round is not None and body["kind"] == replies.LEAVE):
        yield Entry(at=event.at, case=case.name, about=FINDING, text=came_to(body))


def _came_to(title: str, body: Mapping[str, Any], summary: Mapping[str, Any]) -> str:
    """Return in words how a round ended, and what was left for another time."""
    how = {replies.DANGER: "stopped, a danger was reported", replies.LEAVE: "left"}
    line = (
        f"{title}: {how.get(body['kind'], 'walked')}, {summary['done']} of {summary['total']} done"
    )
    later = [mark["do"] for mark in summary["marks"] if mark["mark"] == replies.NOT_NOW]
    return f"{line}; not now: {' '.join(later)}" if later else line


def _summary(body: Mapping[str, Any]) -> Mapping[str, Any]:
    return (body["more"] or {}).get("round") or {}


def _title(body: Mapping[str, Any], symptom: str) -> str:
    return str((body["more"] or {}).get("trees", {}).get(symptom, {}).get("title", symptom))
