"""The case log: every event on disk before the next screen.

`CaseLog` is what the program needs of a log; `sqlite_log` keeps it in one file, and a server may
follow. A case has a 128-bit key and a short name that is unique in its log; an event has the
primary key (case, number), so that a second writer is noticed and not merged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.case.state import Event


class LogError(Exception):
    """A log that cannot be used. The message is one line: which, what is wrong, what to do."""


class OpenElsewhere(LogError):
    """Somebody else has gone on with the case."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseRecord:
    """One case as the log knows it. `outcome` is open, cured or referred.

    `finding` is what cured it; `found` is what service reported; times are ISO 8601, UTC.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggedEvent:
    """One event as the log gives it back; `body` is the event as plain data."""

    number: int
    at: str
    body: Mapping[str, Any]


class CaseLog(Protocol):
    """What the program needs of a log. Every method raises `LogError` where it cannot be used."""

    def open_case(self, symptom: str, machine: str | None, event: Event) -> CaseRecord:
        """Write a new case with its first event, and return it."""
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

    def close(self) -> None:
        """Let go of the log."""
        ...
