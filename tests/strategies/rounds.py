"""A small library with a round, and a round at a desk with all that happens in it logged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import Record
from diagnose.log import record, round_record
from diagnose.log.account import Account
from diagnose.log.replay import replay
from diagnose.log.round_replay import ResumedRound, replay_round
from diagnose.round import walk as round_walk
from strategies.memory_log import MemoryLog
from strategies.walker import RoundWalker, Walker, visit_to

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from diagnose.case.state import State, Trace, Turn
    from diagnose.case.visit import Visit
    from diagnose.log.events import Event
    from diagnose.log.protocol import CaseLog, CaseRecord
    from diagnose.round.state import RoundState, RoundTurn

CAUTIONS = """\
format: 1
hazards:
  startup: {title: It can start}
  brush: {title: Brushes can turn}
  moving: {title: It moves}
cautions:
  key-out:
    title: Key out
    signal: WARNING
    covers: [startup]
    lapses: when energised
    text: Make it stand still.
    confirm: [The key is out.]
    release: [Lids are shut.]
  people:
    title: People clear
    signal: WARNING
    covers: [moving]
    lapses: never
    text: Keep people away.
    confirm: [Nobody is near.]
  lockout:
    title: Machine dead
    signal: WARNING
    covers: [brush]
    includes: [key-out]
    lapses: when energised
    text: Make it dead.
    confirm: [The connector is apart.]
    release: [The connector is joined.]
"""

LINES = """\
format: 1
symptom: lines
title: It leaves lines
start: look
steps:
  look:
    ask: Is the blade clean?
    hazards: [startup]
    passes: none
    answers: {It is dirty: dirty, It is clean: bent, Something else: other}
  dirty:
    finding: The blade is dirty.
    chance: 60
    who: operator
    remedy: Wipe it.
    hazards: [brush]
  bent:
    finding: The frame is bent.
    chance: 30
    who: service
    leave_safe: Park it.
    ask_service: Straighten the frame.
  other:
    finding: It is dead.
    chance: 10
    continue_with: dead
"""

DEAD = """\
format: 1
symptom: dead
title: It is dead
start: lamp
steps:
  lamp:
    ask: Is the lamp on?
    answers: {It is on: stop-in, It is off: flat}
    passes: none
  stop-in:
    finding: The stop is in.
    chance: 50
    who: operator
    remedy: Turn it out.
  flat:
    finding: The battery is flat.
    chance: 50
    who: operator
    remedy: Charge it.
"""

ROUND = """\
format: 1
round: daily
title: The daily round
every: day
items:
  look:
    do: Look at the blade.
    look_for: It is clean.
    hazards: [startup]
    starts: lines
  note:
    do: Read the log.
  reach:
    do: Turn the brush by hand.
    hazards: [brush]
    starts: lines
  run:
    do: Drive ten metres.
    hazards: [moving]
    energises: true
    starts: dead
  close:
    do: Shut the lids.
    hazards: [startup]
