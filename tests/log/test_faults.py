"""Whatever fails at whatever moment: what was acknowledged is kept, and what is said is true."""

from __future__ import annotations

import ctypes
import errno
import sqlite3
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from diagnose.case.state import Trace
from diagnose.log.events import Found, Noted, Opened, Outset, Released, Replied, Shown
from diagnose.log.events import in_words as words_of
from diagnose.log.protocol import LogBusy, LogError
from diagnose.log.sqlite import SqliteLog
from diagnose.log.summing import summed_up

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.log.events import Event

SHOWN = Shown(screen="check", ask="Is it broken?")
END = (Trace(what="ended", symptom="lines", step="", why="referred"),)
EVENTS: list[Event] = [
    Opened(symptom="lines", outset=Outset(name="Ana")),
    Replied(reply="answer", symptom="lines", step="a", shown=SHOWN, typed="2", answer="It is"),
    Noted(text="x" * 3000, step="a"),
    Replied(reply="refer", symptom="lines", step="b", shown=SHOWN, trail=END),
    Found(symptom="lines", finding="bent", cures=(("lines", "bent"),), name="Bo", released=False),
    Released(name="Bo"),
]


class Scenario:
    """Somebody starts, answers, refers; service finds; the machine is released."""

    def __init__(self, log: SqliteLog) -> None:
        self.log = log
        self.acknowledged: list[Event] = []
        self.name = ""

    def go_on(self) -> None:
        """Write what is still to be written, one event after the other."""
        for number, event in enumerate(EVENTS, start=1):
            if number <= len(self.acknowledged):
                continue
            if isinstance(event, Opened):
                self.name = self.log.open_case("dock", event).name
            else:
                case = self.log.case(self.name)
                assert case is not None
                self.log.append(case, number, event)
            self.acknowledged.append(event)


def kept(path: Path, name: str) -> list[Event]:
    """Return the events of the case in the log, and see that its summary is theirs."""
    log = SqliteLog(path, "rw")
    assert log.base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    case = log.case(name) if name else None
    assert len(log.cases()) == (case is not None)
    if case is None:
        return []
    told = log.events(case)
    assert log.summary(case) == summed_up(case, told)
    log.close()
    return [one.event for one in told]


class Failing(sqlite3.Connection):
    """A connection that fails at one statement, with one code of SQLite's."""

    asked = 0
    fails_at = 0
    code = 0
    statement = ""

    def execute(self, statement: str, *more: Any) -> sqlite3.Cursor:  # type: ignore[override]
        Failing.asked += 1
        if Failing.asked == Failing.fails_at:
            Failing.statement = statement
            error = sqlite3.OperationalError("as asked for")
            error.sqlite_errorcode = Failing.code
            raise error
        return super().execute(statement, *more)


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> type[Failing]:
    connect = sqlite3.connect
    monkeypatch.setattr(
        "diagnose.log.sqlite.sqlite3.connect",
        lambda *args, **more: connect(*args, factory=Failing, **more),
    )
    Failing.asked, Failing.fails_at = 0, 0
    return Failing


CODES = {
    sqlite3.SQLITE_FULL: "the disk is full",
    sqlite3.SQLITE_IOERR: "the disk cannot be written",
    sqlite3.SQLITE_READONLY: "the log is read-only",
}


@pytest.mark.parametrize("code", CODES)
def test_a_fault_at_any_statement_loses_nothing_that_was_acknowledged(
    tmp_path: Path, failing: type[Failing], code: int
) -> None:
    failing.code = code
    failed = 0
    while True:
        path = tmp_path / f"{failed}"
        failing.fails_at = 0
        scenario = Scenario(SqliteLog(path))
        failing.asked, failing.fails_at = 0, failed + 1
        try:
            scenario.go_on()
        except LogError as error:
            failed += 1
            said = str(error)
        else:
            break
        failing.fails_at = 0
        scenario.log.close()
        told = kept(path, scenario.name)
        assert told == scenario.acknowledged
        assert CODES[code] in said
        reading = failing.statement.startswith("SELECT") and "Not kept" not in said
        if not reading:
            assert f"Not kept: {words_of(EVENTS[len(told)])}." in said
        assert (f"`diagnose resume {scenario.name}`" in said) == (bool(told) and not reading)
    assert failed >= 30


def test_a_lock_at_any_statement_is_waited_for(tmp_path: Path, failing: type[Failing]) -> None:
    """Whatever was begun is done anew, and nothing twice."""
    failing.code = sqlite3.SQLITE_BUSY
    scenario = Scenario(SqliteLog(tmp_path / "whole"))
    failing.asked = 0
    scenario.go_on()
    for fails_at in range(1, failing.asked + 1):
        path = tmp_path / f"{fails_at}"
        failing.fails_at = 0
        scenario = Scenario(SqliteLog(path))
        failing.asked, failing.fails_at = 0, fails_at
        scenario.go_on()
        assert kept(path, scenario.name) == EVENTS


