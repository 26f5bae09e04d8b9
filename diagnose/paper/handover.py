"""The handover: what a case's log tells the service that takes over, as data.

Read from the logged events alone, never from a tree. What was answered and then taken back is not
told as a fact; what was done to the machine is, taken back or not. Times are those of the log, UTC.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from diagnose.case.interpret import ANSWER
from diagnose.case.replay import MOVES
from diagnose.files import replies
from diagnose.paper.told import Standing, Taken, Told, standing

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from diagnose.case.log import CaseRecord, LoggedEvent

#: A cause for service that is less likely than this is not asked about, unless it was met.
WORTH_ASKING: Final = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of the story: a check, a reading, or a symptom that was entered or left.

    `kind`: check, reading, card (answered by the machine card), entered or returned. `answer` is
    None for *not sure*. A reading has its `figure`, its `inputs` as typed and in SI (`si`).
    """

    kind: str
    at: str
    symptom: str
    step: str
    words: str
    answer: str | None
    do: str = ""
    typed: str = ""
    figure: Mapping[str, Any] | None = None
    inputs: Mapping[str, str] | None = None
    si: Sequence[Any] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """A remedy that was tried; `result` is cured or not cured."""

    at: str
    symptom: str
    step: str
    finding: str
    remedy: str
    result: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """A step that was passed over, or a finding set aside.

    `why`: cannot, by (`reason` is who may), caution (`reason` names what was refused), card
    (`reason` says what is missing), tag (a release that could not be confirmed), or keep looking.
    """

    at: str
    symptom: str
    step: str
    words: str
    why: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Likely:
    """The likeliest causes of one symptom, the likeliest first."""

    symptom: str
    title: str
    causes: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A cause that is service's, and what service is asked to do. `met`: the answers led to it."""

    symptom: str
    step: str
    finding: str
    probability: float | None
    met: bool
    ask_service: str
    leave_safe: str
    hazards: tuple[str, ...]
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A handover. `machine` are the lines of the machine card; None where none was used.

    `people` are (time, role) of whoever walked the case; `danger` is when and at what it was told;
    `tags` are the cautions that could not be released (somebody else's tag); `taken_back` are
    answers that do not count any more; `verdict` is what service reported; `findings` are the ids
    that a verdict can name, the likeliest first; `closing` the probabilities at the end.
    """

    case: str
    symptom: str
    title: str
    words: str
    outcome: str
    opened: str
    changed: str
    zone: str = "UTC"
    machine: Mapping[str, Any] | None
    people: tuple[tuple[str, str], ...]
    standing: Standing
    danger: Mapping[str, Any] | None
    cautions: tuple[Taken, ...]
    tags: tuple[Passed, ...]
    likely: tuple[Likely, ...]
    parts: tuple[str, ...]
    story: tuple[Entry, ...]
    remedies: tuple[Tried, ...]
    passed: tuple[Passed, ...]
    asked: tuple[Asked, ...]
    taken_back: tuple[Mapping[str, Any], ...]
    verdict: Mapping[str, Any] | None
    findings: tuple[str, ...]
    closing: Mapping[str, float] = field(default_factory=dict)


def handover(case: CaseRecord, events: Sequence[LoggedEvent]) -> Page:
    """Return the page of a case, whether it has ended or not."""
    told = Told(events)
    likely = tuple(_likely(told))
    asked = tuple(_asked(told, likely))
    found = next((b for b in reversed(told.bodies) if b["kind"] == "found"), None)
    own = told.findings(case.symptom)
    top = [cause["step"] for group in likely[:1] for cause in group.causes]
    return Page(
        case=case.name,
        symptom=case.symptom,
        title=told.title(case.symptom),
        words=told.first.get("words", ""),
        outcome=case.outcome,
        opened=case.opened,
        changed=case.changed,
        machine=told.first.get("card"),
        people=tuple(told.people()),
        standing=standing(case.outcome, events),
        danger=told.danger and {"at": told.danger["at"], "words": told.words(told.danger)},
        cautions=tuple(told.cautions()),
        tags=tuple(p for p in _passed(told) if p.why == "tag"),
        likely=likely,
        parts=tuple(_parts(told, likely, asked)),
        story=tuple(_story(told)),
        remedies=tuple(_remedies(told)),
        passed=tuple(_passed(told)),
        asked=asked,
        taken_back=tuple(_taken_back(told)),
        verdict=found
        and {
            "at": found["at"],
            "finding": found["answer"],
            "words": own.get(found["answer"], {}).get("finding", ""),
        },
        findings=tuple(dict.fromkeys([*top, *own])),
        closing=told.more(told.last_reply).get("closing", {}),
    )


def _likely(told: Told) -> Iterator[Likely]:
    """Yield the last known ranking of each symptom that was entered."""
    for symptom in told.entered():
        rankings = [told.more(b).get("likely", {}).get(symptom) for b in told.bodies]
        causes = next((ranking for ranking in reversed(rankings) if ranking), ())
        yield Likely(symptom=symptom, title=told.title(symptom), causes=tuple(causes))


def _parts(told: Told, likely: Sequence[Likely], asked: Sequence[Asked]) -> list[str]:
    """Return the parts of the three likeliest causes of each symptom, and of what is asked for."""
    parts = [
        part
        for group in likely
        for cause in group.causes[:3]
        for part in told.findings(group.symptom).get(cause["step"], {}).get("parts", ())
    ]
    return list(dict.fromkeys([*(part for cause in asked for part in cause.parts), *parts]))


def _story(told: Told) -> Iterator[Entry]:
    yield from _from_card(told, told.bodies[0]["symptom"], told.bodies[0]["at"])
    for body in told.counting:
        shown = body["shown"] or {}
        if body["kind"] in (ANSWER, replies.UNSURE):
            more = told.more(body)
            figure = more.get("figure")
            yield Entry(
                kind="reading" if shown.get("screen") == "reading" else "check",
                at=body["at"],
                symptom=body["symptom"],
                step=body["step"],
                words=told.words(body),
                answer=body["answer"] if body["kind"] == ANSWER else None,
                # What a reading is for stands in its title already.
                do=(shown.get("do") or "") if shown.get("screen") == "check" else "",
                typed=body["typed"],
                figure=figure,
                inputs=more.get("inputs"),
                si=more.get("si", ()),
            )
        for trace in body["trail"]:
            if trace["what"] in ("entered", "returned"):
                finding = told.findings(trace["symptom"]).get(trace["step"], {})
                entered = trace["what"] == "entered"
                yield Entry(
                    kind=trace["what"],
                    at=body["at"],
                    symptom=trace["symptom"],
                    step=trace["step"],
                    words=finding.get("finding", trace["step"]),
                    answer=told.title(trace["why"] if entered else trace["symptom"]),
                )
                if entered:
                    yield from _from_card(told, trace["why"], body["at"])


def _from_card(told: Told, symptom: str, at: str) -> Iterator[Entry]:
    for said in told.trees.get(symptom, {}).get("from_card", ()):
        yield Entry(
            kind="card",
            at=at,
            symptom=symptom,
            step=said["step"],
            words=said["words"],
            answer=said["answer"],
            typed=said["line"],
        )


def _remedies(told: Told) -> Iterator[Tried]:
    for body in told.counting:
        if body["kind"] in (replies.CURED, replies.NOT_CURED):
            yield Tried(
                at=body["at"],
                symptom=body["symptom"],
                step=body["step"],
                finding=body["shown"]["finding"],
                remedy=body["shown"]["remedy"] or "",
                result=body["kind"],
            )


def _passed(told: Told) -> Iterator[Passed]:
    for body in told.counting:
        shown = body["shown"] or {}
        if shown.get("screen") == "finding" and body["kind"] in (
            replies.CANNOT,
            replies.KEEP_LOOKING,
        ):
            yield Passed(
                at=body["at"],
                symptom=body["symptom"],
                step=body["step"],
                words=shown["finding"],
                why=body["kind"],
                reason="",
            )
        for step in told.more(body).get("passed", ()):
            reason = shown["title"] if step["why"] == "tag" else step["reason"]
            yield Passed(at=body["at"], **{**step, "reason": reason})


def _asked(told: Told, likely: Sequence[Likely]) -> Iterator[Asked]:
    """Yield the causes for service: where the case stopped, then those met or likely enough."""
    chance = {
        (group.symptom, cause["step"]): cause["probability"]
        for group in likely
        for cause in group.causes
    }
    met = [(symptom, step) for symptom, step, reached in told.for_service() if reached]
    likely_enough = [key for key, share in chance.items() if share >= WORTH_ASKING]
    keys = sorted(
        dict.fromkeys([*met, *likely_enough]),
        key=lambda key: (key != told.stopped_at, -chance.get(key, 0)),
    )
    for symptom, step in keys:
        finding = told.findings(symptom).get(step)
        if finding is None or finding["who"] != "service":
            continue
        yield Asked(
            symptom=symptom,
            step=step,
            finding=finding["finding"],
            probability=chance.get((symptom, step)),
            met=(symptom, step) in met,
            ask_service=finding["ask_service"] or "",
            leave_safe=finding["leave_safe"] or "",
            hazards=tuple(finding["hazards"]),
            parts=tuple(finding["parts"]),
        )


def _taken_back(told: Told) -> Iterator[Mapping[str, Any]]:
    standing_ = {body["number"] for body in told.moves}
    for body in told.bodies:
        if body["kind"] in MOVES and body["number"] not in standing_:
            answer = body["answer"] or body["kind"]
            said = {"words": told.words(body), "answer": answer}
            yield {"at": body["at"], "symptom": body["symptom"], "step": body["step"], **said}
