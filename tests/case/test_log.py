"""The case log: what is answered is kept, whatever happens to the process or to the disk."""

from __future__ import annotations

import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest
from diagnose.case.log import LogError, OpenElsewhere
from diagnose.case.sqlite_log import APPLICATION, SqliteLog

from diagnose.case.state import Event, Trace

if TYPE_CHECKING:
    from pathlib import Path


def event(kind: str = "opened", **more: object) -> Event:
    return Event(kind=kind, symptom="sample", step="first", **more)  # type: ignore[arg-type]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "deep" / "cases.sqlite"


def test_a_case_comes_back_as_it_was_written(path: Path) -> None:
    log = SqliteLog(path, now=lambda: "2026-11-25T10:00:00+00:00")
    case = log.open_case("sample", "dock", event(more={"ä": "✓ \N{PILE OF POO}"}))
    log.append(case, 2, event("answer", answer="It is broken", typed="1"))
    log.close()
    again = SqliteLog(path, "rw")
    assert again.case(case.name.lower()) == case
    assert again.cases() == [case]
    assert again.cases("dock") == [case]
    assert again.cases("other") == []
    first, second = again.events(case)
    assert (first.number, first.body["more"]) == (1, {"ä": "✓ \N{PILE OF POO}"})
    assert (second.number, second.body["answer"]) == (2, "It is broken")
    assert len(case.key) == 16


def test_names_are_unique_and_told_apart_by_eye(path: Path) -> None:
    log = SqliteLog(path)
    names = [log.open_case("sample", None, event()).name for _ in range(300)]
    assert len(set(names)) == 300
    assert not set("".join(names)) & set("IO01S5Z")
    assert {len(name) for name in names} == {4}


def test_a_second_writer_is_told_that_the_case_is_open_elsewhere(path: Path) -> None:
    one, other = SqliteLog(path), SqliteLog(path)
    case = one.open_case("sample", None, event())
    one.append(case, 2, event("answer", answer="a"))
    with pytest.raises(OpenElsewhere, match=f"case {case.name} is open elsewhere"):
        other.append(case, 2, event("answer", answer="b"))
    assert [e.body["answer"] for e in other.events(case)] == ["", "a"]


@pytest.mark.parametrize(
    ("written", "outcome", "finding", "found"),
    [
        (event("cured"), "cured", "first", None),
        (event("refer", trail=(Trace(what="ended", symptom="sample", step=""),)), "referred", None, None),
        (event("danger", trail=(Trace(what="ended", symptom="sample", step=""),)), "referred", None, None),
        (event("leave", trail=(Trace(what="ended", symptom="sample", step=""),)), "open", None, None),
        (event("found", answer="broken"), "open", None, "broken"),
        (event("answer"), "open", None, None),
    ],
)  # fmt: skip
def test_the_record_follows_the_events(
    path: Path, written: Event, outcome: str, finding: str | None, found: str | None
) -> None:
    log = SqliteLog(path)
    case = log.open_case("sample", None, event())
    log.append(case, 2, written)
    record = log.case(case.name)
    assert record is not None
    assert (record.outcome, record.finding, record.found) == (outcome, finding, found)


def test_a_locked_log_gets_one_line(path: Path) -> None:
    log = SqliteLog(path, wait=0.01)
    case = log.open_case("sample", None, event())
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(LogError, match="locked by another program") as caught:
        log.append(case, 2, event("answer"))
    assert f"diagnose resume {case.name}" in str(caught.value)
    assert "\n" not in str(caught.value)
    with pytest.raises(LogError, match="locked by another program"):
        SqliteLog(path, wait=0.01)
    other.execute("ROLLBACK")
    log.append(case, 2, event("answer"))
    assert len(log.events(case)) == 2


def test_a_read_only_log_can_be_read_and_says_so_when_written(path: Path) -> None:
    """Root may write any file, so the log is opened read-only instead of made so."""
    case = SqliteLog(path).open_case("sample", None, event())
    log = SqliteLog(path, "ro")
    assert log.cases() == [case]
    with pytest.raises(LogError, match="read-only"):
        log.append(case, 2, event("answer"))


