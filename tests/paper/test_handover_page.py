"""A case's log as a page: what counts, what holds, what service has to know."""

from __future__ import annotations

import json
import random
from typing import TYPE_CHECKING, Any

import pytest

from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    FindingScreen,
    ReadingScreen,
    StateScreen,
)
from diagnose.commands import resume
from diagnose.files.library import built_in
from diagnose.log.account import DANGERS, Account
from diagnose.log.events import Replied
from diagnose.log.sqlite import SqliteLog
from diagnose.measure.registry import MEASUREMENTS
from diagnose.paper.handover_sheet import as_json, as_markdown

if TYPE_CHECKING:
    from conftest import Desk

TO_TURN = ["Nothing odd", "volts=24.6"]
DEAD = "done"
#: Past the causes for service that no answer led to, to one that is the operator's.
BEYOND = ["keep looking", "keep looking"]


def asked(page: Any) -> list[tuple[str, str | None]]:
    return [(entry.words, entry.answer) for entry in page.story]


# What was answered


def test_every_check_and_reading_is_told_in_order(desk: Desk) -> None:
    name = desk.start("alpha", [*TO_TURN, "unsure"], "one")
    page = desk.page(name)
    assert asked(page) == [
        ("What do you see?", "Nothing odd"),
        ("State of charge from the rest voltage", "enough"),
        ("Do the brushes turn?", None),
    ]
    assert [entry.do for entry in page.story] == ["Walk round it.", "", ""]
    assert [entry.at[11:16] for entry in page.story] == ["10:01", "10:02", "10:03"]


def test_a_reading_has_its_value_what_was_expected_and_how_it_was_worked_out(desk: Desk) -> None:
    name = desk.start("alpha", TO_TURN, "one")
    entry = as_json(desk.page(name))["story"][1]
    assert entry["typed"] == "volts=24.6"
    assert entry["inputs"] == {"volts": "24.6"}
    figure = entry["figure"]
    # By hand: 24.6 V / 12 cells x 6 = 12.30 V, between 12.24 V (50 %) and 12.45 V (75 %).
    by_hand = 50 + 25 * (12.30 - 12.24) / (12.45 - 12.24)
    assert figure["value"] == pytest.approx(by_hand, rel=1e-9)
    assert (figure["expected"]["low"], figure["expected"]["high"]) == (20, 100)
    assert figure["workings"][1] == "24.6 V / 12 cells = 2.050 V a cell, 12.30 V for six"
    assert any(row[0] == "volts" and row[1] == pytest.approx(24.6) for row in entry["si"])
    text = " ".join(desk.markdown(name).split())
    assert "**57.14 %**, enough" in text
    assert "expected 20 to 100 %" in text
    assert "24.6 V / 12 cells = 2.050 V a cell" in text


def test_an_answer_that_was_taken_back_is_not_told_as_a_fact(desk: Desk) -> None:
    name = desk.start("alpha", ["Nothing odd", "back", "A puddle"], "one")
    page = desk.page(name)
    assert ("What do you see?", "Nothing odd") not in asked(page)
    assert ("What do you see?", "A puddle") in asked(page)
    assert [back.answer for back in page.taken_back] == ["Nothing odd"]
    text = as_markdown(page)
    assert "Nothing odd" not in text
    assert "1 answer was taken back" in text


def test_a_caution_stays_told_when_the_answers_around_it_are_taken_back(desk: Desk) -> None:
    replies = [*TO_TURN, "They stand still", DEAD, "String", "back", "back", "back"]
    name = desk.start("alpha", replies, "one")
    page = desk.page(name)
    assert asked(page) == [("What do you see?", "Nothing odd")]
    assert [(taken.title, taken.how) for taken in page.cautions] == [
        ("Nothing can turn", "gone back"),
        ("Key out", "gone back"),
    ]


def test_what_the_card_answered_is_told_too(desk: Desk) -> None:
    name = desk.start("beta", [DEAD, "Free", "refer"], "one")
    first = desk.page(name).story[0]
    assert (first.kind, first.words, first.answer) == ("card", "Which battery has it?", "flooded")


