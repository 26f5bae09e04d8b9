"""Whether a machine stands, limps or runs, as far as its cases say. The one place that says it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.log.account import Account

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.log.protocol import LoggedEvent

STANDS: Final = "stands"
LIMPS: Final = "limps"
RUNS: Final = "runs"


class MachineState(Struct, frozen=True):
    """Whether the machine stands, limps or runs, and what in the log says so."""

    state: str
    why: str


def machine_state(outcome: str, events: Sequence[LoggedEvent]) -> MachineState:
    """Return the machine's state by one case or round, given its outcome and all its events.

    In this order: a cured machine runs. It stands after a danger; while a lockout is in force, or
    was when the case was taken up again and nobody has confirmed anything since; and where a
    finding for service says how to leave it, if the answers led there or the case stopped at it.
    Else it limps: it is not cured, and nothing in the log keeps anybody from using it.
    """
    return MachineState(*_judged(outcome, Account(events)))


def _judged(outcome: str, account: Account) -> tuple[str, str]:
    if outcome == "cured":
        return RUNS, "tried out and cured"
    if account.danger is not None:
        return STANDS, "a danger was reported"
    lockouts = [caution for caution in account.cautions() if caution.lockout]
    held = [caution for caution in lockouts if caution.how is None]
    if held:
        return STANDS, f"{held[-1].title}: in force, not released"
    if any(caution.how == "unknown" for caution in lockouts):
        return STANDS, "the log does not know of its lockout's release"
    for symptom, step, reached in reversed(account.for_service()):
        if reached and account.findings(symptom)[step].leave_safe:
            return STANDS, "a cause for service, to be left safe"
    return LIMPS, "not cured; nothing in the log keeps anybody from using it"
