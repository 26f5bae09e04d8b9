"""What the log knows of a machine, as a walk takes it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from diagnose.case.history import PERIODS, cured_before, since, undone

if TYPE_CHECKING:
    from diagnose.case.log import CaseLog
    from diagnose.commands.ready_library import ReadyLibrary


def now() -> datetime:
    """Return the time, in UTC as in the log."""
    return datetime.now(UTC)


def past(log: CaseLog | None, library: ReadyLibrary) -> dict[str, Any]:
    """Return what a walk is told: recent cures of this machine, what its rounds left undone.

    Nothing without a machine card: which machine it is, nobody knows then. Raises `LogError`.
    """
    if log is None or library.card is None:
        return {}
    machine = str(library.card.machine)
    at = now()
    milestones = log.milestones(machine, since(at, max(PERIODS.values())))
    cases = log.cases(machine)
    return {
        "cured_before": cured_before(milestones, at),
        "undone": undone(library.content.rounds, machine, cases, milestones, at),
    }
