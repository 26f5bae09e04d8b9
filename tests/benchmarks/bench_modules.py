"""How many modules of the program one reply passes: from the key to the drawn screen, log included.

A case is walked in this process, at the terminal face, by keys from a pipe, under the interpreter's
own profile hook. A change of module is a call of a function in another module of the program than
the function called before; a return is seen by the call after it, and counted on its own beside
that. The house holds a plain reply to 12 modules, and each to 60 changes; 5 and 25 of them are the faces', whose
part holds every change that leaves or enters one of their modules.

`python tests/benchmarks/bench_modules.py` prints both for each kind of reply, with `--trace` also
the way that each reply took; exit code 1 if a limit is missed.
"""

from __future__ import annotations

import asyncio
import contextlib
import io
import itertools
import math
import os
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from figures import Figure, report
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

import diagnose
from diagnose import app
from diagnose.faces import terminal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import CodeType, FrameType

    from prompt_toolkit.input import PipeInput

    from diagnose.case.screens import Screen
    from diagnose.faces.face import Heading

HOUSE = f"{Path(diagnose.__file__).parent}{os.sep}"
FACES = f"faces{os.sep}"

#: At most so many modules and changes of module for one reply, and so many of them the faces'.
MODULES, CHANGES = 12, 60
FACES_MODULES, FACES_CHANGES = 5, 25

#: The replies that the house is held to: they read no figure, call no caution and choose no branch.
PLAIN = ("an answer", "a caution's line", "a caution's last line")

CAUTIONS = """\
format: 1
hazards:
  drive: {title: Brushes can turn}
cautions:
  dead:
    title: Locked out
    signal: WARNING
    signs: [M021]
    covers: [drive]
    lapses: when energised
    text: Make it dead before hands go near it.
    confirm: [The connector is apart., My tag is on.]
    release: [My hands are out.]
"""

TREE = """\
format: 1
symptom: sample
title: The brush stands still
start: lamp
steps:
  lamp:
    ask: What does the lamp show?
    answers: {It is dark: bulb, It glows: sound}
  sound:
    do: Listen at the motor.
    ask: Does it hum?
    look_for: A motor that has power hums.
    answers: {It is silent: volts, It hums: brush}
  brush:
    do: Look at the brush.
    ask: Is it worn?
    hazards: [drive]
    answers: {Worn: worn-brush, Good: volts}
  volts:
    read: value
    do: Read the display.
    bands:
      - {below: 20, call: low, go: flat}
      - {otherwise: high, go: bulb}
  bulb: {finding: The bulb is dead, chance: 20, who: operator, remedy: Change it.}
  worn-brush: {finding: The brush is worn, chance: 30, who: operator, remedy: Fit a new brush.}
  flat: {finding: The battery is flat, chance: 25, who: operator, remedy: Charge it.}
"""

#: What is typed, whether it completes a reply, and what it is counted as ("" for nothing).
KEYS = (
    ("2", True, "an answer"),
    ("2", True, "an answer that calls a caution"),
    (" ", False, "a caution's line"),
    (" ", True, "a caution's last line"),
    ("2", True, ""),
    ("12", False, ""),
    ("\r", True, "a reading"),
    (" ", True, ""),
    ("n", True, "a finding's reply"),
    ("l", True, ""),
)


@dataclass
class Way:
    """The modules that one reply passed: as they were called, and with every return as well."""

    called: list[str] = field(default_factory=list)
    passed: list[str] = field(default_factory=list)

    def hook(self, frame: FrameType, event: str, _: object) -> None:
        """Note a call, or a return, as `sys.setprofile` tells it."""
        module = _module(frame.f_code) if event in ("call", "return") else ""
        if not module:
            return
        if event == "call":
            _append(self.called, module)
        else:
            caller = frame.f_back
            while caller is not None and not _module(caller.f_code):
                caller = caller.f_back
            module = _module(caller.f_code) if caller is not None else ""
        _append(self.passed, module)

    def figures(self, kind: str) -> Iterator[Figure]:
        """Yield modules and changes, of the whole house and of the faces."""
        modules = set(self.called)
        rooms = Counter(Path(module).parts[0] for module in modules)
        shown = " ".join(f"{room} {count}" for room, count in sorted(rooms.items()))
        limit = MODULES if kind in PLAIN else math.inf
        yield f"{kind}: modules", len(modules), limit, shown
        changes, returns = _changes(self.called), _changes(self.passed)
        yield f"{kind}: changes of module", changes, CHANGES, f"{returns} with each return"
        faces = sum(module.startswith(FACES) for module in modules)
        yield f"{kind}: modules, faces", faces, FACES_MODULES, ""
        changes, returns = _changes(self.called, FACES), _changes(self.passed, FACES)
        shown = f"{returns} with each return"
        yield f"{kind}: changes of module, faces", changes, FACES_CHANGES, shown


