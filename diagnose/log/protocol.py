"""What the program needs of a case log: every event on disk before the next screen.

`sqlite` keeps it in one file, and a server may follow. A case has a 128-bit key and a short name
that is unique in its log; an event has the primary key (case, number), so that a second writer is
noticed and not merged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, TypeAlias

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from diagnose.log.drills import DrillRecord
    from diagnose.log.events import Event, Opened, RoundOpened
    from diagnose.log.summary import Cure, Summary


class LogError(Exception):
    """A log that cannot be used. The message is one line: which, what is wrong, what to do."""


class LogBusy(LogError):
    """Others were writing all the time: nothing was done, and it may be tried again."""


class OpenElsewhere(LogError):
    """Somebody else has gone on with the case."""


class CaseRecord(Struct, frozen=True, kw_only=True):
    """One case as the log knows it.

    `outcome` is open, cured, referred, withdrawn (taken back at its first screen) or, of a round,
    walked. `finding` is what cured it; `found` is what service reported, a finding's id or, where
    no finding of the trees is it, words; times are ISO 8601, UTC:
    `changed` is that of the last milestone, but a release of the machine is no change of the case.
    A round has its `round` id and no symptom; a case that an item of it began has the round's
    short name as `begun_in`.
    """

    key: bytes
    name: str
    symptom: str
    machine: str | None
    opened: str
    changed: str
    outcome: str
    finding: str | None
    found: str | None
    round: str | None = None
    begun_in: str | None = None

    @property
    def waits(self) -> bool:
        """Whether the machine still has what this is about."""
        return self.outcome == "open" or (self.outcome == "referred" and self.found is None)


class LoggedEvent(Struct, frozen=True, kw_only=True):
    """One event as the log gives it back."""

    number: int
    at: str
    event: Event


class Milestone(Struct, frozen=True, kw_only=True):
    """One of the few events that a machine's story or its state is told from, with its case."""

    case: CaseRecord
    logged: LoggedEvent


class Listed(Struct, frozen=True, kw_only=True):
    """A case with what lists say of it."""

    case: CaseRecord
    summary: Summary


#: Of something that waits: the machine, its state, since when ("": not held), the case's name.
Head: TypeAlias = tuple[str | None, str, str, str]


class CaseLog(Protocol):
    """What the program needs of a log. Every method raises `LogError` where it cannot be used.

    What is returned piece by piece is read so, a page at a time: it may be long, and nobody who
    writes waits for it. `busy` is called, once a wait, where others keep one waiting.
    """

    busy: Callable[[], None]

    def open_case(
        self,
        machine: str | None,
        event: Opened | RoundOpened,
        *further: Event,
        begun_in: CaseRecord | None = None,
        wait: float | None = None,
    ) -> CaseRecord:
        """Write a new case or round with its first event, and those that go with it, and return it.

        All of them are kept, or none. `begun_in` is the round that began it, `wait` as in `append`.
        """
        ...

    def append(
        self, case: CaseRecord, number: int, event: Event, *, wait: float | None = None
    ) -> None:
        """Write the event that has this number. Raises `OpenElsewhere` where it is taken.

        `wait` is for how many seconds, where others are writing (else as long as makes sense);
        `LogBusy` is raised then.
        """
        ...

    def append_each(self, numbers: Iterable[tuple[CaseRecord, int]], event: Event) -> None:
        """Write an event into several cases, under its number in each: all of them, or none."""
        ...

    def last_number(self, case: CaseRecord) -> int:
        """Return the number of a case's last event."""
        ...

    def case(self, name: str) -> CaseRecord | None:
        """Return a case by its short name, capitals or not; None where there is none."""
        ...

    def cases(self, machine: str | None = None) -> list[CaseRecord]:
        """Return all cases, or those of one machine, the newest first."""
        ...

    def begun_in(self, round_: CaseRecord) -> list[CaseRecord]:
        """Return the cases that a round began, in the order of their opening."""
        ...

    def events(self, case: CaseRecord) -> list[LoggedEvent]:
        """Return all events of a case in their order."""
        ...

    def milestones(self, machine: str | None = None, since: str = "") -> list[Milestone]:
        """Return the milestones of all cases, or of one machine's, that have changed `since` then.

        The cases come in the order in which they were opened, each one's events in theirs.
        """
        ...

    def summary(self, case: CaseRecord) -> Summary:
        """Return what lists say of a case."""
        ...

    def listed(self) -> Iterator[Listed]:
        """Yield all cases, the newest first."""
        ...

    def waiting(self) -> Iterator[Listed]:
        """Yield what holds a machine, and what was left or waits for service.

        Machine by machine, in the order in which they were opened.
        """
        ...

    def waiting_at(self, machine: str | None) -> Iterator[Listed]:
        """Yield the same for one machine, or (None) for the cases without one."""
        ...

    def heads(self, machine: str | None = None) -> Iterator[Head]:
        """Yield of all that waits, or of one machine, only what puts the machines in order."""
        ...

    def ended(self, machine: str | None = None) -> Iterator[Listed]:
        """Yield the cases that were cured or referred, or those of one machine."""
        ...

    def cures(self, machine: str | None = None, since: str = "") -> Iterator[Cure]:
        """Yield what was cured or reported since then: by machine and finding, then by time."""
        ...

    def machines(self) -> list[str | None]:
        """Return the machines of all cases; None are the cases without one."""
        ...

    def last_open(self) -> tuple[CaseRecord | None, int]:
        """Return the open case that was opened last, and how many are open."""
        ...

    def names(self, like: str) -> list[str]:
        """Return the names of cases that begin like this, and of the last ones."""
        ...

    def begun(self, machine: str | None = None) -> dict[tuple[str | None, str], str | None]:
        """Return when each round that was begun was walked to its end last, by machine and name.

        None where it never was.
        """
        ...

    def last_left(self, machine: str | None, round_: str) -> Listed | None:
        """Return the round of that name that was ended or left last on a machine."""
        ...

    def last_round(self, machine: str | None) -> Listed | None:
        """Return the round that was begun last on a machine and not taken back."""
        ...

    def not_right(self, machine: str | None = None) -> Iterator[Listed]:
        """Yield the rounds in which something may still be noted, and those that may end that.

        Round by round of each machine, in the order in which they were opened.
        """
        ...

    def damaged(self, cases: Iterable[CaseRecord]) -> dict[bytes, int]:
        """Return, by key, the first event that is damaged, of the cases in which one is."""
        ...

    def add_drill(self, drill: DrillRecord) -> None:
        """Write the result of a drill, with the time."""
        ...

    def drills(self, trainee: str | None = None) -> list[DrillRecord]:
        """Return the results of all drills, or of one trainee's (capitals or not), in order."""
        ...

    def close(self) -> None:
        """Let go of the log."""
        ...
