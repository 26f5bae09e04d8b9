"""What a machine's log says to whoever stands at it now: it comes back; this was left undone.

Pure: what the log keeps in, plain data out. Times are ISO 8601 in UTC, as in the log.
The periods are common practice in floor care, no published source.
"""

from __future__ import annotations

from collections import Counter, deque
from datetime import datetime, timedelta
from itertools import groupby
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.case.screens import phrase
from diagnose.case.view import OFTEN
from diagnose.files import replies

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from diagnose.case.screens import Phrase
    from diagnose.files.rounds import Item, Round
    from diagnose.log.events import Mark
    from diagnose.log.summary import Cure

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


def cured_before(cures: Iterable[Cure], now: datetime) -> Counter[tuple[str, str]]:
    """Return how often each finding, by symptom and id, was cured within the last 30 days."""
    first = since(now)
    return Counter(cure.finding for cure in cures if cure.at >= first)


def repeats(cures: Iterable[Cure]) -> dict[bytes, Repeat]:
    """Return, by the key of each cured case, what its machine was then cured of too often.

    The cures come by machine and finding, then by time. Those without a machine card are left out:
    which machine it was, nobody knows then.
    """
    return {cure.case: repeat for cure, repeat in _repeated(cures)}


def came_back(cures: Iterable[Cure], now: datetime) -> dict[str | None, list[Repeat]]:
    """Return, by machine, what came back within the last 30 days, each finding as it was last.

    The cures are those of the last 60 days, by machine and finding, then by time.
    """
    first = since(now)
    latest: dict[tuple[str | None, tuple[str, str]], tuple[str, Repeat]] = {}
    for cure, repeat in _repeated(cures):
        if cure.at >= first:
            key = (cure.machine, cure.finding)
            began = latest[key][0] if key in latest else cure.at
            latest[key] = (began, repeat)
    found: dict[str | None, list[Repeat]] = {}
    for (machine, _), (_, repeat) in sorted(latest.items(), key=lambda one: one[1][0]):
        found.setdefault(machine, []).append(repeat)
    return found


def _repeated(cures: Iterable[Cure]) -> Iterator[tuple[Cure, Repeat]]:
    """Yield each cure that was one too many within 30 days, with what to say of it."""
    for (machine, _), group in groupby(cures, key=lambda cure: (cure.machine, cure.finding)):
        lately: deque[str] = deque()
        for cure in group if machine is not None else ():
            lately.append(cure.at)
            # What led there too, and what service reported, counts, but comes back in no case.
            if cure.words is None or len(lately) < OFTEN:
                continue
            first = since(datetime.fromisoformat(cure.at))
            while lately[0] < first:
                lately.popleft()
            if len(lately) >= OFTEN:
                yield (
                    cure,
                    Repeat(
                        finding=cure.finding, words=cure.words, parts=cure.parts, times=len(lately)
                    ),
                )


def due(
    rounds: Mapping[str, Round],
    machines: Iterable[str | None],
    begun: Mapping[tuple[str | None, str], str | None],
    now: datetime,
    offered: Callable[[str | None, str], bool] = lambda machine, name: True,
) -> list[Due]:
    """Return every round of a library on every machine, with whether it is overdue.

    `begun` says when each that was begun was walked to its end last, by machine and name; `offered`
    which round a machine has. What is overdue comes first: by how many of its own periods it is
    late, one that was never walked behind those that have stopped.
    """
    found = []
    for machine in machines:
        for name, round_ in rounds.items():
            if not offered(machine, name):
                continue
            at = begun.get((machine, name))
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
    return sorted(found, key=_latest_last)


def _latest_last(entry: Due) -> tuple[bool, bool, float]:
    """Return what puts the most overdue first; equals stay as they are."""
    never = entry.hours is None
    periods = 0.0 if entry.hours is None else timedelta(hours=entry.hours) / PERIODS[entry.every]
    return not entry.overdue, never, -periods


def undone(
    rounds: Mapping[str, Round],
    machine: str,
    begun: Mapping[tuple[str | None, str], str | None],
    left: Callable[[str], Sequence[Mark]],
    now: datetime,
) -> dict[str, tuple[Phrase, ...]]:
    """Return, by symptom, what the rounds of a machine left undone that speaks for it.

    `begun` are the rounds begun on it, `left` gives the items that were not done when a round was
    ended or left last. A round that was never begun on it is none of its rounds, and is
    not missed. Of one that is overdue, each symptom that its items start is named once; of one that
    is not, the items that were left for another time.
    """
    own = {name: round_ for name, round_ in rounds.items() if (machine, name) in begun}
    found: dict[str, list[Phrase]] = {}
    for entry in due(own, (machine,), begun, now):
        if entry.overdue:
            starts = [item.starts for item in own[entry.round].items.values()]
            for symptom in dict.fromkeys(name for name in starts if name is not None):
                found.setdefault(symptom, []).append(phrase("undone-round", round=entry.title))
            continue
        for mark in left(entry.round):
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
