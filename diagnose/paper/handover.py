"""The handover: what a case's log tells the service that takes over, as data.

Read from the logged events alone, never from a tree. What was answered and then taken back is not
told as a fact; what was done to the machine is, taken back or not. Times are those of the log, UTC.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from diagnose.case.interpret import ANSWER
from diagnose.case.replay import MOVES
from diagnose.files import replies
from diagnose.paper.handover_page import Asked, Entry, Likely, Page, Passed, Tried
from diagnose.paper.told import Told, standing

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from diagnose.case.log import CaseRecord, LoggedEvent

#: A cause for service that is less likely than this is not asked about, unless it was met.
WORTH_ASKING: Final = 0.02


def handover(case: CaseRecord, events: Sequence[LoggedEvent]) -> Page:
    """Return the page of a case, whether it has ended or not."""
    told = Told(events)
    likely = tuple(_likely(told))
    asked = tuple(_asked(told, likely))
    found = next((b for b in reversed(told.bodies) if b["kind"] == "found"), None)
    own = told.findings(case.symptom or (likely[0].symptom if likely else ""))
    top = [cause["step"] for group in likely[:1] for cause in group.causes]
    walked = told.first.get("round")
    return Page(
        case=case.name,
        symptom=case.symptom,
        title=walked["title"] if walked else told.title(case.symptom),
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
    left = {
        told.doors.get((trace["symptom"], trace["step"]))
        for _, trace in told.traces()
        if trace["what"] == "returned"
    }
    for symptom in told.entered():
        rankings = [told.more(b).get("likely", {}).get(symptom) for b in told.bodies]
        causes = next((ranking for ranking in reversed(rankings) if ranking), ())
        yield Likely(
            symptom=symptom,
            title=told.title(symptom),
            left=symptom in left,
            causes=tuple(causes),
        )


def _parts(told: Told, likely: Sequence[Likely], asked: Sequence[Asked]) -> list[str]:
    """Return the parts of the three likeliest causes of each symptom, and of what is asked for."""
    parts = [
        part
        for group in likely
        if not group.left
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
                through = (trace["symptom"], trace["step"]) in told.doors
                yield Entry(
                    kind=trace["what"] if through else "no way",
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
        if not group.left
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
            stopped=(symptom, step) == told.stopped_at,
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
