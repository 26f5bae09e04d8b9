"""The handover: what a case's log tells the service that takes over, as data.

Read from the logged events alone, never from a tree. What was answered and then taken back is not
told as a fact; what was done to the machine is, taken back or not. Times are those of the log, UTC.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from msgspec.structs import replace

from diagnose.case.screens import FindingScreen, ReadingScreen
from diagnose.case.walk import ANSWER
from diagnose.files import replies
from diagnose.log.account import Account
from diagnose.log.events import (
    MOVES,
    CaseOver,
    Found,
    ItemReplied,
    Noted,
    Released,
    Replied,
    RoundOpened,
)
from diagnose.log.machine_state import machine_state
from diagnose.paper.handover_page import (
    Answer,
    Handover,
    Likely,
    Note,
    NotRight,
    PassedOver,
    Person,
    Report,
    Request,
    TakenBack,
    TriedRemedy,
    Verdict,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from diagnose.log.account import ConfirmedCaution
    from diagnose.log.protocol import CaseRecord, LoggedEvent

#: A cause for service that is less likely than this is not asked about, unless it was met.
WORTH_ASKING: Final = 0.02

#: Parts are brought for causes that are likelier than this. Common practice, no published source.
WORTH_A_PART: Final = 0.1

#: How a note that is a fault code, or the hours of today, is told from others: by these words.
_CODE: Final = re.compile(r"\bcodes?\b", re.IGNORECASE)
_HOURS: Final = re.compile(r"\bhours?\b.*\bmeter\b|\bmeter\b.*\bhours?\b", re.IGNORECASE)


def handover(
    case: CaseRecord,
    events: Sequence[LoggedEvent],
    begun: Sequence[CaseRecord] = (),
    round_events: Sequence[LoggedEvent] = (),
) -> Handover:
    """Return the page of a case, or of a round with the cases that it has `begun`.

    `round_events` are those of the round that began the case: what it found in force was confirmed
    there.
    """
    account = Account(events)
    likely = tuple(_likely(account))
    asked = tuple(_asked(account, likely))
    first = account.first
    last = account.last_reply
    own = account.findings(case.symptom)
    top = [cause.step for group in likely[:1] for cause in group.causes]
    passed = tuple(_passed(account))
    outset = account.outset
    notes = tuple(_notes(account))
    known = (*_notes(Account(round_events)), *notes)
    return Handover(
        case=case.name,
        symptom=case.symptom,
        title=first.title if isinstance(first, RoundOpened) else account.title(case.symptom),
        words="" if isinstance(first, RoundOpened) else first.words,
        outcome=case.outcome,
        opened=case.opened,
        changed=[one.at for one in events if not isinstance(one.event, Released)][-1],
        machine=outset.card,
        site=outset.site,
        call=outset.call,
        people=tuple(_people(account)),
        standing=machine_state(case, events, begun),
        not_right=tuple(_not_right(account, round_events)),
        danger=_report(account),
        hours=_hours(known),
        codes=tuple(note for note in known if _CODE.search(note.words)),
        notes=notes,
        cautions=tuple(_cautions(account, round_events)),
        tags=tuple(step for step in passed if step.why == "tag"),
        likely=likely,
        parts=tuple(_parts(account, likely, asked)),
        story=tuple(_story(account)),
        remedies=tuple(_remedies(account)),
        passed=passed,
        asked=asked,
        taken_back=tuple(_taken_back(account)),
        verdict=_verdict(account),
        findings=tuple(dict.fromkeys([*top, *own])),
        closing=last.event.closing if last and isinstance(last.event, Replied) else {},
        begun_in=case.begun_in,
        cases=tuple(_cases(begun)),
    )


def _cases(begun: Iterable[CaseRecord]) -> Iterator[tuple[str, str, str]]:
    for one in begun:
        if one.outcome != "withdrawn":
            yield one.name, one.symptom, one.outcome


def _people(account: Account) -> Iterator[Person]:
    for at, role, name in account.people():
        yield Person(at=at, role=role, name=name)


def _cautions(account: Account, round_events: Sequence[LoggedEvent]) -> Iterator[ConfirmedCaution]:
    """Yield the cautions, those of the round as they were confirmed there."""
    opened = account.events[0].at
    before = Account(round_events).cautions() if round_events else ()
    there = {caution.id: caution for caution in before if caution.at <= opened}
    for caution in account.cautions():
        known = there.get(caution.id) if caution.at == opened and not caution.confirm else None
        if known is None:
            yield caution
        else:
            yield replace(known, ended=caution.ended, how=caution.how)


def _not_right(account: Account, round_events: Sequence[LoggedEvent]) -> Iterator[NotRight]:
    """Yield what the round found not right and began no case for: of itself, or around a case."""
    for logged in (*account.unresolved, *Account(round_events).unresolved):
        if isinstance(logged.event, ItemReplied):
            words = logged.event.shown
            yield NotRight(at=logged.at, do=words.do or "", look_for=words.look_for or "")


def _report(account: Account) -> Report | None:
    danger = account.danger
    if danger is None or not isinstance(danger.event, Replied | ItemReplied):
        return None
    return Report(at=danger.at, words=danger.event.shown.words, kind=account.what_danger)


def _verdict(account: Account) -> Verdict | None:
    for logged in reversed(account.events):
        if isinstance(logged.event, Found):
            known = account.findings(account.symptom).get(logged.event.finding)
            words = logged.event.other if known is None else known.finding
            return Verdict(at=logged.at, finding=logged.event.finding, words=words)
    return None


def _likely(account: Account) -> Iterator[Likely]:
    """Yield the last known ranking of each symptom that was entered.

    A doorway behind which nothing was found is no cause to offer any more.
    """
    tried = {
        (trace.symptom, trace.step) for _, trace in account.traces() if trace.what == "returned"
    }
    left = {account.doors.get(door) for door in tried}
    rankings = [e.event.likely for e in account.events if hasattr(e.event, "likely")]
    for symptom in account.entered():
        known = [likely[symptom] for likely in rankings if likely.get(symptom)]
        yield Likely(
            symptom=symptom,
            title=account.title(symptom),
            left=symptom in left,
            causes=tuple(
                cause
                for cause in (known[-1] if known else ())
                if (symptom, cause.step) not in tried
            ),
        )


def _parts(account: Account, likely: Sequence[Likely], asked: Sequence[Request]) -> list[str]:
    """Return the parts for the causes that are likely enough, those that are service's first."""
    parts: list[str] = []
    for request in asked:
        if (request.probability or 0.0) > WORTH_A_PART:
            parts += request.parts
    for group in likely:
        findings = account.findings(group.symptom)
        for cause in () if group.left else group.causes:
            if cause.probability > WORTH_A_PART and cause.step in findings:
                parts += findings[cause.step].parts
    return list(dict.fromkeys(parts))


