"""What the log says of a machine: it comes back, what was left undone, its story, what is open."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from diagnose.case.diagnoses import by_case, came_to, diagnoses
from diagnose.case.history import PERIODS, cured_before, due, since, undone
from diagnose.case.present import OFTEN
from diagnose.case.sqlite_log import SqliteLog
from diagnose.case.story import story, unfinished
from diagnose.commands.kept import after, round_opened
from diagnose.commands.kept import opened as case_opened
from strategies.rounds import opened, written

from diagnose.case.state import Event
from diagnose.commands import past

if TYPE_CHECKING:
    from pathlib import Path

    from diagnose.case.log import CaseRecord
    from diagnose.case.round_walk import RoundWalk

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


class Logged:
    """A log in which cases and rounds of a small library are walked at any time."""

    def __init__(self, folder: Path) -> None:
        self.at = NOW
        self.folder = written(folder / "library")
        self.log = SqliteLog(folder / "log", now=lambda: self.at.isoformat(timespec="seconds"))

    def ago(self, **time: float) -> Logged:
        self.at = NOW - timedelta(**time)
        return self

    def round(self, *texts: str, machine: str | None = "dock") -> CaseRecord:
        walk = opened(self.folder)
        state, trail = walk.opened()
        event = round_opened(walk, state, "Ana", trail)
        case = self.log.open_case("", machine, event, round="daily")
        return self._walk(case, walk, state, texts)

    def case(self, *texts: str, machine: str | None = "dock") -> CaseRecord:
        walk = opened(self.folder).walk
        state, trail = walk.opened("lines")
        case = self.log.open_case("lines", machine, case_opened(walk, state, "", trail))
        return self._walk(case, walk, state, texts)

    def _walk(self, case: CaseRecord, walk: Any, state: Any, texts: tuple[str, ...]) -> CaseRecord:
        told: set[str] = set()
        number = 2
        for text in texts:
            turn = walk.reply(state, text)
            assert turn.event is not None, (text, turn.interludes)
            event = after(walk, turn, told)
            told |= (event.more or {}).get("trees", {}).keys()
            self.log.append(case, number, event)
            state, number = turn.state, number + 1
        found = self.log.case(case.name)
        assert found is not None
        return found


@pytest.fixture
def log(tmp_path: Path) -> Logged:
    return Logged(tmp_path)


CURED = ("done", "1", "done", "cured")
REFERRED = ("done", "2", "refer")
ALL_DONE = ("done",) * 11


def walk_of(log: Logged, **more: Any) -> RoundWalk:
    return opened(log.folder, **more)


# It comes back


def test_cures_of_the_last_thirty_days_are_counted(log: Logged) -> None:
    log.ago(days=31).case(*CURED)
    log.ago(days=29).case(*CURED)
    log.ago(days=3).case(*CURED)
    log.ago(days=2).case(*REFERRED)
    log.ago(days=1).case(*CURED, machine="aisle")
    log.ago(hours=1).round("done", "not right", "1", "done", "cured")
    counts = cured_before(log.log.milestones("dock", since(NOW)), NOW)
    assert counts == {("lines", "dirty"): 3}
    assert cured_before(log.log.milestones("dock"), NOW) == counts


@pytest.mark.parametrize("before", [OFTEN - 1, OFTEN])
def test_the_third_cure_is_advised_against(log: Logged, before: int) -> None:
    walk = walk_of(log, cured_before={("lines", "dirty"): before}).walk
    state = walk.open("lines")
    for text in ("done", "1", "done"):
        state = walk.reply(state, text).state
    notes = [(note.id, dict(note.into)) for note in walk.screen(state).notes]
    assert notes == ([("comes-back", {"before": "2"})] if before == OFTEN else [])


def test_what_is_service_s_gets_no_such_advice(log: Logged) -> None:
    walk = walk_of(log, cured_before={("lines", "bent"): 5}).walk
    state = walk.open("lines")
    for text in ("done", "2"):
        state = walk.reply(state, text).state
    assert walk.screen(state).notes == ()


def test_the_time_is_told_as_the_log_tells_it() -> None:
    assert past.now().tzinfo is UTC
    assert since(NOW, timedelta(hours=1)) == "2026-11-25T11:00:00+00:00"


# What the rounds left undone


def rounds(log: Logged) -> Any:
    return {"daily": walk_of(log).round}


def undone_now(log: Logged) -> dict[str, list[tuple[str, dict[str, str]]]]:
    cases, milestones = log.log.cases("dock"), log.log.milestones("dock")
    found = undone(rounds(log), "dock", cases, milestones, NOW)
    return {symptom: [(n.id, dict(n.into)) for n in notes] for symptom, notes in found.items()}


def test_nothing_is_missed_where_no_round_was_ever_begun(log: Logged) -> None:
    log.case(*CURED)
    assert undone_now(log) == {}


def test_an_item_left_for_another_time_speaks_for_its_symptom(log: Logged) -> None:
    log.ago(hours=2).round("done", "not now", *["done"] * 9)
    said = ("undone-item", {"round": "The daily round", "item": "Look at the blade."})
    assert undone_now(log) == {"lines": [said]}


def test_the_latest_round_counts(log: Logged) -> None:
    log.ago(hours=5).round("done", "not now", *["done"] * 9)
    log.ago(hours=2).round(*ALL_DONE)
    assert undone_now(log) == {}


def test_an_overdue_round_speaks_once_for_each_symptom_of_its_items(log: Logged) -> None:
    log.ago(hours=25).round(*ALL_DONE)
    said = ("undone-round", {"round": "The daily round"})
    assert undone_now(log) == {"lines": [said], "dead": [said]}


def test_a_round_that_was_only_begun_is_overdue(log: Logged) -> None:
    log.ago(hours=1).round("done", "leave")
    assert set(undone_now(log)) == {"lines", "dead"}


def test_an_item_not_done_that_starts_nothing_says_nothing(log: Logged) -> None:
    log.ago(hours=1).round("done", "done", "not now", *["done"] * 8)
    assert undone_now(log) == {}


def test_why_says_what_was_left_undone_for_this_symptom(log: Logged) -> None:
    log.ago(hours=2).round("done", "not now", *["done"] * 9)
    found = undone(rounds(log), "dock", log.log.cases(), log.log.milestones(), NOW)
    walk = walk_of(log, undone=found).walk
    state = walk.open("lines")
    assert "undone-item" not in {s.id for s in walk.reply(state, "why").interludes[0].text}  # type: ignore[attr-defined]
    state = walk.reply(state, "done").state
    assert [s.id for s in walk.reply(state, "why").interludes[0].text][-1] == "undone-item"  # type: ignore[attr-defined]


# What is overdue


@pytest.mark.parametrize(
    ("every", "hours"), [("shift", 12), ("day", 24), ("week", 7 * 24), ("month", 31 * 24)]
)
def test_a_round_is_overdue_after_its_period(log: Logged, every: str, hours: int) -> None:
    """The periods are the issue's own: 12 h, 24 h, 7 d, 31 d; common practice, no source."""
    assert PERIODS[every] == timedelta(hours=hours)
    own = {"daily": replace(walk_of(log).round, every=every)}
    log.ago(hours=hours).round(*ALL_DONE)
    (entry,) = due(own, ["dock"], log.log.cases(), NOW)
    assert (entry.overdue, entry.hours) == (False, hours)
    (entry,) = due(own, ["dock"], log.log.cases(), NOW + timedelta(seconds=1))
    assert entry.overdue


