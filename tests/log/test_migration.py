"""A log of format 1, made by the program of then, is lifted into today's: once, whole or not at all.

`format-1.sql` is that log as SQL, `format-1.json` what the program of then said of its plain cases,
and which name a case has in it. People and machines are invented.
"""

from __future__ import annotations

import errno
import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from strategies.desk import Desk
from strategies.rounds import DEAD, LINES, ROUND, written

from diagnose.log import from_format_1
from diagnose.log.events import (
    CaseOver,
    FigureTaken,
    Opened,
    Released,
    Resumed,
    RoundOpened,
)
from diagnose.log.machine_state import held, machine_state
from diagnose.log.protocol import LogError
from diagnose.log.sqlite import VERSION, SqliteLog
from diagnose.log.story import story
from diagnose.log.summing import summed_up
from diagnose.paper.handover import handover
from diagnose.paper.handover_sheet import as_json, as_markdown

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from diagnose.log.protocol import CaseRecord

HERE = Path(__file__).parent
TOLD = json.loads((HERE / "format-1.json").read_text("utf-8"))
NAMES: dict[str, str] = TOLD["names"]
PLAIN = ("cured", "referred", "left", "doorway", "reading")
ROUNDS = sorted(set(NAMES) - set(PLAIN))


def made(path: Path) -> bytes:
    """Make the old log and return its bytes."""
    base = sqlite3.connect(path)
    base.executescript((HERE / "format-1.sql").read_text("utf-8"))
    base.close()
    return path.read_bytes()