def _hours(notes: Sequence[Note]) -> Note | None:
    """Return what the hour meter was last noted to show."""
    return next((note for note in reversed(notes) if _HOURS.search(note.words)), None)


def _notes(account: Account) -> Iterator[Note]:
    for at, noted in account.notes:
        yield Note(at=at, what=noted.what, text=noted.text)


def _story(account: Account) -> Iterator[Answer]:
    yield from _from_card(account, account.symptom, account.events[0].at)
    for logged in account.counting:
        event = logged.event
        if isinstance(event, Replied) and event.reply in (ANSWER, replies.UNSURE):
            reading = event.reading
            was_reading = event.shown.screen == ReadingScreen.screen
            yield Answer(
                kind="reading" if was_reading else "check",
                at=logged.at,
                symptom=event.symptom,
                step=event.step,
                words=event.shown.words,
                answer=event.answer if event.reply == ANSWER else None,
                # What a reading is for stands in its title already.
                do="" if was_reading else event.shown.do or "",
                typed=event.typed,
                figure=None if reading is None else reading.figure,
                inputs=None if reading is None else reading.inputs,
                si=() if reading is None else reading.si,
            )
        yield from _doors(account, logged)


def _doors(account: Account, logged: LoggedEvent) -> Iterator[Answer]:
    """Yield the symptoms that were entered or left after an event."""
    for trace in logged.event.trail:
        if trace.what not in ("entered", "returned"):
            continue
        finding = account.findings(trace.symptom).get(trace.step)
        entered = trace.what == "entered"
        through = (trace.symptom, trace.step) in account.doors
        yield Answer(
            kind=trace.what if through else "no way",
            at=logged.at,
            symptom=trace.symptom,
            step=trace.step,
            words=trace.step if finding is None else finding.finding,
            answer=account.title(trace.why if entered else trace.symptom),
        )
        if entered:
            yield from _from_card(account, trace.why, logged.at)