def test_what_was_never_walked_to_its_end_is_overdue(log: Logged) -> None:
    log.round("done", "leave")
    log.round("done", "danger")
    log.round(*ALL_DONE, machine="aisle")
    entries = due(rounds(log), ["dock", "aisle"], log.log.cases(), NOW)
    assert [(e.machine, e.last, e.overdue) for e in entries] == [
        ("dock", None, True),
        ("aisle", NOW.isoformat(), False),
    ]


# The diagnoses of a log


def of(log: Logged, case: CaseRecord) -> list[tuple[str, str, str | None]]:
    """The diagnoses of a case, the same by its milestones as by all of its events."""
    whole = diagnoses(case, log.log.events(case))
    (few,) = [diagnoses(c, e) for c, e in by_case(log.log.milestones()) if c == case]
    told = [(d.case.symptom, d.case.outcome, d.case.finding) for d in whole]
    assert told == [(d.case.symptom, d.case.outcome, d.case.finding) for d in few]
    assert [came_to(d.last) for d in whole] == [came_to(d.last) for d in few]
    return told


def test_a_case_is_one_diagnosis(log: Logged) -> None:
    assert of(log, log.case(*CURED)) == [("lines", "cured", "dirty")]


def test_a_round_holds_those_that_its_items_started(log: Logged) -> None:
    first = ("done", "not right", *CURED[1:])
    case = log.round(*first, "done", "done", "not right", *REFERRED[1:], "leave")
    assert case.outcome == "open"
    assert of(log, case) == [("lines", "cured", "dirty"), ("lines", "referred", None)]


