"""Ends from outside at any moment: no traceback, the way to go on where one was asked, no half file."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest
from terminals import LONGEST, PROGRAM, Terminal

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

ENDS = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT]
OUTSIDE = ENDS[1:]
START = ["start", "streaking", "--machine", "none", "--trial"]

#: The program, which says when its own first lines have run: what was before is Python's start.
_FROM_ITS_FIRST_LINES = """
import sys
class Marking:
    def find_spec(self, name, path, target=None):
        if name == "diagnose.app":
            sys.stderr.write("<up>")
            sys.stderr.flush()
sys.meta_path.insert(0, Marking())
from diagnose.__main__ import main
main()
"""
UP, SCREEN = b"<up>", b"What was done to it last"


def begun(args: Sequence[str]) -> Terminal:
    """Start the program in a terminal, up to its own first lines."""
    terminal = Terminal(
        (sys.executable, "-c", _FROM_ITS_FIRST_LINES, *args), HOME=os.environ["HOME"]
    )
    until(terminal, UP)
    return terminal


def until(terminal: Terminal, wanted: bytes) -> None:
    last = time.monotonic() + LONGEST
    while wanted not in terminal.raw:
        assert terminal.read()
        assert time.monotonic() < last


def seconds_to_the_end(args: Sequence[str], screen: bytes | None) -> float:
    """How long it takes from the first lines to the first screen, or where there is none to the end."""
    terminal = begun(args)
    began = time.monotonic()
    if screen is None:
        assert terminal.end() == 0
    else:
        until(terminal, screen)
    took = time.monotonic() - began
    terminal.child.close(force=True)
    return took


@pytest.mark.parametrize(
    ("args", "screen", "moments"),
    [(START, SCREEN, 24), ([*START, "--plain"], SCREEN, 16), (["measure"], None, 20)],
    ids=["terminal", "plain", "measure"],
)
def test_no_moment_of_the_start_brings_a_traceback(
    args: list[str], screen: bytes | None, moments: int
) -> None:
    """From the first lines to the first screen, or to the end of the process."""
    longest = 1.1 * seconds_to_the_end(args, screen)
    early = 0
    for moment in range(moments):
        number = ENDS[moment % len(ENDS)]
        terminal = begun(args)
        ends = time.monotonic() + longest * moment / moments
        while (left := ends - time.monotonic()) > 0 and terminal.read(left):
            pass
        if terminal.child.isalive():
            os.kill(terminal.child.pid, number)
        code = terminal.end()
        told = terminal.raw.split(UP)[1]
        assert code in (0, 128 + number), (number, code, told)
        assert b"Traceback" not in told
        assert b"Exception" not in told
        if code:
            early += 1
        if screen is not None and code == 0:
            # Whoever was asked something has left it.
            assert b"Left." in told
    assert early >= moments // 4


def run_plain(args: Sequence[str], log: Path) -> Terminal:
    command = (*PROGRAM, *args, "--log", str(log))
    return Terminal(command, HOME=os.environ["HOME"])


@pytest.mark.parametrize("number", ENDS)
def test_plain_lines_say_how_to_go_on(number: signal.Signals, tmp_path: Path) -> None:
    log = tmp_path / "cases.db"
    terminal = run_plain(["start", "streaking", "--machine", "none", "--plain"], log)
    terminal.until("What was done to it last", "Reply:")
    terminal.press("4\r")
    terminal.until("What does it leave behind", lambda text: text.rstrip().endswith("Reply:"))
    os.kill(terminal.child.pid, number)
    assert terminal.end() == 0
    told = terminal.raw.decode()
    assert "Traceback" not in told
    found = re.search(r"To go on with it: diagnose resume (\w+)", told)
    assert found
    assert events(log, found[1]) == ["opened", "answer", "leave"]


def events(log: Path, case: str) -> list[str]:
    """What the log has of a case: its beginning, and each reply."""
    from diagnose.log.sqlite import SqliteLog

    kept = SqliteLog(log)
    record = next(one for one in kept.cases() if one.name == case)
    return [getattr(one.event, "reply", "opened") for one in kept.events(record)]


@pytest.mark.parametrize("number", OUTSIDE)
def test_json_lines_end_with_a_whole_line(number: signal.Signals) -> None:
    child = subprocess.Popen(
        [*PROGRAM, *START, "--json"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert child.stdout is not None
    assert json.loads(child.stdout.readline())["screen"] == "check"
    child.send_signal(number)
    # The input stays open: it is the signal that ends the case.
    (last,) = child.stdout.read().splitlines()
    shown = json.loads(last)
    out, err = child.communicate(timeout=LONGEST)
    assert (shown["screen"], shown["outcome"], out, err) == ("end", "left", b"", b"")
    assert child.returncode == 0


#: The real program, which says when it is at a place and then takes its time over it.
_SLOW = """
import sys, time
from diagnose import app
from {module} import {owner} as at
real = at.{name}
def slow(*args, **options):
    result = real(*args, **options)
    print("there", file=sys.stderr, flush=True)
    time.sleep(60)
    return result
