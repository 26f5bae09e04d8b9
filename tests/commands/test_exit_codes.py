"""Exit 0 only where the work was done: interrupted, no room for the output, nobody who reads it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from diagnose import app

#: A command line of every verb that can do its work without a person.
VERBS = {
    "check": ["check"],
    "new": ["new", "library", "mine", "--empty"],
    "check-json": ["check", "--json"],
    "order": ["order", "leak"],
    "draw": ["draw", "leak", "-o", "leak.dot"],
    "quiz": ["quiz", "leak", "--seed", "1"],
    "measure": ["measure"],
    "cases": ["cases"],
    "round": ["round"],
    "explain": ["check", "--explain", "energises"],
    "start": ["start", "leak", "--machine", "none", "--plain", "--trial"],
    "start-json": ["start", "leak", "--machine", "none", "--json", "--trial"],
    "version": ["--version"],
    "help": ["--help"],
    "verb-help": ["check", "--help"],
}
FULL = Path("/dev/full")


def command(args: list[str], log: Path) -> list[str]:
    return [sys.executable, "-m", "diagnose", *args, *_log_of(args, log)]


def _log_of(args: list[str], log: Path) -> list[str]:
    return [] if args[0].startswith("-") or "--help" in args else ["--log", str(log)]


@pytest.mark.skipif(not FULL.exists(), reason="no full disk can be played here")
@pytest.mark.parametrize("buffered", [True, False], ids=["buffered", "unbuffered"])
@pytest.mark.parametrize("args", VERBS.values(), ids=VERBS)
def test_an_output_that_cannot_be_written_is_exit_3_and_one_line(
    args: list[str], buffered: bool, tmp_path: Path
) -> None:
    environment = os.environ | ({} if buffered else {"PYTHONUNBUFFERED": "1"})
    with FULL.open("w") as full:
        done = subprocess.run(
            command(args, tmp_path / "cases.sqlite"),
            stdin=subprocess.DEVNULL,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
            cwd=tmp_path,
            check=False,
        )
    assert done.stderr == "diagnose: The output cannot be written: No space left on device.\n"
    assert done.returncode == 3


@pytest.mark.parametrize("args", [VERBS["check"], VERBS["order"]], ids=["check", "order"])
def test_a_reader_who_has_gone_away_is_told_nothing(args: list[str], tmp_path: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(
            command(args, tmp_path / "cases.sqlite"),
            stdout=writing,
            stderr=subprocess.PIPE,
            check=False,
        )
    finally:
        os.close(writing)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.parametrize("args", [VERBS["check"], VERBS["start"]], ids=["check", "start"])
def test_a_closed_output_is_said_and_is_no_fault_of_the_program(
    args: list[str], tmp_path: Path
) -> None:
    done = subprocess.run(
        command(args, tmp_path / "cases.sqlite"),
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: os.close(1),
        check=False,
    )
    assert done.stderr == "diagnose: Standard output is closed: nothing could be shown.\n"
    assert done.returncode == 3


@pytest.mark.parametrize("verb", ["check", "order", "draw", "cases"])
def test_who_is_interrupted_before_the_work_was_done_is_told_130(
    verb: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from importlib import import_module

    def interrupted(args: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(import_module(f"diagnose.commands.{verb}"), "run", interrupted)
    assert app.run([verb]) == 130


#: The real program, which says when it is at a place and then takes a minute over it.
_SLOW = """
import sys, time
from diagnose import app
from diagnose.commands import {module} as at
real = at.{name}
def slow(*args, **options):
    print("there", file=sys.stderr, flush=True)
    time.sleep(60)
    return real(*args, **options)
at.{name} = slow
sys.argv = ["diagnose", "check"]
app.main()
"""


def test_a_check_that_is_interrupted_says_nothing_is_sound() -> None:
    """Ctrl-C in the middle of the work: no line on what was found, and not 0."""
    child = subprocess.Popen(
        [sys.executable, "-c", _SLOW.format(module="check", name="all_causes")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert child.stderr is not None
    assert child.stderr.readline() == b"there\n"
    child.send_signal(signal.SIGINT)
    out, err = child.communicate(timeout=60)
    assert (child.returncode, out, err) == (130, b"", b"")


@pytest.mark.parametrize("after", [0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8])
def test_an_interrupt_at_any_moment_is_130_or_comes_too_late(after: float, tmp_path: Path) -> None:
    """However far it is: the code is 0 only where all was said, and nobody sees a traceback of ours."""
    child = subprocess.Popen(
        command(["check"], tmp_path / "cases.sqlite"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    time.sleep(after)
    child.send_signal(signal.SIGINT)
    out, err = child.communicate(timeout=60)
    if child.returncode == 0:
        assert out.endswith(b"no warnings.\n")
        assert err == b""
    else:
        # Before the program's first line the interpreter has a code and words of its own.
        assert child.returncode in (130, -signal.SIGINT, 1)
        assert b"diagnose/commands" not in err
