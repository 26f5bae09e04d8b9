"""The diagnoses in a log: a case is one, and a round holds those that its items started."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING, Any

from diagnose.files import replies

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from diagnose.case.log import CaseRecord, LoggedEvent, Milestone


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """One symptom of one case, told as if it were a case of its own.

    `case` has the symptom's outcome, and `events` begin with one that says what an opened case
    says; both so that whoever reads a case reads this. `whole` is the case as the log has it.
    """

    whole: CaseRecord
    case: CaseRecord
    events: tuple[LoggedEvent, ...]

    @property
    def waits(self) -> bool:
        """Whether the machine still has what this is about."""
        referred = self.case.outcome == "referred" and self.case.found is None
        return referred or self.case.outcome == "open"

    @property
    def last(self) -> Mapping[str, Any]:
        """The body of the event that ended it, or of the last one yet."""
        told = [e.body for e in self.events if e.body["kind"] not in ("found", "resumed")]
        ends = [body for body in told if _end(body) is not None]
        return (ends or told)[-1]


def came_to(body: Mapping[str, Any]) -> str:
    """Return in words what the last event of a diagnosis made of it."""
    shown = body["shown"] or {}
    end = _end(body)
    if end is None:
        return "left, not finished"
    if body["kind"] == replies.DANGER:
        return f"{end}: a danger was reported"
    if body["kind"] in (replies.CURED, replies.REFER):
        return f"{end}: {shown.get('finding', body['step'])}"
    return f"{end}: nothing is left that an operator can check"


def by_case(milestones: Iterable[Milestone]) -> Iterable[tuple[CaseRecord, list[LoggedEvent]]]:
    """Yield each case with its milestones, in the order of the log."""
    for _, group in groupby(milestones, key=lambda milestone: milestone.case.key):
        own = list(group)
        yield own[0].case, [milestone.event for milestone in own]


def diagnoses(case: CaseRecord, events: Sequence[LoggedEvent]) -> list[Diagnosis]:
    """Return the diagnoses of a case in their order; `events` are all of it, or its milestones.

    What was withdrawn by going back to the item of a round is none. A danger in a round that was
    met at an item is one without a symptom.
    """
    if case.round is None:
        return [Diagnosis(whole=case, case=case, events=tuple(events))]
    found: list[list[LoggedEvent]] = []
    going_on = False
    opened = events[0]
    trees: dict[str, Any] = {}
    for event in events[1:]:
        body = event.body
        trees |= (body["more"] or {}).get("trees", {})
        starts = (body["more"] or {}).get("starts")
        if starts:
            found.append([_opening(opened, event, starts, trees)])
            going_on = _end(body) is None
        elif body["kind"] == "found":
            _attach(found, event)
        elif body["symptom"] and going_on:
            found[-1].append(event)
            going_on = _end(body) is None
        elif body["kind"] == "resumed" and going_on:
            symptom = found[-1][0].body["symptom"]
            found[-1].append(replace(event, body={**body, "symptom": symptom}))
        elif body["kind"] == replies.BACK and going_on:
            found.pop()
            going_on = False
        elif body["kind"] == replies.DANGER:
            found.append([opened, event])
    return [_diagnosis(case, own) for own in found]


def _opening(
    opened: LoggedEvent, event: LoggedEvent, symptom: str, trees: Mapping[str, Any]
) -> LoggedEvent:
    """Return the reply that started a symptom, as the first event of a case.

    The log of a round tells each tree once, so the `trees` told before are given along.
    """
    body = {
        **event.body,
        "kind": "opened",
        "symptom": symptom,
        "step": "",
        "shown": None,
        "trail": [trace for trace in event.body["trail"] if trace["symptom"]],
        "more": {"words": "", **opened.body["more"], **event.body["more"], "trees": dict(trees)},
    }
    return replace(event, body=body)


def _attach(found: list[list[LoggedEvent]], event: LoggedEvent) -> None:
    """Put what service found with the last referral of its symptom."""
    for own in reversed(found):
        if own[0].body["symptom"] == event.body["symptom"]:
            own.append(event)
            return


def _diagnosis(case: CaseRecord, events: list[LoggedEvent]) -> Diagnosis:
    outcome, finding, reported = "open", None, None
    for event in events:
        end = _end(event.body)
        outcome = end or outcome
        if end == "cured":
            finding = event.body["step"]
        if event.body["kind"] == "found":
            reported = event.body["answer"]
    own = replace(
        case,
        symptom=events[0].body["symptom"],
        opened=events[0].at,
        changed=events[-1].at,
        outcome=outcome,
        finding=finding,
        found=reported,
    )
    return Diagnosis(whole=case, case=own, events=tuple(events))


def _end(body: Mapping[str, Any]) -> str | None:
    """Return the outcome of the diagnosis that an event ended; leaving it ends none."""
    if body["kind"] == replies.DANGER:
        return "referred"
    for trace in body["trail"]:
        if trace["what"] == "ended" and trace["symptom"] and trace["why"] != "left":
            return "cured" if trace["why"] == "cured" else "referred"
    return None