def _append(modules: list[str], module: str) -> None:
    if module and modules[-1:] != [module]:
        modules.append(module)


def _changes(modules: list[str], room: str = "") -> int:
    """Return the changes from module to module, or those that leave or enter one of a room."""
    pairs = itertools.pairwise(modules)
    return sum(any(module.startswith(room) for module in pair) for pair in pairs)


def _module(code: CodeType) -> str:
    """Return the path of a module inside the house, or nothing for code from elsewhere."""
    return code.co_filename.removeprefix(HOUSE) if code.co_filename.startswith(HOUSE) else ""


class Typist(DummyOutput):
    """A terminal that shows nothing, at which somebody types the next keys once a screen is up."""

    def __init__(self, pipe: PipeInput) -> None:
        super().__init__()
        self.pipe = pipe
        self.keys = list(KEYS)
        self.ways: dict[str, Way] = {}
        self.due = False

    def flush(self) -> None:
        """Take a screen as drawn: the reply before it ends here."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            return  # the application is only being set up
        if self.due:
            self.due = False
            sys.setprofile(None)
            # Not now: the screen counts as seen only after this.
            loop.call_soon(self._type)

    def _type(self) -> None:
        if not self.keys:
            self.pipe.close()
            return
        text, completes, kind = self.keys.pop(0)
        self.due = not completes
        self.pipe.send_text(text)
        if kind:
            way = self.ways[kind] = Way()
            sys.setprofile(way.hook)


class Terminal(io.StringIO):
    """A standard stream that says it is a terminal."""

    def isatty(self) -> bool:
        """Say yes."""
        return True


def walked() -> dict[str, Way]:
    """Walk the case and return the way of each kind of reply."""
    with (
        tempfile.TemporaryDirectory() as name,
        create_pipe_input() as pipe,
        contextlib.ExitStack() as stack,
    ):
        folder = Path(name)
        (folder / "sample.yaml").write_text(TREE, encoding="utf-8")
        (folder / "cautions.yaml").write_text(CAUTIONS, encoding="utf-8")
        typist = Typist(pipe)
        stack.enter_context(create_app_session(input=pipe, output=typist))

        class Watched(terminal.TerminalFace):
            """The face, which tells the typist when something new is about to be shown."""

            def show(self, screen: Screen, heading: Heading) -> None:
                typist.due = True
                super().show(screen, heading)

            def ask(self, screen: Screen, heading: Heading) -> str | None:
                typist.due = True
                return super().ask(screen, heading)

        own, streams = terminal.TerminalFace, (sys.stdin, sys.stdout)
        terminal.TerminalFace = Watched  # type: ignore[misc]
        sys.stdin, sys.stdout = Terminal(), Terminal()
        os.environ["TERM"] = "xterm"
        try:
            code = app.run(
                ["start", "sample", "--trees", name, "--log", str(folder / "cases.sqlite")]
            )
        finally:
            sys.setprofile(None)
            terminal.TerminalFace = own  # type: ignore[misc]
            sys.stdin, sys.stdout = streams
    if code or typist.keys:
        raise SystemExit(f"The case was not walked to its end: {typist.keys} (code {code}).")
    return typist.ways


def module_figures() -> Iterator[Figure]:
    """Modules and changes of module of each kind of reply."""
    for kind, way in walked().items():
        yield from way.figures(kind)
        if "--trace" in sys.argv:
            print(" > ".join(way.passed))


if __name__ == "__main__":
    sys.exit(report(module_figures))