"""

#: The same with a cause for service in it, and an item that leads to it.
DEAD_FOR_SERVICE = DEAD.replace(
    "    who: operator\n    remedy: Charge it.\n",
    "    who: service\n    leave_safe: Leave it off.\n    ask_service: Test the cells.\n"
    "    parts: [battery]\n",
)
ROUND_WITH_LAMP = ROUND.replace(
    "  run:\n", "  lamp:\n    do: Look at the lamp.\n    starts: dead\n  run:\n"
)


def written(folder: Path, *, round_: str = ROUND, **more: str) -> Path:
    """Write the small library; `more` are further trees, or other texts for its own."""
    (folder / "rounds").mkdir(parents=True, exist_ok=True)
    (folder / "cautions.yaml").write_text(CAUTIONS)
    for symptom, text in {"lines": LINES, "dead": DEAD, **more}.items():
        (folder / f"{symptom}.yaml").write_text(text)
    (folder / "rounds" / "daily.yaml").write_text(round_)
    return folder


def opened(folder: Path, name: str = "daily", **visit: Any) -> RoundWalker:
    """Return a round of a library, ready to be walked."""
    library = ReadyLibrary(folder, frozenset())
    return RoundWalker(visit_to(library, **visit), library.require_round(name))


@dataclass
class ToldCase:
    """A case at a desk, with all of it in a log."""

    visit: Visit
    state: State
    own: Record

    def say(self, text: str) -> Turn:
        turn = Walker(self.visit).reply(self.state, text)
        if turn.exchange is not None:
            self.own.write(record.replied(self.visit, turn, self.own.told))
            self.own.told |= turn.state.entered
        self.state = turn.state
        return turn


def begun(
    visit: Visit,
    opened: tuple[State, tuple[Trace, ...]],
    log: CaseLog,
    machine: str | None,
    begun_in: CaseRecord | None = None,
    seen: Mapping[str, str] | None = None,
) -> ToldCase:
    """Return a case that has just been opened, and is in the log now."""
    state, trail = opened
    event = record.opened(visit, state, trail, name="Ana", seen=seen)
    case = log.open_case(machine, event, begun_in=begun_in)
    return ToldCase(visit, state, Record(log, case, told=set(state.entered)))


class Told:
    """A round at a desk, the cases that it begins included, with all of it in a log.

    It does step by step what the program's own session does to its end.
    """

    def __init__(
        self, walker: RoundWalker, log: CaseLog | None = None, machine: Any = None
    ) -> None:
        self.walker, self.machine = walker, machine
        self.log: CaseLog = log or MemoryLog()
        self.state: RoundState
        self.state, trail = walker.opened()
        event = round_record.round_opened(walker.visit, self.state, trail, "Ana")
        self.own = Record(self.log, self.log.open_case(machine, event))
        self.inner: ToldCase | None = None

    @property
    def record(self) -> CaseRecord:
        """The round as its log knows it now."""
        found = self.log.case(self.own.case.name)
        assert found is not None
        return found

    @property
    def cases(self) -> list[CaseRecord]:
        """The cases that the round has begun, as the log knows them now."""
        return self.log.begun_in(self.own.case)

    @property
    def events(self) -> list[Event]:
        """The events of the round, not those of its cases."""
        return self.events_of(self.own.case)

    def events_of(self, case: CaseRecord) -> list[Event]:
        return [logged.event for logged in self.log.events(case)]

    @property
    def screen(self) -> Any:
        if self.inner is None:
            return self.walker.screen(self.state)
        return Walker(self.walker.visit).screen(self.inner.state)

    @property
    def title(self) -> str:
        """What stands above the screen."""
        if self.inner is None:
            return self.state.round.title
        return self.inner.state.frames[-1].tree.title

    @property
    def at(self) -> str:
        """The screen in one word: an item, a caution with its phase, a step, or how it ended."""
        screen = self.screen
        kind: str = screen.screen
        if kind == "caution":
            return f"{screen.phase} {screen.id}"
        word = {"item": "item", "check": "step", "reading": "step", "finding": "step"}
        return str(getattr(screen, word.get(kind, "outcome")))

    def say(self, *texts: str) -> RoundTurn | Turn:
        turn: RoundTurn | Turn
        for text in texts:
            if self.inner is None:
                turn = self._to_round(text)
            else:
                turn = self.inner.say(text)
                self._over()
        return turn

    def _to_round(self, text: str) -> RoundTurn:
        turn = self.walker.reply(self.state, text)
        if turn.exchange is not None:
            self.own.write(round_record.item_replied(self.walker.visit, turn))
        self.state = turn.state
        if self.state.begins is not None:
            self._begin(self.state.begins)
        return turn

    def _begin(self, symptom: str) -> None:
        visit, seen = self.walker.visit, self.state.round.items[self.state.at].seen
        opened = Walker(visit).opened(symptom, self.state.cautions, returns=True, seen=seen)
        self.inner = begun(visit, opened, self.log, self.machine, self.own.case, seen)
        self._over()

    def _over(self) -> None:
        """Go on with the round, once its case has an outcome."""
        assert self.inner is not None
        assert self.state.begins is not None
        inner, symptom = self.inner.state, self.state.begins
        if inner.outcome is None:
            return
        how = "danger" if inner.danger else inner.outcome
        self.state, trail = round_walk.came_back(self.walker.visit, self.state, inner, how)
        event = round_record.case_over(self.walker.visit, self.state, trail, symptom, how)
        self.own.write(event)
        self.inner = None

    def resume(self, walker: RoundWalker | None = None) -> ResumedRound:
        """Take the round up again from its log, as another process would.

        What is returned counts the replies of the round and of the case in which it was left.
        """
        self.walker = walker or self.walker
        visit = self.walker.visit
        last = self.cases[-1:]
        danger = any(Account(self.log.events(case)).danger is not None for case in last)
        again = replay_round(visit, self.walker.round, self.events, self.cases, danger=danger)
        self.state, self.inner = again.state, None
        # The machine may have been released in between.
        self.own.number = len(self.events) + 1
        counts = {"fits": again.fits, "misfits": again.misfits}
        self.own.write(round_record.round_resumed(visit, again.state, again.trail, **counts))
        if again.state.begins is not None and again.case is not None:
            events = self.events_of(again.case)
            case = replay(visit, again.state.begins, events, returns=True)
            told = {name for event in events for name in getattr(event, "trees", ())}
            own = Record(self.log, again.case, len(events) + 1, told)
            own.write(
                record.resumed(
                    visit, case.state, case.trail, told, fits=case.fits, misfits=case.misfits
                )
            )
            own.told |= case.state.entered
            self.inner = ToldCase(visit, case.state, own)
            self._over()
            again = replace(
                again, fits=again.fits + case.fits, misfits=again.misfits + case.misfits
            )
        elif again.state.begins is not None:
            self._begin(again.state.begins)
        return again
