"""What a machine's log says to whoever stands at it now: it comes back; this was left undone.

Pure: the log's cases and milestones in, plain data out. Times are ISO 8601 in UTC, as in the log.
The periods are common practice in floor care, no published source.
"""

from __future__ import annotations

from collections import Counter
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.case.screens import phrase
from diagnose.case.view import OFTEN
from diagnose.files import replies
from diagnose.log.events import CameTo, CaseOver, Found, ItemReplied, Replied, Resumed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from diagnose.case.screens import Phrase
    from diagnose.files.rounds import Item, Round
    from diagnose.log.protocol import CaseRecord, Milestone

#: Within this time cures of one finding count together: it holds four turns of a weekly round, and
#: less than a blade's edge or a brush should last.
LATELY: Final = timedelta(days=30)

#: How long each kind of round may be ago.
PERIODS: Final[Mapping[str, timedelta]] = {
    "shift": timedelta(hours=12),
    "day": timedelta(hours=24),
    "week": timedelta(days=7),
    "month": timedelta(days=31),
}


_NOTHING: Final = CameTo(total=0, done=0)


class Due(Struct, frozen=True, kw_only=True):
    """A round on a machine: when it was last walked to its end (None: never), and if that is long
    ago. `hours` is how long."""

    machine: str | None
    round: str
    title: str
    every: str
    last: str | None
    hours: float | None
    overdue: bool


class Repeat(Struct, frozen=True, kw_only=True):
    """A finding (symptom, id) of which a machine was cured so many times within `LATELY`.

    `words` and `parts` are the finding's, as they were shown.
    """

    finding: tuple[str, str]
    words: str
    parts: tuple[str, ...]
    times: int


def since(now: datetime, period: timedelta = LATELY) -> str:
    """Return the time a period ago as the log writes times."""
    return (now - period).isoformat(timespec="seconds")


def cured_before(milestones: Iterable[Milestone], now: datetime) -> Counter[tuple[str, str]]:
    """Return how often each finding, by symptom and id, was cured within the last 30 days."""
    first = since(now)
    return Counter(
        (symptom, finding)
        for milestone in milestones
        if milestone.logged.at >= first and isinstance(milestone.logged.event, Replied | Found)
        for symptom, finding in milestone.logged.event.cures
    )


def repeats(milestones: Iterable[Milestone]) -> dict[bytes, Repeat]:
    """Return, by the key of each cured case, what its machine was then cured of too often.

    Cures without a machine card are left out: which machine it was, nobody knows then.
    """
    cures: dict[tuple[str | None, str, str], list[str]] = {}
    told: dict[bytes, Repeat] = {}
    for milestone in sorted(milestones, key=lambda one: one.logged.at):
        case, event = milestone.case, milestone.logged.event
        if not isinstance(event, Replied | Found) or case.machine is None:
            continue
        for symptom, finding in event.cures:
            cures.setdefault((case.machine, symptom, finding), []).append(milestone.logged.at)
        if not isinstance(event, Replied) or not event.cures:
            continue
        # A cure behind doorways is one of what was cured; the last of them is the finding itself.
        key = (case.machine, *event.cures[-1])
        first = since(datetime.fromisoformat(milestone.logged.at))
        times = sum(at >= first for at in cures[key])
        if times >= OFTEN:
            words = event.shown.finding
            told[case.key] = Repeat(
                finding=event.cures[-1], words=words, parts=event.shown.parts, times=times
            )
    return told


def lately(
    often: Mapping[bytes, Repeat], milestones: Iterable[Milestone], now: datetime
) -> dict[str | None, list[Repeat]]:
    """Return, by machine, what came back within the last 30 days, each finding as it was last."""
    first = since(now)
    latest: dict[tuple[str | None, tuple[str, str]], Repeat] = {}
    for milestone in sorted(milestones, key=lambda one: one.logged.at):
        repeat = often.get(milestone.case.key)
        if repeat is not None and milestone.logged.at >= first:
            latest[milestone.case.machine, repeat.finding] = repeat
    found: dict[str | None, list[Repeat]] = {}
    for (machine, _), repeat in latest.items():
        found.setdefault(machine, []).append(repeat)
    return found


def due(
    rounds: Mapping[str, Round],
    machines: Iterable[str | None],
    cases: Iterable[CaseRecord],
    now: datetime,
) -> list[Due]:
    """Return every round of a library on every machine, with whether it is overdue."""
    last: dict[tuple[str | None, str], str] = {}
    for case in cases:
        if case.round is not None and case.outcome == "walked":
            key = (case.machine, case.round)
            last[key] = max(case.changed, last.get(key, ""))
    found = []
    for machine in machines:
        for name, round_ in rounds.items():
            at = last.get((machine, name))
            ago = None if at is None else now - datetime.fromisoformat(at)
            found.append(
                Due(
                    machine=machine,
                    round=name,
                    title=round_.title,
                    every=round_.every,
                    last=at,
                    hours=None if ago is None else ago / timedelta(hours=1),
                    overdue=ago is None or ago > PERIODS[round_.every],
                )
            )
    return found


def undone(
    rounds: Mapping[str, Round],
    machine: str,
    cases: Sequence[CaseRecord],
    milestones: Iterable[Milestone],
    now: datetime,
) -> dict[str, tuple[Phrase, ...]]:
    """Return, by symptom, what the rounds of a machine left undone that speaks for it.

    `milestones` are the machine's. A round that was never begun on it is none of its rounds, and is
    not missed. Of one that is overdue, each symptom that its items start is named once; of one that
    is not, the items that were left for another time.
    """
    begun = {case.round for case in cases if case.machine == machine}
    own = {name: round_ for name, round_ in rounds.items() if name in begun}
    latest = latest_marks(milestones)
    found: dict[str, list[Phrase]] = {}
    for entry in due(own, (machine,), cases, now):
        if entry.overdue:
            starts = [item.starts for item in own[entry.round].items.values()]
            for symptom in dict.fromkeys(name for name in starts if name is not None):
                found.setdefault(symptom, []).append(phrase("undone-round", round=entry.title))
            continue
        _, came = latest.get((machine, entry.round), ("", _NOTHING))
        for mark in came.marks:
            if mark.mark == replies.NOT_NOW and mark.starts is not None:
                note = _left(entry.title, own[entry.round].items.get(mark.item))
                found.setdefault(mark.starts, []).append(note)
    return {symptom: tuple(notes) for symptom, notes in found.items()}


def _left(title: str, item: Item | None) -> Phrase:
    """Return what was left undone by what should be seen there.

    What to do there stands behind the item's own cautions, which nobody has confirmed.
    """
    if item is None or item.look_for is None:
        return phrase("undone-other", round=title)
    return phrase("undone-item", round=title, item=item.look_for)


def latest_marks(
    milestones: Iterable[Milestone],
) -> dict[tuple[str | None, str], tuple[str, CameTo]]:
    """Return, by machine and round, when it was last ended or left, and what it came to then."""
    latest: dict[tuple[str | None, str], tuple[str, CameTo]] = {}
    for milestone in milestones:
        case, logged = milestone.case, milestone.logged
        event = logged.event
        came = event.came_to if isinstance(event, ItemReplied | CaseOver | Resumed) else None
        if case.round is None or came is None:
            continue
        key = (case.machine, case.round)
        if key not in latest or logged.at >= latest[key][0]:
            latest[key] = (logged.at, came)
    return latest