def test_a_disk_that_is_full_after_any_page_loses_nothing(tmp_path: Path) -> None:
    empty = SqliteLog(tmp_path / "empty")
    pages = empty.base.execute("PRAGMA page_count").fetchone()[0]
    more, said = 0, ""
    while True:
        path = tmp_path / f"{more}"
        scenario = Scenario(SqliteLog(path))
        scenario.log.base.execute(f"PRAGMA max_page_count = {pages + more}")
        try:
            scenario.go_on()
        except LogError as error:
            said = str(error)
            assert kept(path, scenario.name) == scenario.acknowledged
            assert "the disk is full" in said
            assert f"Not kept: {words_of(EVENTS[len(scenario.acknowledged)])}." in said
            scenario.log.base.execute(f"PRAGMA max_page_count = {pages + 100}")
            scenario.go_on()
            assert kept(path, scenario.name) == EVENTS
        else:
            break
        more += 1
    assert said


CHILD = """
import resource, signal, sys
sys.path.insert(0, sys.argv[3])
from pathlib import Path
from test_faults import Scenario
from diagnose.log.protocol import LogError
from diagnose.log.sqlite import SqliteLog
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
scenario = Scenario(SqliteLog(Path(sys.argv[1])))
size = int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
try:
    scenario.go_on()
except LogError as error:
    print(error)
print(scenario.name)
print(len(scenario.acknowledged))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no such limit there")
@pytest.mark.parametrize("more", [0, 1, 700, 4096, 9000, 10**6])
def test_a_system_that_refuses_to_write_loses_nothing(tmp_path: Path, more: int) -> None:
    """The size that a file may have ends anywhere in it, and in the journal beside it."""
    SqliteLog(tmp_path / "empty").close()
    size = (tmp_path / "empty").stat().st_size + more
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(tmp_path / "log"), str(size), str(Path(__file__).parent)],
        capture_output=True,
        text=True,
        check=True,
    )
    *said, name, count = done.stdout.splitlines() if done.stdout else ["", "", "0"]
    assert kept(tmp_path / "log", name.strip()) == EVENTS[: int(count)]
    if int(count) < len(EVENTS):
        assert f"Not kept: {words_of(EVENTS[int(count)])}." in said[0]
    else:
        assert more == 10**6


SWEEP = """
import os, resource, signal, sys
sys.path.insert(0, sys.argv[3])
from pathlib import Path
from test_faults import Scenario
from diagnose.log.protocol import LogError
from diagnose.log.sqlite import SqliteLog
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
for size in range(0, int(sys.argv[2]), 1024):
    child = os.fork()
    if child:
        assert os.waitpid(child, 0)[1] == 0
        continue
    scenario, said = Scenario(SqliteLog(Path(sys.argv[1], f"{size}"))), ""
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
    try:
        scenario.go_on()
    except LogError as error:
        said = str(error)
    print(size, len(scenario.acknowledged), scenario.name or "-", said, flush=True)
    os._exit(0)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no such limit there")