# Behind a doorway


def test_the_tree_behind_a_doorway_is_known_to_the_log(desk: Desk) -> None:
    name = desk.start("alpha", ["A puddle", DEAD, "Free", "refer"], "one")
    page = desk.page(name)
    assert [group.symptom for group in page.likely] == ["alpha", "beta"]
    assert page.likely[1].causes[0].step == "fan"
    assert page.asked[0].ask_service == "Measure the suction."
    assert page.asked[0].met
    assert page.parts[0] == "suction motor"
    assert [entry.kind for entry in page.story] == ["check", "entered", "card", "check"]
    text = as_markdown(page)
    assert "On to **It does the second thing** from: Water is not picked up." in text


def test_the_tree_behind_a_doorway_keeps_the_chances_it_was_opened_with(desk: Desk) -> None:
    name = desk.start("alpha", ["A puddle"], "one")
    log = SqliteLog(desk.log, "rw")
    case = log.case(name)
    assert case is not None
    chances = resume.chances_again(Account(log.events(case)))
    assert chances["beta"] == {"clog": pytest.approx(0.6), "fan": pytest.approx(0.4)}
    assert desk.trees is not None
    file = desk.trees / "beta.yaml"
    file.write_text(file.read_text().replace("chance: 60", "chance: 1"))
    desk.resume(name, [DEAD, "leave"])
    ranking = {cause.step: cause.probability for cause in desk.page(name).likely[1].causes}
    assert ranking == {"clog": pytest.approx(0.6), "fan": pytest.approx(0.4)}


def test_a_doorway_back_to_where_one_came_from_is_no_way(desk: Desk) -> None:
    assert desk.trees is not None
    file = desk.trees / "beta.yaml"
    door = "  back: {finding: It is the first thing., chance: 5, continue_with: alpha}\n"
    file.write_text(file.read_text().replace("Free: fan", "Free: fan, Odd: back") + door)
    page = desk.page(desk.start("alpha", ["A puddle", DEAD, "Odd"], "one"))
    assert [entry.kind for entry in page.story] == ["check", "entered", "card", "check", "no way"]
    assert "Counted as tried: It is the first thing." in as_markdown(page)


def test_a_doorway_that_was_taken_back_brings_no_second_symptom(desk: Desk) -> None:
    name = desk.start("alpha", ["A puddle", "back", "Nothing odd"], "one")
    page = desk.page(name)
    assert [group.symptom for group in page.likely] == ["alpha"]
    assert "entered" not in [entry.kind for entry in page.story]


def test_causes_behind_a_doorway_that_was_looked_through_are_no_longer_the_likeliest(
    desk: Desk,
) -> None:
    replies = ["A puddle", DEAD, "Blocked", "not cured"]
    page = desk.page(desk.start("alpha", replies, "one"))
    assert [(group.symptom, group.left) for group in page.likely] == [
        ("alpha", False),
        ("beta", True),
    ]
    assert [entry.kind for entry in page.story][-1] == "returned"
    text = as_markdown(page)
    assert "behind It does the second thing" not in text
    assert "Back in **It does the first thing**; that was not it" in text


# Remedies, and what was passed over


def test_remedies_are_told_with_what_came_of_them(desk: Desk) -> None:
    replies = [*TO_TURN, "They stand still", DEAD, "String", "not cured"]
    page = desk.page(desk.start("alpha", replies, "one"))
    assert [(t.finding, t.remedy, t.result) for t in page.remedies] == [
        ("String holds the brush.", "Cut it away.", "not cured")
    ]
    # Nobody tries a remedy on a dead machine.
    assert {taken.how for taken in page.cautions} == {"tried out"}


