"""What a person typed, or wrote into a file or a log, never steers a terminal or ends in a report."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from diagnose.commands.options import LONGEST_NAME

if TYPE_CHECKING:
    from pathlib import Path

#: Clears the screen, turns the text round, is no UTF-8, ends the line.
RAW = b"\x1b[2J\xe2\x80\xae\xff\xfe\r\nX"
LONG = "a" * 300


def ended(*args: str | bytes, given: str = "", **more: bytes) -> tuple[int, str, str]:
    """Run the program to its end."""
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", *args],
        input=given.encode(),
        capture_output=True,
        check=False,
        timeout=60,
        env={**os.environb, **{name.encode(): value for name, value in more.items()}},
    )
    return done.returncode, done.stdout.decode(), done.stderr.decode()


def tame(text: str) -> bool:
    """Whether nothing in the lines of a text could move a cursor."""
    return all(line.isprintable() for line in text.split("\n"))


COMMANDS: dict[str, tuple[int, list[str | bytes]]] = {
    "verb": (2, [RAW]),
    "symptom": (2, ["start", RAW]),
    "machine": (2, ["start", "leak", "--machine", RAW]),
    "check": (2, ["check", RAW]),
    "code": (2, ["check", "--explain", RAW]),
    "case": (2, ["cases", "show", RAW]),
    "story": (0, ["cases", "--machine", RAW]),
    "resume": (2, ["resume", RAW]),
    "handover": (2, ["handover", RAW]),
    "release": (2, ["release", RAW, "--name", RAW]),
    "round": (2, ["round", RAW]),
    "drill": (2, ["drill", RAW]),
    "step": (2, ["draw", "leak", "--from", RAW]),
    "font": (3, ["draw", "leak", "--font", RAW]),
    "ending": (2, ["draw", "leak", "-o", RAW]),
    "quiz": (2, ["quiz", RAW]),
    "sheets": (2, ["sheets", RAW]),
    "order": (2, ["order", RAW]),
    "measure": (2, ["measure", RAW]),
    "value": (3, ["measure", "runtime", b"observed=" + RAW]),
    "option": (2, ["check", b"--" + RAW]),
    "library": (3, ["check", "--trees", RAW]),
    "seed": (2, ["quiz", "leak", "--seed", "9" * 5_000]),
    "log": (3, ["start", "leak", "--machine", "none", "--log", RAW]),
    "long log": (3, ["cases", "--log", LONG]),
    "log in a long folder": (3, ["start", "leak", "--machine", "none", "--log", f"{LONG}/x"]),
    "long library": (3, ["check", "--trees", LONG]),
    "long output": (3, ["draw", "leak", "-o", f"{LONG}.dot"]),
}


@pytest.mark.parametrize("what", COMMANDS)
def test_what_was_typed_is_shown_without_what_steers_a_terminal(what: str) -> None:
    code, args = COMMANDS[what]
    done, out, err = ended(*args)
    assert done == code
    assert tame(out + err)
    assert "fault of the program" not in err
    assert err.count("\n") == (1 if code else 0)
    assert len(err) < 2_100


def test_a_file_may_have_any_name_and_is_named_tamely(tmp_path: Path) -> None:
    name = os.fsdecode(RAW) + ".dot"
    code, out, err = ended("draw", "leak", "-o", os.fsencode(tmp_path / name))
    assert (code, err, out.count("\n"), tame(out)) == (0, "", 1, True)
    assert [path.name for path in tmp_path.glob("*.dot")] == [name]
    (tmp_path / "leak.yaml").write_text("format: 2\n")
    for face in ((), ("--json",)):
        code, out, err = ended("check", "--trees", str(tmp_path), *face)
        assert (code, err, tame(out)) == (1, "", True)
        assert "[2J" in out


def test_bytes_in_a_name_from_the_environment_are_tamed_too(tmp_path: Path) -> None:
    code, out, err = ended("check", DIAGNOSE_TREES=RAW)
    assert (code, err.count("\n"), tame(err)) == (3, 1, True)
    log = str(tmp_path / "cases.sqlite")
    start = ("start", "leak", "--machine", "none", "--plain", "--log", log)
    code, out, err = ended(*start, given="unsure\n", DIAGNOSE_NAME=RAW)
    assert (code, err, tame(out)) == (0, "", True)
    with sqlite3.connect(log) as base:
        (body,) = base.execute("SELECT body FROM events WHERE number = 1").fetchone()
    name = json.loads(body)["outset"]["name"]
    assert name.isprintable()
    assert name.endswith("X")


def edited(log: Path) -> str:
    """Write into a log what the program never would; return the case's name."""
    raw = "\x1b[2J\u202eX\r\nY"
    with sqlite3.connect(log) as base:
        (name,) = base.execute("SELECT name FROM cases").fetchone()
        base.execute("UPDATE cases SET symptom = ?, machine = ?", (raw, raw))
        for number, body in base.execute("SELECT number, body FROM events").fetchall():
            base.execute(
                "UPDATE events SET body = ? WHERE number = ?",
                (json.dumps(_all_raw(json.loads(body), raw)), number),
            )
    return str(name)


