"""Cases through real processes: killed, resumed, doubled, on a full disk, at the end of input."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
from contextlib import closing
from subprocess import PIPE
from typing import TYPE_CHECKING, Any

import pytest
from driver import Driver

from diagnose.log.account import not_withdrawn
from diagnose.log.endings import endings
from diagnose.log.events import Opened, Replied
from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    Starter = Callable[..., Driver]


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "cases.sqlite"


@pytest.fixture
def drive() -> Iterator[Callable[..., Driver]]:
    """Start drivers, and end those that a failed test left running."""
    started: list[Driver] = []

    def start(*args: str, **options: Any) -> Driver:
        started.append(Driver(*args, **options))
        return started[-1]

    yield start
    for driver in started:
        driver.kill()


def run(*args: str, text: str = "", **options: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "diagnose", *args],
        input=text,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
        **options,  # type: ignore[call-overload]
    )


def test_kill_9_after_any_screen_loses_nothing_that_was_answered(log: Path, drive: Starter) -> None:
    replies = ["4", "Thin lines along the track", "unsure", "unsure", "back", "cannot"]
    driver = drive("start", "streaking", "--machine", "dock", log=log)
    screen = driver.screen()
    name = screen["case"]
    sent: list[str] = []
    for reply in replies:
        while screen["screen"] == "caution":
            screen = driver.reply("done")
            sent.append("done")
        screen = driver.reply(reply)
        sent.append(reply)
        driver.kill()
        assert typed(log, name) == sent
        driver = drive("resume", name, log=log)
        before, screen = screen, driver.screen()
        while screen["screen"] == "caution":
            screen = driver.reply("done")
            sent.append("done")
        assert screen["step"] == before.get("step", rests(log, name))
    driver.kill()


def rests(log: Path, name: str) -> str:
    """Return the step at which the log says that the walk came to rest."""
    with closing(SqliteLog(log, "rw")) as book:
        case = book.case(name)
        assert case is not None
        logged = book.events(case)
    trails = [trace for e in [logged[0], *not_withdrawn(logged)] for trace in e.event.trail]
    return [trace.step for trace in trails if trace.what == "rests"][-1]


def typed(log: Path, name: str) -> list[str]:
    """Return what the log says was typed."""
    with closing(SqliteLog(log, "rw")) as book:
        case = book.case(name)
        assert case is not None
        events = [logged.event for logged in book.events(case)]
        return [event.typed for event in events if isinstance(event, Replied)]


def test_a_case_left_in_force_resumes_with_nothing_in_force(log: Path, drive: Starter) -> None:
    driver = drive("start", "poor-pickup", "--machine", "none", log=log)
    screen = driver.screen()
    seen: list[str] = []
    while not screen["in_force"]:
        if screen["screen"] == "caution":
            screen = driver.reply("done")
        else:
            seen.append(screen["step"])
            screen = driver.reply("unsure")
    name = screen["case"]
    driver.kill()
    driver = drive("resume", name, log=log)
    again = driver.screen()
    assert again["in_force"] == []
    assert again["screen"] == "caution"
    assert again["notes"] == [
        f"Taken up again. Earlier answers that fit: {len(seen)}; asked anew: 0."
    ]
    assert driver.past_cautions(again).get("step") not in seen
    driver.kill()


def test_two_processes_on_one_case_the_second_is_told(log: Path, drive: Starter) -> None:
    one = drive("start", "streaking", "--machine", "none", log=log)
    name = one.screen()["case"]
    other = drive("resume", name, log=log)
    assert other.screen()["case"] == name
    assert one.process.stdin is not None
    one.process.stdin.write("unsure\n")
    one.process.stdin.flush()
    code, err = one.end()
    assert code == 3
    assert f"case {name} is open elsewhere" in err
    assert err.count("\n") == 1
    assert other.reply("unsure")["case"] == name
    assert other.end()[0] == 0


def test_two_processes_on_one_log_keep_two_whole_cases(log: Path, drive: Starter) -> None:
    drivers = [drive("start", "streaking", "--machine", "none", log=log) for _ in range(2)]
    names = [driver.screen()["case"] for driver in drivers]
    assert len(set(names)) == 2
    for _ in range(6):
        for driver in drivers:
            driver.reply("nonsense")
            driver.screen()
    for driver in drivers:
        driver.reply("unsure")
        assert driver.end()[0] == 0
    book = SqliteLog(log, "rw")
    for name in names:
        record = book.case(name)
        assert record is not None
        first, *others = [logged.event for logged in book.events(record)]
        assert isinstance(first, Opened)
        assert [event.reply for event in others if isinstance(event, Replied)] == [
            "unsure",
            "leave",
        ]


def test_a_full_disk_gets_one_line_and_loses_nothing(log: Path, drive: Starter) -> None:
    SqliteLog(log).close()
    size = log.stat().st_size

    def small_disk() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + 40_000, size + 40_000))

    driver = drive("start", "streaking", "--machine", "dock", log=log, preexec_fn=small_disk)
    screen = driver.screen()
    name = screen["case"]
    given = 0
    for _ in range(200):
        assert driver.process.stdin is not None
        reply = "back" if given % 2 else "unsure"
        driver.process.stdin.write(reply + "\n")
        driver.process.stdin.flush()
        assert driver.process.stdout is not None
        line = driver.process.stdout.readline()
        if not line:
            break
        given += json.loads(line)["screen"] != "refused"
    code, err = driver.end()
    assert code == 3
    assert err.startswith(f"diagnose: {log}: the disk")
    assert f"diagnose resume {name}" in err
    assert err.count("\n") == 1
    book = SqliteLog(log, "rw")
    record = book.case(name)
    assert record is not None
    assert len(book.events(record)) == given + 1
    driver = drive("resume", name, log=log)
    assert driver.screen()["case"] == name
    driver.kill()


def test_the_end_of_input_leaves_the_case_open(log: Path) -> None:
    start = ("start", "streaking", "--machine", "none", "--json", "--log", str(log))
    done = run(*start, text="unsure\n")
    screens = [json.loads(line) for line in done.stdout.splitlines()]
    assert [screen["screen"] for screen in screens] == ["check", "check", "end"]
    assert screens[-1]["outcome"] == "left"
    assert f"diagnose resume {screens[0]['case']}" in " ".join(screens[-1]["notes"])
    assert (done.returncode, done.stderr) == (0, "")
    listed = json.loads(run("cases", "--json", "--log", str(log)).stdout)
    assert [case["outcome"] for case in listed] == ["open"]


def without(stream: int, *args: str) -> subprocess.CompletedProcess[str]:
    """Run the program with one of its standard streams closed from the first."""
    close = f"import os, sys; os.close({stream}); os.execv(sys.executable, sys.argv[1:])"
    program = [sys.executable, "-m", "diagnose", *args]
    return subprocess.run(
        [sys.executable, "-c", close, *program],
        input="1\n",
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_closed_input_is_the_end_of_input(log: Path) -> None:
    done = without(0, "start", "streaking", "--machine", "none", "--log", str(log))
    assert done.returncode == 0
    assert "What was done to it last?" in done.stdout
    assert "Traceback" not in done.stderr


def test_a_closed_output_is_no_traceback(log: Path) -> None:
    done = without(1, "start", "streaking", "--machine", "none", "--log", str(log))
    assert done.stdout == ""
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("args", [("check", "--json"), ("--help",)])
def test_a_reader_that_goes_away_is_no_traceback(args: tuple[str, ...]) -> None:
    program = [sys.executable, "-m", "diagnose", *args]
    with subprocess.Popen(program, stdout=PIPE, stderr=PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == ""


def test_a_reply_of_a_megabyte_is_refused_in_one_line(log: Path, drive: Starter) -> None:
    driver = drive("start", "streaking", "--machine", "none", log=log)
    driver.screen()
    refused = driver.reply("x" * 1_000_000)
    assert refused["screen"] == "refused"
    assert len(refused["message"]) < 300
    assert driver.screen()["screen"] == "check"
    assert driver.end()[0] == 0


def test_a_trial_leaves_no_log(log: Path) -> None:
    done = run("start", "streaking", "--machine", "none", "--trial", "--json", "--log", str(log))
    assert done.returncode == 0
    assert "case" not in json.loads(done.stdout.splitlines()[0])
    assert not log.exists()


def test_danger_refers_the_case_at_once(log: Path, drive: Starter) -> None:
    driver = drive("start", "streaking", "--machine", "none", log=log)
    name = driver.screen()["case"]
    asked = driver.reply("danger")
    assert (asked["screen"], asked["case"]) == ("danger", name)
    end = driver.reply("hurt")
    assert (end["screen"], end["outcome"]) == ("end", "referred")
    assert any("away" in note for note in end["notes"])
    assert driver.end()[0] == 0
    refused = run("resume", name, "--log", str(log))
    assert refused.returncode == 2
    assert refused.stderr.count("\n") == 1


def test_services_verdict_comes_back(log: Path, drive: Starter) -> None:
    driver = drive("start", "streaking", "--machine", "none", log=log)
    name = driver.screen()["case"]
    driver.reply("danger")
    driver.reply("smoke")
    driver.end()
    done = run("cases", "found", name.lower(), "arm-bent", "--log", str(log))
    assert (done.returncode, done.stderr) == (0, "")
    wrong = run("cases", "found", name, "arm-bnt", "--log", str(log))
    assert wrong.returncode == 2
    assert 'Did you mean "arm-bent"?' in wrong.stderr
    (case,) = json.loads(run("cases", "--json", "--log", str(log)).stdout)
    assert (case["outcome"], case["found"]) == ("referred", "arm-bent")
    shown = run("cases", "show", name, "--log", str(log)).stdout
    assert "opened" in shown
    assert "danger" in shown
    assert "found" in shown


def test_an_old_log_is_found_where_the_environment_says(tmp_path: Path) -> None:
    where = tmp_path / "elsewhere.sqlite"
    env = {**os.environ, "DIAGNOSE_LOG": str(where)}
    run("start", "streaking", "--machine", "none", "--json", env=env)
    assert where.exists()


def test_service_may_report_a_cause_behind_a_doorway(log: Path, drive: Starter) -> None:
    driver = drive("start", "streaking", "--machine", "none", log=log)
    name = driver.screen()["case"]
    driver.reply("None of these")
    entered = driver.reply("Sheets of water all along")
    assert entered["symptom"] == "poor-pickup"
    driver.reply("danger")
    driver.reply("smoke")
    driver.end()
    assert run("cases", "found", name, "motor-silent", "--log", str(log)).returncode == 0
    for symptom in ("poor-pickup", "streaking"):
        told = run("order", symptom, "--log", str(log)).stdout
        assert "1 case" in told, told
    with closing(SqliteLog(log, "rw")) as book:
        (ended,) = endings(book)
    assert ended.cures == (("poor-pickup", "motor-silent"), ("streaking", "weak-suction"))
    wrong = run("cases", "found", name, "plug-loose", "--log", str(log))
    assert wrong.returncode == 2
    assert "streaking or poor-pickup" in wrong.stderr
