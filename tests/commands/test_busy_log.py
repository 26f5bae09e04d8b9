"""Others write to the log all the time: a reply that was not kept is said, and asked for again."""

from __future__ import annotations

import errno
import io
import json
import sqlite3
import subprocess
import sys
from subprocess import PIPE
from typing import TYPE_CHECKING, Any

import pytest
from strategies.desk import Desk

from diagnose.app import run
from diagnose.faces.json_lines import JsonLinesFace
from diagnose.log import patience
from diagnose.log.events import CaseOver, ItemReplied, Opened, Released, Replied
from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from diagnose.case.screens import Screen
    from diagnose.faces.face import Heading

LOCK, UNLOCK, LOCK_IMMEDIATE = "lock", "unlock", "lock to write"


class Others:
    """Standard input, line by line; where it says so, others begin or end their writing first."""

    def __init__(self, log: Path, lines: Sequence[str], lock: str = "EXCLUSIVE") -> None:
        self.lines = list(lines)
        self.how = lock
        self.log = log
        self.base: sqlite3.Connection | None = None
        self.buffer = self

    def readline(self, most: int = -1) -> bytes:
        while self.lines and self.lines[0] in (LOCK, UNLOCK, LOCK_IMMEDIATE):
            said = self.lines.pop(0)
            self.how = "IMMEDIATE" if said == LOCK_IMMEDIATE else self.how
            (self.unlock if said == UNLOCK else self.lock)()
        return f"{self.lines.pop(0)}\n".encode() if self.lines else b""

    def lock(self) -> None:
        self.base = sqlite3.connect(self.log, isolation_level=None)
        self.base.execute(f"BEGIN {self.how}")

    def unlock(self) -> None:
        if self.base is not None:
            self.base.close()
            self.base = None

    def isatty(self) -> bool:
        return False


class Busy(Desk):
    """A shop whose log others write to."""

    def said(
        self, *args: str, replies: Sequence[str], lock: str = "EXCLUSIVE"
    ) -> tuple[int, list[dict[str, Any]], str]:
        """Run a verb; return the exit code, the screens, and what stood on standard error.

        With a `lock` of IMMEDIATE the log can be read meanwhile.
        """
        out, err = io.StringIO(), io.StringIO()
        others = Others(self.log, replies, lock)
        with self.patch.context() as patch:
            patch.setattr("sys.stdin", others)
            patch.setattr("sys.stdout", out)
            patch.setattr("sys.stderr", err)
            where = ("--trees", str(self.library), "--log", str(self.log))
            code = run([*args, *where, "--json"])
        others.unlock()
        return code, [json.loads(line) for line in out.getvalue().splitlines()], err.getvalue()

    def events(self, name: str) -> list[Any]:
        log = SqliteLog(self.log, "rw")
        case = log.case(name)
        assert case is not None
        events = [logged.event for logged in log.events(case)]
        log.close()
        return events


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Busy:
    monkeypatch.setattr("diagnose.log.sqlite.WAIT", 0.05)
    monkeypatch.setattr("diagnose.commands.session.URGENT", 0.02)
    return Busy(tmp_path, monkeypatch)


START = ("start", "lines", "--machine", "dock")


def test_a_reply_that_was_not_kept_is_said_and_can_be_given_again(desk: Busy) -> None:
    replies = ("done", LOCK, "2", "2", UNLOCK, "2", "refer")
    code, screens, err = desk.said(*START, replies=replies)
    assert (code, err) == (0, "")
    kinds = [screen["screen"] for screen in screens]
    assert kinds == ["caution", "check", "refused", "check", "refused", "check", "finding", "end"]
    message = screens[2]["message"]
    assert message.startswith("The log is busy.")
    assert f'Not kept: your reply "2" to "{screens[1]["ask"]}". Reply once more.' in message
    same = {name: value for name, value in screens[1].items() if name != "notice"}
    assert screens[3] == screens[5] == same
    kept = [event.reply for event in desk.events(screens[0]["case"]) if isinstance(event, Replied)]
    assert kept == ["done", "answer", "refer"]


