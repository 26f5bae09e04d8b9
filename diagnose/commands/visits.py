"""A visit: who stands there, with what the log knows of the machine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.visit import Visit
from diagnose.log import clock
from diagnose.log.history import PERIODS, cured_before, since, undone

if TYPE_CHECKING:
    from datetime import datetime

    from diagnose.commands.ready_library import ReadyLibrary
    from diagnose.log.protocol import CaseLog


def visit_of(library: ReadyLibrary, log: CaseLog | None, role: str) -> Visit:
    """Return who stands at the library's machine, and what the log knows of it.

    Raises `LogError`.
    """
    return Visit(
        tree=library,
        table=library.table,
        role=role,
        card=library.card,
        **_past(library, log, clock.now()),
    )


def _past(library: ReadyLibrary, log: CaseLog | None, at: datetime) -> dict[str, Any]:
    """Return recent cures of this machine, and what its rounds left undone.

    Nothing without a machine card: which machine it is, nobody knows then.
    """
    if log is None or library.card is None:
        return {}
    machine = library.card.machine
    milestones = log.milestones(machine, since(at, max(PERIODS.values())))
    cases = log.cases(machine)
    return {
        "cured_before": cured_before(milestones, at),
        "undone": undone(library.content.rounds, machine, cases, milestones, at),
    }
