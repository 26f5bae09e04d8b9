"""`diagnose resume`: go on with a case that was left."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.replay import replay
from diagnose.case.round_replay import replay_round
from diagnose.case.round_state import RoundTurn
from diagnose.case.round_walk import RoundWalk
from diagnose.case.state import Event
from diagnose.case.walk import Turn, Walk
from diagnose.commands import options as opt
from diagnose.commands.cases import case_named
from diagnose.commands.kept import after
from diagnose.commands.past import past
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import Record
from diagnose.commands.session import run as run_session
from diagnose.faces.selection import face_for
from diagnose.files.card import Card
from diagnose.files.problems import Placed
from diagnose.files.tree import ROLES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.case.round_state import RoundState


def run(args: Sequence[str]) -> int:
    """Take up a case. Returns 0 once it ended, however it did."""
    parser = opt.parser("resume", "Go on with a case that was left.")
    parser.add_argument("case", nargs="?", help="the case; the last one left where left out")
    parser.add_argument("--as", dest="role", choices=ROLES, help="who stands there now")
    parser.add_argument("--name", default="", help="who it is, for the log")
    options = parser.parse_args(args)
    log = opt.existing_log(options)
    case = case_named(log, options, open_only=True)
    assert log is not None
    events = log.events(case)
    bodies = [event.body for event in events]
    more: Mapping[str, Any] = bodies[0]["more"]
    library = ReadyLibrary(opt.trees_folder(options), frozenset({case.symptom}))
    library.card = card_again(more["card"])
    library.chances = chances_again(bodies)
    role = options.role or more["role"]
    walk = Walk(
        library,
        library.content.cautions,
        library.table,
        role=role,
        card=library.card,
        **past(log, library),
    )
    told = {symptom for body in bodies for symptom in (body["more"] or {}).get("trees", {})}
    record = Record(log, case, events[-1].number + 1, told, opt.where(options))
    about = {"role": role, "name": options.name[:200]}
    face = face_for(plain=options.plain, json=options.json)
    machine = str(library.card.title) if library.card else None
    if case.round is not None:
        rounds = RoundWalk(walk, library.require_round(case.round))
        state = _round_again(rounds, bodies, record, about)
        run_session(rounds, state, face, record, machine)
        return opt.OK
    library.require(case.symptom)
    again = replay(walk, case.symptom, bodies)
    more = {**about, "fits": again.fits, "misfits": again.misfits}
    event = Event(kind="resumed", symptom=case.symptom, step="", trail=again.trail, more=more)
    record.write(after(walk, Turn(state=again.state, event=event), told))
    run_session(walk, again.state, face, record, machine)
    return opt.OK


def _round_again(
    rounds: RoundWalk,
    bodies: Sequence[Mapping[str, Any]],
    record: Record,
    about: Mapping[str, Any],
) -> RoundState:
    """Return a round as it was left, and log that it goes on."""
    again = replay_round(rounds, bodies)
    more = {**about, "fits": again.fits, "misfits": again.misfits}
    event = Event(kind="resumed", symptom="", step="")
    event = rounds.told(event, again.state, list(again.trail), more)
    turn = RoundTurn(state=again.state, event=event, diagnosis=again.state.diagnosis)
    record.write(after(rounds, turn, record.told))
    return again.state


def card_again(lines: Mapping[str, Any] | None) -> Card | None:
    """Return the machine card as the case's first event keeps it."""
    if lines is None:
        return None
    return Card(
        machine=Placed.at(lines["machine"], 1, 1),
        title=Placed.at(lines["title"], 1, 1),
        lines=lines,
    )


def chances_again(events: Sequence[Mapping[str, Any]]) -> dict[str, dict[str, float]]:
    """Return the chances that each tree of the case was opened with."""
    chances: dict[str, dict[str, float]] = {}
    for event in events:
        for symptom, tree in ((event["more"] or {}).get("trees") or {}).items():
            own = {name: finding["chance"] for name, finding in tree["findings"].items()}
            chances.setdefault(symptom, own)
    return chances