def test_a_note_and_a_caution_can_be_given_again_too(desk: Busy) -> None:
    replies = (LOCK, "done", "note too loud", UNLOCK, "note too loud", "done")
    code, screens, _ = desk.said(*START, replies=replies)
    assert code == 0
    said = [screen["message"] for screen in screens if screen["screen"] == "refused"]
    assert 'your reply "done" to' in said[0]
    assert 'your note "too loud"' in said[1]


@pytest.mark.parametrize("later", [(), (UNLOCK,)])
def test_a_danger_shows_its_stop_at_once_whatever_the_log_does(
    desk: Busy, later: tuple[str, ...]
) -> None:
    replies = ("done", LOCK, "danger", *later, "smoke")
    code, screens, err = desk.said(*START, replies=replies)
    assert [screen["screen"] for screen in screens] == ["caution", "check", "danger", "end"]
    assert screens[2]["text"].startswith("Stop")
    case = screens[0]["case"]
    if later:
        assert (code, err) == (0, "")
        assert [one.answer for one in desk.events(case)[-2:]] == ["", "smoke"]
        return
    assert "This is not in the log yet." in " ".join(screens[3]["notes"])
    assert code == 3
    assert "locked by another program" in err
    assert 'Not kept: your reply "danger"' in err
    assert 'Nor your reply "smoke"' in err
    assert f"diagnose resume {case}" in err
    assert [type(event) for event in desk.events(case)] == [Opened, Replied]


def test_a_danger_by_mistake_goes_on_once_it_can_be_kept(desk: Busy) -> None:
    replies = ("done", LOCK, "danger", "mistake", UNLOCK, "mistake", "2", "refer")
    code, screens, err = desk.said(*START, replies=replies)
    assert (code, err) == (0, "")
    kinds = [screen["screen"] for screen in screens[2:]]
    assert kinds == ["danger", "refused", "danger", "check", "finding", "end"]
    kept = [event.reply for event in desk.events(screens[0]["case"]) if isinstance(event, Replied)]
    assert kept == ["done", "danger", "mistake", "answer", "refer"]


def test_a_danger_before_a_case_shows_its_end_and_says_that_it_is_not_kept(desk: Busy) -> None:
    desk.daily("leave")
    replies = (LOCK, "danger", "hurt")
    code, screens, err = desk.said("start", "--machine", "dock", replies=replies)
    assert [screen["screen"] for screen in screens] == ["choose", "danger", "end"]
    assert screens[-1]["outcome"] == "referred"
    assert "This is not in the log yet." in " ".join(screens[-1]["notes"])
    assert (code, "locked by another program" in err) == (3, True)
    code, screens, err = desk.said("start", "--machine", "dock", replies=replies[1:])
    assert (code, err, screens[-1]["outcome"]) == (0, "", "referred")


@pytest.mark.parametrize("case", ["case", "round", "before"])
def test_a_danger_is_kept_though_nobody_sees_its_end(desk: Busy, case: str) -> None:
    """The window is closed while others write to the log; they are done by the end."""
    begun = {
        "case": (*START, ("done", LOCK, "danger", "smoke")),
        "round": ("round", "daily", "--machine", "dock", ("done", LOCK, "danger", "smoke")),
        "before": ("start", "--machine", "dock", (LOCK, "danger", "smoke")),
    }
    *args, replies = begun[case]
    if case == "before":
        desk.daily("leave")
    running: list[Others] = []

    class Noted(Others):
        def lock(self) -> None:
            super().lock()
            running.append(self)

    def gone(self: JsonLinesFace, screen: Screen, heading: Heading) -> None:
        if screen.screen != "end":
            shown(self, screen, heading)
            return
        running[0].unlock()
        raise OSError(errno.EIO, "no terminal")

    shown = JsonLinesFace.show
    with desk.patch.context() as patch:
        patch.setattr("test_busy_log.Others", Noted)
        patch.setattr(JsonLinesFace, "show", gone)
        code, _, _ = desk.said(*args, replies=replies)
    assert code == 3
    # Before a case, there is the round that was left besides.
    assert "referred" in {one["outcome"] for one in desk.cases()}