def _from_card(account: Account, symptom: str, at: str) -> Iterator[Answer]:
    tree = account.trees.get(symptom)
    for line in () if tree is None else tree.from_card:
        yield Answer(
            kind="card",
            at=at,
            symptom=symptom,
            step=line.step,
            words=line.words,
            answer=line.answer,
            typed=line.line,
        )


def _remedies(account: Account) -> Iterator[TriedRemedy]:
    for logged in account.counting:
        event = logged.event
        if isinstance(event, Replied) and event.reply in (replies.CURED, replies.NOT_CURED):
            yield TriedRemedy(
                at=logged.at,
                symptom=event.symptom,
                step=event.step,
                finding=event.shown.finding,
                remedy=event.shown.remedy or "",
                result=event.reply,
            )


def _passed(account: Account) -> Iterator[PassedOver]:
    for logged in account.counting:
        event = logged.event
        shown = event.shown if isinstance(event, Replied) else None
        if (
            isinstance(event, Replied)
            and event.shown.screen == FindingScreen.screen
            and event.reply in (replies.CANNOT, replies.KEEP_LOOKING, replies.NOT_IT)
        ):
            yield PassedOver(
                at=logged.at,
                symptom=event.symptom,
                step=event.step,
                words=event.shown.finding,
                why=event.reply,
                reason="",
            )
        for step in event.passed if not isinstance(event, _PASSES_NOTHING) else ():
            yield PassedOver(
                at=logged.at,
                symptom=step.symptom,
                step=step.step,
                words=step.words,
                why=step.why,
                reason=shown.title if step.why == "tag" and shown is not None else step.reason,
            )


def _asked(account: Account, likely: Sequence[Likely]) -> Iterator[Request]:
    """Yield the causes for service: where the case stopped, then those met or likely enough."""
    chance = {
        (group.symptom, cause.step): cause.probability
        for group in likely
        if not group.left
        for cause in group.causes
    }
    met = [(symptom, step) for symptom, step, reached in account.for_service() if reached]
    likely_enough = [key for key, share in chance.items() if share >= WORTH_ASKING]
    stopped_at = account.stopped_at
    keys = sorted(
        dict.fromkeys([*met, *likely_enough]),
        key=lambda key: (key != stopped_at, -chance.get(key, 0)),
    )
    for symptom, step in keys:
        finding = account.findings(symptom).get(step)
        if finding is None or finding.who != "service":
            continue
        yield Request(
            symptom=symptom,
            step=step,
            finding=finding.finding,
            probability=chance.get((symptom, step)),
            met=(symptom, step) in met,
            stopped=(symptom, step) == stopped_at,
            ask_service=finding.ask_service or "",
            leave_safe=finding.leave_safe or "",
            hazards=finding.hazards,
            parts=finding.parts,
        )


def _taken_back(account: Account) -> Iterator[TakenBack]:
    standing = {logged.number for logged in account.moves}
    for logged in account.events:
        event = logged.event
        if isinstance(event, Replied) and event.reply in MOVES and logged.number not in standing:
            yield TakenBack(
                at=logged.at,
                symptom=event.symptom,
                step=event.step,
                words=event.shown.words,
                answer=event.answer or event.reply,
            )


#: Events that pass no step of a tree over.
_PASSES_NOTHING: Final = (Noted, RoundOpened, ItemReplied, CaseOver, Found, Released)
