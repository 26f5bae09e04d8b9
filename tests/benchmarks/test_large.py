"""The large numbers, small: each script still runs, and what fails is told."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import large
import pytest

HERE = Path(__file__).parent


def ran(script: str, *args: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PYTHONPATH": str(HERE.parents[1])}
    return subprocess.run(
        [sys.executable, str(HERE / script), *args],
        capture_output=True,
        text=True,
        env=env,
        check=False,
    )


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked")
def test_the_program_is_killed_at_some_moments_and_loses_nothing() -> None:
    done = ran("kills.py", "--count", "40")
    assert (done.returncode, done.stderr) == (0, "")
    assert "seeds 0 to 1: 40 kills" in done.stdout
    assert " 0 failed" in done.stdout


def test_some_walks_are_judged() -> None:
    done = ran("large.py", "walks", "--part", "0.00002")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("walks: ")
    assert " judged " in done.stdout
    assert done.stdout.endswith("\nnothing failed\n")


def test_all_run_one_after_the_other_and_a_failure_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    started: list[list[str]] = []

    def run(command: list[str], **_: object) -> subprocess.CompletedProcess[str]:
        started.append(command[1:])
        return subprocess.CompletedProcess(command, int("kills.py" in command[1]))

    monkeypatch.setattr(subprocess, "run", run)
    assert large.main(["--part", "0.5"]) == 1
    assert [(Path(script).name, *more) for script, *more in started] == [
        ("damaged_files.py", "--count", "50000"),
        ("judged_walks.py", "--count", "25000"),
        ("kills.py", "--count", "1000"),
        ("large_log.py", "50000"),
        ("large_orders.py", "1000"),
    ]
    assert capsys.readouterr().out.endswith("failed: kills\n")
    assert large.main(["orders"]) == 0
    assert started[-1][1:] == ["2000"]


def test_a_name_that_is_none_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        large.main(["walk"])
    assert "walk: none of damaged, walks, kills, cases, orders" in capsys.readouterr().err