def test_a_system_that_refuses_to_write_at_any_place_loses_nothing(tmp_path: Path) -> None:
    """As before, at each kilobyte, from a system that writes nothing at all."""
    SqliteLog(tmp_path / "empty").close()
    most = (tmp_path / "empty").stat().st_size + 20_000
    done = subprocess.run(
        [sys.executable, "-c", SWEEP, str(tmp_path), f"{most}", str(Path(__file__).parent)],
        capture_output=True,
        text=True,
        check=True,
    )
    counts = set()
    for line in done.stdout.splitlines():
        size, count, name, said = line.split(" ", 3)
        counts.add(int(count))
        assert kept(tmp_path / size, name.strip("-")) == EVENTS[: int(count)]
        if int(count) < len(EVENTS):
            assert f"Not kept: {words_of(EVENTS[int(count)])}." in said
    assert len(done.stdout.splitlines()) == -(-most // 1024)
    assert {0, len(EVENTS)} < counts
    assert len(counts) > 3


def test_who_waited_in_vain_is_told_what_was_not_kept(tmp_path: Path) -> None:
    scenario = Scenario(SqliteLog(tmp_path / "log", wait=0.0))
    scenario.go_on()
    other = sqlite3.connect(tmp_path / "log", isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    case = scenario.log.case
    with pytest.raises(LogBusy, match="locked by another program") as caught:
        case(scenario.name)
    assert "Not kept" not in str(caught.value)
    other.execute("ROLLBACK")
    known = case(scenario.name)
    assert known is not None
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(LogBusy, match="Not kept: the release by Bo"):
        scenario.log.append(known, len(EVENTS) + 1, EVENTS[-1])
    other.execute("ROLLBACK")
    assert kept(tmp_path / "log", scenario.name) == EVENTS


#: The system calls with which SQLite changes files, as C has them: what each returns and takes. Its
#: own table says which can be replaced; to wait for the disk (fsync) is none of them.
_INT, _SIZE, _AT = ctypes.c_int, ctypes.c_size_t, ctypes.c_longlong
CHANGES: dict[str, tuple[Any, ...]] = {
    "open": (_INT, ctypes.c_char_p, _INT, _INT),
    "write": (ctypes.c_ssize_t, _INT, ctypes.c_void_p, _SIZE),
    "pwrite": (ctypes.c_ssize_t, _INT, ctypes.c_void_p, _SIZE, _AT),
    "pwrite64": (ctypes.c_ssize_t, _INT, ctypes.c_void_p, _SIZE, _AT),
    "ftruncate": (_INT, _INT, _AT),
    "unlink": (_INT, ctypes.c_char_p),
    "openDirectory": (_INT, ctypes.c_char_p, ctypes.POINTER(_INT)),
}


class _Vfs(ctypes.Structure):
    """SQLite's own layer under its files: sqlite3_vfs, version 3, of sqlite3.h."""

    _fields_ = (
        *((name, _INT) for name in ("version", "size", "longest")),
        *((name, ctypes.c_void_p) for name in ("next", "name", "data")),
        *((f"method_{number}", ctypes.c_void_p) for number in range(13)),
        *((name, ctypes.c_void_p) for name in ("set_call", "get_call", "next_call")),
    )


class SystemCalls:
    """Puts a call in the place of one of SQLite's that fails where it is told to."""

    def __init__(self) -> None:
        import _sqlite3

        library = ctypes.CDLL(_sqlite3.__file__)
        library.sqlite3_vfs_find.restype = ctypes.POINTER(_Vfs)
        self.vfs = library.sqlite3_vfs_find(None)
        layer = self.vfs.contents
        pointer, name = ctypes.c_void_p, ctypes.c_char_p
        self._set = ctypes.CFUNCTYPE(_INT, pointer, name, pointer)(layer.set_call)
        self._get = ctypes.CFUNCTYPE(pointer, pointer, name)(layer.get_call)
        self.asked = 0
        # How a computer writes, and with which calls, depends on how SQLite was built for it.
        self.there = [call for call in CHANGES if self._get(self.vfs, call.encode())]

    @contextmanager
    def failing(self, call: str, at: int) -> Iterator[None]:
        """Let the call fail from its `at`-th time on, as on a disk without room."""
        kind = ctypes.CFUNCTYPE(*CHANGES[call], use_errno=True)
        own = self._get(self.vfs, call.encode())
        real = kind(own)
        self.asked = 0

        def instead(*args: Any) -> int:
            self.asked += 1
            if at <= self.asked:
                ctypes.set_errno(errno.ENOSPC)
                return -1
            result: int = real(*args)
            return result

        # SQLite keeps the pointer: it must not be thrown away before that is taken back.
        put = kind(instead)
        self._set(self.vfs, call.encode(), ctypes.cast(put, ctypes.c_void_p))
        try:
            yield
        finally:
            self._set(self.vfs, call.encode(), own)


@pytest.fixture
def calls() -> SystemCalls:
    try:
        found = SystemCalls()
    except (OSError, AttributeError, ImportError):
        pytest.skip("SQLite cannot be reached here")
    if found.vfs.contents.version < 3:
        pytest.skip("SQLite's system calls cannot be replaced here")
    return found


@pytest.mark.many_cases
def test_a_system_call_that_fails_at_any_time_loses_nothing_that_was_acknowledged(
    tmp_path: Path, calls: SystemCalls
) -> None:
    failed = dict.fromkeys(CHANGES, 0)
    for call in calls.there:
        acknowledged: list[Event] = []
        times = 0
        while acknowledged != EVENTS or calls.asked >= times:
            times += 1
            path = tmp_path / f"{call}-{times}"
            with calls.failing(call, times):
                told, said = begun_and_gone_on(path)
            failed[call] += bool(said)
            assert "\n" not in said
            acknowledged = [] if told is None else told.acknowledged
            if told is not None and acknowledged:
                found = kept(path, told.name)
                # The one that failed may be there all the same: it was only not acknowledged.
                assert found in ([*acknowledged], EVENTS[: len(acknowledged) + 1])
    assert min(failed["open"], failed["unlink"]) >= len(EVENTS)
    assert max(failed["write"], failed["pwrite"], failed["pwrite64"]) >= 5 * len(EVENTS)


def begun_and_gone_on(path: Path) -> tuple[Scenario | None, str]:
    """Return a scenario, as far as it came, and what was said where it came to no end."""
    told = None
    try:
        told = Scenario(SqliteLog(path))
        told.go_on()
        told.log.close()
    except LogError as error:
        return told, str(error)
    return told, ""
