"""How the cases of a log ended, for the chances: cured by what, or referred with what left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.log.events import Found, Replied
from diagnose.log.story import by_case
from diagnose.study.chances import Ended

if TYPE_CHECKING:
    from diagnose.log.protocol import CaseLog


def endings(log: CaseLog, machine: str | None = None) -> list[Ended]:
    """Return all that ended in the log, or on one machine. What was left has not ended.

    Trials and drills never stand in the log. Raises `LogError`.
    """
    found = []
    for case, events in by_case(log.milestones(machine)):
        if case.round is not None or case.outcome not in ("cured", "referred"):
            continue
        cured = case.outcome == "cured"
        kinds = Replied if cured else Found
        cures = [e.event.cures for e in events if isinstance(e.event, kinds)]
        closing = [e.event.closing for e in events if isinstance(e.event, Replied)]
        found.append(
            Ended(
                symptom=case.symptom,
                cures=cures[-1] if cures else (),
                found=None if cured else case.found,
                closing={} if cured or not closing else closing[-1],
            )
        )
    return found
