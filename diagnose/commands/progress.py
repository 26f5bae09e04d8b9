"""What work of more than a second says of itself on standard error.

A bar on a terminal that can place text, a line now and then on one that is plain, nothing in a
pipe.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from typing import TYPE_CHECKING, Final

from diagnose.case.screens import phrase
from diagnose.faces.streams import is_terminal
from diagnose.faces.words import render

if TYPE_CHECKING:
    from types import TracebackType

#: Nothing is said before so many seconds; a line in plain is said as often, a bar drawn as often.
QUIET: Final = 1.0
LINE_EVERY: Final = 5.0
BAR_EVERY: Final = 0.25

#: How many marks wide a bar is.
WIDE: Final = 10


class Progress:
    """The progress of `total` things: of files that are written, or cases that are simulated.

    A context manager. The work is done in the caller's thread, what is said comes from another.
    """

    def __init__(
        self, total: int, *, plain: bool = False, silent: bool = False, what: str = "written"
    ) -> None:
        self.total, self.done, self.what = total, 0, what
        self._begun = time.monotonic()
        self._over = threading.Event()
        self._drawn = threading.Lock()
        self._width = 0
        self._shown = not silent and is_terminal(sys.stderr)
        self._plain = plain or os.environ.get("TERM", "").strip() in ("", "dumb")
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Progress:
        if self._shown:
            self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        if self._shown:
            self._thread.join()
        self._clear()

    def step(self) -> None:
        """Count one more as done. Where files are written, a line comes in place of the bar."""
        self.done += 1
        if self.what == "written":
            self._clear()

    def _clear(self) -> None:
        with self._drawn:
            if self._width:
                sys.stderr.write(f"\r{' ' * self._width}\r")
                sys.stderr.flush()
            self._width = 0

    def _run(self) -> None:
        wait = QUIET
        while not self._over.wait(wait):
            self._say()
            wait = LINE_EVERY if self._plain else BAR_EVERY

    def _say(self) -> None:
        seconds = round(time.monotonic() - self._begun)
        counted = {"done": self.done, "total": self.total, "seconds": seconds}
        said = render(phrase("written" if self.what == "written" else "simulated", **counted))
        with self._drawn:
            if self._plain:
                sys.stderr.write(f"{said}\n")
            else:
                full = WIDE * self.done // max(1, self.total)
                line = f"[{'#' * full}{'-' * (WIDE - full)}] {said}"
                sys.stderr.write(f"\r{line}")
                self._width = len(line)
            sys.stderr.flush()