def test_those_who_come_at_once_to_a_new_log_all_get_it(tmp_path: Path) -> None:
    """One makes the log; whoever looks at it meanwhile sees no file or a log, nothing between."""
    crowd = 6
    for attempt in range(30):
        together = threading.Barrier(crowd)

        def come(path: Path, together: threading.Barrier = together) -> str:
            together.wait()
            log = SqliteLog(path)
            try:
                return log.open_case("sample", None, event()).name
            finally:
                log.close()

        with ThreadPoolExecutor(crowd) as pool:
            names = set(pool.map(come, [tmp_path / str(attempt)] * crowd))
        assert len(names) == crowd


def test_a_newer_log_is_left_alone(path: Path) -> None:
    SqliteLog(path).close()
    base = sqlite3.connect(path)
    base.execute("PRAGMA user_version = 99")
    base.close()
    before = path.read_bytes()
    with pytest.raises(LogError, match="newer version of the program"):
        SqliteLog(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"these are my notes\n" * 200, b"\x00\xff" * 4096])
def test_what_is_no_log_is_left_alone(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "notes"
    path.write_bytes(content)
    with pytest.raises(LogError, match="this is no case log"):
        SqliteLog(path)
    assert path.read_bytes() == content


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    base = sqlite3.connect(path)
    base.execute("CREATE TABLE cases (key)")
    base.commit()
    base.close()
    before = path.read_bytes()
    with pytest.raises(LogError, match="this is no case log"):
        SqliteLog(path)
    assert path.read_bytes() == before


def test_a_damaged_log_gets_one_line(path: Path) -> None:
    log = SqliteLog(path)
    case = log.open_case("sample", None, event(typed="x" * 50_000))
    log.base.execute("UPDATE events SET body = '{'")
    with pytest.raises(LogError, match="damaged"):
        log.events(case)
    log.close()
    content = bytearray(path.read_bytes())
    content[4096:] = b"\xff" * (len(content) - 4096)
    path.write_bytes(bytes(content))
    with pytest.raises(LogError):
        SqliteLog(path).cases()


def test_a_full_disk_loses_nothing_that_was_answered(path: Path) -> None:
    log = SqliteLog(path)
    case = log.open_case("sample", None, event())
    pages = log.base.execute("PRAGMA page_count").fetchone()[0]
    log.base.execute(f"PRAGMA max_page_count = {pages + 2}")
    written = 1

    def fill() -> None:
        nonlocal written
        for number in range(2, 100):
            log.append(case, number, event("answer", typed="x" * 1500))
            written = number

    with pytest.raises(LogError, match="the disk is full; make room") as caught:
        fill()
    assert f"diagnose resume {case.name}" in str(caught.value)
    assert written < 99
    assert [e.number for e in SqliteLog(path).events(case)] == list(range(1, written + 1))


def test_a_folder_is_no_log(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="cannot be opened"):
        SqliteLog(tmp_path)


def test_a_log_below_a_file_gets_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(LogError, match="name another file with --log"):
        SqliteLog(tmp_path / "file" / "cases.sqlite")


def test_an_empty_file_becomes_a_log_but_not_when_it_is_only_read(tmp_path: Path) -> None:
    path = tmp_path / "empty.sqlite"
    path.touch()
    with pytest.raises(LogError, match="no case in this log yet"):
        SqliteLog(path, "rw")
    log = SqliteLog(path)
    assert log.base.execute("PRAGMA application_id").fetchone() == (APPLICATION,)


def test_two_first_starts_at_once_make_one_log(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second found no log, waited for the lock, and finds one made by then."""

    class Late(SqliteLog):
        def _transaction(self, kind="IMMEDIATE"):  # type: ignore[no-untyped-def]
            if kind == "IMMEDIATE" and not made:
                made.append(SqliteLog(path))
            return super()._transaction(kind)

    made: list[SqliteLog] = []
    late = Late(path)
    case = late.open_case("sample", None, event())
    assert made[0].cases() == [case]