def test_a_danger_with_a_log_that_cannot_be_had_at_all_shows_its_stop(desk: Busy) -> None:
    """A full disk, say: nothing waits for it, and the exit code tells."""
    desk.log.mkdir()
    code, screens, err = desk.said("start", "--machine", "none", replies=("danger", "hurt"))
    assert code == 3
    assert screens == []
    desk.log.rmdir()

    class Full(Others):
        def lock(self) -> None:
            desk.patch.setattr(SqliteLog, "_write", lambda *args, **more: _full(), raising=True)

    desk.patch.setattr("test_busy_log.Others", Full)
    code, screens, err = desk.said(*START, replies=("done", LOCK, "danger", "heat"))
    assert [screen["screen"] for screen in screens] == ["caution", "check", "danger", "end"]
    assert code == 3
    assert "the log cannot be used (no room)" in err


def _full() -> None:
    raise sqlite3.OperationalError("no room")


def test_who_leaves_meanwhile_is_let_go_and_told(desk: Busy) -> None:
    code, screens, err = desk.said(*START, replies=("done", LOCK, "leave"))
    assert (screens[-1]["screen"], screens[-1]["outcome"], code) == ("end", "left", 3)
    assert 'Not kept: your reply "leave"' in err
    assert len(desk.events(screens[0]["case"])) == 2


def test_a_round_asks_for_the_reply_again_too(desk: Busy) -> None:
    replies = ("done", LOCK, "not right", UNLOCK, "not right", "done", LOCK, "1", UNLOCK, "1")
    replies = (*replies, "done", "cured", "leave")
    code, screens, err = desk.said("round", "daily", "--machine", "dock", replies=replies)
    assert (code, err) == (0, "")
    said = [screen["message"] for screen in screens if screen["screen"] == "refused"]
    assert 'your reply "not right"' in said[0]


def test_a_danger_in_a_case_of_a_round_is_shown_and_kept_in_both_later(desk: Busy) -> None:
    begin = ("done", "not right")
    code, screens, err = desk.said(
        *("round", "daily", "--machine", "dock"), replies=(*begin, LOCK, "danger", "smoke")
    )
    assert [screen["screen"] for screen in screens[-2:]] == ["danger", "end"]
    assert code == 3
    assert 'Nor your reply "smoke"' in err
    code, screens, err = desk.said(
        *("round", "daily", "--machine", "dock"),
        replies=("start anew", *begin, LOCK, "danger", UNLOCK, "smoke"),
    )
    assert (code, err) == (0, "")
    own = {screen["case"] for screen in screens[1:] if "case" in screen}
    assert {case["outcome"] for case in desk.cases() if case["name"] in own} == {"referred"}
    assert len(own) == 2


def test_a_release_that_was_not_kept_is_said_and_can_be_given_again(desk: Busy) -> None:
    desk.walk(*START, replies=("done", "2", "refer"))
    replies = (LOCK, "released", "Bo", UNLOCK, "released", "Bo", "leave")
    code, screens, err = desk.said("start", "lines", "--machine", "dock", replies=replies)
    assert (code, err) == (0, "")
    kinds = [screen["screen"] for screen in screens[:5]]
    assert kinds == ["state", "choose", "refused", "state", "choose"]
    assert "the release by Bo" in screens[2]["message"]
    name = desk.cases()[-1]["name"]
    assert [type(event) for event in desk.events(name)].count(Released) == 1


def kept(desk: Busy, name: str) -> list[str]:
    return [event.reply for event in desk.events(name) if isinstance(event, Replied | ItemReplied)]