def _all_raw(value: object, raw: str) -> object:
    """Return what an event says with something raw behind each of its sentences."""
    if isinstance(value, dict):
        return {key: _all_raw(one, raw) for key, one in value.items()}
    if isinstance(value, list):
        return [_all_raw(one, raw) for one in value]
    return value + raw if isinstance(value, str) and " " in value else value


def test_what_was_edited_into_a_log_is_tamed(tmp_path: Path) -> None:
    log = tmp_path / "cases.sqlite"
    start = ("start", "leak", "--machine", "none", "--plain", "--name", "A B", "--log", str(log))
    assert ended(*start, given="unsure\nunsure\n")[0] == 0
    case = edited(log)
    tried = [("cases",), ("cases", "show", case), ("cases", "--open"), ("handover", case)]
    tried += [("resume", case, "--plain"), ("start", "leak", "--plain"), ("round",)]
    shown = ""
    for args in tried:
        code, out, err = ended(*args, "--log", str(log))
        assert code in (0, 2, 3), args
        assert "fault of the program" not in err, args
        assert tame(out + err), args
        shown += out
    assert "[2J" in shown


@pytest.mark.parametrize("args", [["--help"], ["--version"], ["check", "--help"], ["check"], []])
def test_a_closed_output_is_said_whatever_was_wanted(args: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", *args],
        stdin=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        check=False,
        preexec_fn=lambda: os.close(1),
    )
    assert done.stderr == b"diagnose: Standard output is closed: nothing could be shown.\n"
    assert done.returncode == 3


@pytest.mark.parametrize(
    ("args", "code"),
    [(["draw", "leak", "-o", "leak.svg"], 0), (["check"], 0), (["strat"], 2)],
)
def test_closed_errors_change_nothing(args: list[str], code: int, tmp_path: Path) -> None:
    """No file takes the place of the stream that is closed, and nothing is said elsewhere."""
    open_ = subprocess.run(
        [sys.executable, "-m", "diagnose", *args], cwd=tmp_path, capture_output=True, check=False
    )
    closed = subprocess.run(
        [sys.executable, "-m", "diagnose", *args],
        cwd=tmp_path,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        check=False,
        preexec_fn=lambda: os.close(2),
    )
    assert (closed.returncode, closed.stdout) == (code, open_.stdout)


def test_a_long_name_is_cut(tmp_path: Path) -> None:
    log = str(tmp_path / "cases.sqlite")
    start = ("start", "leak", "--machine", "none", "--plain", "--log", log, "--name", "n" * 5_000)
    assert ended(*start, given="unsure\n")[0] == 0
    with sqlite3.connect(log) as base:
        (body,) = base.execute("SELECT body FROM events WHERE number = 1").fetchone()
    assert json.loads(body)["outset"]["name"] == "n" * LONGEST_NAME
