"""One case at one face: where walk, log and person meet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose import interrupts
from diagnose.case import onward, view, walk
from diagnose.case.screens import EndScreen, RefusedScreen, phrase
from diagnose.faces.face import Heading
from diagnose.files import replies
from diagnose.log.events import ItemReplied, Replied, in_words
from diagnose.log.protocol import LogBusy, LogError
from diagnose.log.record import opened, replied

if TYPE_CHECKING:
    from diagnose.case.cautions import CautionState
    from diagnose.case.screens import Phrase, Screen
    from diagnose.case.state import State
    from diagnose.case.visit import Visit
    from diagnose.faces.face import Face
    from diagnose.log.events import Event, Opened, RoundOpened
    from diagnose.log.protocol import CaseLog, CaseRecord


class Desk(Struct, frozen=True, kw_only=True):
    """Who is there, at which face, and where it is kept.

    A `log` of None is a trial: nothing is kept, but in `heard` where a list is there. `where` is
    what a command line has to add to find this log and library again; `name` is the person's own,
    empty where not given.
    """

    visit: Visit
    face: Face
    log: CaseLog | None = None
    where: str = ""
    name: str = ""
    heard: list[Event] | None = None

    @property
    def machine(self) -> str | None:
        """The machine's id, for the log."""
        return None if self.visit.card is None else self.visit.card.machine

    def heading(self, record: Record | None, title: str, *, first: bool) -> Heading:
        """Return what stands above a screen."""
        card = self.visit.card
        return Heading(
            case=None if record is None or record.case is None else record.case.name,
            title=title,
            machine=None if card is None else card.title,
            first=first,
        )


class NewCase(Struct, frozen=True):
    """What a case or a round is opened with; `begun_in` is the round that began it."""

    machine: str | None
    event: Opened | RoundOpened
    begun_in: CaseRecord | None = None


class Record(Struct):
    """Where the events of a case go: its log, the case, and the number of the next event.

    `told` are the symptoms whose trees the log of the case has already. A `case` of None is one
    that could not be opened yet: it is as `new` says, and is opened before its next event is kept.
    """

    log: CaseLog
    case: CaseRecord | None
    number: int = 2
    told: set[str] = set()
    new: NewCase | None = None
    # What came when the log could not be written, and nobody may be held up for it.
    unkept: list[Event] = []
    # What was begun in here, and has not kept all.
    within: list[Record] = []

    def open(self, wait: float | None = None) -> CaseRecord:
        """Put the beginning of a new case on the disk, and return the case. Raises `LogError`."""
        if self.case is None:
            assert self.new is not None
            machine, event, begun_in = self.new.machine, self.new.event, self.new.begun_in
            self.case = self.log.open_case(machine, event, begun_in=begun_in, wait=wait)
        return self.case

    def write(self, event: Event) -> None:
        """Put the next event on the disk, behind those that are still to be. Raises `LogError`."""
        self._catch_up()
        self._append(event)

    def write_or_go_on(self, event: Event) -> None:
        """Put the next event on the disk, or keep it in mind where that cannot be done at once.

        For what must not wait: whoever reports a danger sees at once what to do.
        """
        try:
            self._catch_up(URGENT)
            self._append(event, URGENT)
        except LogError:
            self.unkept.append(event)

    @property
    def open_ends(self) -> bool:
        """Whether something is still to be kept."""
        left = self.case is None or bool(self.unkept)
        return left or any(record.open_ends for record in self.within)

    def settle(self) -> None:
        """Put what is still in mind on the disk, now that all was shown. Raises `LogError`."""
        for record in self.within:
            record.settle()
        try:
            self._catch_up()
        except LogError as error:
            # The first of it stands in the error: the new case, or the first event.
            others = self.unkept if self.case is None else self.unkept[1:]
            more = "".join(f" Nor {in_words(event)}." for event in others)
            raise type(error)(f"{error}{more}") from error

    def _catch_up(self, wait: float | None = None) -> None:
        self.open(wait)
        while self.unkept:
            self._append(self.unkept[0], wait)
            del self.unkept[0]

    def _append(self, event: Event, wait: float | None = None) -> None:
        self.log.append(self.open(wait), self.number, event, wait=wait)
        self.number += 1


def begin(log: CaseLog, new: NewCase, told: set[str]) -> tuple[Record, tuple[Phrase, ...]]:
    """Open a case or a round, and return its record, with what is to be said of it.

    Where others were writing all the time, that is said, and the next reply tries again: whoever
    stands at the machine sees the first screen in any case. Raises `LogError`.
    """
    record = Record(log, None, told=told, new=new)
    try:
        record.open()
    except LogBusy:
        return record, (phrase("not-opened", what=in_words(new.event)),)
    return record, ()


#: Seconds for which a danger waits for a log that others are writing to.
URGENT: Final = 0.3


