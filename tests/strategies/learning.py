"""Cases in a log that tell of causes: cured by one, or referred with what was likely then."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.state import Trace
from diagnose.log.events import Opened, Outset, Replied, Shown
from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from pathlib import Path


def ended(symptom: str, reply: str, step: str, why: str, **more: Any) -> Replied:
    """Return the reply with which a case ends."""
    trace = Trace(what="ended", symptom=symptom, step="", why=why)
    shown = Shown(screen="finding")
    return Replied(reply=reply, symptom=symptom, step=step, shown=shown, trail=(trace,), **more)


def cured(path: Path, symptom: str, *findings: str) -> list[str]:
    """Keep a case that was cured by each of some findings, and return their names."""
    log, names = SqliteLog(path), []
    for finding in findings:
        event = ended(symptom, "cured", finding, "cured", cures=((symptom, finding),))
        case = log.open_case(None, Opened(symptom=symptom, outset=Outset()))
        log.append(case, 2, event)
        names.append(case.name)
    log.close()
    return names


def referred(path: Path, symptom: str, step: str, closing: dict[str, float]) -> str:
    """Keep a case that was referred with these probabilities, and return its name."""
    log = SqliteLog(path)
    case = log.open_case(None, Opened(symptom=symptom, outset=Outset()))
    log.append(case, 2, ended(symptom, "refer", step, "referred", closing=closing))
    log.close()
    return case.name
