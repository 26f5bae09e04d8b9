"""How the cases of a log ended, for the chances: cured by what, or referred with what left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.study.chances import Ended

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.log.protocol import CaseLog


def endings(log: CaseLog, machine: str | None = None) -> Iterator[Ended]:
    """Yield all that ended in the log, or on one machine. What was left has not ended.

    Trials and drills never stand in the log. Raises `LogError`.
    """
    for one in log.ended(machine):
        case, summary = one.case, one.summary
        yield Ended(
            symptom=case.symptom,
            case=case.name,
            other=summary.other,
            cures=summary.cures,
            found=None if case.outcome == "cured" else case.found,
            closing=summary.closing,
        )