@pytest.mark.parametrize("lock", ["IMMEDIATE", "EXCLUSIVE"])
def test_a_case_that_cannot_be_opened_is_opened_with_its_first_reply(desk: Busy, lock: str) -> None:
    desk.walk(*START)
    # What is known of the machine has to be read: where it cannot be, the choice is asked again.
    again = ("lines", UNLOCK, LOCK_IMMEDIATE) if lock == "EXCLUSIVE" else ()
    replies = (LOCK, *again, "lines", "done", UNLOCK, "done", "2", "refer")
    code, screens, err = desk.said("start", "--machine", "dock", replies=replies, lock=lock)
    assert (code, err) == (0, "")
    if again:
        kinds = [screen["screen"] for screen in screens[:3]]
        assert kinds == ["choose", "refused", "choose"]
        assert 'Not kept: your reply "lines". Reply once more.' in screens[1]["message"]
        screens = screens[2:]
    kinds = [screen["screen"] for screen in screens]
    assert kinds == ["choose", "caution", "refused", "caution", "check", "finding", "end"]
    note = " ".join(screens[1]["notes"])
    assert "Not kept yet: the new case. Your next reply tries again." in note
    assert 'Not kept: your reply "done"' in screens[2]["message"]
    assert ["case" in screen for screen in screens[:6]] == [False] * 4 + [True] * 2
    assert "notes" not in screens[4]
    assert kept(desk, screens[4]["case"]) == ["done", "answer", "refer"]
    assert len(desk.cases()) == 1


@pytest.mark.parametrize("later", [(), (UNLOCK,)])
def test_a_danger_in_a_case_that_could_not_be_opened(desk: Busy, later: tuple[str, ...]) -> None:
    desk.walk(*START)
    replies = (LOCK, "lines", "danger", *later, "smoke")
    code, screens, err = desk.said("start", "--machine", "dock", replies=replies, lock="IMMEDIATE")
    kinds = [screen["screen"] for screen in screens]
    assert kinds == ["choose", "caution", "danger", "end"]
    named = [case["name"] for case in desk.cases() if case["outcome"] == "referred"]
    if later:
        assert (code, err) == (0, "")
        assert kept(desk, named[0]) == ["danger", "danger"]
        return
    assert code == 3
    assert "This is not in the log yet." in " ".join(screens[3]["notes"])
    assert 'Not kept: the new case. Nor your reply "danger"' in err
    assert 'Nor your reply "smoke"' in err
    assert named == []


@pytest.mark.parametrize("replies", [("leave",), ()])
def test_who_leaves_a_case_that_could_not_be_opened_leaves_nothing(
    desk: Busy, replies: tuple[str, ...]
) -> None:
    desk.walk(*START)
    before = desk.cases()
    replies = (LOCK, "lines", *replies)
    code, screens, err = desk.said("start", "--machine", "dock", replies=replies, lock="IMMEDIATE")
    assert (code, err) == (0, "")
    assert screens[-1]["outcome"] == "left"
    assert "no case is kept" in " ".join(screens[-1]["notes"])
    assert desk.cases() == before


#: Holds the log as a process of its own, from its first line until its input ends.
HOLDER = """\
import sqlite3, sys
base = sqlite3.connect(sys.argv[1], isolation_level=None)
base.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.read()
"""


def test_a_round_that_another_process_keeps_from_being_opened(desk: Busy) -> None:
    desk.walk(*START)
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(desk.log)], stdin=PIPE, stdout=PIPE, text=True
    ) as holder:
        assert holder.stdin is not None
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"

        class Ending(Others):
            def unlock(self) -> None:
                holder.communicate()

        desk.patch.setattr("test_busy_log.Others", Ending)
        replies = ("done", UNLOCK, "done", "leave")
        code, screens, err = desk.said("round", "daily", "--machine", "dock", replies=replies)
    assert (code, err) == (0, "")
    kinds = [screen["screen"] for screen in screens]
    assert kinds == ["caution", "refused", "caution", "item", "end"]
    assert "Not kept yet: the new round." in " ".join(screens[0]["notes"])
    assert kept(desk, screens[3]["case"]) == ["done", "leave"]


