"""Ctrl-Z and ``fg`` at a real shell, and what an end from outside does to a program at a terminal."""

from __future__ import annotations

import os
import re
import shutil
import signal
import termios
import time
from typing import TYPE_CHECKING

import pytest
from handmade import library
from terminals import LONGEST, PROGRAM, Terminal

from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

ENDS = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT]
BASH = shutil.which("bash")
READY = r"ready>\s*$"
TAKEN, GIVEN_BACK = b"\x1b[?1049h", b"\x1b[?1049l"
#: What else is asked of a terminal: pasted text in brackets, no cursor.
PASTE_OFF, CURSOR_OFF, CURSOR_ON = b"\x1b[?2004l", b"\x1b[?25l", b"\x1b[?25h"


@pytest.fixture
def command(tmp_path: Path) -> list[str]:
    """The program at a small library, with a log of its own."""
    folder = tmp_path / "small"
    folder.mkdir()
    library(folder)
    log = str(tmp_path / "cases.db")
    return [*PROGRAM, "start", "sample", "--trees", str(folder), "--log", log]


@pytest.fixture
def shell(command: list[str], tmp_path: Path) -> Iterator[Terminal]:
    """A shell with job control, in which `$D` is the program, found as here."""
    if BASH is None:
        pytest.skip("no bash here, so nobody can stop a program and go on with it")
    terminal = Terminal(
        (BASH, "--norc", "--noprofile", "-i"),
        PS1="ready> ",
        D=" ".join(command),
        HOME=str(tmp_path),
        PYTHONPATH=os.environ.get("PYTHONPATH", ""),
    )
    terminal.until(READY)
    yield terminal
    terminal.child.close(force=True)


def shows_cursor(terminal: Terminal) -> bool:
    return terminal.raw.rfind(CURSOR_ON) > terminal.raw.rfind(CURSOR_OFF)


def replies(folder: Path) -> list[str]:
    """What was replied in the one case of the log."""
    log = SqliteLog(folder / "cases.db")
    (case,) = log.cases()
    events = [one.event for one in log.events(case)]
    return [getattr(one, "reply", type(one).__name__.lower()) for one in events]


# Stopped, and gone on with


def stop(terminal: Terminal) -> None:
    """Press Ctrl-Z and see that the shell can be used."""
    before = terminal.raw.count(GIVEN_BACK)
    terminal.press("\x1a")
    terminal.until("Stopped", READY)
    assert terminal.raw.count(GIVEN_BACK) == before + 1
    assert shows_cursor(terminal)
    # What is typed is seen, line by line, as the shell has it.
    terminal.press("echo $((40+2))\r")
    terminal.until(r"echo \$\(\(40\+2\)\)", r"\n42\n", READY)


def go_on(terminal: Terminal) -> None:
    terminal.press("clear; fg\r")


def test_a_stopped_screen_comes_back_with_all_that_was_typed_and_confirmed(
    shell: Terminal, tmp_path: Path
) -> None:
    shell.press("$D\r")
    shell.until("What does the lamp show", "t note")
    shell.press("tit hums")
    shell.until("Note: it hums")
    stop(shell)
    # Smaller by now, which nobody has told a program that is stopped.
    shell.resize(60, 20)
    go_on(shell)
    shell.until("What does the lamp show", "Note: it hums", lambda text: "42" not in text)
    shell.press(" 2\r")
    shell.until("Noted: it hums 2", "1-2 answer")
    shell.press("2")
    shell.until("0 of 4")
    shell.press("  ")
    shell.until("2 of 4")
    stop(shell)
    go_on(shell)
    shell.until("WARNING", "2 of 4", lambda text: text.count("ok  ") == 2)
    shell.press("  ")
    shell.until("Is it worn")
    shell.press("l")
    shell.until("diagnose resume", r"\nready>")
    assert shell.raw.count(TAKEN) == shell.raw.count(GIVEN_BACK) == 3
    assert replies(tmp_path) == ["opened", "noted", "answer", "done", "leave"]