@pytest.mark.parametrize(
    ("replies", "why", "reason"),
    [
        (["Nothing odd", "volts=24.6", "They turn"], "by", "battery-trained"),
        ([*TO_TURN, "They stand still", "cannot"], "caution", "Nothing can turn"),
        ([*TO_TURN, "They stand still", DEAD, "cannot"], "cannot", ""),
        ([*TO_TURN, "They stand still", DEAD, "String", "cannot"], "cannot", ""),
        ([*TO_TURN, "They stand still", DEAD, "String", "not it"], "not it", ""),
        ([*TO_TURN, "They stand still", DEAD, "Nothing there", "keep looking"], "keep looking", ""),
    ],
)
def test_what_was_passed_over_is_told_with_the_reason(
    desk: Desk, replies: list[str], why: str, reason: str
) -> None:
    passed = desk.page(desk.start("alpha", replies, "one")).passed
    assert (passed[0].why, passed[0].reason) == (why, reason)
    assert passed[0].words.endswith(("?", "."))


def test_a_reading_that_the_card_cannot_support_is_told_with_the_line_that_lacks(
    desk: Desk,
) -> None:
    assert desk.trees is not None
    file = desk.trees / "alpha.yaml"
    file.write_text(file.read_text().replace("read: rest-voltage", "read: film"))
    page = desk.page(desk.start("alpha", ["Nothing odd"], "one"))
    card = [step for step in page.passed if step.why == "card"]
    assert [step.words for step in card] == [MEASUREMENTS["film"].title]
    assert "path_width" in card[0].reason


def test_a_refused_release_is_somebody_elses_tag(desk: Desk) -> None:
    assert desk.trees is not None
    file = desk.trees / "alpha.yaml"
    hands_first = file.read_text().replace("start: look", "start: hands") + (
        "  hands: {ask: Is it in place?, hazards: [brush-drive],"
        " answers: {It is: turn, It is not: look}}\n"
    )
    file.write_text(hands_first)
    page = desk.page(desk.start("alpha", [DEAD, "It is", "cannot"], "one"))
    assert [tag.reason for tag in page.tags] == ["Nothing can turn"]
    assert page.standing.state == "out of use"
    assert "perhaps somebody else's tag" in " ".join(as_markdown(page).split())


# How it was left


@pytest.mark.parametrize(
    ("replies", "outcome", "state"),
    [
        (["Nothing odd"], "open", "in use"),
        *[(["danger", kind], "referred", "out of use") for kind in DANGERS],
        (["danger", "mistake", "Nothing odd"], "open", "in use"),
        ([*TO_TURN, "They stand still", DEAD], "open", "out of use"),
        ([*TO_TURN, "They stand still", DEAD, "String", "cured"], "cured", "in use"),
        ([*TO_TURN, "They stand still", DEAD, "String", "not cured", *BEYOND], "open", "in use"),
        # Service's cause is on the screen when they leave, and it says how to leave the machine.
        ([*TO_TURN, "They stand still", DEAD, "String", "not cured"], "open", "out of use"),
        (["A puddle", DEAD, "Free", "refer"], "referred", "out of use"),
        (["A puddle", DEAD, "Free"], "open", "out of use"),
        (["A puddle", DEAD, "Blocked"], "open", "in use"),
        (["A puddle", DEAD, "Free", "back", "Blocked", "cured"], "cured", "in use"),
    ],
)
def test_it_is_in_use_or_out_of_use(
    desk: Desk, replies: list[str], outcome: str, state: str
) -> None:
    page = desk.page(desk.start("alpha", replies, "one"))
    assert (page.outcome, page.standing.state) == (outcome, state)


def test_a_lockout_in_force_says_since_when_and_whose_tag(desk: Desk) -> None:
    name = desk.start("alpha", [*TO_TURN, "They stand still", DEAD], "one", "--as", "service")
    text = " ".join(desk.markdown(name).split())
    assert "**Nothing can turn** since 10:04: the tag of the service hangs there" in text
    assert "The connector is apart. My tag hangs on it." in text


def test_after_a_resume_nobody_knows_of_the_lockout_until_it_is_taken_again(desk: Desk) -> None:
    name = desk.start("alpha", [*TO_TURN, "They stand still", DEAD], "one")
    desk.resume(name, [])
    page = desk.page(name)
    assert page.standing.state == "out of use"
    assert {taken.how for taken in page.cautions} == {"unknown"}
    assert "is not known: look" in " ".join(as_markdown(page).split())
    desk.resume(name, [DEAD])
    page = desk.page(name)
    assert [taken.how for taken in page.cautions] == ["taken again", "taken again", None, None]
    assert page.standing.state == "out of use"
    desk.resume(name, [DEAD, "String", "not cured", *BEYOND])
    page = desk.page(name)
    assert page.standing.state == "in use"
    assert [person.role for person in page.people] == ["operator"] * 4


