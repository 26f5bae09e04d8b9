"""A real terminal: a program under pexpect, its screen kept by pyte."""

from __future__ import annotations

import os
import re
import sys
import time
from typing import TYPE_CHECKING

import pexpect
import pyte

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence


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
            timeout=20,
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

    def until(self, wanted: str | Callable[[str], bool], seconds: float = 20) -> str:
        """Read until the screen shows a pattern, or meets a condition; return the screen."""
        met = wanted if callable(wanted) else lambda text: re.search(wanted, text) is not None
        last = time.monotonic() + seconds
        while time.monotonic() < last:
            if met(self.text()):
                return self.text()
            if not self.read():
                break
        if met(self.text()):
            return self.text()
        raise AssertionError(f"never seen: {wanted}\n{self.text()}")

    def press(self, keys: str) -> None:
        """Type keys."""
        self.child.send(keys)

    def resize(self, columns: int, rows: int) -> None:
        """Change the size of the terminal."""
        self.screen.resize(rows, columns)
        self.child.setwinsize(rows, columns)

    def end(self) -> int | None:
        """Read to the end of the program; return its exit code."""
        while self.read(20):
            pass
        self.child.close()
        return self.child.exitstatus


PROGRAM = (sys.executable, "-m", "diagnose")
