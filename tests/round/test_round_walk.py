"""A round: in order, under its cautions, and into a diagnosis where an item is not right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from strategies.rounds import ROUND, Told, opened, written

from diagnose.files.replies import DANGERS
from diagnose.log.events import CaseOver, ItemReplied

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def told(tmp_path: Path) -> Told:
    return Told(opened(written(tmp_path)))


def ids(told: Told) -> list[str]:
    return [note.id for note in told.screen.notes]


def in_force(told: Told) -> list[str]:
    return [held.id for held in told.screen.in_force]


def last(told: Told) -> Any:
    """The last event of the round."""
    return told.events[-1]


def test_items_come_in_order_under_their_cautions(told: Told) -> None:
    route = []
    while told.screen.screen != "end":
        route.append(told.at)
        told.say("done")
    assert route == [
        *("take key-out", "look", "note", "take lockout", "reach"),
        *("release lockout", "release key-out", "take people", "run", "take key-out", "close"),
    ]
    assert told.at == "walked"
    assert dict(told.screen.notes[0].into) == {"done": "5", "not_right": "0", "not_now": "0"}
    assert told.screen.ranking == ()


def test_an_item_says_what_the_contract_says(told: Told) -> None:
    told.say("done")
    screen = told.screen
    assert (screen.screen, screen.round, screen.item) == ("item", "daily", "look")
    assert (screen.number, screen.total) == (1, 5)
    assert (screen.do, screen.look_for) == ("Look at the blade.", "It is clean.")
    assert screen.replies == ("done", "not right", "not now", "note", "danger", "leave")
    assert in_force(told) == ["key-out"]
    told.say("done")
    assert told.screen.replies == (
        "done",
        "not right",
        "not now",
        "back",
        "note",
        "danger",
        "leave",
    )
    assert told.title == "The daily round"


def test_a_caution_that_cannot_be_met_leaves_its_items_for_now(told: Told) -> None:
    told.say("cannot")
    # Looking needs the key out, and so does reaching in, whose lockout includes it.
    assert told.at == "note"
    assert ids(told) == ["items-passed-caution"]
    told.say("done")
    assert told.at == "take people"
    assert dict(told.screen.notes[0].into) == {"count": "1"}
    told.say("done", "done")
    assert told.at == "walked"
    summary = last(told).came_to
    assert (summary.total, summary.done) == (5, 2)
    assert [(mark.item, mark.mark) for mark in summary.marks] == [
        ("look", "not now"),
        ("reach", "not now"),
        ("close", "not now"),
    ]
    assert summary.marks[0].starts == "lines"


@pytest.mark.parametrize(("role", "shown"), [("operator", False), ("battery-trained", True)])
def test_what_is_for_others_is_left_for_now_without_a_word_of_it(
    tmp_path: Path, role: str, shown: bool
) -> None:
    folder = written(tmp_path)
    text = ROUND.replace("format: 1", "format: 2")
    text = text.replace("    hazards: [brush]\n", "    hazards: [brush]\n    by: battery-trained\n")
    (folder / "rounds" / "daily.yaml").write_text(text)
    told = Told(opened(folder, role=role))
    seen = []
    while told.screen.screen != "end":
        seen.append(told.at)
        told.say("done")
    # Nor is a caution called for it.
    assert ("reach" in seen, "take lockout" in seen) == (shown, shown)
    marks = {mark.item: mark.mark for mark in last(told).came_to.marks}
    assert marks.get("reach") == (None if shown else "not now")
    assert last(told).came_to.done == (5 if shown else 4)


def test_back_withdraws_a_refusal_and_a_mark_but_nothing_that_was_done(told: Told) -> None:
    told.say("done", "done", "done", "cannot")
    assert told.at == "release key-out"
    told.say("done", "back")
    # What was released stays released: the machine was touched, whatever is withdrawn.
    assert told.at == "take lockout"
    assert told.screen.cautions[0].confirm == ("The key is out.", "The connector is apart.")
    told.say("done")
    assert told.at == "reach"
    told.say("back")
    # *done* at a caution moves nothing: back goes to the item before it, and the lockout stays.
    assert told.at == "note"
    assert in_force(told) == ["key-out", "lockout"]


def test_somebody_elses_tag_leaves_the_machine_dead(told: Told) -> None:
    told.say("done", "done", "done", "done", "done")
    assert told.at == "release lockout"
    assert told.screen.cautions[0].confirm == ("The connector is joined.",)
    told.say("cannot")
    assert told.at == "close"
    assert in_force(told) == ["key-out", "lockout"]
    trace = last(told).trail[0]
    assert (trace.what, trace.step, trace.why) == ("passed", "run", "tag")


def test_the_second_time_a_caution_is_short(told: Told) -> None:
    told.say(*["done"] * 8, "done")
    assert told.at == "take key-out"
    assert told.screen.cautions[0].again


def test_a_caution_says_why(told: Told) -> None:
    turn = told.say("why")
    (why,) = turn.interludes
    assert [piece.id for piece in why.text] == ["why-take", "why-hazard"]  # type: ignore[attr-defined]
    assert turn.exchange is None
    assert told.at == "take key-out"


@pytest.mark.parametrize(
    ("text", "id_"),
    [
        ("back", "no-way-back"),
        ("", "nothing-typed"),
        ("dnoe", "no-such-reply"),
        ("unsure", "no-such-reply"),
    ],
)
def test_what_means_nothing_changes_nothing(told: Told, text: str, id_: str) -> None:
    told.say("done")
    turn = told.say(text)
    (refused,) = turn.interludes
    assert refused.message.id == id_  # type: ignore[attr-defined]
    assert told.at == "look"


@pytest.mark.parametrize("kind", DANGERS)
def test_danger_refers_the_round_once_it_is_said_which(told: Told, kind: str) -> None:
    told.say("done", "danger")
    screen = told.screen
    assert (screen.screen, screen.answers) == ("danger", (*DANGERS, "mistake"))
    assert (screen.notes, screen.replies, in_force(told)) == ((), (), ["key-out"])
    told.say(kind)
    assert told.at == "referred"
    assert ids(told) == ["end-danger"]
    assert (last(told).reply, last(told).answer, last(told).outcome) == ("danger", kind, "referred")


@pytest.mark.parametrize("word", ["mistake", "back", "6", " Mistake "])
@pytest.mark.parametrize("before", [(), ("done",), ("done", "not now"), ("done", "note it drips")])
def test_a_danger_by_mistake_leaves_the_round_as_it_was(
    told: Told, before: tuple[str, ...], word: str
) -> None:
    for text in before:
        told.say(text)
    screen, state = told.screen, told.state
    told.say("danger", word, "danger", word)
    assert (told.screen, told.state) == (screen, state)
    replied = [event for event in told.events if isinstance(event, ItemReplied)][-4:]
    assert [event.reply for event in replied] == ["danger", "mistake"] * 2
    assert {(event.outcome, event.answer, event.moves) for event in replied} == {(None, "", False)}


@pytest.mark.parametrize("text", ["", "danger", "7", "0", "06", "done", "note smoke", "smok"])
def test_a_danger_is_asked_again_where_it_is_not_understood(told: Told, text: str) -> None:
    told.say("done", "danger")
    turn = told.say(text)
    (refused,) = turn.interludes
    assert refused.message.id == "danger-which"  # type: ignore[attr-defined]
    assert (turn.exchange, told.screen.screen) == (None, "danger")


def test_whoever_leaves_at_a_danger_has_reported_it(told: Told) -> None:
    told.say("done", "danger", "leave")
    assert (told.at, last(told).reply, last(told).answer) == ("referred", "danger", "other")


def test_leaving_keeps_what_was_not_done(told: Told) -> None:
    told.say("done", "not now", "leave")
    assert told.at == "left"
    assert last(told).came_to.marks[0].item == "look"


def test_not_right_starts_the_symptom_with_what_is_in_force(told: Told) -> None:
    told.say("done", "not right")
    assert told.at == "look"
    assert (told.screen.screen, told.screen.symptom) == ("check", "lines")
    assert in_force(told) == ["key-out"]
    assert told.title == "It leaves lines"
    assert last(told).starts == "lines"
    (case,) = told.cases
    assert (case.symptom, case.outcome, case.begun_in) == ("lines", "open", told.record.name)
    (began,) = told.events_of(case)
    assert "lines" in began.trees  # type: ignore[union-attr]
    assert began.in_force == ("key-out",)
    # Trying the remedy out has ended what lapses, and the round knows.
    told.say("1", "done")
    assert told.at == "dirty"
    told.say("cured")
    assert told.at == "note"
    assert in_force(told) == []
    assert ids(told) == ["round-after-cured"]
    (case,) = told.cases
    assert (case.outcome, case.finding) == ("cured", "dirty")
    assert told.events_of(case)[-1].cures == (("lines", "dirty"),)  # type: ignore[union-attr]
    assert (last(told).symptom, last(told).how) == ("lines", "cured")
    told.say("done")
    assert told.at == "take lockout"
    assert told.screen.cautions[0].again


def test_a_refusal_goes_into_the_diagnosis_and_comes_back_out(told: Told) -> None:
    told.say("done", "not right", "1", "cannot")
    # Without the lockout nothing is left in it that an operator could do.
    assert told.at == "note"
    assert ids(told) == ["round-after-referred"]
    told.say("done")
    # The lockout was refused in the diagnosis, and what runs it waits for service.
    assert told.at == "close"
    assert ids(told) == ["items-passed-caution", "items-passed-referred"]


def test_what_waits_for_service_is_not_run_for_a_checklist(told: Told) -> None:
    told.say("done", "not right", "2")
    assert told.screen.finding == "The frame is bent."
    told.say("refer")
    assert ids(told) == ["round-after-referred"]
    told.say("done", "done")
    assert told.at == "reach"
    told.say("not right")
    assert told.at == "close"
    assert ids(told) == ["round-with-service", "items-passed-referred"]
    told.say("done")
    assert told.at == "walked"


def test_back_at_the_first_screen_of_a_diagnosis_goes_to_its_item(told: Told) -> None:
    told.say("done", "not right")
    assert "back" in told.screen.replies
    told.say("back")
    assert (told.screen.screen, told.at) == ("item", "look")
    told.say("done")
    assert told.at == "note"
    (case,) = told.cases
    assert case.outcome == "withdrawn"
    assert [event.how for event in told.events if isinstance(event, CaseOver)] == ["withdrawn"]
    assert last(told).item == "look"


def test_back_inside_a_diagnosis_is_the_diagnosis_s(told: Told) -> None:
    told.say("done", "not right", "2", "back")
    assert (told.screen.screen, told.at) == ("check", "look")


def test_no_way_leads_back_into_a_diagnosis_that_is_over(told: Told) -> None:
    told.say("done", "not right", "2", "refer")
    assert "back" not in told.screen.replies
    turn = told.say("back")
    assert turn.interludes[0].message.id == "round-no-way-back"  # type: ignore[attr-defined]
    assert told.at == "note"


def test_back_from_a_remedy_at_once_ends_what_lapses(tmp_path: Path) -> None:
    """The only question is for service, so the diagnosis begins at a remedy."""
    lines = (
        "format: 1\nsymptom: lines\ntitle: It leaves lines\nstart: look\nsteps:\n"
        "  look:\n    ask: Is it live?\n    by: service\n    passes: none\n"
        "    answers: {It is live: dirty, It is dead: bent}\n"
        "  dirty: {finding: It is dirty., chance: 6, who: operator, remedy: Wipe it.}\n"
        "  bent: {finding: It is bent., chance: 3, who: service, leave_safe: Park it.,"
        " ask_service: Mend it.}\n"
    )
    told = Told(opened(written(tmp_path, lines=lines)))
    told.say("done", "not right")
    assert told.at == "dirty"
    told.say("back")
    assert told.at == "take key-out"


def test_danger_and_leave_in_a_diagnosis_end_the_round(told: Told) -> None:
    told.say("done", "not right", "leave")
    assert told.at == "left"
    assert told.screen.symptom is None
    assert [cause.step for cause in told.screen.ranking] == ["dirty", "bent", "other"]
    assert (told.record.outcome, told.cases[0].outcome) == ("open", "open")
    told.resume()
    told.say("danger")
    assert (told.record.outcome, told.cases[0].outcome) == ("open", "open")
    assert (told.screen.screen, told.screen.symptom) == ("danger", "lines")
    told.say("smoke")
    assert (told.record.outcome, told.cases[0].outcome) == ("referred", "referred")
    assert told.at == "referred"
    assert ids(told) == ["end-danger"]


def test_a_danger_by_mistake_in_a_diagnosis_leaves_both_as_they_were(told: Told) -> None:
    told.say("done", "not right")
    screen = told.screen
    told.say("danger", "mistake")
    assert told.screen == screen
    told.say("back")
    assert told.at == "look"
    told.say("danger", "back", "done")
    assert told.at == "note"


@pytest.mark.parametrize(
    ("before", "at"),
    [
        (("done",), "take key-out"),
        (("done", "not right"), "take key-out"),
        (("done", "not right", "1"), "take lockout"),
    ],
)
def test_killed_at_a_danger_it_is_asked_again(told: Told, before: tuple[str, ...], at: str) -> None:
    told.say(*before, "danger")
    told.resume()
    assert told.screen.screen == "danger"
    assert (told.screen.notes, told.screen.in_force) == ((), ())
    told.resume()
    told.say("mistake")
    # Nothing is in force any more, so its caution comes first.
    assert told.at == at
    assert told.screen.notes[0].id == "resumed"
    told.say("danger", "hurt")
    assert told.at == "referred"
    assert told.record.outcome == "referred"


def test_a_danger_in_a_diagnosis_that_is_gone_is_asked_in_the_round(tmp_path: Path) -> None:
    told = Told(opened(written(tmp_path)))
    told.say("done", "not right", "danger")
    (tmp_path / "lines.yaml").write_text("format: 1\n")
    told.resume(opened(tmp_path))
    assert (told.screen.screen, told.screen.symptom) == ("danger", None)
    told.say("heat")
    assert told.record.outcome == "referred"


def test_a_refused_word_in_a_diagnosis_changes_nothing(told: Told) -> None:
    told.say("done", "not right")
    turn = told.say("nonsense")
    assert turn.interludes[0].message.id == "no-such-answer"  # type: ignore[attr-defined]
    assert turn.exchange is None


def test_not_right_without_a_symptom_is_noted(told: Told) -> None:
    told.say("done", "done", "not right")
    assert told.at == "take lockout"
    assert ids(told) == ["round-noted"]


def test_a_symptom_that_cannot_be_opened_is_said(tmp_path: Path) -> None:
    told = Told(opened(written(tmp_path, lines="format: 1\nsymptom: lines\n")))
    told.say("done", "not right")
    assert told.at == "note"
    assert ids(told) == ["doorway-shut"]


def test_a_diagnosis_with_nothing_to_ask_is_over_at_once(tmp_path: Path) -> None:
    """Everything in it is for service, and its caution was refused."""
    lines = (
        "format: 1\nsymptom: lines\ntitle: It leaves lines\nstart: look\nsteps:\n"
        "  look:\n    ask: Is it dirty?\n    hazards: [brush]\n    passes: none\n"
        "    answers: {It is dirty: dirty, It is clean: worn}\n"
        "  dirty: {finding: It is dirty., chance: 1, who: operator, remedy: A., hazards: [brush]}\n"
        "  worn: {finding: It is worn., chance: 1, who: operator, remedy: B., hazards: [brush]}\n"
    )
    round_ = ROUND.replace("    hazards: [moving]\n    energises: true\n    starts: dead\n", "")
    round_ = round_.replace("Drive ten metres.", "Look again.\n    starts: lines")
    told = Told(opened(written(tmp_path, round_=round_, lines=lines)))
    told.say("done", "done", "done", "cannot")
    assert told.at == "run"
    told.say("not right")
    assert told.at == "close"
    assert "round-after-referred" in ids(told)


@pytest.mark.parametrize("word", ["danger", "leave"])
def test_behind_a_doorway_the_causes_of_the_items_own_symptom_are_told(
    told: Told, word: str
) -> None:
    told.say("done", "not right", "Something else")
    assert told.screen.symptom == "dead"
    told.say(word, *(["smoke"] if word == "danger" else []))
    assert {cause.step for cause in told.screen.ranking} == {"dirty", "bent", "other"}
    assert told.screen.ranking[0].step == "other"
