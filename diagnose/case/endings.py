"""How the cases of a log ended, for the chances: cured by what, or referred with what left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.case.diagnoses import by_case, diagnoses
from diagnose.study.chances import Ended

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.case.diagnoses import Diagnosis
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
            cures = more.get("cures", ()) if cured else _reported(diagnosis)
            found.append(
                Ended(
                    symptom=diagnosis.case.symptom,
                    cures=tuple((symptom, finding) for symptom, finding in cures),
                    found=None if cured else diagnosis.case.found,
                    closing={} if cured else more.get("closing", {}),
                )
            )
    return found


def _reported(diagnosis: Diagnosis) -> Sequence[Sequence[str]]:
    """Return what service reported last, and the doorways that it counts for too."""
    told = [event.body["more"] or {} for event in diagnosis.events if event.body["kind"] == "found"]
    cures: Sequence[Sequence[str]] = told[-1].get("cures", ()) if told else ()
    return cures
