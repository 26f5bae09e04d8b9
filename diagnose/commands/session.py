"""One case at one face: the only place where walk, log and person meet."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from diagnose.case.round_state import RoundState
from diagnose.case.screens import EndScreen, phrase
from diagnose.commands.kept import after
from diagnose.faces.face import Heading
from diagnose.files import replies

if TYPE_CHECKING:
    from diagnose.case.log import CaseLog, CaseRecord
    from diagnose.case.round_walk import RoundWalk
    from diagnose.case.state import Event
    from diagnose.case.walk import Walk
    from diagnose.faces.face import Face


@dataclass(slots=True)
class Record:
    """Where the events of a case go: its log, the case, and the number of the next event.

    `told` are the symptoms whose trees the log of the case has already; `where` is what a command
    line has to add to find this log and library again.
    """

    log: CaseLog
    case: CaseRecord
    number: int
    told: set[str] = field(default_factory=set)
    where: str = ""

    def write(self, event: Event) -> None:
        """Put the next event on the disk. Raises `LogError`."""
        self.log.append(self.case, self.number, event)
        self.number += 1
        self.told |= (event.more or {}).get("trees", {}).keys()


def run(
    walk: Walk | RoundWalk, state: Any, face: Face, record: Record | None, machine: str | None
) -> str:
    """Walk a case or a round to its end at a face, each event logged before the next screen.

    Returns the outcome. A `record` of None is a trial: nothing is kept.
    """
    heading = Heading(case=record.case.name if record else None, machine=machine, first=True)
    while True:
        heading = replace(heading, title=walk.title(state))
        screen = walk.screen(state)
        if isinstance(screen, EndScreen):
            # A round walked to its end may have handed a symptom over on the way.
            handed_over = screen.outcome == "referred" or bool(
                isinstance(state, RoundState) and state.with_service
            )
            face.show(_with_way_on(screen, record, handed_over), heading)
            return screen.outcome
        try:
            text = face.ask(screen, heading)
        except KeyboardInterrupt:
            text = None
        turn = walk.reply(state, replies.LEAVE if text is None else text)
        if record is not None and turn.event is not None:
            record.write(after(walk, turn, record.told))
        heading = replace(heading, first=False)
        for interlude in turn.interludes:
            face.show(interlude, heading)
        state = turn.state


def _with_way_on(screen: EndScreen, record: Record | None, handed_over: bool) -> EndScreen:
    """Return the end with how to go on: resume what was left, hand over what was referred."""
    if record is None:
        return screen
    name = f"{record.case.name}{record.where}"
    if screen.outcome == "left":
        return replace(screen, notes=(*screen.notes, phrase("end-resume", case=name)))
    if handed_over:
        return replace(screen, notes=(*screen.notes, phrase("end-handover", case=name)))
    return screen
