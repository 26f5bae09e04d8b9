"""What the log says of a machine: it comes back, what was left undone, its story, what is open."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from msgspec.structs import replace
from strategies.rounds import LINES, Told, begun, opened, written
from strategies.walker import Walker, visit_to

from diagnose.case.view import OFTEN
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.log import clock
from diagnose.log.events import Found
from diagnose.log.history import PERIODS, came_back, cured_before, due, repeats, since, undone
from diagnose.log.machine_state import held, holding, release
from diagnose.log.machine_state import since as out_since
from diagnose.log.sqlite import SqliteLog
from diagnose.log.story import by_case, came_to, noted_now, story

if TYPE_CHECKING:
    from pathlib import Path

    from diagnose.log.protocol import CaseRecord

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
READING = LINES.replace("It is dirty: dirty", "It is dirty: speed").replace(
    "  dirty:\n",
    "  speed:\n    read: travel-speed\n    passes: none\n    bands:\n"
    "      - {below: 4, call: slow, go: dirty}\n      - {otherwise: fast, go: bent}\n"
    "  dirty:\n",
)


class Logged:
    """A log in which cases and rounds of a small library are walked at any time."""

    def __init__(self, folder: Path) -> None:
        self.at = NOW
        self.folder = written(folder / "library")
        self.log = SqliteLog(folder / "log", now=lambda: self.at.isoformat(timespec="seconds"))

    def ago(self, **time: float) -> Logged:
        self.at = NOW - timedelta(**time)
        return self

    def told(self, *texts: str, machine: str | None = "dock") -> Told:
        """Return a round that was walked, each reply understood."""
        told = Told(opened(self.folder), self.log, machine)
        for text in texts:
            turn = told.say(text)
            assert turn.exchange is not None, (text, turn.interludes)
        return told

    def round(self, *texts: str, machine: str | None = "dock") -> CaseRecord:
        return self.told(*texts, machine=machine).record

    def case(
        self, *texts: str, machine: str | None = "dock", folder: Path | None = None
    ) -> CaseRecord:
        visit = visit_to(ReadyLibrary(folder or self.folder))
        told = begun(visit, Walker(visit).opened("lines"), self.log, machine)
        for text in texts:
            turn = told.say(text)
            assert turn.exchange is not None, (text, turn.interludes)
        found = self.log.case(told.own.case.name)
        assert found is not None
        return found

    def found(self, case: CaseRecord, finding: str = "bent", **more: Any) -> None:
        cures = ((case.symptom, finding),)
        event = Found(symptom=case.symptom, finding=finding, cures=cures, **more)
        self.log.append(case, self.log.events(case)[-1].number + 1, event)


@pytest.fixture
def log(tmp_path: Path) -> Logged:
    return Logged(tmp_path)


CURED = ("done", "1", "done", "cured")
REFERRED = ("done", "2", "refer")
ALL_DONE = ("done",) * 11


def walker(log: Logged, **more: Any) -> Walker:
    return Walker(opened(log.folder, **more).visit)


# It comes back


def test_cures_of_the_last_thirty_days_are_counted(log: Logged) -> None:
    log.ago(days=31).case(*CURED)
    log.ago(days=29).case(*CURED)
    log.ago(days=3).case(*CURED)
    log.ago(days=2).case(*REFERRED)
    log.ago(days=1).case(*CURED, machine="aisle")
    log.ago(hours=1).round("done", "not right", "1", "done", "cured")
    counts = cured_before(log.log.cures("dock", since(NOW)), NOW)
    assert counts == {("lines", "dirty"): 3}
    assert cured_before(log.log.cures("dock"), NOW) == counts


@pytest.mark.parametrize("before", [OFTEN - 2, OFTEN - 1, OFTEN])
@pytest.mark.parametrize(("parts", "word"), [("", "care"), ("    parts: [blade]\n", "part")])
def test_the_third_cure_is_told_at_its_end(log: Logged, before: int, parts: str, word: str) -> None:
    """A remedy with a part and one without mean something else; before the end nothing is said."""
    remedy = "    remedy: Wipe it.\n"
    written(log.folder, lines=LINES.replace(remedy, f"{remedy}{parts}"))
    walk = walker(log, cured_before={("lines", "dirty"): before})
    state = walk.open("lines")
    for text in ("done", "1", "done"):
        state = walk.reply(state, text).state
    assert walk.screen(state).notes == ()
    notes = walk.screen(walk.reply(state, "cured").state).notes
    often = [(f"comes-back-{word}", {"times": f"{before + 1}"})] if before + 1 >= OFTEN else []
    assert [(note.id, dict(note.into)) for note in notes] == often
    other = walk.screen(walk.reply(state, "not cured").state)
    assert not [note for note in other.notes if note.id.startswith("comes-back")]


def test_a_third_cure_inside_a_round_is_told_there(log: Logged) -> None:
    walker_ = opened(log.folder, cured_before={("lines", "dirty"): OFTEN - 1})
    told = Told(walker_, log.log, "dock")
    told.say("done", "not right", "1", "done", "cured")
    assert [note.id for note in told.screen.notes] == ["round-after-cured", "comes-back-care"]


def test_what_is_service_s_gets_no_such_advice(log: Logged) -> None:
    walk = walker(log, cured_before={("lines", "bent"): 5})
    state = walk.open("lines")
    for text in ("done", "2"):
        state = walk.reply(state, text).state
    assert walk.screen(state).notes == ()
    assert walk.screen(walk.reply(state, "refer").state).notes == ()


def test_repeats_are_counted_at_each_cure_on_its_machine(log: Logged) -> None:
    for days in (40, 29, 20, 12):
        log.ago(days=days).case(*CURED)
    log.ago(days=2).case(*CURED, machine="aisle")
    log.ago(days=2).case(*CURED, machine=None)
    last = log.ago(days=1).case(*CURED)
    often = repeats(log.log.cures())
    by_age = {case.key: case for case in log.log.cases()}
    ages = {
        (NOW - datetime.fromisoformat(by_age[key].opened)).days: one for key, one in often.items()
    }
    assert {age: one.times for age, one in ages.items()} == {20: 3, 12: 4, 1: 4}
    assert often[last.key].finding == ("lines", "dirty")
    assert (often[last.key].words, often[last.key].parts) == ("The blade is dirty.", ())
    recent = list(log.log.cures(since=since(NOW, timedelta(days=60))))
    now = {machine: [one.times for one in few] for machine, few in came_back(recent, NOW).items()}
    assert now == {"dock": [4]}
    assert came_back(recent, NOW + timedelta(days=31)) == {}


def test_the_time_is_told_as_the_log_tells_it() -> None:
    assert clock.now().tzinfo is UTC
    assert since(NOW, timedelta(hours=1)) == "2026-11-25T11:00:00+00:00"


# What the rounds left undone


def rounds(log: Logged) -> Any:
    library = ReadyLibrary(log.folder, frozenset())
    return dict(library.rounds)


def left_by(log: Logged) -> Any:
    def left(name: str) -> Any:
        last = log.log.last_left("dock", name)
        return () if last is None else last.summary.left

    return left


def undone_now(log: Logged) -> dict[str, list[tuple[str, dict[str, str]]]]:
    found = undone(rounds(log), "dock", log.log.begun("dock"), left_by(log), NOW)
    return {symptom: [(n.id, dict(n.into)) for n in notes] for symptom, notes in found.items()}


def test_nothing_is_missed_where_no_round_was_ever_begun(log: Logged) -> None:
    log.case(*CURED)
    assert undone_now(log) == {}


def test_an_item_left_for_another_time_speaks_for_its_symptom(log: Logged) -> None:
    log.ago(hours=2).round("done", "not now", *["done"] * 9)
    said = ("undone-item", {"round": "The daily round", "item": "It is clean."})
    assert undone_now(log) == {"lines": [said]}


def test_an_item_that_says_not_what_is_seen_there_is_not_told_by_what_to_do(log: Logged) -> None:
    """What to do there stands behind its own cautions."""
    log.ago(hours=2).round("done", "not now", *["done"] * 9)
    known = rounds(log)
    bare = {name: replace(item, look_for=None) for name, item in known["daily"].items.items()}
    for items in (bare, {}):
        known["daily"] = replace(known["daily"], items=items)
        # An item that is no more still starts what it started.
        found = undone(known, "dock", log.log.begun("dock"), left_by(log), NOW)
        said = [(note.id, dict(note.into)) for note in found["lines"]]
        assert said == [("undone-other", {"round": "The daily round"})]


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
    found = undone(rounds(log), "dock", log.log.begun(), left_by(log), NOW)
    walk = walker(log, undone=found)
    state = walk.open("lines")
    assert "undone-item" not in {s.id for s in walk.reply(state, "why").interludes[0].text}  # type: ignore[attr-defined]
    state = walk.reply(state, "done").state
    assert [s.id for s in walk.reply(state, "why").interludes[0].text][-1] == "undone-item"  # type: ignore[attr-defined]


# What is overdue


@pytest.mark.parametrize(
    ("every", "hours"), [("shift", 12), ("day", 24), ("week", 7 * 24), ("month", 31 * 24)]
)
def test_a_round_is_overdue_after_its_period(log: Logged, every: str, hours: int) -> None:
    """12 h, 24 h, 7 d, 31 d: common practice, no published source."""
    assert PERIODS[every] == timedelta(hours=hours)
    own = {"daily": replace(rounds(log)["daily"], every=every)}
    log.ago(hours=hours).round(*ALL_DONE)
    (entry,) = due(own, ["dock"], log.log.begun("dock"), NOW)
    assert (entry.overdue, entry.hours) == (False, hours)
    (entry,) = due(own, ["dock"], log.log.begun("dock"), NOW + timedelta(seconds=1))
    assert entry.overdue


def test_what_was_never_walked_to_its_end_is_overdue(log: Logged) -> None:
    log.round("done", "leave")
    log.round("done", "danger", "other")
    log.round(*ALL_DONE, machine="aisle")
    entries = due(rounds(log), ["dock", "aisle"], log.log.begun(), NOW)
    assert [(e.machine, e.last, e.overdue) for e in entries] == [
        ("dock", None, True),
        ("aisle", NOW.isoformat(), False),
    ]


# The cases of a log


def of(log: Logged) -> list[tuple[str, str, str | None, str]]:
    """The cases that began a symptom, with what they came to by the few events of a story."""
    return [
        (case.symptom, case.outcome, case.finding, came_to(events))
        for case, events in by_case(log.log.milestones())
        if case.round is None and came_to(events) == came_to(log.log.events(case))
    ]


def test_a_case_is_one_case(log: Logged) -> None:
    log.case(*CURED)
    assert of(log) == [("lines", "cured", "dirty", "cured: The blade is dirty.")]


def test_each_item_that_was_not_right_began_a_case(log: Logged) -> None:
    first = ("done", "not right", *CURED[1:])
    told = log.told(*first, "done", "done", "not right", *REFERRED[1:], "leave")
    assert told.record.outcome == "open"
    assert [(case.symptom, case.outcome, case.finding) for case in told.cases] == [
        ("lines", "cured", "dirty"),
        ("lines", "referred", None),
    ]
    assert sorted(of(log)) == [
        ("lines", "cured", "dirty", "cured: The blade is dirty."),
        ("lines", "referred", None, "referred: The frame is bent."),
    ]


def test_what_was_withdrawn_is_no_part_of_a_story(log: Logged) -> None:
    (case,) = log.told("done", "not right", "back", "done", "leave").cases
    assert case.outcome == "withdrawn"
    assert not case.waits
    assert case.name not in [line.case for line in story(log.log.milestones())]
    assert open_now(log)["dock"] == ([], [], None)


def test_one_that_was_left_is_open(log: Logged) -> None:
    (case,) = log.told("done", "not right", "1", "leave").cases
    assert (case.outcome, case.waits) == ("open", True)
    assert of(log) == [("lines", "open", None, "left, not finished")]


def test_one_that_went_on_after_a_resume_stays_one(log: Logged) -> None:
    told = log.told("done", "not right", "leave")
    told.resume()
    told.say("danger", "hurt")
    (case,) = told.cases
    kinds = [type(event).__name__ for event in told.events_of(case)]
    assert kinds == ["Opened", "Replied", "Resumed", "Replied", "Replied"]
    came = "referred: a danger was reported: somebody is hurt"
    assert of(log) == [("lines", "referred", None, came)]


def test_a_danger_at_an_item_is_the_round_s(log: Logged) -> None:
    told = log.told("done", "danger", "heat")
    assert (told.record.outcome, told.cases) == ("referred", [])
    came = came_to(log.log.events(told.record))
    assert came == "referred: a danger was reported: something is too hot"


def test_what_service_found_goes_to_the_case(log: Logged) -> None:
    told = log.told("done", "not right", "2", "refer", "leave")
    (case,) = told.cases
    assert case.waits
    log.found(case)
    (case,) = told.cases
    assert case.found == "bent"
    assert not case.waits
    assert told.record.found is None
    assert of(log) == [("lines", "referred", None, "referred: The frame is bent.")]


def test_a_case_without_anything_left_says_so(log: Logged) -> None:
    log.case("done", "1", "cannot")
    said = "referred: nothing is left that an operator can check"
    assert of(log) == [("lines", "referred", None, said)]


def test_a_second_case_of_a_symptom_knows_its_findings(log: Logged) -> None:
    """Each is told as a case that stands alone, on the tree that it was begun with."""
    told = log.told(
        "done", "not right", *CURED[1:], "done", "done", "not right", *REFERRED[1:], "leave"
    )
    assert len(told.cases) == 2
    for case in told.cases:
        first: Any = told.events_of(case)[0]
        assert set(first.trees["lines"].findings) == {"dirty", "bent", "other"}


# A machine's story


def test_a_story_is_one_list_of_cases_findings_readings_and_rounds(log: Logged) -> None:
    case = log.ago(days=2).case(*REFERRED)
    log.ago(days=1.5).found(case)
    folder = written(log.folder.parent / "reading", lines=READING)
    left = log.ago(days=1).case("done", "1", "distance=10 m time=12 s", "leave", folder=folder)
    log.ago(hours=3).round("done", "not now", "not right", *["done"] * 8)
    lines = [(e.case, e.about, e.text) for e in story(log.log.milestones("dock"))]
    third = lines[-1][0]
    assert lines == [
        (case.name, "case", "opened: It leaves lines"),
        (case.name, "finding", "referred: The frame is bent."),
        (case.name, "finding", "service found: bent"),
        (left.name, "case", "opened: It leaves lines"),
        (left.name, "reading", "Speed over a measured distance: 3 km/h, slow"),
        (left.name, "finding", "left, not finished"),
        (third, "round", "The daily round: begun by Ana, operator"),
        (third, "round", "not right: Read the log."),
        (third, "round", "The daily round: walked, 3 of 5 done; not now: Look at the blade."),
    ]


def test_a_story_tells_cases_of_a_round_and_no_withdrawn_mark(log: Logged) -> None:
    withdrawn = ("done", "done", "not right", "back", "done")
    told = log.told(*withdrawn, "done", "not right", "1", "cured", "danger", "smoke")
    (case,) = told.cases
    lines = story(log.log.milestones())
    assert [line.text for line in lines if line.case == told.record.name] == [
        "The daily round: begun by Ana, operator",
        "not right: Turn the brush by hand.",
        "The daily round: stopped, a danger was reported, 2 of 5 done",
    ]
    assert [line.text for line in lines if line.case == case.name] == [
        "opened: It leaves lines",
        "cured: The blade is dirty.",
    ]
    assert len(lines) == 5


def test_a_round_that_broke_off_without_a_word_tells_what_it_has(log: Logged) -> None:
    log.round("done", "done", "not right")
    assert [entry.text for entry in story(log.log.milestones())][1:] == ["not right: Read the log."]


# What is not over


def open_now(log: Logged) -> dict[str | None, tuple[list[str], list[str], str | None]]:
    """By machine: what waits, what was noted, and since when it is not simply in use."""
    noted = noted_now(log.log.not_right())
    return {
        machine: (
            [one.summary.what for one in log.log.waiting_at(machine)],
            [do for _, do in noted.get(machine, ())],
            out_since(holding(log.log, log.log.waiting_at(machine))),
        )
        for machine in log.log.machines()
    }


def test_cured_and_answered_cases_are_over(log: Logged) -> None:
    log.case(*CURED)
    case = log.case(*REFERRED)
    log.found(case, released=True)
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
    assert open_now(log)["dock"] == ([], ["Read the log."], None)
    log.ago(days=1).round(*ALL_DONE)
    assert open_now(log)["dock"] == ([], [], None)


def test_a_danger_at_an_item_is_over_once_the_machine_was_released(log: Logged) -> None:
    log.ago(days=2).round("done", "danger", "smoke")
    since_then = (NOW - timedelta(days=2)).isoformat()
    said = (["referred: a danger was reported: smoke or a burning smell"], [], since_then)
    assert open_now(log)["dock"] == said
    log.ago(days=1).round(*ALL_DONE)
    assert open_now(log)["dock"] == said
    release(log.log, held(log.log, "dock"), "Bo")
    assert open_now(log)["dock"] == ([], [], None)


# The log itself


def test_a_round_is_a_case_that_says_which(log: Logged) -> None:
    case = log.round(*ALL_DONE)
    assert case.begun_in is None
    assert (case.symptom, case.round, case.outcome, case.finding) == ("", "daily", "walked", None)
    cured = log.round("done", "not right", *CURED[1:])
    assert (cured.outcome, cured.finding) == ("open", None)


def test_milestones_are_few_and_in_order(log: Logged) -> None:
    told = log.ago(days=2).told("done", "not right")
    log.ago(days=1)
    told.say("back", "done", "done", "leave")
    (inner,) = told.cases
    other = log.ago(hours=1).case(*CURED, machine="aisle")
    found = log.log.milestones()
    own = told.record.name
    assert sorted((m.case.name, m.logged.number, type(m.logged.event).__name__) for m in found) == (
        sorted(
            [
                (own, 1, "RoundOpened"),
                (own, 3, "ItemReplied"),
                (own, 4, "CaseOver"),
                (own, 7, "ItemReplied"),
                (inner.name, 1, "Opened"),
                (inner.name, 2, "Replied"),
                (other.name, 1, "Opened"),
                (other.name, 5, "Replied"),
            ]
        )
    )
    keys = [(m.case.opened, m.case.name, m.logged.number) for m in found]
    assert keys == sorted(keys)
    assert found[0].case is found[1].case
    assert [m.case.name for m in log.log.milestones("aisle")] == [other.name] * 2
    assert log.log.milestones("dock", since(NOW, timedelta(hours=2))) == []
