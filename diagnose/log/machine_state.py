"""Whether a machine is in use, to be used with care, or out of use. The one place that says it.

The log is what says it. A referral, a danger, a round's stop and a lockout left in place put a
machine out of use, each in the case or round in which it happened, and there it holds until that
case says that it was released. The machine is as the worst of them leaves it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.files import replies
from diagnose.files.tree import OUT_OF_USE
from diagnose.log.account import Account, reported
from diagnose.log.events import Found, ItemReplied, Released, Replied
from diagnose.log.summary import IN_USE, WITH_CARE, WORST_FIRST, MachineState
from diagnose.text import folded

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from diagnose.log.account import ConfirmedCaution
    from diagnose.log.events import Event
    from diagnose.log.protocol import CaseLog, CaseRecord, Listed, LoggedEvent


#: Why a machine is as it is, where most replies do not change it.
NOTHING_HOLDS: Final = "not cured; nothing in the log keeps anybody from using it"
TO_LEAVE_SAFE: Final = "a cause for service, to be left safe"
IN_FORCE: Final = ": in force, not released"
NOT_KNOWN: Final = "the log does not know of its lockout's release"


class Held(Struct, frozen=True, kw_only=True):
    """A case or a round that keeps its machine from being simply in use; `number` is its last
    event's, `noted` is what was written down in it."""

    case: CaseRecord
    is_: MachineState
    number: int
    noted: tuple[str, ...] = ()


def held(log: CaseLog, machine: str | None = None) -> list[Held]:
    """Return what holds a machine, or all machines: the worst first, then the newest.

    Raises `LogError`.
    """
    return holding(log, log.waiting() if machine is None else log.waiting_at(machine))


def holding(log: CaseLog, waiting: Iterable[Listed]) -> list[Held]:
    """Return what of that holds its machine: the worst first, then the newest."""
    found = [
        Held(
            case=one.case,
            is_=one.summary.is_,
            number=log.last_number(one.case),
            noted=tuple(note.words for note in one.summary.noted),
        )
        for one in waiting
        if one.summary.holds
    ]
    found.sort(key=lambda one: one.is_.since or "", reverse=True)
    return sorted(found, key=lambda one: WORST_FIRST.index(one.is_.state))


def machine_states(log: CaseLog) -> dict[str | None, str]:
    """Return the state of each machine that is not simply in use; None are cases without one."""
    states: dict[str | None, str] = {}
    for machine, state, _, _ in log.heads():
        states[machine] = min(state, states.get(machine, IN_USE), key=WORST_FIRST.index)
    return {machine: state for machine, state in states.items() if state != IN_USE}


def since(held: Sequence[Held]) -> str | None:
    """Return since when a machine is as the first of what holds it says, None where nothing does.

    The first one came last: another may have put it into the same state before.
    """
    same = [one.is_.since for one in held if one.is_.state == held[0].is_.state]
    return min(filter(None, same), default=None)


def release(log: CaseLog, held: Sequence[Held], name: str) -> None:
    """Write into each case and round that holds a machine that it was released, by whom.

    Raises `LogError`.
    """
    event = Released(name=name[:200])
    numbers = {one.case.name: (one.case, one.number) for one in held}
    for one in held:
        # A case that was left inside its round left the lockout to both.
        round_ = None if one.case.begun_in is None else log.case(one.case.begun_in)
        if round_ is not None and one.case.outcome == round_.outcome == "open":
            numbers.setdefault(round_.name, (round_, log.last_number(round_)))
    log.append_each([(case, number + 1) for case, number in numbers.values()], event)


def machine_state(
    case: CaseRecord, events: Sequence[LoggedEvent], begun: Sequence[CaseRecord] = ()
) -> MachineState:
    """Return the machine's state by one case or round alone, given all its events.

    `begun` are the cases that a round has begun. In this order: a machine that was cured, or that
    was released after the last reply, is in use. It is out of use by a danger or an item that stops
    a round, where that came after its last release; while a lockout is in force, or was when the
    case was taken up again and nobody has confirmed anything since. A referral, and a finding for
    service that says how to leave the machine (if the answers led there or the case stopped at it),
    leave it as the words shown there say, out of use where there are none. Else it is in use:
    nothing in the log keeps anybody from using it.
    """
    return state_by(case, Account(events), begun)


