"""How the cases of a log ended, for the chances: cured by what, or referred with what left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.case.diagnoses import by_case, diagnoses
from diagnose.study.chances import Ended

if TYPE_CHECKING:
    from diagnose.case.log import CaseLog


def endings(log: CaseLog, machine: str | None = None) -> list[Ended]:
    """Return all that ended in the log, or on one machine. What was left has not ended.

    Trials and drills never stand in the log. Raises `LogError`.
    """
    found = []
    for case, events in by_case(log.milestones(machine)):
        for diagnosis in diagnoses(case, events):
            if diagnosis.case.outcome not in ("cured", "referred"):
                continue
            more = diagnosis.last["more"] or {}
            cured = diagnosis.case.outcome == "cured"
            found.append(
                Ended(
                    symptom=diagnosis.case.symptom,
                    cures=tuple((s, f) for s, f in more.get("cures", ())) if cured else (),
                    found=None if cured else diagnosis.case.found,
                    closing={} if cured else more.get("closing", {}),
                )
            )
    return found