@pytest.mark.parametrize("how", ["answer", "danger", "leave"])
def test_a_case_of_a_round_that_cannot_be_opened(desk: Busy, how: str) -> None:
    """Others begin to write after the item's reply was kept, and before its case is opened."""
    said = {
        "answer": ("2", UNLOCK, "2", "refer", "leave"),
        "danger": ("danger", UNLOCK, "smoke"),
        "leave": (UNLOCK, "leave"),
    }
    begun: list[Others] = []
    opened = SqliteLog.open_case

    class Late(Others):
        def __init__(self, log: Path, lines: Sequence[str], lock: str) -> None:
            super().__init__(log, lines, lock)
            begun.append(self)

    def opening(log: SqliteLog, *args: Any, **more: Any) -> Any:
        if more.get("begun_in") is not None and len(begun) == 1:
            begun[0].lock()
            begun.append(begun[0])
        return opened(log, *args, **more)

    desk.patch.setattr("test_busy_log.Others", Late)
    desk.patch.setattr(SqliteLog, "open_case", opening)
    begin = ("round", "daily", "--machine", "dock")
    code, screens, err = desk.said(*begin, replies=("done", "not right", *said[how]))
    assert (code, err) == (0, "")
    at = next(n for n, screen in enumerate(screens) if "Not kept yet" in f"{screen.get('notes')}")
    assert screens[at]["symptom"] == "lines"
    assert "case" not in screens[at]
    log = SqliteLog(desk.log, "rw")
    record = log.case(screens[0]["case"])
    assert record is not None
    (case,) = log.begun_in(record)
    own = [type(logged.event) for logged in log.events(record)]
    log.close()
    wanted = {"answer": ["answer", "refer"], "danger": ["danger", "danger"], "leave": ["leave"]}
    assert kept(desk, case.name) == wanted[how]
    assert own[3] is CaseOver


def test_a_machine_that_cannot_be_looked_up_is_chosen_once_more(desk: Busy) -> None:
    desk.walk(*START, replies=("done", "2", "refer"))

    class Already(Others):
        def __init__(self, log: Path, lines: Sequence[str], lock: str) -> None:
            super().__init__(log, lines, lock)
            self.lock()

    desk.patch.setattr("test_busy_log.Others", Already)
    replies = ("dock", UNLOCK, "dock", "start anew", "done", "leave")
    code, screens, err = desk.said(*START, replies=replies)
    assert (code, err) == (0, "")
    kinds = [screen["screen"] for screen in screens]
    assert kinds == ["refused", "choose", "refused", "choose", "state", "caution", "check", "end"]
    assert "Nobody can say how this machine may be used." in screens[0]["message"]
    assert screens[1]["what"] == "machine"
    assert screens[4]["state"] == "out of use"


def test_a_library_without_machines_has_no_choice_to_come_back_to(desk: Busy) -> None:
    desk.walk(*START)
    (desk.library / "machines" / "dock.yaml").unlink()

    class Already(Others):
        def __init__(self, log: Path, lines: Sequence[str], lock: str) -> None:
            super().__init__(log, lines, lock)
            self.lock()

    desk.patch.setattr("test_busy_log.Others", Already)
    code, screens, err = desk.said("start", "lines", "--machine", "none", replies=())
    assert (code, screens) == (3, [])
    assert "locked by another program" in err


def test_who_waits_is_told_so(desk: Busy, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(patience, "WORD_AFTER", 0.0)
    code, _, err = desk.said(*START, replies=(LOCK, "done", UNLOCK, "done"))
    assert code == 0
    assert err == "The log is busy. Please wait.\n"
    lock = Others(desk.log, ())
    lock.lock()
    code, _, err = desk.said("cases", replies=())
    lock.unlock()
    assert code == 3
    assert err.startswith("The log is busy. Please wait.\ndiagnose: ")


def test_who_breaks_off_waits_no_longer(monkeypatch: pytest.MonkeyPatch) -> None:
    def busy() -> None:
        raise BlockingIOError

    def breaks_off(seconds: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(patience, "sleep", breaks_off)
    with pytest.raises(BlockingIOError):
        patience.patiently(busy, lambda error: True, 60, lambda: None)


def test_what_is_not_busy_is_not_waited_for() -> None:
    tried: list[int] = []

    def fails() -> None:
        tried.append(1)
        raise ValueError

    with pytest.raises(ValueError):  # noqa: PT011
        patience.patiently(fails, lambda error: isinstance(error, OSError), 60, lambda: None)
    assert tried == [1]
