"""The case log: what is answered is kept, whatever happens to the process or to the disk."""

from __future__ import annotations

import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest

from diagnose.case.state import Trace
from diagnose.log.events import Found, ItemReplied, Opened, Outset, Replied, RoundOpened, Shown
from diagnose.log.protocol import LogError, OpenElsewhere
from diagnose.log.sqlite import APPLICATION, SqliteLog

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from diagnose.log.events import Event

OPENED = Opened(symptom="sample", outset=Outset())


def replied(kind: str = "answer", **more: Any) -> Replied:
    shown = Shown(screen="check")
    return Replied(reply=kind, symptom="sample", step="first", shown=shown, **more)


def ended(why: str) -> tuple[Trace, ...]:
    return (Trace(what="ended", symptom="sample", step="", why=why),)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "deep" / "cases.sqlite"


def test_a_case_comes_back_as_it_was_written(path: Path) -> None:
    log = SqliteLog(path, now=lambda: "2026-11-25T10:00:00+00:00")
    words = "ä ✓ \N{PILE OF POO}"
    case = log.open_case("dock", Opened(symptom="sample", words=words, outset=Outset(name="Ana")))
    log.append(case, 2, replied(answer="It is broken", typed="1"))
    log.close()
    again = SqliteLog(path, "rw")
    assert again.case(case.name.lower()) == case
    assert again.cases() == [case]
    assert again.cases("dock") == [case]
    assert again.cases("other") == []
    first, second = again.events(case)
    assert (first.number, first.at) == (1, "2026-11-25T10:00:00+00:00")
    assert first.event == Opened(symptom="sample", words=words, outset=Outset(name="Ana"))
    assert (second.number, second.event) == (2, replied(answer="It is broken", typed="1"))
    assert len(case.key) == 16


def test_names_are_unique_and_told_apart_by_eye(path: Path) -> None:
    log = SqliteLog(path)
    names = [log.open_case(None, OPENED).name for _ in range(300)]
    assert len(set(names)) == 300
    assert not set("".join(names)) & set("IO01S5Z")
    assert {len(name) for name in names} == {4}


def test_a_second_writer_is_told_that_the_case_is_open_elsewhere(path: Path) -> None:
    one, other = SqliteLog(path), SqliteLog(path)
    case = one.open_case(None, OPENED)
    one.append(case, 2, replied(answer="a"))
    with pytest.raises(OpenElsewhere, match=f"case {case.name} is open elsewhere"):
        other.append(case, 2, replied(answer="b"))
    assert [e.event for e in other.events(case)] == [OPENED, replied(answer="a")]


@pytest.mark.parametrize(
    ("written", "outcome", "finding", "found"),
    [
        (replied("cured", trail=ended("cured")), "cured", "first", None),
        (replied("refer", trail=ended("referred")), "referred", None, None),
        (replied("unsure", trail=ended("nothing-left")), "referred", None, None),
        (replied("danger", trail=ended("danger")), "referred", None, None),
        (replied("leave", trail=ended("left")), "open", None, None),
        (replied("back", trail=ended("withdrawn")), "withdrawn", None, None),
        (Found(symptom="sample", finding="broken"), "open", None, "broken"),
        (replied(), "open", None, None),
    ],
)  # fmt: skip
def test_the_record_follows_the_events(
    path: Path, written: Event, outcome: str, finding: str | None, found: str | None
) -> None:
    log = SqliteLog(path)
    case = log.open_case(None, OPENED)
    log.append(case, 2, written)
    record = log.case(case.name)
    assert record is not None
    assert (record.outcome, record.finding, record.found) == (outcome, finding, found)


def test_a_locked_log_gets_one_line(path: Path) -> None:
    log = SqliteLog(path, wait=0.01)
    case = log.open_case(None, OPENED)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(LogError, match="locked by another program") as caught:
        log.append(case, 2, replied())
    assert f"diagnose resume {case.name}" in str(caught.value)
    assert "\n" not in str(caught.value)
    with pytest.raises(LogError, match="locked by another program"):
        SqliteLog(path, wait=0.01)
    other.execute("ROLLBACK")
    log.append(case, 2, replied())
    assert len(log.events(case)) == 2


def test_a_read_only_log_can_be_read_and_says_so_when_written(path: Path) -> None:
    """Root may write any file, so the log is opened read-only instead of made so."""
    case = SqliteLog(path).open_case(None, OPENED)
    log = SqliteLog(path, "ro")
    assert log.cases() == [case]
    with pytest.raises(LogError, match="read-only"):
        log.append(case, 2, replied())


def test_those_who_come_at_once_to_a_new_log_all_get_it(tmp_path: Path) -> None:
    """One makes the log; whoever looks at it meanwhile sees no file or a log, nothing between."""
    crowd = 6
    for attempt in range(30):
        together = threading.Barrier(crowd)

        def come(path: Path, together: threading.Barrier = together) -> str:
            together.wait()
            log = SqliteLog(path)
            try:
                return log.open_case(None, OPENED).name
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
    case = log.open_case(None, Opened(symptom="sample", words="x" * 50_000, outset=Outset()))
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
    case = log.open_case(None, OPENED)
    pages = log.base.execute("PRAGMA page_count").fetchone()[0]
    log.base.execute(f"PRAGMA max_page_count = {pages + 2}")
    written = 1

    def fill() -> None:
        nonlocal written
        for number in range(2, 100):
            log.append(case, number, replied(typed="x" * 1500))
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
    case = late.open_case(None, OPENED)
    assert made[0].cases() == [case]


def test_a_round_knows_its_cases_in_their_order(path: Path) -> None:
    log = SqliteLog(path)
    outset = Outset(name="Ana")
    round_ = log.open_case(
        "dock", RoundOpened(round="daily", title="Daily", every="day", outset=outset)
    )
    assert (round_.symptom, round_.round, round_.begun_in) == ("", "daily", None)
    begun = [log.open_case("dock", OPENED, begun_in=round_) for _ in range(5)]
    log.open_case("dock", OPENED)
    assert log.begun_in(round_) == begun
    assert {case.begun_in for case in begun} == {round_.name}
    assert log.begun_in(begun[0]) == []
    log.append(begun[0], 2, replied("back", trail=ended("withdrawn")))
    assert [case.outcome for case in log.begun_in(round_)] == ["withdrawn", *["open"] * 4]
    log.append(round_, 2, ItemReplied(reply="done", item="look", shown=Shown(screen="item")))
    known = log.case(round_.name)
    assert known is not None
    assert (known.outcome, known.opened) == ("open", round_.opened)


def test_names_grow_where_the_short_ones_are_taken(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("diagnose.log.sqlite.secrets.choice", lambda letters: letters[0])
    log = SqliteLog(path)
    names = [log.open_case(None, OPENED).name for _ in range(10)]
    assert names == [("A2" * 7)[:length] for length in range(4, 14)]
    with pytest.raises(LogError, match="no name is free any more; start a new log with --log"):
        log.open_case(None, OPENED)
    assert len(log.cases()) == 10


def test_a_reason_that_nobody_knows_is_told_as_it_came(path: Path) -> None:
    log = SqliteLog(path)
    log.base.execute("DROP TABLE events")
    with pytest.raises(LogError, match=r"the log cannot be used \(no such table: events\)"):
        log.open_case(None, OPENED)
    assert SqliteLog(path).cases() == []
