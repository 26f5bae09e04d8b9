"""`diagnose resume`: go on with a case or a round that was left."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from msgspec.structs import replace

from diagnose.case.screens import phrase
from diagnose.commands import options as opt
from diagnose.commands import round_session, session
from diagnose.commands.before_use import notes_on
from diagnose.commands.cases import case_named
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import Record
from diagnose.commands.visits import desk_of
from diagnose.faces.selection import face_for
from diagnose.files.tree import ROLES
from diagnose.log.account import Account
from diagnose.log.machine_state import held
from diagnose.log.record import resumed
from diagnose.log.replay import replay
from diagnose.log.round_record import round_resumed
from diagnose.log.round_replay import replay_round

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from diagnose.case.screens import Phrase
    from diagnose.case.state import State
    from diagnose.commands.session import Desk
    from diagnose.faces.face import Face
    from diagnose.log.protocol import CaseLog, CaseRecord
    from diagnose.log.round_replay import ResumedRound
    from diagnose.round.state import RoundState

_State = TypeVar("_State", "State", "RoundState")


def run(args: Sequence[str]) -> int:
    """Take up a case. Returns 0 once it ended, however it did."""
    parser = opt.parser("resume", "Go on with a case that was left.")
    parser.add_argument("case", nargs="?", help="the case; the last one left where left out")
    parser.add_argument("--as", dest="role", choices=ROLES, help="who stands there now")
    opt.add_name(parser)
    options = parser.parse_args(args)
    log, case = case_named(options, left=True)
    take_up(log, case, face_for(plain=options.plain, json=options.json), options)
    return opt.OK


def take_up(log: CaseLog, case: CaseRecord, face: Face, options: argparse.Namespace) -> None:
    """Go on with a case or a round that was left, to its end. Raises `LogError` and `Unusable`."""
    case = _whole(log, case)
    account = Account(log.events(case))
    library = ReadyLibrary(opt.trees_folder(options), frozenset({case.symptom} - {""}))
    library.card = account.outset.machine_card
    options.role = options.role or account.outset.role
    desk = desk_of(library, log, face, options)
    if case.round is not None:
        _round_again(desk, library, case, account)
    else:
        library.chances = chances_again(account)
        library.require(case.symptom)
        state, record = _case_again(desk, case, account)
        session.run(desk, _told(state, _others(desk, case)), record)


def _others(desk: Desk, case: CaseRecord) -> tuple[Phrase, ...]:
    """Return a line for each other case that keeps the machine from being simply in use."""
    if desk.log is None or desk.machine is None:
        return ()
    own = (case.name, case.begun_in)
    return notes_on([one for one in held(desk.log, desk.machine) if one.case.name not in own])


def _whole(log: CaseLog, case: CaseRecord) -> CaseRecord:
    """Return the round that began a case, where that was left too; else the case."""
    round_ = None if case.begun_in is None else log.case(case.begun_in)
    return case if round_ is None or round_.outcome != "open" else round_


def _case_again(
    desk: Desk, case: CaseRecord, account: Account, of_round: ResumedRound | None = None
) -> tuple[State, Record]:
    """Return a case as it was left, and log that it goes on; `of_round` is the round around it."""
    assert desk.log is not None
    events = [logged.event for logged in account.events]
    again = replay(desk.visit, case.symptom, events, returns=of_round is not None)
    record = Record(desk.log, case, len(account.events) + 1, _as_they_are(desk, account))
    counts = {"fits": again.fits, "misfits": again.misfits}
    event = resumed(desk.visit, again.state, again.trail, record.told, name=desk.name, **counts)
    record.write(event)
    record.told |= again.state.entered
    if of_round is None:
        return again.state, record
    fits, misfits = again.fits + of_round.fits, again.misfits + of_round.misfits
    note = phrase("resumed", fits=fits, misfits=misfits)
    return replace(again.state, notes=(note, *again.state.notes[1:])), record


def _as_they_are(desk: Desk, account: Account) -> set[str]:
    """Return the symptoms of a case whose trees are as the log has them: others are kept anew."""
    today = {symptom: desk.visit.tree(symptom) for symptom in account.trees}
    return {
        symptom
        for symptom, tree in today.items()
        if tree is None or tree.digest == account.trees[symptom].hash
    }


def _round_again(desk: Desk, library: ReadyLibrary, case: CaseRecord, account: Account) -> None:
    """Go on with a round as it was left, in the case that it began where it was left there."""
    assert desk.log is not None
    assert case.round is not None
    round_ = library.require_round(case.round)
    begun = desk.log.begun_in(case)
    inner = Account(desk.log.events(begun[-1])) if begun else None
    if inner is not None:
        library.chances = chances_again(inner)
    events = [logged.event for logged in account.events]
    danger = inner is not None and inner.danger is not None
    again = replay_round(desk.visit, round_, events, begun, danger=danger)
    record = Record(desk.log, case, len(account.events) + 1)
    counts = {"fits": again.fits, "misfits": again.misfits}
    others = _others(desk, case)
    record.write(round_resumed(desk.visit, again.state, again.trail, name=desk.name, **counts))
    left = None
    if again.state.begins is not None and again.case is not None and inner is not None:
        within, own = _case_again(desk, again.case, inner, again)
        left = _told(within, others), own
    round_session.run_round(desk, _told(again.state, others), record, left)


def _told(state: _State, others: tuple[Phrase, ...]) -> _State:
    """Return a state with what else holds the machine said after what was taken up again."""
    return replace(state, notes=(*state.notes[:1], *others, *state.notes[1:]))


def chances_again(account: Account) -> dict[str, dict[str, float]]:
    """Return the chances that each tree of a case was opened with."""
    return {
        symptom: {name: finding.chance for name, finding in tree.findings.items()}
        for symptom, tree in account.trees.items()
    }
