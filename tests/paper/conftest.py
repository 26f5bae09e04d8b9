"""A small library, and cases driven through the program's own verbs at a face that is a script."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from strategies.desk import Script

from diagnose.commands import options, resume, start
from diagnose.commands.cases import run as cases
from diagnose.log.sqlite import SqliteLog
from diagnose.paper.handover import handover
from diagnose.paper.handover_sheet import as_markdown

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from diagnose.paper.handover_page import Handover

CAUTIONS = """
format: 1
hazards:
  startup: {title: It can start}
  brush-drive: {title: Brushes can turn}
  dirty-water: {title: Dirty water}
  electrical: {title: Wiring inside, service_only: true}
cautions:
  gloves:
    title: Gloves on
    signal: CAUTION
    covers: [dirty-water]
    lapses: never
    text: Dirty water.
    confirm: [Gloves are on.]
  key-out:
    title: Key out
    signal: WARNING
    covers: [startup]
    lapses: when energised
    text: Key out first.
    confirm: [The key is in my pocket.]
    release: [Everybody is clear.]
  dead:
    title: Nothing can turn
    signal: WARNING
    signs: [M021]
    covers: [brush-drive]
    includes: [key-out]
    lapses: when energised
    text: Make it dead.
    confirm: [The connector is apart., My tag hangs on it.]
    release: [My tag is off.]
"""

ALPHA = """
format: 1
symptom: alpha
title: It does the first thing
start: look
steps:
  look:
    do: Walk round it.
    ask: What do you see?
    answers: {A puddle: door, Nothing odd: gauge}
  door: {finding: Water is not picked up., chance: 10, continue_with: beta}
  gauge:
    read: rest-voltage
    do: Read the display.
    bands:
      - {below: 30, call: low, go: flat}
      - {otherwise: enough, go: turn}
  flat: {finding: The battery is flat., chance: 20, who: operator, remedy: Charge it.}
  turn:
    ask: Do the brushes turn?
    energises: true
    answers: {They stand still: reach, They turn: cells}
  reach:
    ask: What is round the hub?
    hazards: [brush-drive]
    answers: {String: string, Nothing there: motor}
  string:
    finding: String holds the brush.
    chance: 30
    who: operator
    remedy: Cut it away.
    hazards: [brush-drive]
    parts: [a new brush]
  motor:
    finding: The brush motor is dead.
    chance: 15
    who: service
    leave_safe: Leave the key out and the tag on.
    ask_service: Measure the motor and its leads.
    hazards: [electrical]
    parts: [brush motor]
  cells:
    ask: Is a cell low?
    by: battery-trained
    answers: {One is low: cell, All alike: worn}
  cell:
    finding: A cell is weak.
    chance: 15
    who: service
    leave_safe: Charger off.
    ask_service: Test it.
  worn: {finding: The brush is worn., chance: 10, who: operator, remedy: Fit a new one.}
"""

BETA = """
format: 1
symptom: beta
title: It does the second thing
start: kind
steps:
  kind:
    ask: Which battery has it?
    from_card: battery.kind
    answers: {flooded: hose, sealed: hose}
  hose:
    ask: How does the hose look?
    hazards: [dirty-water]
    answers: {Blocked: clog, Free: fan}
  clog:
    finding: The hose is blocked.
    chance: 60
    who: operator
    remedy: Rinse it.
    hazards: [dirty-water]
  fan:
    finding: The suction motor is weak.
    chance: 40
    who: service
    leave_safe: Switch suction off.
    ask_service: Measure the suction.
    parts: [suction motor]
"""

MACHINE = """
format: 1
machine: one
title: Machine one
nameplate: {model: demo 50, serial: X-1, built: last spring}
hours: 12 h
site: {name: Demo hall}
stands: By the gate
access: From 6 to 14
battery: {kind: flooded, cells: 12, capacity: 100 Ah, age: 3 years, cycles: 7}
service: {name: Demo service, phone: 555-0100}
last_visit: New casters in May
"""


class Clock:
    """One minute later each time it is asked."""

    def __init__(self, at: str = "2026-11-03T10:00:00+00:00") -> None:
        self.at = datetime.fromisoformat(at)

    def __call__(self) -> str:
        now = self.at
        self.at += timedelta(minutes=1)
        return now.astimezone(UTC).isoformat(timespec="seconds")


@dataclass
class Desk:
    """A log, a library, and what a person does with them."""

    trees: Path | None
    log: Path
    clock: Clock
    monkeypatch: pytest.MonkeyPatch
    face: Script = field(default_factory=lambda: Script([]))

    def _args(self) -> list[str]:
        return ["--log", str(self.log), *(["--trees", str(self.trees)] if self.trees else [])]

    def start(self, symptom: str | None, replies: Any, machine: str = "none", *more: str) -> str:
        """Walk a new case and return its name. A refused reply is an error in the test."""
        self.face = Script(replies if callable(replies) else list(replies))
        first = [symptom] if symptom else []
        assert start.run([*first, "--machine", machine, *more, *self._args()]) == 0
        return self._settled()

    def resume(self, name: str, replies: Any, *more: str) -> None:
        self.face = Script(replies if callable(replies) else list(replies))
        assert resume.run([name, *more, *self._args()]) == 0
        self._settled()

    def found(self, name: str, finding: str) -> None:
        assert cases(["found", name, finding, *self._args()]) == 0

    def page(self, name: str) -> Handover:
        log = SqliteLog(self.log, "rw")
        case = log.case(name)
        assert case is not None
        return handover(case, log.events(case), log.begun_in(case))

    def markdown(self, name: str) -> str:
        return as_markdown(self.page(name))

    def _settled(self) -> str:
        kinds = [type(screen).__name__ for screen in self.face.screens]
        assert "RefusedScreen" not in kinds, self.face.screens[kinds.index("RefusedScreen")]
        assert self.face.replies == [] or callable(self.face.replies)
        log = SqliteLog(self.log, "rw")
        return log.cases()[0].name


@pytest.fixture(autouse=True)
def greenwich(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A computer whose clock on the wall shows UTC."""
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "UTC")
        time.tzset()
        yield
    time.tzset()


@pytest.fixture
def library(tmp_path: Path) -> Path:
    folder = tmp_path / "library"
    (folder / "machines").mkdir(parents=True)
    (folder / "cautions.yaml").write_text(CAUTIONS, "utf-8")
    (folder / "alpha.yaml").write_text(ALPHA, "utf-8")
    (folder / "beta.yaml").write_text(BETA, "utf-8")
    (folder / "machines" / "one.yaml").write_text(MACHINE, "utf-8")
    return folder


@pytest.fixture
def desk(library: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    desk = Desk(library, tmp_path / "cases.sqlite", Clock(), monkeypatch)

    def opened(_: object, mode: str = "rwc") -> SqliteLog:
        return SqliteLog(desk.log, mode, now=desk.clock)

    monkeypatch.setattr(options, "open_log", opened)
    monkeypatch.setattr(
        options, "existing_log", lambda _: opened(_, "rw") if desk.log.exists() else None
    )
    for verb in (start, resume):
        monkeypatch.setattr(verb, "face_for", lambda **_: desk.face)
    return desk
