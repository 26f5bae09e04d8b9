"""What the log of a case says, read once: what counts, what holds, who did what.

An answer that was taken back does not count. What was done to the machine does, taken back or not:
cautions follow time and not the path.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose.case.screens import CautionScreen, FindingScreen
from diagnose.files import replies
from diagnose.log.events import (
    MOVES,
    CaseOver,
    CautionKept,
    CautionShown,
    Found,
    ItemReplied,
    Noted,
    Opened,
    Outset,
    Released,
    Replied,
    Resumed,
    RoundOpened,
)
from diagnose.round.walk import STOPS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from diagnose.case.state import Trace
    from diagnose.log.events import Event, FindingKept, TreeKept
    from diagnose.log.protocol import LoggedEvent


#: What a danger was, as service and a shift lead read it.
DANGERS: Final = {
    "smoke": "smoke or a burning smell",
    "heat": "something is too hot",
    "battery": "a swollen or hissing battery",
    "hurt": "somebody is hurt",
    "other": "something else",
}


def reported(danger: str) -> str:
    """Return in words that a danger was reported, and which, where that is known."""
    which = f": {DANGERS.get(danger, danger)}" if danger else ""
    return f"a danger was reported{which}"


class ConfirmedCaution(Struct, frozen=True, kw_only=True):
    """A caution that was confirmed, by whom, with the lines that were confirmed.

    `lapses`, `lockout` and `worn` say what kind it is; `included`: it came with the one on the
    screen.
    `ended` is when it ended, and `how`: released (by whoever held it, or with the machine); tried
    out (with a remedy); gone back (from a remedy, which may have been tried out); unknown (the case
    was taken up again, and nobody knows); taken again, after that; or None while it is in force.
    """

    at: str
    id: str
    title: str
    by: str
    confirm: tuple[str, ...]
    lapses: bool
    lockout: bool
    worn: bool = False
    included: bool = False
    ended: str | None = None
    how: str | None = None


def not_withdrawn(events: Iterable[LoggedEvent]) -> list[LoggedEvent]:
    """Return the replies that moved a case and were not withdrawn by *back*."""
    moves: list[LoggedEvent] = []
    for logged in events:
        event = logged.event
        if isinstance(event, Replied) and event.reply in MOVES:
            moves.append(logged)
        elif isinstance(event, Replied) and event.reply == replies.BACK and moves:
            moves.pop()
    return moves


#: What neither moves a case nor ends it: no line of what counts.
_ASIDE: Final = frozenset({replies.BACK, replies.DONE, replies.MISTAKE})


class Account(Struct, dict=True):
    """The events of a case, or of a round, with what is asked of them more than once."""

    events: Sequence[LoggedEvent]
    trees: dict[str, TreeKept] = {}

    def __post_init__(self) -> None:
        for logged in self.events:
            if isinstance(logged.event, Opened | Replied | Resumed):
                for symptom, tree in logged.event.trees.items():
                    # After a resume on a tree that had changed, what was known before stays known.
                    known = self.trees.get(symptom)
                    before = {} if known is None else known.findings
                    self.trees[symptom] = replace(tree, findings={**before, **tree.findings})

    @property
    def first(self) -> Opened | RoundOpened:
        """The event with which it was opened."""
        event = self.events[0].event
        assert isinstance(event, Opened | RoundOpened)
        return event

    @property
    def outset(self) -> Outset:
        """Who was there at first, with which card, under which cautions."""
        return self.first.outset

    @property
    def symptom(self) -> str:
        """The symptom; of a round, an empty one."""
        return self.first.symptom if isinstance(self.first, Opened) else ""

    @cached_property
    def moves(self) -> list[LoggedEvent]:
        """The replies that moved the case and were not withdrawn."""
        return not_withdrawn(self.events)

    @cached_property
    def last_reply(self) -> LoggedEvent | None:
        """The last reply of whoever walked; neither a verdict nor a resume is one."""
        own = (e for e in reversed(self.events) if isinstance(e.event, Replied | ItemReplied))
        return next(own, None)

    @cached_property
    def danger(self) -> LoggedEvent | None:
        """The danger that was reported and not taken back, at the screen where it was."""
        told: LoggedEvent | None = None
        for logged in self.events:
            event = logged.event
            if not isinstance(event, Replied | ItemReplied):
                continue
            if event.reply == replies.DANGER:
                # What it was is said in a second reply.
                told = told or logged
            elif event.reply == replies.MISTAKE:
                told = None
        return told

    @property
    def what_danger(self) -> str:
        """The id of what the danger was; empty where nobody said."""
        last = None if self.last_reply is None else self.last_reply.event
        if isinstance(last, Replied | ItemReplied) and last.reply == replies.DANGER:
            return last.answer
        return ""

    @cached_property
    def stop(self) -> LoggedEvent | None:
        """The item of a round that was not right and ended it."""
        for logged in self.events:
            if any(trace.what == "ended" and trace.why == STOPS for trace in logged.event.trail):
                return logged
        return None

    @cached_property
    def unresolved(self) -> list[LoggedEvent]:
        """What a round found not right for which it began no case, and did not withdraw."""
        moves: list[LoggedEvent] = []
        for logged in self.events:
            event = logged.event
            if isinstance(event, CaseOver):
                withdrawn = event.how == "withdrawn"
            else:
                withdrawn = isinstance(event, ItemReplied) and event.reply == replies.BACK
            if withdrawn:
                del moves[-1:]
            elif isinstance(event, ItemReplied) and event.moves:
                moves.append(logged)
        last = {e.event.item: e for e in moves if isinstance(e.event, ItemReplied)}
        return [e for e in last.values() if isinstance(e.event, ItemReplied) and e.event.unresolved]

    @cached_property
    def released(self) -> LoggedEvent | None:
        """The last event that says that the machine was released."""
        return next((one for one in reversed(self.events) if releases(one.event)), None)

    @property
    def ended_at(self) -> str | None:
        """When the case ended; None where it has not."""
        ends = [logged.at for logged in self.events if logged.event.outcome is not None]
        return ends[-1] if ends else None

    @cached_property
    def counting(self) -> list[LoggedEvent]:
        """What counts of a case, with what followed from it: its opening, the moves, its end."""
        last = self.last_reply
        counting = [self.events[0], *self.moves]
        own = None if last is None or not isinstance(last.event, Replied) else last.event
        if last is not None and own is not None and own.reply not in (*MOVES, *_ASIDE):
            counting.append(last)
        return counting

    @property
    def notes(self) -> list[tuple[str, Noted]]:
        """What was written down, and when. A step taken back leaves its note."""
        return [(e.at, e.event) for e in self.events if isinstance(e.event, Noted)]

    def title(self, symptom: str) -> str:
        """Return a symptom in words, or its id."""
        return self.trees[symptom].title if symptom in self.trees else symptom

    def findings(self, symptom: str) -> Mapping[str, FindingKept]:
        """Return what the log knows of a symptom's findings, by id."""
        return self.trees[symptom].findings if symptom in self.trees else {}

    def traces(self) -> Iterator[tuple[LoggedEvent, Trace]]:
        """Yield what followed from each event that counts, with that event."""
        for logged in self.counting:
            for trace in logged.event.trail:
                yield logged, trace

    def entered(self) -> list[str]:
        """Return the symptoms that were entered, the first one first; none of a round."""
        return list(dict.fromkeys([name for name in (self.symptom, *self.doors.values()) if name]))

    @property
    def doors(self) -> dict[tuple[str, str], str]:
        """The doorways that were passed, by symptom and step, with the symptom behind each."""
        entered = (trace for _, trace in self.traces() if trace.what == "entered")
        return {(trace.symptom, trace.step): trace.why for trace in entered}

    def doors_to(self, symptom: str) -> tuple[tuple[str, str], ...]:
        """Return the doorways that led to a symptom: what counts for it counts for them too."""
        through = {
            trace.why: (trace.symptom, trace.step)
            for logged in self.events
            for trace in logged.event.trail
            if trace.what == "entered"
        }
        doors: list[tuple[str, str]] = []
        while symptom in through and through[symptom] not in doors:
            doors.append(through[symptom])
            symptom = through[symptom][0]
        return tuple(doors)

    def people(self) -> Iterator[tuple[str, str, str]]:
        """Yield who walked from when on: time, role, name."""
        yield self.events[0].at, self.outset.role, self.outset.name
        for logged in self.events:
            if isinstance(logged.event, Resumed):
                yield logged.at, logged.event.role, logged.event.name

    def person_at(self, at: str) -> str:
        """Return who walked at a time, as name and role."""
        who = (self.outset.name, self.outset.role)
        for logged in self.events:
            if isinstance(logged.event, Resumed) and logged.at <= at:
                who = (logged.event.name, logged.event.role)
        return ", ".join(word for word in who if word)

    @property
    def stopped_at(self) -> tuple[str, str] | None:
        """The finding for service at which the case was referred or left: symptom, step."""
        event = None if self.last_reply is None else self.last_reply.event
        if not isinstance(event, Replied) or event.reply not in (replies.REFER, replies.LEAVE):
            return None
        at_finding = event.shown.screen == FindingScreen.screen and event.shown.who == "service"
        return (event.symptom, event.step) if at_finding else None

    def for_service(self) -> list[tuple[str, str, bool]]:
        """Return the findings for service that were shown: symptom, step, whether it was reached.

        Reached by an answer, or the place where the case stopped; else it was offered as the best
        of what was left.
        """
        met: dict[tuple[str, str], bool] = {}
        for _, trace in self.traces():
            key = (trace.symptom, trace.step)
            finding = self.findings(trace.symptom).get(trace.step)
            if trace.what == "rests" and finding is not None and finding.who == "service":
                met[key] = met.get(key, False) or trace.why != "unchecked"
        if self.stopped_at is not None:
            met[self.stopped_at] = True
        return [(symptom, step, reached) for (symptom, step), reached in met.items()]

    def cautions(self) -> list[ConfirmedCaution]:
        """Return every caution that was confirmed, in order, with how it ended."""
        rows: list[ConfirmedCaution] = []
        held: dict[str, int] = {}
        before: tuple[str, ...] = ()
        by, unknown = self.outset.role, False
        for logged in self.events:
            event = logged.event
            same = event.in_force == before and not unknown and not isinstance(event, Resumed)
            if same or not _of_machine(event):
                continue
            before = event.in_force
            for id_ in [id_ for id_ in held if id_ not in event.in_force]:
                at = held.pop(id_)
                rows[at] = replace(rows[at], ended=logged.at, how=_ending(event, id_))
                unknown = unknown or rows[at].how == "unknown"
            by = event.role if isinstance(event, Resumed) else by
            fresh = [id_ for id_ in event.in_force if id_ not in held]
            if unknown:
                rows = _learned(rows, fresh, event)
            for row in self._confirmed_by(logged, fresh, by):
                held[row.id] = len(rows)
                rows.append(row)
        return rows

    def _confirmed_by(
        self, logged: LoggedEvent, fresh: Sequence[str], by: str
    ) -> Iterator[ConfirmedCaution]:
        """Yield what came into force with an event: what stood on the screen first."""
        shown = _on_screen(logged.event)
        own = [caution.id for caution in shown]
        for id_ in sorted(fresh, key=lambda id_: own.index(id_) if id_ in own else len(own)):
            kind = self.outset.cautions.get(id_, CautionKept(title=id_))
            yield ConfirmedCaution(
                at=logged.at,
                id=id_,
                title=kind.title,
                by=by,
                confirm=_confirmed(shown, id_),
                lapses=kind.lapses,
                lockout=kind.lockout,
                worn=kind.worn,
                included=id_ not in own,
            )


