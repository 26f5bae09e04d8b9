"""A round taken up again: what fits stands, what is new is asked, nothing is in force."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from strategies.memory_log import MemoryLog
from strategies.rounds import LINES, ROUND, Told, opened, written

from diagnose.log.events import CaseOver
from diagnose.round.walk import with_service

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def told(tmp_path: Path) -> Told:
    return Told(opened(written(tmp_path)))


def test_a_round_goes_on_where_it_was_left_with_nothing_in_force(told: Told) -> None:
    told.say("done", "done", "not now", "leave")
    back = told.resume()
    assert told.at == "take lockout"
    assert told.state.cautions.in_force == 0
    assert (back.fits, back.misfits) == (2, 0)
    assert dict(told.state.marks) == {"look": "done", "note": "not now"}
    assert [note.id for note in told.screen.notes] == ["resumed"]
    told.say("back")
    assert told.at == "note"
    told.say("back")
    assert told.at == "take key-out"


def test_what_was_withdrawn_stays_withdrawn(told: Told) -> None:
    told.say("done", "not now", "back", "done", "leave")
    told.resume()
    assert dict(told.state.marks) == {"look": "done"}


def test_a_refusal_ends_with_a_resume_and_what_it_passed_does_not(told: Told) -> None:
    told.say("cannot", "leave")
    told.resume()
    assert dict(told.state.marks) == {"look": "not now"}
    assert told.state.cautions.refused == 0
    told.say("done")
    assert told.at == "take lockout"


def test_a_diagnosis_goes_on_inside_its_round(told: Told) -> None:
    told.say("done", "not right", "1", "leave")
    back = told.resume()
    assert told.at == "take lockout"
    assert told.screen.symptom == "lines"
    assert (back.fits, back.misfits) == (2, 0)
    assert [note.id for note in told.screen.notes] == ["resumed"]
    told.say("done", "cured")
    assert (told.at, told.screen.screen) == ("note", "item")


def test_a_diagnosis_that_was_taken_up_before_is_taken_up_again(told: Told) -> None:
    told.say("done", "not right", "leave")
    told.resume()
    told.say("done", "1", "leave")
    back = told.resume()
    assert told.at == "take lockout"
    assert back.misfits == 0


def test_the_way_back_from_a_resumed_diagnosis_is_its_item(told: Told) -> None:
    told.say("done", "not right", "leave")
    told.resume()
    told.say("back")
    assert told.at == "take key-out"
    told.say("done")
    assert (told.screen.screen, told.at) == ("item", "look")


def test_a_diagnosis_that_is_over_stays_over(told: Told) -> None:
    told.say("done", "not right", "2", "refer", "leave")
    told.resume()
    assert told.at == "note"
    assert with_service(told.state) == {"lines"}
    assert "back" not in told.screen.replies
    told.say("done", "done", "done")
    # What waits for service is not run after a resume either.
    assert told.at == "close"


def test_a_cured_one_does_not_keep_the_machine_from_running(told: Told) -> None:
    told.say("done", "not right", "1", "done", "cured", "leave")
    told.resume()
    assert told.state.over == (("lines", "cured"),)
    assert with_service(told.state) == frozenset()


def test_a_new_item_is_asked_and_a_changed_one_again(told: Told, tmp_path: Path) -> None:
    told.say("done", "done", "done", "leave")
    changed = ROUND.replace("do: Look at the blade.", "do: Look at both blades.")
    changed = changed.replace("items:\n", "items:\n  first:\n    do: Read the plate.\n")
    back = told.resume(opened(written(tmp_path / "new", round_=changed)))
    assert (back.fits, back.misfits) == (1, 1)
    assert told.at == "first"
    told.say("done")
    assert told.at == "take key-out"
    told.say("done", "done")
    # The log has an answer to the one after it.
    assert told.at == "take lockout"


def test_an_item_that_is_gone_counts_as_no_fit(told: Told, tmp_path: Path) -> None:
    told.say("done", "done", "done", "leave")
    gone = ROUND.replace("  note:\n    do: Read the log.\n", "")
    back = told.resume(opened(written(tmp_path / "new", round_=gone)))
    assert (back.fits, back.misfits) == (1, 1)
    assert told.at == "take lockout"


def test_a_diagnosis_whose_tree_is_gone_is_said_and_the_round_goes_on(
    told: Told, tmp_path: Path
) -> None:
    told.say("done", "not right", "leave")
    folder = written(tmp_path / "new")
    (folder / "lines.yaml").write_text("format: 1\n")
    told.resume(opened(folder))
    assert told.at == "note"
    assert [note.id for note in told.screen.notes] == ["doorway-shut"]


def test_a_diagnosis_on_a_changed_tree_says_how_much_still_fits(told: Told, tmp_path: Path) -> None:
    told.say("done", "not right", "1", "leave")
    changed = LINES.replace("Is the blade clean?", "Is the blade dirty?")
    back = told.resume(opened(written(tmp_path / "new", lines=changed)))
    assert (back.fits, back.misfits) == (1, 1)
    assert told.at == "take key-out"


def test_a_round_of_which_nothing_is_left_is_over(told: Told, tmp_path: Path) -> None:
    told.say("done", "done", "leave")
    short = ROUND[: ROUND.index("  note:")]
    back = told.resume(opened(written(tmp_path / "new", round_=short)))
    assert told.at == "walked"
    assert [(trace.what, trace.why) for trace in back.trail] == [("ended", "walked")]


# The program was ended between a case's last event and the round's own


def unheard(told: Told) -> None:
    """Take the last event of the round away, which says what became of its case."""
    assert isinstance(told.log, MemoryLog)
    last = told.log.bodies[told.own.case.key].pop()
    assert isinstance(last.event, CaseOver)
    told.own.number -= 1


def test_a_case_taken_back_unheard_is_begun_anew(told: Told) -> None:
    told.say("done", "not right", "back")
    unheard(told)
    back = told.resume()
    assert (back.fits, back.misfits, dict(told.state.marks)) == (0, 0, {})
    told.say("done", "not right", "1", "leave")
    back = told.resume()
    assert (back.fits, back.misfits) == (2, 0)
    assert told.at == "take lockout"
    told.say("done", "cured", "leave")
    back = told.resume()
    assert (back.fits, back.misfits) == (1, 0)
    assert told.state.over == (("lines", "cured"),)
    assert [case.outcome for case in told.cases] == ["withdrawn", "cured"]


def test_back_after_one_unheard_withdraws_what_came_last(told: Told) -> None:
    told.say("done", "not right", "back")
    unheard(told)
    told.resume()
    told.say("done", "done", "back", "leave")
    back = told.resume()
    assert (back.fits, dict(told.state.marks)) == (0, {})
    told.say("done", "done", "not now", "leave")
    assert told.resume().fits == 2
    assert dict(told.state.marks) == {"look": "done", "note": "not now"}


@pytest.mark.parametrize(
    ("replies", "how"), [(("2", "refer"), "referred"), (("danger", "heat"), "danger")]
)
def test_an_end_unheard_is_the_round_s_all_the_same(
    told: Told, replies: tuple[str, ...], how: str
) -> None:
    told.say("done", "not right", *replies)
    unheard(told)
    back = told.resume()
    assert told.record.outcome == ("referred" if how == "danger" else "open")
    assert told.at == ("referred" if how == "danger" else "note")
    ends = [(trace.what, trace.why) for trace in back.trail if trace.what == "ended"]
    assert ends == ([("ended", "danger")] if how == "danger" else [])
