"""What the log, and what is told from it, know of cautions that shared a screen."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from strategies.memory_log import MemoryLog
from strategies.rounds import CAUTIONS, Told, begun, opened, written
from strategies.walker import Walker, visit_to

from diagnose.case.screens import CautionScreen
from diagnose.commands.cases import event_line
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.log.account import Account
from diagnose.log.events import CautionShown, ItemReplied, Replied, read
from diagnose.log.replay import replay
from diagnose.paper.handover import handover
from diagnose.paper.handover_sheet import as_markdown

if TYPE_CHECKING:
    from pathlib import Path

    from strategies.rounds import ToldCase

#: The same cautions confirmed together, but for the lockout.
TOGETHER = (
    CAUTIONS.replace("format: 1", "format: 2")
    .replace("    title: Machine dead\n", "    title: Locked out\n    confirm_lines: each\n")
    .replace("    includes: [key-out]\n", "    includes: [key-out]\n    lockout: true\n")
)

TREE = """\
format: 2
symptom: wet
title: It is wet
start: look
steps:
  look:
    ask: Is it wet?
    hazards: [startup, moving]
    passes: none
    answers: {It is wet: hands, It is dry: dry}
  hands:
    finding: The hose is off.
    chance: 60
    who: operator
    remedy: Push it on.
    hazards: [brush]
  dry:
    finding: Nothing is wrong.
    chance: 40
    who: service
    until_mended: in use with care
    leave_safe: Park it.
    ask_service: Look again.
"""


def case(folder: Path, *replies: str) -> ToldCase:
    """A case on the little tree, with these replies logged."""
    written(folder, wet=TREE)
    (folder / "cautions.yaml").write_text(TOGETHER)
    visit = visit_to(ReadyLibrary(folder))
    told = begun(visit, Walker(visit).opened("wet"), MemoryLog(), None)
    for reply in replies:
        assert told.say(reply).exchange is not None, reply
    return told


def events(told: ToldCase) -> list[Replied]:
    logged = told.own.log.events(told.own.case)
    return [entry.event for entry in logged if isinstance(entry.event, Replied)]


def account(told: ToldCase) -> Account:
    return Account(told.own.log.events(told.own.case))


def test_both_are_confirmed_each_with_its_own_lines(tmp_path: Path) -> None:
    told = case(tmp_path, "done", "It is wet", "done")
    shared, _, alone = events(told)
    assert [one.title for one in shared.cautions] == ["Key out", "People clear"]
    assert (shared.shown.lines, alone.shown.lines) == ("together", "each")
    assert [(one.id, one.confirm, one.included) for one in account(told).cautions()] == [
        ("key-out", ("The key is out.",), False),
        ("people", ("Nobody is near.",), False),
        ("lockout", ("The connector is apart.",), False),
    ]
    assert event_line(shared) == "Key out, People clear: confirmed"


def test_the_one_that_was_refused_is_told_and_the_other_is_not(tmp_path: Path) -> None:
    told = case(tmp_path, "cannot people")
    (event,) = events(told)
    assert event.refused == ("people",)
    assert event_line(event) == "People clear: cannot"
    assert account(told).cautions() == []
    (passed,) = event.passed
    assert (passed.step, passed.why, passed.reason) == ("look", "caution", "People clear")
    log, known = told.own.log, told.own.case
    page = as_markdown(handover(known, log.events(known)))
    assert "Its caution was refused: People clear." in page


def test_all_that_were_refused_are_told(tmp_path: Path) -> None:
    (event,) = events(case(tmp_path, "cannot"))
    assert event.refused == ("key-out", "people")
    assert event_line(event) == "Key out, People clear: cannot"


def test_what_was_brought_along_and_refused_is_told_by_its_id(tmp_path: Path) -> None:
    told = case(tmp_path, "cannot people", "leave")
    again = replay(told.visit, "wet", events(told))
    assert (again.fits, again.misfits) == (1, 0)
    event = events(told)[0]
    brought = event.__class__(
        reply="cannot",
        symptom="wet",
        step="hands",
        shown=event.shown,
        caution="lockout",
        refused=("key-out-of-old",),
    )
    assert event_line(brought) == "key-out-of-old: cannot"


OLD = {
    "event": "replied",
    "reply": "done",
    "symptom": "wet",
    "step": "look",
    "caution": "lockout",
    "shown": {
        "screen": "caution",
        "title": "Machine dead",
        "phase": "take",
        "signal": "WARNING",
        "signs": ["M021"],
        "text": "Make it dead.",
        "confirm": ["The key is out.", "The connector is apart."],
        "hazards": ["Brushes can turn"],
    },
    "in_force": ["key-out", "lockout"],
}


def test_an_event_of_a_time_with_one_caution_a_screen_is_read() -> None:
    event = read(json.dumps(OLD))
    assert isinstance(event, Replied)
    assert event.cautions == (
        CautionShown(
            id="lockout",
            title="Machine dead",
            signal="WARNING",
            signs=("M021",),
            text="Make it dead.",
            confirm=("The key is out.", "The connector is apart."),
            hazards=("Brushes can turn",),
        ),
    )
    assert event_line(event) == "Machine dead: confirmed"
    refused = read(json.dumps(OLD | {"reply": "cannot", "in_force": []}))
    assert event_line(refused) == "Machine dead: cannot"


def test_a_case_of_that_time_is_taken_up_and_told(tmp_path: Path) -> None:
    told = case(tmp_path, "done", "It is wet")
    logged = told.own.log.events(told.own.case)
    old = read(json.dumps(OLD | {"step": "hands"}))
    told.own.write(old)
    again = replay(told.visit, "wet", [*(entry.event for entry in logged), old])
    assert (again.fits, again.misfits) == (1, 0)
    rows = {row.id: row for row in account(told).cautions()}
    assert rows["lockout"].confirm == ("The key is out.", "The connector is apart.")


def test_a_round_knows_too(tmp_path: Path) -> None:
    written(tmp_path)
    (tmp_path / "cautions.yaml").write_text(TOGETHER)
    text = (tmp_path / "rounds" / "daily.yaml").read_text()
    both = text.replace(
        "    hazards: [startup]\n    starts", "    hazards: [startup, moving]\n    starts"
    )
    (tmp_path / "rounds" / "daily.yaml").write_text(both)
    told = Told(opened(tmp_path))
    screen = told.screen
    assert isinstance(screen, CautionScreen)
    assert [guard.id for guard in screen.cautions] == ["key-out", "people"]
    told.say("cannot people")
    event = told.events[-1]
    assert isinstance(event, ItemReplied)
    assert (event.refused, event_line(event)) == (("people",), "People clear: cannot")
    assert told.at == "note"
    resumed = told.resume()
    assert resumed.misfits == 0