def took(
    record: Record | None, event: Event | None, screen: Screen, face: Face, heading: Heading
) -> bool:
    """Keep what a reply came to; where others were writing all the time, say so and return False.

    Then nothing has happened, and the screen is shown again. A danger and a leave go on in any
    case. Raises `LogError`.
    """
    if record is None or event is None:
        return True
    if isinstance(event, Replied | ItemReplied) and event.reply in _GO_ON:
        record.write_or_go_on(event)
        return True
    try:
        record.write(event)
    except LogBusy:
        message = phrase("not-kept", what=in_words(event))
        refused = RefusedScreen(symptom=screen.symptom, in_force=screen.in_force, message=message)
        face.show(refused, replace(heading, first=False))
        return False
    return True


_GO_ON: Final = frozenset({replies.DANGER, replies.LEAVE})


def start(
    desk: Desk,
    symptom: str,
    words: str = "",
    notes: tuple[Phrase, ...] = (),
    *,
    chosen: bool = False,
    held: CautionState | None = None,
) -> CautionState | None:
    """Open a case and walk it to its end; `words` are the operator's own for the symptom.

    `notes` are said above its first screen; `held` are the cautions of one that was taken back.
    Returns, where one that was `chosen` at the prompt is taken back to it, its cautions; else None.
    """
    state, trail = onward.opened(desk.visit, symptom, held, chosen=chosen)
    state = replace(state, notes=(*notes, *state.notes))
    record = None
    if desk.heard is not None:
        desk.heard[:] = [opened(desk.visit, state, trail, words, desk.name)]
    if desk.log is not None:
        event = opened(desk.visit, state, trail, words, desk.name)
        record, busy = begin(desk.log, NewCase(desk.machine, event), set(state.entered))
        state = replace(state, notes=(*state.notes, *busy))
    return run(desk, state, record)


def run(desk: Desk, state: State, record: Record | None) -> CautionState | None:
    """Walk a case to its end, each event logged before the next screen, and show the end.

    Where it is taken back to the choice of a symptom, nothing is shown: returns its cautions then.
    """
    state, kept = walked(desk, state, record), record
    if state.outcome == onward.WITHDRAWN:
        return state.cautions
    if state.outcome == "left" and view.leaves_nothing(desk.visit, state):
        # What was never opened needs no end.
        kept = None if record is None or record.case is None else record
        record = None
    try:
        show_end(desk, record, state.frames[-1].tree.title, view.screen(desk.visit, state))
    finally:
        # Also where nobody sees the end any more.
        if kept is not None:
            kept.settle()
    return None


def show_end(
    desk: Desk, record: Record | None, title: str, end: Screen, *, page: bool = False
) -> None:
    """Show the end of a case or a round, and how to go on from there.

    `page`: it has something for service to read itself, whatever it began.
    """
    assert isinstance(end, EndScreen)
    notes = (*end.notes, *_ways_on(desk, record, end.outcome, page=page))
    if record is not None and record.open_ends:
        notes = (*notes, phrase("not-kept-yet"))
    desk.face.show(replace(end, notes=notes), desk.heading(record, title, first=False))


def _ways_on(desk: Desk, record: Record | None, outcome: str, *, page: bool) -> tuple[Phrase, ...]:
    """Return how to go on: resume what was left; a page for each case with service."""
    if record is None or record.case is None:
        return ()
    # Nobody who reports a danger waits for a log that cannot be read just now.
    begun = () if record.open_ends else record.log.begun_in(record.case)
    pages = [case.name for case in begun if case.outcome == "referred"]
    if outcome == "referred" and (page or not pages):
        pages = [record.case.name, *pages]
    notes = [phrase("end-handover", case=f"{name}{desk.where}") for name in pages]
    if outcome == "left":
        notes.append(phrase("end-resume", case=f"{record.case.name}{desk.where}"))
    return tuple(notes)


def walked(desk: Desk, state: State, record: Record | None) -> State:
    """Walk a case until it has an outcome."""
    visit, first = desk.visit, True
    while state.outcome is None:
        screen = view.screen(visit, state)
        # A danger stands alone: what goes with the first screen waits for the next one.
        told = first and not state.alarm
        heading = desk.heading(record, state.frames[-1].tree.title, first=told)
        turn = walk.reply(visit, state, said(desk.face, screen, heading), screen)
        first = first and state.alarm
        known = set() if record is None else record.told
        event = None if turn.exchange is None else replied(visit, turn, known)
        if not took(record, event, screen, desk.face, heading):
            continue
        if desk.heard is not None and event is not None:
            desk.heard.append(event)
        if record is not None and event is not None:
            record.told |= turn.state.entered
        for interlude in turn.interludes:
            desk.face.show(interlude, replace(heading, first=False))
        state = turn.state
    return state


def said(face: Face, screen: Screen, heading: Heading) -> str:
    """Return the reply to a screen. Who breaks off, or says nothing any more, leaves."""
    try:
        with interrupts.asking():
            text = face.ask(screen, heading)
    except KeyboardInterrupt:
        return replies.LEAVE
    return replies.LEAVE if text is None else text