def test_what_was_withdrawn_is_none(log: Logged) -> None:
    assert of(log, log.round("done", "not right", "back", "done", "leave")) == []


def test_one_that_was_left_is_open(log: Logged) -> None:
    case = log.round("done", "not right", "1", "leave")
    assert of(log, case) == [("lines", "open", None)]
    (one,) = diagnoses(case, log.log.events(case))
    assert one.events[0].body["kind"] == "opened"
    assert one.events[0].body["symptom"] == "lines"
    assert one.events[0].body["more"]["role"] == "operator"
    assert came_to(one.last) == "left, not finished"


def test_one_that_went_on_after_a_resume_stays_one(log: Logged) -> None:
    case = log.round("done", "not right", "leave")
    number = log.log.events(case)[-1].number + 1
    log.log.append(case, number, Event(kind="resumed", symptom="", step=""))
    walk = opened(log.folder).walk
    turn = walk.reply(walk.open("lines"), "danger")
    log.log.append(case, number + 1, after(walk, turn, set()))
    (one,) = diagnoses(case, log.log.events(case))
    assert [e.body["kind"] for e in one.events] == ["opened", "leave", "resumed", "danger"]
    assert came_to(one.last) == "referred: a danger was reported"


def test_a_danger_at_an_item_is_one_without_a_symptom(log: Logged) -> None:
    case = log.round("done", "danger")
    assert case.outcome == "referred"
    assert of(log, case) == [("", "referred", None)]


def test_what_service_found_goes_to_its_symptom(log: Logged) -> None:
    case = log.round("done", "not right", "2", "refer", "leave")
    (one,) = diagnoses(case, log.log.events(case))
    assert one.waits
    number = log.log.events(case)[-1].number + 1
    for offset, symptom in enumerate(("dead", "lines")):
        event = Event(kind="found", symptom=symptom, step="", answer="bent")
        log.log.append(case, number + offset, event)
    (one,) = diagnoses(case, log.log.events(case))
    assert one.case.found == "bent"
    assert not one.waits
    assert came_to(one.last) == "referred: The frame is bent."


def test_a_case_without_anything_left_says_so(log: Logged) -> None:
    case = log.case("done", "1", "cannot")
    (one,) = diagnoses(case, log.log.events(case))
    assert came_to(one.last) == "referred: nothing is left that an operator can check"


def test_a_second_diagnosis_of_a_symptom_knows_its_findings(log: Logged) -> None:
    """The log tells a tree once; each diagnosis is told as a case that stands alone."""
    case = log.round("done", "not right", *CURED[1:], "done", "done", "not right", *REFERRED[1:])
    for each in diagnoses(case, log.log.events(case)):
        assert set(each.events[0].body["more"]["trees"]["lines"]["findings"]) == {
            *("dirty", "bent", "other"),
        }


# A machine's story


def test_a_story_is_one_list_of_cases_findings_readings_and_rounds(log: Logged) -> None:
    case = log.ago(days=2).case(*REFERRED)
    number = log.log.events(case)[-1].number + 1
    log.ago(days=1.5).log.append(
        case, number, Event(kind="found", symptom="lines", step="", answer="bent")
    )
    figure = {"figure": {"value": 25.42, "unit": "V"}}
    read = Event(
        kind="answer",
        symptom="lines",
        step="volts",
        answer="charged",
        shown={"title": "Rest voltage"},
        more=figure,
    )
    left = log.ago(days=1).case("done", "leave")
    log.log.append(left, 4, read)
    log.ago(hours=3).round("done", "not now", "not right", *["done"] * 8)
    lines = [(e.case, e.about, e.text) for e in story(log.log.milestones("dock"))]
    third = lines[-1][0]
    assert lines == [
        (case.name, "case", "opened: It leaves lines"),
        (case.name, "finding", "referred: The frame is bent."),
        (case.name, "finding", "service found: bent"),
        (left.name, "case", "opened: It leaves lines"),
        (left.name, "finding", "left, not finished"),
        (left.name, "reading", "Rest voltage: 25.42 V, charged"),
        (third, "round", "The daily round: begun by Ana, operator"),
        (third, "round", "not right: Read the log."),
        (third, "round", "The daily round: walked, 3 of 5 done; not now: Look at the blade."),
    ]