@pytest.fixture(scope="module")
def content(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return made(tmp_path_factory.mktemp("old") / "log")


@pytest.fixture
def path(tmp_path: Path, content: bytes) -> Path:
    path = tmp_path / "cases.sqlite"
    path.write_bytes(content)
    return path


@pytest.fixture(scope="module")
def lifted(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> Iterator[SqliteLog]:
    path = tmp_path_factory.mktemp("lifted") / "cases.sqlite"
    path.write_bytes(content)
    log = SqliteLog(path, "rw")
    yield log
    log.close()


def named(log: SqliteLog, which: str) -> CaseRecord:
    case = log.case(NAMES[which])
    assert case is not None
    return case


def beside(path: Path) -> list[Path]:
    return sorted(set(path.parent.iterdir()) - {path})


# Once, and whole


def test_it_is_lifted_once_and_the_old_file_stands_beside_it(path: Path, content: bytes) -> None:
    path.chmod(0o600)
    log = SqliteLog(path, "rw")
    assert log.base.execute("PRAGMA user_version").fetchone() == (VERSION,)
    assert log.base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert log.base.execute("PRAGMA foreign_key_check").fetchall() == []
    tables = log.base.execute("SELECT name FROM sqlite_master WHERE name LIKE 'old%'").fetchall()
    assert tables == []
    log.close()
    (old,) = beside(path)
    assert old.name == "cases.sqlite.format-1"
    assert old.read_bytes() == content
    assert old.stat().st_mode == path.stat().st_mode
    after = path.read_bytes()
    SqliteLog(path).close()
    assert (path.read_bytes(), beside(path)) == (after, [old])


def test_a_name_beside_it_that_is_taken_is_left_alone(path: Path, content: bytes) -> None:
    for number, name in enumerate(("cases.sqlite.format-1", "cases.sqlite.format-1.2")):
        path.with_name(name).write_text(f"mine {number}")
    SqliteLog(path).close()
    assert path.with_name("cases.sqlite.format-1").read_text() == "mine 0"
    assert path.with_name("cases.sqlite.format-1.2").read_text() == "mine 1"
    assert path.with_name("cases.sqlite.format-1.3").read_bytes() == content


def test_the_one_that_was_kept_can_be_lifted_too(path: Path) -> None:
    SqliteLog(path).close()
    names = [case.name for case in SqliteLog(path).cases() if case.begun_in is None]
    again = SqliteLog(path.with_name("cases.sqlite.format-1"))
    assert [case.name for case in again.cases() if case.begun_in is None] == names


def test_a_log_that_may_not_be_written_is_left_as_it_was(path: Path, content: bytes) -> None:
    with pytest.raises(LogError, match="read-only"):
        SqliteLog(path, "ro")
    assert path.read_bytes() == content
    assert beside(path) == []


def fewer(path: Path, *names: str) -> bytes:
    """Leave the named cases in the old log and no others; return its bytes."""
    base = sqlite3.connect(path)
    keep = ", ".join(f"'{NAMES[name]}'" for name in names)
    base.execute(f"DELETE FROM cases WHERE name NOT IN ({keep})")
    base.execute('DELETE FROM events WHERE "case" NOT IN (SELECT key FROM cases)')
    base.commit()
    base.execute("VACUUM")
    base.close()
    return path.read_bytes()


FAULTS: list[Callable[[], BaseException]] = [
    lambda: sqlite3.OperationalError("disk I/O error"),
    KeyboardInterrupt,
    MemoryError,
]


def test_a_fault_at_any_step_leaves_the_old_file_as_it_was(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What SQLite is asked to do fails at the first, the second, … statement, up to the last."""
    before = fewer(path, "cured", "two", "left-in-case")
    connect = sqlite3.connect
    asked = 0
    fails_at = 0
    failed: list[str] = []

    class Failing(sqlite3.Connection):
        def execute(self, statement: str, *more: Any) -> sqlite3.Cursor:  # type: ignore[override]
            nonlocal asked
            asked += 1
            if asked == fails_at:
                failed.append(statement)
                raise FAULTS[fails_at % len(FAULTS)]()
            return super().execute(statement, *more)

    def opened(*args: Any, **more: Any) -> sqlite3.Connection:
        return connect(*args, factory=Failing, **more)

    monkeypatch.setattr("diagnose.log.sqlite.sqlite3.connect", opened)
    while True:
        asked, fails_at = 0, fails_at + 1
        try:
            log = SqliteLog(path, "rw")
        except (LogError, KeyboardInterrupt, MemoryError):
            if path.read_bytes() != before:
                break
            if failed[-1] == "COMMIT":
                # Whether it came to be is not known then, so what was kept stays.
                assert [old.read_bytes() for old in beside(path)] in ([], [before])
                for old in beside(path):
                    old.unlink()
            assert beside(path) == [], fails_at
        else:
            break
    # Only what comes after the commit may fail on a log that is lifted.
    assert failed.count("COMMIT") == 2
    assert failed.index("PRAGMA synchronous = FULL") == len(failed) - 1 > 60
    log = SqliteLog(path, "rw")
    assert len(log.cases()) == 3 + 3
    (old,) = beside(path)
    assert old.read_bytes() == before


@pytest.mark.parametrize("rights", [0o600, 0o644, 0o666])
def test_what_is_kept_is_for_its_owner_alone_from_its_first_byte(
    rights: int, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path.chmod(rights)
    seen: list[int] = []
    monkeypatch.setattr(
        "diagnose.log.beside.os.fsync", lambda file: seen.append(os.fstat(file).st_mode & 0o777)
    )
    old = os.umask(0)
    try:
        SqliteLog(path).close()
    finally:
        os.umask(old)
    (kept,) = beside(path)
    assert (seen, kept.stat().st_mode & 0o777) == ([0o600], 0o600)


def test_a_disk_that_is_full_of_the_copy_leaves_no_half_of_it(
    path: Path, content: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("diagnose.log.beside.os.fsync", full)
    with pytest.raises(LogError, match="no space left on device") as caught:
        SqliteLog(path)
    assert "\n" not in str(caught.value)
    assert (path.read_bytes(), beside(path)) == (content, [])


def test_nobody_else_can_write_while_it_is_lifted(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Seen from another process: closing a file gives up a process's locks, a trap in copying it."""
    program = (
        "import sqlite3, sys; sqlite3.connect(sys.argv[1], timeout=0).execute('BEGIN IMMEDIATE')"
    )
    said: list[str] = []

    def lift(*args: Any) -> list[from_format_1.Lifted]:
        if not said:
            command = [sys.executable, "-c", program, str(path)]
            tried = subprocess.run(command, capture_output=True, text=True, check=False)
            said.append(tried.stderr)
        return original(*args)

    original = from_format_1.lifted
    monkeypatch.setattr(from_format_1, "lifted", lift)
    SqliteLog(path).close()
    assert "database is locked" in said[0]


OPENER = """\
import sys, time
from pathlib import Path
from diagnose.log.sqlite import SqliteLog
path = Path(sys.argv[1])
print("ready", flush=True)
sys.stdin.readline()
log = SqliteLog(path, "rw", wait=60.0)
print(len(log.cases()), len({case.key for case in log.cases()}))
"""


def test_six_who_open_it_at_once_lift_it_once(path: Path, content: bytes) -> None:
    openers = [
        subprocess.Popen(
            [sys.executable, "-c", OPENER, str(path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(6)
    ]
    for opener in openers:
        assert opener.stdout is not None
        assert opener.stdout.readline() == "ready\n"
    for opener in openers:
        assert opener.stdin is not None
        opener.stdin.write("\n")
        opener.stdin.flush()
    said = [opener.communicate(timeout=120) for opener in openers]
    total = len(SqliteLog(path).cases())
    assert said == [(f"{total} {total}\n", "")] * 6
    (old,) = beside(path)
    assert old.read_bytes() == content


# What it says afterwards


def test_every_case_and_round_of_then_is_there(lifted: SqliteLog, path: Path) -> None:
    base = sqlite3.connect(path)
    rows = base.execute(
        "SELECT key, name, symptom, machine, opened, changed, outcome, finding, round FROM cases"
    ).fetchall()
    base.close()
    assert len(rows) == len(NAMES) == 18
    for key, name, symptom, machine, opened, changed, outcome, finding, round_ in rows:
        case = lifted.case(name)
        assert case is not None
        assert (case.key, case.symptom, case.machine, case.round) == (key, symptom, machine, round_)
        assert (case.opened, case.changed, case.outcome) == (opened, changed, outcome)
        assert case.finding == (finding if symptom else None)
        assert case.begun_in is None


@pytest.mark.parametrize("which", PLAIN)
def test_the_page_of_a_plain_case_is_as_it_was(lifted: SqliteLog, which: str) -> None:
    case = named(lifted, which)
    page = json.loads(json.dumps(as_json(handover(case, lifted.events(case)))))
    then = json.loads(json.dumps(TOLD["pages"][case.name]))
    for line in then["story"]:
        if line["figure"] is not None:
            # The rest were fields of its screen, which are no part of a figure.
            own = FigureTaken.__struct_fields__
            line["figure"] = {name: line["figure"].get(name) for name in own}
    # The machine's state has other words now, and a case that service answered holds it no more.
    standing = then.pop("standing")
    answered = case.found is not None
    states = {"stands": "in use" if answered else "out of use", "limps": "in use", "runs": "in use"}
    assert page["standing"]["state"] == states[standing["state"]]
    if then["danger"] is not None:
        # Nobody was asked which danger it was.
        then["danger"]["kind"] = ""
    then["people"] = [{"at": at, "role": role, "name": ""} for at, role in then["people"]]
    then["cautions"] = [{**caution, "worn": False} for caution in then["cautions"]]
    # Parts were told of causes that are most unlikely; by hand: of 1 %, and of 6 and 5 %.
    if which in ("cured", "doorway"):
        assert then["parts"][:2] == ["squeegee frame", "two bolts"]
        then["parts"] = []
    assert {name: page[name] for name in then} == then
    new = {name: value for name, value in page.items() if name not in then}
    new.pop("standing")
    of_rounds = {"begun_in": None, "cases": [], "not_right": []}
    assert new == of_rounds | {"site": "", "call": {}, "hours": None, "codes": [], "notes": []}


#: By hand from what was replied: each round's cases with outcome, what cured it, what service found.
BEGUN: dict[str, list[tuple[str, str, str | None, str | None]]] = {
    "two": [("lines", "referred", None, "bent"), ("dead", "referred", None, "stop-in")],
    "one-found": [("lines", "referred", None, None), ("dead", "referred", None, "flat")],
    "cure": [("lines", "cured", "dirty", None)],
    "withdrawn": [("lines", "withdrawn", None, None)],
    "resumed": [("lines", "referred", None, None)],
    "left-in-case": [("lines", "open", None, None)],
    "back-after-resume": [("lines", "withdrawn", None, None)],
    "danger": [("lines", "referred", None, None)],
    "item-danger": [],
    "through-doorway": [("lines", "cured", "stop-in", None)],
    "nothing-left": [("lines", "referred", None, None)],
    "tree-gone": [("lines", "open", None, None)],
    "alone": [],
}


@pytest.mark.parametrize("which", ROUNDS)
def test_each_diagnosis_of_a_round_is_a_case(lifted: SqliteLog, which: str) -> None:
    round_ = named(lifted, which)
    begun = lifted.begun_in(round_)
    assert [(c.symptom, c.outcome, c.finding, c.found) for c in begun] == BEGUN[which]
    assert round_.found is None
    events = [logged.event for logged in lifted.events(round_)]
    assert isinstance(events[0], RoundOpened)
    over = [(event.symptom, event.how) for event in events if isinstance(event, CaseOver)]
    for case in begun:
        assert (case.machine, case.begun_in) == (round_.machine, round_.name)
        assert round_.opened <= case.opened <= case.changed
        logged = lifted.events(case)
        assert [one.number for one in logged] == list(range(1, len(logged) + 1))
        first = logged[0].event
        assert isinstance(first, Opened)
        assert (first.symptom, first.outset) == (case.symptom, events[0].outset)
        assert first.trees[case.symptom].findings
        if case.outcome in ("cured", "referred", "withdrawn"):
            how = "danger" if which == "danger" else case.outcome
            assert (case.symptom, how) in over


def test_what_was_replied_is_neither_doubled_nor_lost(lifted: SqliteLog, path: Path) -> None:
    base = sqlite3.connect(path)
    then: dict[str, list[str]] = {}
    for name, body in base.execute(
        'SELECT name, body FROM cases JOIN events ON "case" = key ORDER BY name, number'
    ):
        then.setdefault(name, []).append(json.loads(body)["typed"])
    base.close()
    for name, typed in then.items():
        case = lifted.case(name)
        assert case is not None
        told = [lifted.events(one) for one in (case, *lifted.begun_in(case))]
        now = [getattr(logged.event, "typed", "") for events in told for logged in events]
        assert sorted(text for text in now if text) == sorted(text for text in typed if text)


def test_two_pages_come_of_one_round(lifted: SqliteLog) -> None:
    round_ = named(lifted, "two")
    first, second = (handover(case, lifted.events(case)) for case in lifted.begun_in(round_))
    assert [first.asked[0].finding, second.asked[0].finding] == [
        "The frame is bent.",
        "The battery is flat.",
    ]
    assert (first.parts, second.parts) == (("squeegee frame", "two bolts"), ("battery",))
    assert (first.asked[0].stopped, second.asked[0].stopped) == (True, True)
    assert first.verdict is not None
    assert first.verdict.words == "The frame is bent."
    assert second.verdict is not None
    assert second.verdict.words == "The stop is in."
    for page in (first, second):
        text = " ".join(as_markdown(page).split())
        assert "No cause for service stands out" not in text
        assert page.begun_in == round_.name
        assert page.machine is not None
    assert [back.answer for back in first.taken_back] == ["It is clean"]
    whole = handover(round_, lifted.events(round_), lifted.begun_in(round_))
    assert [(symptom, outcome) for _, symptom, outcome in whole.cases] == [
        ("lines", "referred"),
        ("dead", "referred"),
    ]


def test_a_case_behind_a_doorway_inside_a_round_counts_for_the_doorway(lifted: SqliteLog) -> None:
    (case,) = lifted.begun_in(named(lifted, "through-doorway"))
    events = [logged.event for logged in lifted.events(case)]
    assert events[-1].cures == (("lines", "other"), ("dead", "stop-in"))  # type: ignore[union-attr]
    assert [group.symptom for group in handover(case, lifted.events(case)).likely] == [
        "lines",
        "dead",
    ]


def test_a_diagnosis_that_was_taken_up_again_says_by_whom(lifted: SqliteLog) -> None:
    (case,) = lifted.begun_in(named(lifted, "resumed"))
    taken_up = [e.event for e in lifted.events(case) if isinstance(e.event, Resumed)]
    assert [(event.name, event.role) for event in taken_up] == [
        ("Bo", "battery-trained"),
        ("", "operator"),
    ]
    page = handover(case, lifted.events(case))
    assert [person.words for person in page.people] == [
        "operator",
        "Bo, battery-trained",
        "operator",
    ]
    assert page.asked[0].stopped


def test_a_danger_inside_a_round_puts_the_machine_out_of_use(lifted: SqliteLog) -> None:
    round_ = named(lifted, "danger")
    (case,) = lifted.begun_in(round_)
    assert machine_state(case, lifted.events(case)).why == "a danger was reported"
    assert round_.outcome == "referred"
    over = lifted.events(round_)[-1].event
    assert isinstance(over, CaseOver)
    assert (over.how, over.outcome) == ("danger", "referred")
    assert over.came_to is not None
    assert (over.came_to.total, over.came_to.done) == (6, 0)


def test_the_story_and_what_waits_are_told(lifted: SqliteLog) -> None:
    texts = [line.text for line in story(lifted.milestones("dock"))]
    # One plain referral with its verdict, three in rounds, and the danger at an item of a round.
    assert texts.count("service found: bent") == 2
    assert texts.count("cured: The blade is dirty.") == 2
    assert texts.count("referred: The frame is bent.") == 4
    assert texts.count("referred: nothing is left that an operator can check") == 1
    names = {one.case.name for one in lifted.waiting()}
    assert NAMES["item-danger"] in names
    expected = [
        case
        for which in ROUNDS
        for case in lifted.begun_in(named(lifted, which))
        if case.outcome == "open" or (case.outcome == "referred" and case.found is None)
    ]
    assert {case.name for case in expected} <= names


def test_a_verdict_of_then_was_the_end_of_it(lifted: SqliteLog) -> None:
    """Nobody could say then that a machine was released; what has no verdict still holds it."""
    holding = {one.case.name for one in held(lifted)}
    cases = [case for case in lifted.cases() if case.round is None and case.outcome == "referred"]
    assert {case.name for case in cases if case.found is None} <= holding
    answered = {case.name for case in cases if case.found is not None}
    assert len(answered) > 2
    assert not answered & holding


def of_format(path: Path, version: int = 3) -> bytes:
    """Make a log of format 4, 3 or 2 (a 3 that knew no release) and return its bytes."""
    base = sqlite3.connect(path)
    base.executescript((HERE / f"format-{max(version, 3)}.sql").read_text("utf-8"))
    base.execute(f"PRAGMA user_version = {version}")
    base.close()
    return path.read_bytes()


@pytest.mark.parametrize("version", [2, 3, 4])
def test_a_log_gets_the_summaries_of_today(tmp_path: Path, version: int) -> None:
    """Nothing else of formats 2 to 4 is written otherwise now; the old file stands beside it."""
    path = tmp_path / "log"
    before = of_format(path, version)
    base = sqlite3.connect(path)
    events = base.execute("SELECT * FROM events").fetchall()
    base.close()
    log = SqliteLog(path, "rw")
    assert log.base.execute("PRAGMA user_version").fetchone() == (VERSION,)
    assert log.base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert log.base.execute("SELECT * FROM events").fetchall() == events
    (old,) = beside(path)
    assert (old.name, old.read_bytes()) == (f"log.format-{version}", before)
    listed = list(log.listed())
    assert len(listed) > 8
    for one in listed:
        assert one.summary == summed_up(one.case, log.events(one.case), log.begun_in(one.case))
    waits = {one.case.name for one in log.waiting()}
    assert waits == {
        one.case.name
        for one in listed
        if one.summary.holds or (one.case.round is None and one.case.waits)
    }
    assert {cure.finding for cure in log.cures()} == {
        ("lines", "bent"),
        ("lines", "dirty"),
        ("dead", "stop-in"),
    }
    (case,) = [case for case in log.cases() if case.name == NAMES["left"]]
    log.append(case, log.last_number(case) + 1, Released(name="Bo"))
    # A release is no change of the case, so a round that was walked is due as it was.
    assert log.case(case.name) == case
    assert log.summary(case).is_.why == "released by Bo"


def test_a_damaged_event_does_not_keep_a_log_from_being_lifted(tmp_path: Path) -> None:
    path = tmp_path / "log"
    of_format(path)
    base = sqlite3.connect(path)
    base.execute(
        "UPDATE events SET body = '{' WHERE number = 2 AND \"case\" = "
        "(SELECT key FROM cases WHERE name = ?)",
        (NAMES["referred"],),
    )
    base.commit()
    base.close()
    log = SqliteLog(path, "rw")
    damaged = named(log, "referred")
    assert log.summary(damaged).damaged == 2
    assert log.damaged(log.cases()) == {damaged.key: 2}
    # What nobody can read might be anything.
    assert damaged.name in {one.case.name for one in held(log, damaged.machine)}
    whole = [one for one in log.listed() if one.summary.damaged is None]
    assert len(whole) == len(log.cases()) - 1


def test_drills_stay(lifted: SqliteLog) -> None:
    (drill,) = lifted.drills("bo")
    assert (drill.symptom, drill.seed, drill.passed, drill.minutes) == ("lines", 7, True, 3.0)


# It goes on


@pytest.fixture
def desk(tmp_path: Path, path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    desk = Desk(tmp_path, monkeypatch)
    bring = "    ask_service: Straighten the frame.\n"
    lines = LINES.replace(bring, f"{bring}    parts: [squeegee frame, two bolts]\n")
    dead = DEAD.replace(
        "    who: operator\n    remedy: Charge it.\n",
        "    who: service\n    leave_safe: Leave it switched off.\n    ask_service: Test the cells.\n"
        "    parts: [battery]\n",
    )
    lamp = "  lamp:\n    do: Look at the lamp.\n    hazards: [startup]\n    starts: dead\n  run:\n"
    written(desk.library, lines=lines, dead=dead, round_=ROUND.replace("  run:\n", lamp))
    desk.log = path
    return desk


@pytest.mark.parametrize("by", ["round", "case"])
def test_a_round_whose_diagnosis_was_left_is_resumed_into_its_case(desk: Desk, by: str) -> None:
    log = SqliteLog(desk.log)
    (case,) = log.begun_in(named(log, "left-in-case"))
    log.close()
    name = NAMES["left-in-case"] if by == "round" else case.name
    screens = desk.walk("resume", name, replies=("done", "cured", "done", "leave"))
    assert (screens[0]["case"], screens[0]["symptom"]) == (case.name, "lines")
    assert (screens[0]["screen"], screens[0]["id"]) == ("caution", "lockout")
    first, *others = screens[0]["notes"]
    assert first == "Taken up again. Earlier answers that fit: 2; asked anew: 0."
    # Of what else holds the machine the two newest are named, and the others counted.
    assert [note.split(":")[0] for note in others[:2]] == ["Also on this machine"] * 2
    assert others[2].startswith("More cases that hold this machine: ")
    assert (screens[2]["case"], screens[2]["item"]) == (NAMES["left-in-case"], "note")
    listed = {one["name"]: one for one in desk.cases()}
    assert (listed[case.name]["outcome"], listed[case.name]["finding"]) == ("cured", "dirty")


@pytest.mark.parametrize("which", [name for name in NAMES if name not in ("tree-gone",)])
def test_whatever_was_open_goes_on(desk: Desk, which: str) -> None:
    if SqliteLog(desk.log).case(NAMES[which]).outcome != "open":  # type: ignore[union-attr]
        code, _, err = desk("resume", NAMES[which])
        assert (code, "has ended" in err) == (2, True)
        return
    screens = desk.walk("resume", NAMES[which], replies=("leave",))
    assert "0." in screens[0]["notes"][0]
    assert screens[-1]["outcome"] == "left"


def test_one_whose_tree_had_gone_keeps_what_came_after(desk: Desk) -> None:
    """It was resumed without its tree; *back* then withdrew an item and not the case."""
    log = SqliteLog(desk.log)
    (case,) = log.begun_in(named(log, "tree-gone"))
    assert case.outcome == "open"
    replied = [getattr(e.event, "reply", "") for e in log.events(named(log, "tree-gone"))]
    assert [text for text in replied if text][-4:] == ["done", "back", "not now", "leave"]


# What is damaged


def damaged(path: Path, name: str, number: int, body: str) -> bytes:
    base = sqlite3.connect(path)
    base.execute(
        'UPDATE events SET body = ? WHERE number = ? AND "case" = '
        "(SELECT key FROM cases WHERE name = ?)",
        (body, number, NAMES[name]),
    )
    base.commit()
    base.close()
    return path.read_bytes()


@pytest.mark.parametrize("which", ["cured", "two"])
@pytest.mark.parametrize(
    "body", ["{", "[]", "null", "{}", '{"kind": "answer"}', "\x00", "[" * 100_000, '"opened"', "7"]
)
def test_a_damaged_log_is_named_by_its_case_and_left(path: Path, which: str, body: str) -> None:
    before = damaged(path, which, 2, body)
    with pytest.raises(LogError) as caught:
        SqliteLog(path)
    assert str(caught.value) == (
        f"{path}: the log is damaged at case {NAMES[which]}; restore a copy of the file."
    )
    assert (path.read_bytes(), beside(path)) == (before, [])


@pytest.mark.parametrize("which", ["cured", "two"])
def test_one_that_lost_its_beginning_is_damaged(path: Path, which: str) -> None:
    base = sqlite3.connect(path)
    base.execute(
        'DELETE FROM events WHERE number <= 3 AND "case" = (SELECT key FROM cases WHERE name = ?)',
        (NAMES[which],),
    )
    base.commit()
    base.close()
    with pytest.raises(LogError, match=f"damaged at case {NAMES[which]}"):
        SqliteLog(path)


def test_any_damage_is_one_line_or_none(path: Path) -> None:
    """Keys lost and values of another kind, at random: lifted, or refused in one line."""
    fewer(path, "reading", "two")
    base = sqlite3.connect(path)
    rows = base.execute('SELECT "case", number, body FROM events').fetchall()
    base.close()
    before = path.read_bytes()
    refused = 0
    for seed in range(150):
        random = Random(seed)
        key, number, body = random.choice(rows)
        data = json.loads(body)
        _spoil(random, data)
        path.write_bytes(before)
        base = sqlite3.connect(path)
        change = 'UPDATE events SET body = ? WHERE "case" = ? AND number = ?'
        base.execute(change, (json.dumps(data), key, number))
        base.commit()
        base.close()
        spoilt = path.read_bytes()
        log, said = opened(path)
        if log is None:
            refused += 1
            assert "the log is damaged at case" in said
            assert (path.read_bytes(), beside(path)) == (spoilt, [])
        else:
            for case in log.cases():
                log.events(case)
            log.close()
            for old in beside(path):
                old.unlink()
    assert refused > 20


def opened(path: Path) -> tuple[SqliteLog | None, str]:
    """Return the log, or None and the line that refuses it."""
    try:
        return SqliteLog(path), ""
    except LogError as error:
        return None, str(error)


def _spoil(random: Random, data: Any) -> None:
    """Take something away from plain data, or put something of another kind there."""
    while isinstance(data, dict | list) and data:
        place = random.choice(list(data) if isinstance(data, dict) else range(len(data)))
        inner = data[place]
        if isinstance(inner, dict | list) and inner and random.random() < 0.7:
            data = inner
            continue
        if random.random() < 0.4:
            del data[place]
        else:
            data[place] = random.choice([None, 7, "word", [], {}, [1], {"a": 1}, -0.5, True])
        return