def state_by(case: CaseRecord, account: Account, begun: Sequence[CaseRecord] = ()) -> MachineState:
    """Return the same as `machine_state`, of an account that is at hand."""
    if case.outcome == "cured":
        return MachineState(state=IN_USE, why="tried out and cured")
    last, released = account.last_reply, account.released
    if released is not None and (last is None or last.number < released.number):
        return MachineState(state=IN_USE, why=_released(released.event))
    lockouts = _own_lockouts(case, account, begun)
    return _by_stop(account, lockouts) or _by_lockout(account, lockouts) or _by_end(case, account)


def _by_stop(account: Account, lockouts: Sequence[ConfirmedCaution]) -> MachineState | None:
    """Return the state by what stopped a case or a round since its last release."""
    after = 0 if account.released is None else account.released.number
    for logged in (account.danger, account.stop):
        if logged is not None and logged.number > after:
            held = [caution for caution in lockouts if caution.how is None]
            tag = account.person_at(held[-1].at) if held else None
            why = _stopped(logged.event, account.what_danger)
            return MachineState(state=OUT_OF_USE, why=why, since=logged.at, tag=tag)
    return None


def _by_lockout(account: Account, lockouts: Sequence[ConfirmedCaution]) -> MachineState | None:
    """Return the state by a lockout that is in force, or of which nobody knows."""
    for caution in reversed(lockouts):
        if caution.how is None:
            tag = account.person_at(caution.at)
            why = f"{caution.title}{IN_FORCE}"
            return MachineState(state=OUT_OF_USE, why=why, since=caution.at, tag=tag)
    for caution in reversed(lockouts):
        if caution.how == "unknown":
            tag = account.person_at(caution.at)
            return MachineState(state=OUT_OF_USE, why=NOT_KNOWN, since=caution.at, tag=tag)
    return None


def _own_lockouts(
    case: CaseRecord, account: Account, begun: Sequence[CaseRecord]
) -> list[ConfirmedCaution]:
    """Return the lockouts for which this case, or this round, is the one to ask.

    A case gives them back to its round when it ends; one that is open has them from its round.
    """
    if case.begun_in is not None and case.outcome != "open":
        return []
    if any(one.outcome == "open" for one in begun):
        return []
    return [caution for caution in account.cautions() if caution.lockout]


def _by_end(case: CaseRecord, account: Account) -> MachineState:
    """Return the state by the cause for service at which a case ended, or to which it came."""
    last = account.last_reply
    event = None if last is None else last.event
    words = event.shown.until_mended if isinstance(event, Replied) else None
    stopped_at = account.stopped_at
    if case.outcome == "referred" and case.round is None:
        finding = "nothing is left that an operator can check"
        if stopped_at is not None and isinstance(event, Replied):
            finding = _plain(event.shown.finding)
        return _until_mended(words, f"referred to service: {finding}", account.ended_at)
    for symptom, step, reached in reversed(account.for_service()):
        if reached and account.findings(symptom)[step].leave_safe:
            own = words if (symptom, step) == stopped_at else None
            at = None if last is None else last.at
            return _until_mended(own, TO_LEAVE_SAFE, at)
    return MachineState(state=IN_USE, why=NOTHING_HOLDS)


def _until_mended(words: str | None, why: str, at: str | None) -> MachineState:
    """Return how a machine may be used until it is mended, as the finding's words say."""
    if words is None or folded(words) == OUT_OF_USE:
        return MachineState(state=OUT_OF_USE, why=why, since=at)
    return MachineState(state=WITH_CARE, why=f"{_plain(words)}; {why}", since=at)


def _stopped(event: Event, danger: str) -> str:
    """Return in words what stopped a case or a round; `danger` says which one it was."""
    if isinstance(event, ItemReplied) and event.reply == replies.NOT_RIGHT:
        return f"not right: {_plain(event.shown.words)}"
    return reported(danger)


def _released(event: Event) -> str:
    who = event.name if isinstance(event, Released | Found) else ""
    return f"released by {who}" if who else "service said what it was"


def _plain(text: str) -> str:
    return text.rstrip(". ")
