"""The case log: every event on disk before the next screen.

`CaseLog` is what the program needs of a log; `sqlite_log` keeps it in one file, and a server may
follow. A case has a 128-bit key and a short name that is unique in its log; an event has the
primary key (case, number), so that a second writer is noticed and not merged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from diagnose.files import replies

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.case.state import Event


class LogError(Exception):
    """A log that cannot be used. The message is one line: which, what is wrong, what to do."""


class OpenElsewhere(LogError):
    """Somebody else has gone on with the case."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseRecord:
    """One case as the log knows it. `outcome` is open, cured, referred or, of a round, walked.

    `finding` is what cured it; `found` is what service reported; times are ISO 8601, UTC. A case
    that is a round has the round's id, and no symptom of its own: those that its items start are
    told in its events.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggedEvent:
    """One event as the log gives it back; `body` is the event as plain data."""

    number: int
    at: str
    body: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Milestone:
    """One of the few events that a machine's story is told from, with its case."""

    case: CaseRecord
    event: LoggedEvent


class CaseLog(Protocol):
    """What the program needs of a log. Every method raises `LogError` where it cannot be used."""

    def open_case(
        self,
        symptom: str,
        machine: str | None,
        event: Event,
        *,
        round: str | None = None,  # noqa: A002
    ) -> CaseRecord:
        """Write a new case with its first event, and return it. A `round` has no symptom: ""."""
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

    def events(self, case: CaseRecord) -> list[LoggedEvent]:
        """Return all events of a case in their order."""
        ...

    def milestones(self, machine: str | None = None, since: str = "") -> list[Milestone]:
        """Return the milestones of all cases, or of one machine's, that changed `since` then.

        The cases come in the order in which they were opened, each one's events in theirs.
        """
        ...

    def close(self) -> None:
        """Let go of the log."""
        ...


def is_milestone(event: Event) -> bool:
    """Whether a machine's story needs the event.

    That is where a case or a diagnosis begins or ends, a reading, what service found, and what in
    a round (whose events have no symptom) was not as it should be or was withdrawn.
    """
    return (
        event.kind in ("opened", "found", replies.NOT_RIGHT)
        or (event.kind == replies.BACK and not event.symptom)
        or "figure" in (event.more or {})
        or any(trace.what == "ended" for trace in event.trail)
    )