at.{name} = slow
app.main()
"""


def ended_at(
    place: str, args: Sequence[str], number: signal.Signals, folder: Path
) -> tuple[int, bytes, bytes]:
    """End the program once it is at a place, a function of the house; return what it came to."""
    module, owner, name = place.rsplit(".", 2)
    child = subprocess.Popen(
        [sys.executable, "-c", _SLOW.format(module=module, owner=owner, name=name), *args],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=folder,
    )
    assert child.stderr is not None
    assert child.stderr.readline() == b"there\n"
    child.send_signal(number)
    out, err = child.communicate(timeout=LONGEST)
    return child.returncode, out, err


@pytest.mark.parametrize("number", OUTSIDE)
def test_work_that_is_ended_says_nothing_is_done(number: signal.Signals, tmp_path: Path) -> None:
    code = ended_at("diagnose.commands.check.all_causes", ["check"], number, tmp_path)
    assert code == (128 + number, b"", b"")


def test_a_file_that_is_being_written_stays_as_it_was(tmp_path: Path) -> None:
    """The new one is whole beside it by then: neither half a file is left, nor a second one."""
    picture = tmp_path / "leak.dot"
    picture.write_text("old")
    place, args = "diagnose.commands.output.os.fsync", ["draw", "leak", "-o", "leak.dot"]
    assert ended_at(place, args, signal.SIGTERM, tmp_path) == (143, b"", b"")
    assert [path.name for path in tmp_path.iterdir()] == ["leak.dot"]
    assert picture.read_text() == "old"


@pytest.mark.parametrize("number", ENDS)
def test_an_end_while_the_process_ends_comes_too_late(number: signal.Signals) -> None:
    program = (
        f"import atexit, signal; atexit.register(signal.raise_signal, {number:d});"
        "from diagnose.__main__ import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, "--version"], capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.startswith(b"diagnose ")


#: Runs a program that hears of no closed window, as `nohup` does.
DEAF = """
import os, signal, sys
signal.signal(signal.SIGHUP, signal.SIG_IGN)
os.execv(sys.argv[1], sys.argv[1:])
"""


def test_what_the_caller_ignores_ends_nothing() -> None:
    """As after ``nohup``, which ignores that the window is closed."""
    child = subprocess.Popen(
        [sys.executable, "-c", DEAF, *PROGRAM, *START, "--json"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert child.stdout is not None
    assert child.stdin is not None
    child.stdout.readline()
    child.send_signal(signal.SIGHUP)
    child.stdin.write(b"4\n")
    child.stdin.flush()
    assert json.loads(child.stdout.readline())["screen"] == "check"
    child.communicate(timeout=LONGEST)
    assert child.returncode == 0