#: The events that tell which cautions are in force.
_MACHINE: Final = (Opened, RoundOpened, Replied, ItemReplied, CaseOver, Resumed)


def _of_machine(event: Event) -> bool:
    return isinstance(event, _MACHINE) or _frees(event)


def _learned(
    rows: list[ConfirmedCaution], fresh: Sequence[str], event: Event
) -> list[ConfirmedCaution]:
    """Return the rows with what a later event says of cautions of which nobody knew."""
    ran = isinstance(event, Replied) and event.reply in (replies.CURED, replies.NOT_CURED)
    # A case that a round began has tried the machine out.
    ran = ran or (isinstance(event, CaseOver) and event.how == "cured")
    how = "released" if _frees(event) else "tried out" if ran else "taken again"
    ran = ran or _frees(event)
    return [
        replace(row, how=how) if row.how == "unknown" and (ran or row.id in fresh) else row
        for row in rows
    ]


def releases(event: Event) -> bool:
    """Whether an event says that the machine was released."""
    return isinstance(event, Released) or (isinstance(event, Found) and event.released is not False)


def _frees(event: Event) -> bool:
    """Whether an event says in so many words that the machine was released, its lockout too."""
    return isinstance(event, Released) or (isinstance(event, Found) and event.released is True)


def _on_screen(event: Event) -> tuple[CautionShown, ...]:
    """Return the cautions to which an event replied."""
    if isinstance(event, Replied | ItemReplied) and event.shown.screen == CautionScreen.screen:
        return event.cautions
    return ()


def _confirmed(shown: Sequence[CautionShown], caution: str) -> tuple[str, ...]:
    """Return the lines with which a caution came into force: its own, or those that brought it."""
    brought = [one for one in shown if caution == one.id or caution in one.includes]
    # An event of an earlier time does not say what came along: one caution stood on its screen.
    return next((one.confirm for one in brought or shown), ())


def _ending(event: Event, caution: str) -> str:
    """Return how a caution ended with an event."""
    if _frees(event):
        return "released"
    if isinstance(event, Resumed):
        return "unknown"
    if isinstance(event, Replied | ItemReplied):
        if event.reply == replies.DONE and event.caution == caution:
            return "released"
        if event.reply == replies.BACK:
            return "gone back"
    return "tried out"