def test_a_danger_is_told_with_what_was_on_the_screen(desk: Desk) -> None:
    replies = [*TO_TURN, "They stand still", DEAD, "danger", "battery"]
    page = desk.page(desk.start("alpha", replies, "one"))
    assert page.danger is not None
    assert (page.danger.words, page.danger.kind) == ("What is round the hub?", "battery")
    text = " ".join(as_markdown(page).split())
    assert (
        "**Danger was reported at 10:05** (a swollen or hissing battery), while the screen showed:"
        " What is round the hub? It then said: stop, people away, call."
    ) in text


@pytest.mark.parametrize("before", [[], ["Nothing odd"], [*TO_TURN, "They stand still"]])
@pytest.mark.parametrize(("kind", "words"), DANGERS.items())
def test_a_danger_comes_first_on_the_page_with_its_kind(
    desk: Desk, kind: str, words: str, before: list[str]
) -> None:
    page = desk.page(desk.start("alpha", [*before, "danger", kind], "one"))
    _, _, head = as_markdown(page).partition("\n\n")
    told = " ".join(head.split())
    assert told.startswith("- **Danger was reported at 10:0")
    assert told.partition("** ")[2].startswith(f"({words})")
    assert f"**The machine is out of use:** a danger was reported: {words}. Since" in told
    assert as_json(page)["danger"]["kind"] == kind


def test_a_danger_by_mistake_is_no_word_on_the_page(desk: Desk) -> None:
    page = desk.page(desk.start("alpha", ["danger", "mistake", "Nothing odd"], "one"))
    assert (page.danger, [entry.answer for entry in page.story]) == (None, ["Nothing odd"])
    assert "anger" not in as_markdown(page)


# Causes, requests, verdict


def test_the_causes_are_those_of_the_last_screen(desk: Desk) -> None:
    name = desk.start(
        "alpha", [*TO_TURN, "They stand still", DEAD, "Nothing there", "refer"], "one"
    )
    end = desk.face.screens[-1]
    page = desk.page(name)
    shown = [(cause.step, cause.probability) for cause in end.ranking]
    assert [(c.step, c.probability) for c in page.likely[0].causes] == [
        (step, pytest.approx(share)) for step, share in shown[:6]
    ]
    assert page.closing == {step: pytest.approx(share) for step, share in shown}
    assert (page.asked[0].step, page.asked[0].stopped) == ("motor", True)
    assert page.asked[0].hazards == ("Wiring inside",)


def test_the_verdict_comes_back_to_the_page(desk: Desk) -> None:
    name = desk.start("alpha", ["danger", "smoke"], "one")
    assert f"`diagnose cases found {name} FINDING`" in desk.markdown(name)
    assert set(desk.page(name).findings) >= {"motor", "cell", "door"}
    desk.found(name, "motor")
    page = desk.page(name)
    assert page.verdict is not None
    assert page.verdict.words == "The brush motor is dead."
    assert "The brush motor is dead. (motor)" in as_markdown(page)


def test_the_head_has_room_where_no_card_speaks(desk: Desk) -> None:
    text = " ".join(desk.markdown(desk.start("alpha", ["Nothing odd"])).split())
    for label in (
        *("Site", "Stands at", "Access hours", "Service", "Machine", "Battery", "Hours now"),
        *("On the card", "Fault code as shown", "Last visit"),
    ):
        assert f"**{label}:** ....." in text
    assert "**Phone on site:** (name, phone) ....." in text
    assert "**Walked by:** operator (name ....................), 10:00; still open 10:02." in text


def test_the_operators_words_are_told(desk: Desk) -> None:
    name = desk.start(None, ["it does the frist thing"], "one")
    page = desk.page(name)
    assert page.words == "it does the frist thing"
    assert page.title == "It does the first thing"


