"""Terminals to test at: one without a screen, typed at in this process, and a real one.

The real one is a pseudo-terminal: the program runs under pexpect, its screen is kept by pyte.
"""

from __future__ import annotations

import os
import re
import sys
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pexpect
import pyte
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from diagnose.faces.terminal import FullScreen

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from prompt_toolkit.application import Application
    from prompt_toolkit.input import PipeInput

    from diagnose.faces.dialog import Dialog

PROGRAM = (sys.executable, "-m", "diagnose")


class TypedAt(FullScreen):
    """A full screen without a terminal: the next keys are typed once a dialog has been drawn."""

    burst = 0.0

    def __init__(self, pipe: PipeInput, keys: Sequence[str]) -> None:
        super().__init__()
        self.pipe = pipe
        self.waiting = list(keys)
        self.dialogs: list[Dialog] = []
        self._due = False

    def run(self, dialog: Dialog) -> str | None:
        self.dialogs.append(dialog)
        self._due = True
        return super().run(dialog)

    def _rendered(self, app: Application[None]) -> None:
        super()._rendered(app)
        if self._due:
            self._due = False
            if self.waiting:
                self.pipe.send_text(self.waiting.pop(0))
            else:
                self.pipe.close()


@contextmanager
def typed_at(*keys: str) -> Iterator[TypedAt]:
    """Give a full screen at which keys are typed, an entry a dialog, and see that it is closed."""
    with (
        create_pipe_input() as pipe,
        create_app_session(input=pipe, output=DummyOutput()),
    ):
        full_screen = TypedAt(pipe, keys)
        try:
            yield full_screen
        finally:
            full_screen.close()


#: A busy machine may take its time; a program that hangs does not get more.
LONGEST = 60.0


class Terminal:
    """A program on a pseudo-terminal so and so big."""

    def __init__(
        self, command: Sequence[str], columns: int = 80, rows: int = 24, **variables: str
    ) -> None:
        self.screen = pyte.Screen(columns, rows)
        self.stream = pyte.ByteStream(self.screen)
        self.raw = b""
        environment = {
            **{name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ},
            "TERM": "xterm-256color",
            "LANG": "C.UTF-8",
            "PROMPT_TOOLKIT_NO_CPR": "1",
            **variables,
        }
        self.child = pexpect.spawn(
            command[0],
            list(command[1:]),
            dimensions=(rows, columns),
            env=environment,
        )
        self.child.delaybeforesend = None

    def text(self) -> str:
        """Return what is on the screen now."""
        return "\n".join(line.rstrip() for line in self.screen.display)

    def read(self, seconds: float = 0.1) -> bool:
        """Feed what the program wrote; false where it has ended."""
        try:
            piece = self.child.read_nonblocking(65536, timeout=seconds)
        except pexpect.TIMEOUT:
            return True
        except pexpect.EOF:
            return False
        self.raw += piece
        self.stream.feed(piece)
        return True

    def until(self, *wanted: str | Callable[[str], bool], seconds: float = LONGEST) -> str:
        """Read until the screen shows every pattern and meets every condition; return the screen.

        A screen is painted from the top down and may come in pieces: name whatever is asked of it.
        """
        last = time.monotonic() + seconds
        while True:
            text = self.text()
            if all(one(text) if callable(one) else re.search(one, text) for one in wanted):
                return text
            if time.monotonic() > last or not self.read():
                raise AssertionError(f"never seen: {wanted}\n{text}")

    def press(self, keys: str) -> None:
        """Type keys."""
        self.child.send(keys)

    def resize(self, columns: int, rows: int) -> None:
        """Change the size of the terminal."""
        self.screen.resize(rows, columns)
        self.child.setwinsize(rows, columns)

    def end(self) -> int | None:
        """Read to the end of the program; return its exit code."""
        last = time.monotonic() + LONGEST
        while self.read():
            assert time.monotonic() < last, f"the program goes on\n{self.text()}"
        self.child.close()
        return self.child.exitstatus
