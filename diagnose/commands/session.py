"""One case or one round at one face: the only place where walk, log and person meet."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from diagnose.case import onward, view, walk
from diagnose.case.screens import EndScreen, phrase
from diagnose.faces.face import Heading
from diagnose.files import replies
from diagnose.log.record import opened, replied
from diagnose.log.round_record import case_over, item_replied
from diagnose.round import view as round_view
from diagnose.round import walk as round_walk

if TYPE_CHECKING:
    from diagnose.case.screens import Phrase, Screen
    from diagnose.case.state import State
    from diagnose.case.visit import Visit
    from diagnose.faces.face import Face
    from diagnose.log.events import Event
    from diagnose.log.protocol import CaseLog, CaseRecord
    from diagnose.round.state import RoundState


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """Who is there, at which face, and where it is kept.

    A `log` of None is a trial: nothing is kept. `where` is what a command line has to add to find
    this log and library again; `name` is the person's own, empty where not given.
    """

    visit: Visit
    face: Face
    log: CaseLog | None = None
    where: str = ""
    name: str = ""

    @property
    def machine(self) -> str | None:
        """The machine's id, for the log."""
        return None if self.visit.card is None else self.visit.card.machine

    def heading(self, record: Record | None, title: str, *, first: bool) -> Heading:
        """Return what stands above a screen."""
        card = self.visit.card
        return Heading(
            case=None if record is None else record.case.name,
            title=title,
            machine=None if card is None else card.title,
            first=first,
        )


@dataclass(slots=True)
class Record:
    """Where the events of a case go: its log, the case, and the number of the next event.

    `told` are the symptoms whose trees the log of the case has already.
    """

    log: CaseLog
    case: CaseRecord
    number: int = 2
    told: set[str] = field(default_factory=set)

    def write(self, event: Event) -> None:
        """Put the next event on the disk. Raises `LogError`."""
        self.log.append(self.case, self.number, event)
        self.number += 1


def start(desk: Desk, symptom: str, words: str = "") -> None:
    """Open a case and walk it to its end; `words` are the operator's own for the symptom."""
    state, trail = onward.opened(desk.visit, symptom)
    record = None
    if desk.log is not None:
        event = opened(desk.visit, state, trail, words, desk.name)
        case = desk.log.open_case(desk.machine, event)
        record = Record(desk.log, case, told=set(state.entered))
    run(desk, state, record)


def run(desk: Desk, state: State, record: Record | None) -> None:
    """Walk a case to its end, each event logged before the next screen, and show the end."""
    state = _walked(desk, state, record)
    _show_end(desk, record, state.frames[-1].tree.title, view.screen(desk.visit, state))


def run_round(
    desk: Desk,
    state: RoundState,
    record: Record | None,
    case: tuple[State, Record | None] | None = None,
) -> None:
    """Walk a round to its end, each case that it begins included, and show the end.

    `case` is the one in which it was left, where it is taken up again.
    """
    first = True
    while state.outcome is None:
        if state.begins is not None:
            state = _with_case(desk, state, record, case)
            case, first = None, False
            continue
        screen = round_view.screen(desk.visit, state)
        heading = desk.heading(record, state.round.title, first=first)
        turn = round_walk.reply(desk.visit, state, said(desk.face, screen, heading), screen)
        first = False
        if record is not None and turn.exchange is not None:
            record.write(item_replied(desk.visit, turn))
        for interlude in turn.interludes:
            desk.face.show(interlude, replace(heading, first=False))
        state = turn.state
    _show_end(desk, record, state.round.title, round_view.screen(desk.visit, state))


def _show_end(desk: Desk, record: Record | None, title: str, end: Screen) -> None:
    """Show the end of a case or a round, and how to go on from there."""
    assert isinstance(end, EndScreen)
    notes = (*end.notes, *_ways_on(desk, record, end.outcome))
    desk.face.show(replace(end, notes=notes), desk.heading(record, title, first=False))


def _ways_on(desk: Desk, record: Record | None, outcome: str) -> tuple[Phrase, ...]:
    """Return how to go on: resume what was left; a page for each case with service."""
    if record is None:
        return ()
    begun = record.log.begun_in(record.case)
    pages = [case.name for case in begun if case.outcome == "referred"]
    if outcome == "referred" and not pages:
        pages = [record.case.name]
    notes = [phrase("end-handover", case=f"{name}{desk.where}") for name in pages]
    if outcome == "left":
        notes.append(phrase("end-resume", case=f"{record.case.name}{desk.where}"))
    return tuple(notes)


def _with_case(
    desk: Desk,
    state: RoundState,
    record: Record | None,
    case: tuple[State, Record | None] | None,
) -> RoundState:
    """Return the round after the case that it begins, which is opened unless it is at hand."""
    assert state.begins is not None
    inner = _walked(desk, *(case or _begun(desk, state, record)))
    how = replies.DANGER if inner.danger else inner.outcome or ""
    after, trail = round_walk.came_back(desk.visit, state, inner, how)
    if record is not None:
        record.write(case_over(desk.visit, after, trail, state.begins, how))
    return after


def _begun(desk: Desk, state: RoundState, record: Record | None) -> tuple[State, Record | None]:
    """Open the case that a round begins."""
    assert state.begins is not None
    inner, trail = onward.opened(desk.visit, state.begins, state.cautions, returns=True)
    if record is None:
        return inner, None
    event = opened(desk.visit, inner, trail, name=desk.name)
    case = record.log.open_case(desk.machine, event, begun_in=record.case)
    return inner, Record(record.log, case, told=set(inner.entered))


def _walked(desk: Desk, state: State, record: Record | None) -> State:
    """Walk a case until it has an outcome."""
    visit, first = desk.visit, True
    while state.outcome is None:
        screen = view.screen(visit, state)
        heading = desk.heading(record, state.frames[-1].tree.title, first=first)
        turn = walk.reply(visit, state, said(desk.face, screen, heading), screen)
        first = False
        if record is not None and turn.exchange is not None:
            record.write(replied(visit, turn, record.told))
            record.told |= turn.state.entered
        for interlude in turn.interludes:
            desk.face.show(interlude, replace(heading, first=False))
        state = turn.state
    return state


def said(face: Face, screen: Screen, heading: Heading) -> str:
    """Return the reply to a screen. Who breaks off, or says nothing any more, leaves."""
    try:
        text = face.ask(screen, heading)
    except KeyboardInterrupt:
        return replies.LEAVE
    return replies.LEAVE if text is None else text