def test_a_case_over_several_days_has_dates(desk: Desk) -> None:
    name = desk.start("alpha", ["Nothing odd"], "one")
    desk.clock.at = desk.clock.at.replace(day=5)
    desk.resume(name, ["volts=24.6"])
    text = desk.markdown(name)
    assert "1. 11-03 10:01 Walk round it." in text
    assert "- 11-05 10:04 State of charge" in text
    text = " ".join(text.split())
    blank = "(name ....................)"
    assert f"operator {blank}, 11-03 10:00; then operator {blank}, 11-05 10:03; still" in text
    assert "still open 11-05 10:05. Opened 2026-11-03 10:00, local time, UTC +00:00." in text


# The built-in library


class Careful:
    """Replies with a bias: readings in the middle, cautions taken, remedies that fail."""

    def __init__(self, seed: int, steps: int) -> None:
        self.random = random.Random(seed)
        self.left = steps

    def __call__(self, screen: Any) -> str | None:
        if isinstance(screen, StateScreen):
            return "start anew"
        if isinstance(screen, CautionScreen):
            return "done"
        self.left -= 1
        if self.left < 0:
            return None
        if isinstance(screen, ReadingScreen):
            return "unsure"
        if isinstance(screen, FindingScreen):
            on = ["keep looking"] if "keep looking" in screen.replies else ["not cured", "not it"]
            return self.random.choice(on)
        assert isinstance(screen, CheckScreen)
        if self.random.random() < 0.3:
            return "unsure"
        if "back" in screen.replies and self.random.random() < 0.1:
            return "back"
        return self.random.choice(screen.answers).id


#: More questions and remedies than anybody goes through in one go, most of them in vain.
LONG = 35
#: A4 with margins of 2 cm leaves 257 mm, which is 60 lines of 10 on 12 points (12/72 inch).
TWO_PAGES = 2 * 60
SYMPTOMS = ["streaking", "poor-pickup", "low-runtime", "no-solution-flow", "leak", "which-symptom"]


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_a_long_case_fits_on_two_pages(desk: Desk, symptom: str) -> None:
    desk.trees = None
    for seed in range(2):
        name = desk.start(symptom, Careful(seed, LONG), "dock", "--as", "battery-trained")
        lines = desk.markdown(name).splitlines()
        assert max(map(len, lines)) <= 100
        assert len(lines) <= TWO_PAGES, "\n".join(lines)


@pytest.mark.parametrize("seed", range(4))
def test_a_case_of_hours_loses_nothing(desk: Desk, seed: int) -> None:
    desk.trees = None
    name = desk.start(SYMPTOMS[seed], Careful(seed, 400), "dock", "--as", "battery-trained")
    page = desk.page(name)
    assert page.outcome == "referred"
    assert max(map(len, as_markdown(page).splitlines())) <= 100
    # Followed by hand: every reply that moved the walk, less the last one at each `back`.
    log = SqliteLog(desk.log, "rw")
    case = log.case(name)
    assert case is not None
    kept: list[Replied] = []
    for logged in log.events(case):
        event = logged.event
        if not isinstance(event, Replied):
            continue
        if event.reply == "back":
            kept.pop()
        elif event.reply not in ("done", "danger", "mistake", "leave", "refer", "cured"):
            kept.append(event)
    data = json.loads(json.dumps(as_json(page)))
    told = [(e["step"], e["answer"]) for e in data["story"] if e["kind"] in ("check", "reading")]
    assert told == [(e.step, e.answer or None) for e in kept if e.reply in ("answer", "unsure")]
    tried = [(t["step"], t["result"]) for t in data["remedies"]]
    assert tried == [(e.step, e.reply) for e in kept if e.reply == "not cured"]
    for why in ("keep looking", "not it"):
        set_aside = [e.step for e in kept if e.reply == why]
        assert [p["step"] for p in data["passed"] if p["why"] == why] == set_aside


def test_the_built_in_library_is_the_one_that_was_walked() -> None:
    assert (built_in() / "streaking.yaml").is_file()
