"""Work of more than a second says how far it is, where somebody can see it."""

from __future__ import annotations

import io
import sys
import time
from typing import TYPE_CHECKING

import pytest

from diagnose.commands import drawings, progress
from diagnose.commands.drawings import Written
from diagnose.commands.progress import Progress

if TYPE_CHECKING:
    from collections.abc import Iterator


class Stream(io.StringIO):
    """A standard error that is a terminal, or none."""

    def __init__(self, *, terminal: bool) -> None:
        super().__init__()
        self.terminal = terminal

    def isatty(self) -> bool:
        return self.terminal


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "QUIET", 0.01)
    monkeypatch.setattr(progress, "BAR_EVERY", 0.01)
    monkeypatch.setenv("TERM", "xterm")


def worked(
    monkeypatch: pytest.MonkeyPatch, *, terminal: bool, plain: bool = False, silent: bool = False
) -> str:
    """Return what is said while two of four files are written."""
    stream = Stream(terminal=terminal)
    monkeypatch.setattr(sys, "stderr", stream)

    def files() -> Iterator[Written]:
        for name in ("a", "b"):
            last = time.monotonic() + (5 if terminal and not silent else 0.05)
            before = stream.tell()
            bar = "\r" in stream.getvalue()
            while stream.tell() == before and time.monotonic() < last and (name == "a" or bar):
                time.sleep(0.005)
            yield Written(file=f"{name}.pdf", symptom=name)

    with Progress(4, plain=plain, silent=silent) as shown:
        drawings.say(files(), as_json=False, progress=shown)
    return stream.getvalue()


def test_a_terminal_has_a_bar_that_goes_away(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = worked(monkeypatch, terminal=True)
    assert "\r[----------] Written: 0 of 4, 0 s." in said
    assert "\r[##--------] Written: 1 of 4, 0 s." in said
    # What stood there is written over before each line, and at the end.
    assert said.endswith(f"\r{' ' * len('[##--------] Written: 1 of 4, 0 s.')}\r")
    assert capsys.readouterr().out == "a.pdf: a.\nb.pdf: b.\n"


@pytest.mark.parametrize("term", ["xterm", "dumb"])
def test_plain_has_lines_and_moves_no_cursor(monkeypatch: pytest.MonkeyPatch, term: str) -> None:
    monkeypatch.setenv("TERM", term)
    said = worked(monkeypatch, terminal=True, plain=term == "xterm")
    assert said.splitlines()[0] == "Written: 0 of 4, 0 s."
    assert "\r" not in said


@pytest.mark.parametrize(("terminal", "silent"), [(False, False), (True, True)])
def test_a_pipe_and_json_have_nothing(
    monkeypatch: pytest.MonkeyPatch, terminal: bool, silent: bool
) -> None:
    assert worked(monkeypatch, terminal=terminal, silent=silent) == ""


def test_work_that_is_soon_done_says_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "QUIET", 60.0)
    stream = Stream(terminal=True)
    monkeypatch.setattr(sys, "stderr", stream)
    with Progress(0):
        pass
    assert stream.getvalue() == ""
