"""A round taken up again: what fits stands, what is new is asked, nothing is in force."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from diagnose.case.round_replay import ResumedRound, replay_round
from strategies.rounds import LINES, ROUND, Told, opened, written

if TYPE_CHECKING:
    from pathlib import Path

    from diagnose.case.round_walk import RoundWalk


def again(told: Told, walk: RoundWalk | None = None) -> tuple[Told, ResumedRound]:
    walk = walk or told.walk
    back = replay_round(walk, told.bodies)
    return Told(walk, back.state), back


@pytest.fixture
def told(tmp_path: Path) -> Told:
    return Told(opened(written(tmp_path)))


def test_a_round_goes_on_where_it_was_left_with_nothing_in_force(told: Told) -> None:
    told.say("done", "done", "not now", "leave")
    resumed, back = again(told)
    assert resumed.at == "take lockout"
    assert resumed.state.in_force == 0
    assert (back.fits, back.misfits) == (2, 0)
    assert dict(resumed.state.marks) == {"look": "done", "note": "not now"}
    assert [note.id for note in resumed.screen.notes] == ["resumed"]
    resumed.say("back")
    assert resumed.at == "note"
    resumed.say("back")
    assert resumed.at == "take key-out"


def test_what_was_withdrawn_stays_withdrawn(told: Told) -> None:
    told.say("done", "not now", "back", "done", "leave")
    resumed, _ = again(told)
    assert dict(resumed.state.marks) == {"look": "done"}


def test_a_refusal_ends_with_a_resume_and_what_it_passed_does_not(told: Told) -> None:
    told.say("cannot", "leave")
    resumed, _ = again(told)
    assert dict(resumed.state.marks) == {"look": "not now"}
    assert resumed.state.refused == 0
    resumed.say("done")
    assert resumed.at == "take lockout"


def test_a_diagnosis_goes_on_inside_its_round(told: Told) -> None:
    told.say("done", "not right", "1", "leave")
    resumed, back = again(told)
    assert resumed.at == "take lockout"
    assert resumed.screen.symptom == "lines"
    assert (back.fits, back.misfits) == (2, 0)
    assert [dict(note.into) for note in resumed.screen.notes] == [{"fits": "2", "misfits": "0"}]
    resumed.say("done", "cured")
    assert (resumed.at, resumed.screen.screen) == ("note", "item")


def test_a_diagnosis_that_was_taken_up_before_is_taken_up_again(told: Told) -> None:
    told.say("done", "not right", "leave")
    resumed, back = again(told)
    event = {**told.bodies[-1], "kind": "resumed", "symptom": "", "trail": [], "more": {}}
    told.bodies.append(event)
    told.state = resumed.state
    told.say("done", "1", "leave")
    resumed, back = again(told)
    assert resumed.at == "take lockout"
    assert back.misfits == 0


def test_the_way_back_from_a_resumed_diagnosis_is_its_item(told: Told) -> None:
    told.say("done", "not right", "leave")
    resumed, _ = again(told)
    resumed.say("back")
    assert resumed.at == "take key-out"
    resumed.say("done")
    assert (resumed.screen.screen, resumed.at) == ("item", "look")


def test_a_diagnosis_that_is_over_stays_over(told: Told) -> None:
    told.say("done", "not right", "2", "refer", "leave")
    resumed, _ = again(told)
    assert resumed.at == "note"
    assert resumed.state.with_service == {"lines"}
    assert "back" not in resumed.screen.replies
    resumed.say("done", "done", "done")
    # What waits for service is not run after a resume either.
    assert resumed.at == "close"


def test_a_cured_one_does_not_keep_the_machine_from_running(told: Told) -> None:
    told.say("done", "not right", "1", "done", "cured", "leave")
    resumed, _ = again(told)
    assert resumed.state.over == (("lines", "cured"),)
    assert resumed.state.with_service == frozenset()


def test_a_new_item_is_asked_and_a_changed_one_again(told: Told, tmp_path: Path) -> None:
    told.say("done", "done", "done", "leave")
    changed = ROUND.replace("do: Look at the blade.", "do: Look at both blades.")
    changed = changed.replace("items:\n", "items:\n  first:\n    do: Read the plate.\n")
    resumed, back = again(told, opened(written(tmp_path / "new", round_=changed)))
    assert (back.fits, back.misfits) == (1, 1)
    assert resumed.at == "first"
    resumed.say("done")
    assert resumed.at == "take key-out"
    resumed.say("done", "done")
    # The log has an answer to the one after it.
    assert resumed.at == "take lockout"


def test_an_item_that_is_gone_counts_as_no_fit(told: Told, tmp_path: Path) -> None:
    told.say("done", "done", "done", "leave")
    gone = ROUND.replace("  note:\n    do: Read the log.\n", "")
    resumed, back = again(told, opened(written(tmp_path / "new", round_=gone)))
    assert (back.fits, back.misfits) == (1, 1)
    assert resumed.at == "take lockout"


def test_a_diagnosis_whose_tree_is_gone_is_said_and_the_round_goes_on(
    told: Told, tmp_path: Path
) -> None:
    told.say("done", "not right", "leave")
    folder = written(tmp_path / "new")
    (folder / "lines.yaml").write_text("format: 1\n")
    resumed, _ = again(told, opened(folder))
    assert resumed.at == "note"
    assert [note.id for note in resumed.screen.notes] == ["doorway-shut"]


def test_a_diagnosis_on_a_changed_tree_says_how_much_still_fits(told: Told, tmp_path: Path) -> None:
    told.say("done", "not right", "1", "leave")
    changed = LINES.replace("Is the blade clean?", "Is the blade dirty?")
    resumed, back = again(told, opened(written(tmp_path / "new", lines=changed)))
    assert (back.fits, back.misfits) == (1, 1)
    assert resumed.at == "take key-out"


def test_a_round_of_which_nothing_is_left_is_over(told: Told, tmp_path: Path) -> None:
    told.say("done", "done", "leave")
    short = ROUND[: ROUND.index("  note:")]
    resumed, back = again(told, opened(written(tmp_path / "new", round_=short)))
    assert resumed.at == "walked"
    assert [(trace.what, trace.why) for trace in back.trail] == [("ended", "walked")]