def test_plain_lines_say_again_what_is_asked(shell: Terminal) -> None:
    shell.press("$D --plain\r")
    shell.until("What does the lamp show", "Reply:")
    shell.press("\x1a")
    shell.until("Stopped", READY)
    go_on(shell)
    shell.until("Question: What does the lamp show", "2. It glows", r"Reply:\s*$")
    shell.press("2\r")
    shell.until(r"1 of 4: It stands level\.\s*$")
    shell.press("\r")
    shell.until(r"2 of 4: .*\s*$")
    shell.press("\x1a")
    shell.until("Stopped", READY)
    go_on(shell)
    shell.until(r"WARNING, 2 of 4: .*\s*$", lambda text: "1 of 4" not in text)
    shell.press("l\r")
    shell.until("diagnose resume", READY)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_stopped_program_that_is_ended_leaves_the_terminal_to_the_shell(
    shell: Terminal, tmp_path: Path, number: signal.Signals
) -> None:
    shell.press("$D\r")
    shell.until("What does the lamp show", "t note")
    shell.press("2")
    shell.until("0 of 4")
    stop(shell)
    shell.press(f"clear; kill -{number.name} %1\r")
    last = time.monotonic() + LONGEST
    while not re.search(r"\[1\]\+ +(Done|Exit)", shell.text()):
        # The shell says it with its next prompt.
        assert time.monotonic() < last, shell.text()
        shell.press("\r")
        shell.read()
    assert "Done" in shell.text()
    assert shell.raw.count(TAKEN) == 1
    assert replies(tmp_path) == ["opened", "answer", "leave"]


# Ended


@pytest.mark.parametrize(
    ("keys", "seen"),
    [("  ", "2 of 4"), ("tit hums", "Note: it hums"), ("!", "Pressed by mistake")],
    ids=["caution", "note", "danger"],
)
@pytest.mark.parametrize("number", ENDS)
def test_an_end_gives_the_terminal_back_and_leaves_the_case(
    command: list[str], tmp_path: Path, number: signal.Signals, keys: str, seen: str
) -> None:
    terminal = Terminal(command, HOME=str(tmp_path))
    before = termios.tcgetattr(terminal.child.child_fd)
    terminal.until("What does the lamp show", "t note")
    assert termios.tcgetattr(terminal.child.child_fd) != before
    terminal.press("2")
    terminal.until("0 of 4")
    terminal.press(keys)
    terminal.until(seen)
    os.kill(terminal.child.pid, number)
    ended(terminal, before)
    # It is one, even where nobody can say any more what it is.
    last = ["danger", "danger"] if keys == "!" else ["leave"]
    assert replies(tmp_path) == ["opened", "answer", *last]


def ended(terminal: Terminal, before: list[object]) -> None:
    """See that the program ended well, with the terminal as it was."""
    last = time.monotonic() + LONGEST
    while terminal.read():
        assert time.monotonic() < last
    assert termios.tcgetattr(terminal.child.child_fd) == before
    assert terminal.end() == 0
    own, _, after = terminal.raw.rpartition(GIVEN_BACK)
    assert TAKEN not in after
    assert PASTE_OFF in after
    assert shows_cursor(terminal)
    assert re.search("diagnose (resume|handover)", after.decode())
    assert b"Traceback" not in own + after


def test_control_backslash_is_a_key_that_leaves(command: list[str], tmp_path: Path) -> None:
    terminal = Terminal(command, HOME=str(tmp_path))
    before = termios.tcgetattr(terminal.child.child_fd)
    terminal.until("What does the lamp show", "t note")
    terminal.press("2")
    terminal.until("0 of 4")
    terminal.press("\x1c")
    ended(terminal, before)


@pytest.mark.parametrize("plain", [[], ["--plain"]], ids=["terminal", "plain"])
def test_a_closed_window_leaves_the_case_in_silence(
    command: list[str], tmp_path: Path, plain: list[str]
) -> None:
    terminal = Terminal([*command, *plain], HOME=str(tmp_path))
    terminal.until("What does the lamp show", "t note")
    terminal.press("2\r" if plain else "2")
    terminal.until("1 of 4" if plain else "0 of 4")
    terminal.child.ptyproc.fileobj.close()
    last = time.monotonic() + LONGEST
    while terminal.child.isalive():
        assert time.monotonic() < last
        time.sleep(0.01)
    assert terminal.child.exitstatus == 0
    assert replies(tmp_path) == ["opened", "answer", "leave"]
    # Nothing was unexpected.
    assert not list(tmp_path.rglob("reports/*"))
