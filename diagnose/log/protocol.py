"""What the program needs of a case log: every event on disk before the next screen.

`sqlite` keeps it in one file, and a server may follow. A case has a 128-bit key and a short name
that is unique in its log; an event has the primary key (case, number), so that a second writer is
noticed and not merged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

if TYPE_CHECKING:
    from diagnose.log.drills import DrillRecord
    from diagnose.log.events import Event, Opened, RoundOpened


class LogError(Exception):
    """A log that cannot be used. The message is one line: which, what is wrong, what to do."""


class OpenElsewhere(LogError):
    """Somebody else has gone on with the case."""


class CaseRecord(Struct, frozen=True, kw_only=True):
    """One case as the log knows it.

    `outcome` is open, cured, referred, withdrawn (taken back at its first screen) or, of a round,
    walked. `finding` is what cured it; `found` is what service reported; times are ISO 8601, UTC. A
    A release of the machine is no change of the case. A
    round has its `round` id and no symptom; a case that an item of it began has the round's short
    name as `begun_in`.
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


class CaseLog(Protocol):
    """What the program needs of a log. Every method raises `LogError` where it cannot be used."""

    def open_case(
        self,
        machine: str | None,
        event: Opened | RoundOpened,
        *further: Event,
        begun_in: CaseRecord | None = None,
    ) -> CaseRecord:
        """Write a new case or round with its first event, and those that go with it, and return it.

        All of them are kept, or none. `begun_in` is the round that began it.
        """
        ...

    def append(self, case: CaseRecord, number: int, event: Event) -> None:
        """Write the event that has this number. Raises `OpenElsewhere` where it is taken."""
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
        """Return the milestones of all cases, or of one machine's, that changed `since` then.

        The cases come in the order in which they were opened, each one's events in theirs.
        """
        ...

    def latest(self, machine: str | None = None) -> list[Milestone]:
        """Return the last event of each case that may hold its machine, or all machines.

        Those are the open and the referred ones, and a round that was walked to its end with a
        lockout in force. In the order in which they were opened.
        """
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
