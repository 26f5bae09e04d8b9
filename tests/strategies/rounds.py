"""A small library with a round, and somebody who watches a round knowing only files and screens."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import yaml
from diagnose.case.round_walk import RoundWalk
from diagnose.commands.kept import after, round_opened

from diagnose.case.screens import as_data
from diagnose.case.walk import Walk
from diagnose.commands.ready_library import ReadyLibrary

if TYPE_CHECKING:
    from pathlib import Path

    from diagnose.case.round_state import RoundState, RoundTurn

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


def written(folder: Path, *, round_: str = ROUND, **more: str) -> Path:
    """Write the small library; `more` are further trees, or other texts for its own."""
    (folder / "rounds").mkdir(parents=True, exist_ok=True)
    (folder / "cautions.yaml").write_text(CAUTIONS)
    for symptom, text in {"lines": LINES, "dead": DEAD, **more}.items():
        (folder / f"{symptom}.yaml").write_text(text)
    (folder / "rounds" / "daily.yaml").write_text(round_)
    return folder


def opened(folder: Path, name: str = "daily", **walk: Any) -> RoundWalk:
    """Return a round of a library, ready to be walked."""
    library = ReadyLibrary(folder, frozenset())
    own = Walk(library, library.content.cautions, library.table, **walk)
    return RoundWalk(own, library.require_round(name))


class Told:
    """A round at a desk: what is shown, and the events as a log would give them back."""

    def __init__(self, walk: RoundWalk, state: RoundState | None = None) -> None:
        self.walk = walk
        self.bodies: list[dict[str, Any]] = []
        self.told: set[str] = set()
        if state is None:
            state, trail = walk.opened()
            self.bodies.append(as_logged(round_opened(walk, state, "Ana", trail)))
        self.state = state

    @property
    def screen(self) -> Any:
        return self.walk.screen(self.state)

    @property
    def at(self) -> str:
        """The screen in one word: an item, a caution with its phase, a step, or how it ended."""
        screen = self.screen
        kind: str = screen.screen
        if kind == "caution":
            return f"{screen.phase} {screen.id}"
        word = {"item": "item", "check": "step", "finding": "step", "end": "outcome"}[kind]
        return str(getattr(screen, word))

    def say(self, *texts: str) -> RoundTurn:
        for text in texts:
            turn = self.walk.reply(self.state, text)
            if turn.event is not None:
                event = after(self.walk, turn, self.told)
                self.told |= (event.more or {}).get("trees", {}).keys()
                self.bodies.append(as_logged(event))
            self.state = turn.state
        return turn


def as_logged(event: Any) -> dict[str, Any]:
    """Return an event as a log gives it back."""
    body: dict[str, Any] = json.loads(json.dumps(as_data(event)))
    return body


class Guard:
    """Somebody who knows the files of a library alone, and raises at a word shown too early."""

    def __init__(self, folder: Path) -> None:
        known = yaml.safe_load((folder / "cautions.yaml").read_text())
        self.cautions = known["cautions"]
        self.cover = {h: name for name, c in self.cautions.items() for h in c.get("covers", ())}
        self.lapsing = {n for n, c in self.cautions.items() if c["lapses"] == "when energised"}
        self.steps: dict[tuple[str, str], Any] = {}
        for path in folder.glob("*.yaml"):
            for name, step in (yaml.safe_load(path.read_text()).get("steps") or {}).items():
                self.steps[(path.stem, name)] = step
        for path in (folder / "rounds").glob("*.yaml"):
            for name, item in yaml.safe_load(path.read_text())["items"].items():
                self.steps[(path.stem, name)] = item

    def sees(self, screen: Any) -> None:
        """Look at a screen of a round, as data."""
        kind = screen["screen"]
        if kind not in ("item", "check", "reading", "finding"):
            return
        key = (
            (screen["round"], screen["item"])
            if kind == "item"
            else (
                screen["symptom"],
                screen["step"],
            )
        )
        step = self.steps[key]
        in_force = {held["id"] for held in screen["in_force"]}
        if step.get("energises") is True or step.get("energises") == "true":
            assert not in_force & self.lapsing, f"{key} runs the machine under {in_force}"
        if step.get("who") == "service":
            return
        needed = set(step.get("cautions", ()))
        needed |= {self.cover[h] for h in step.get("hazards", ()) if h in self.cover}
        while more := {i for n in needed for i in self.cautions[n].get("includes", ())} - needed:
            needed |= more
        assert needed <= in_force, f"{key} needs {needed}, in force are {in_force}"