def test_a_story_tells_diagnoses_inside_a_round_and_no_withdrawn_mark(log: Logged) -> None:
    withdrawn = ("done", "done", "not right", "back", "done")
    log.round(*withdrawn, "done", "not right", "1", "cured", "danger")
    texts = [entry.text for entry in story(log.log.milestones())]
    assert texts == [
        "The daily round: begun by Ana, operator",
        "not right: Turn the brush by hand.",
        "cured: The blade is dirty.",
        "The daily round: stopped, a danger was reported, 2 of 5 done",
    ]


def test_a_round_that_broke_off_without_a_word_tells_what_it_has(log: Logged) -> None:
    log.round("done", "done", "not right")
    assert [entry.text for entry in story(log.log.milestones())][1:] == ["not right: Read the log."]


# What is not over


def open_now(log: Logged) -> dict[str | None, tuple[list[str], list[str], str | None]]:
    return {
        machine.machine: (
            [came_to(each.last) for each in machine.waiting],
            [do for _, do in machine.noted],
            machine.since,
        )
        for machine in unfinished(log.log.milestones())
    }


def test_cured_and_answered_cases_are_over(log: Logged) -> None:
    log.case(*CURED)
    case = log.case(*REFERRED)
    found = Event(kind="found", symptom="lines", step="", answer="bent")
    log.log.append(case, log.log.events(case)[-1].number + 1, found)
    log.round(*ALL_DONE)
    assert open_now(log) == {"dock": ([], [], None)}


def test_what_waits_says_since_when(log: Logged) -> None:
    log.ago(days=3).case(*REFERRED)
    log.ago(days=2).round("done", "not right", "1", "leave")
    log.ago(days=1).case(*CURED, machine=None)
    assert open_now(log) == {
        "dock": (
            ["referred: The frame is bent.", "left, not finished"],
            [],
            (NOW - timedelta(days=3)).isoformat(),
        ),
        None: ([], [], None),
    }


def test_what_was_noted_in_a_round_is_over_once_it_was_walked_again(log: Logged) -> None:
    log.ago(days=2).round("done", "done", "not right", *["done"] * 8)
    assert open_now(log)["dock"][1:] == (["Read the log."], (NOW - timedelta(days=2)).isoformat())
    log.ago(days=1).round(*ALL_DONE)
    assert open_now(log)["dock"] == ([], [], None)


def test_a_danger_at_an_item_is_over_once_a_later_round_was_walked(log: Logged) -> None:
    log.ago(days=2).round("done", "danger")
    assert open_now(log)["dock"][0] == ["referred: a danger was reported"]
    log.ago(days=1).round(*ALL_DONE)
    assert open_now(log)["dock"] == ([], [], None)


# The log itself


def test_a_round_is_a_case_that_says_which(log: Logged) -> None:
    case = log.round(*ALL_DONE)
    assert (case.symptom, case.round, case.outcome, case.finding) == ("", "daily", "walked", None)
    cured = log.round("done", "not right", *CURED[1:])
    assert (cured.outcome, cured.finding) == ("open", None)


def test_milestones_are_few_and_in_order(log: Logged) -> None:
    case = log.ago(days=1).round("done", "not right", "back", "done", "done", "leave")
    other = log.ago(hours=1).case(*CURED, machine="aisle")
    found = log.log.milestones()
    assert [(m.case.name, m.event.body["kind"]) for m in found] == [
        (case.name, "opened"),
        (case.name, "not right"),
        (case.name, "back"),
        (case.name, "leave"),
        (other.name, "opened"),
        (other.name, "cured"),
    ]
    assert found[0].case is found[1].case
    assert [m.case.name for m in log.log.milestones("aisle")] == [other.name] * 2
    assert log.log.milestones("dock", since(NOW, timedelta(hours=2))) == []
