"""A case's log as a page: what counts, what holds, what service has to know."""

from __future__ import annotations

import json
import random
import time
from typing import TYPE_CHECKING, Any

import pytest
from strategies.referrals import ONE_PAGE, referrals

from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    FindingScreen,
    ReadingScreen,
    StateScreen,
)
from diagnose.commands import resume
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
    assert "**about 55 %, ± 10**, enough; right (expected 20 to 100 %)" in text
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
    ways, causes = [entry.step for entry in page.story if entry.kind == "returned"], page.likely[0]
    assert ways == ["door"]
    assert "door" not in [cause.step for cause in causes.causes]
    assert len(causes.causes) > 1
    before = desk.page(desk.start("alpha", ["A puddle", DEAD], "one")).likely[0]
    assert before.causes[0].step == "door"


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
    assert "**Walked by:** operator (name ....................), 2026-11-03 10:00; still" in text


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
    assert f"operator {blank}, 2026-11-03 10:00; then operator {blank}, 11-05 10:03; still" in text
    assert "still open 11-05 10:05 (local time, UTC+00:00)." in text


def head(markdown: str) -> list[str]:
    """Return the bullets of the head, each on one line."""
    top = markdown.partition("\n## ")[0].partition("\n\n")[2]
    return [" ".join(part.split()) for part in f"\n{top}".split("\n- ")[1:]]


SITE = """
format: 2
name: A hall that nobody has
call:
  emergency: {name: Gate, phone: 555-0150}
  shift_lead: {name: The lead, phone: 555-0151}
  service: {name: A workshop, phone: 555-0152}
"""


def test_site_and_phone_come_first_with_or_without_a_machine(desk: Desk) -> None:
    assert desk.trees is not None
    (desk.trees / "site.yaml").write_text(SITE)
    top = head(desk.markdown(desk.start("alpha", ["Nothing odd"])))
    assert top[0].startswith("**Site:** A hall that nobody has; ")
    assert top[1] == "**Phone on site:** The lead, 555-0151; **Service:** A workshop, 555-0152"
    top = head(desk.markdown(desk.start("alpha", ["danger"], "one", "--name", "Ana")))
    assert top[0].startswith("**Danger was reported at ")
    assert top[1].startswith("**Site:** A hall that nobody has; **Stands at:** By the gate; ")
    # Whom the machine's own card names is called for it.
    assert top[2].endswith("**Service:** Demo service, 555-0100")
    assert "555-0150" not in desk.markdown(desk.start("alpha", ["Nothing odd"]))


def test_it_says_who_walked_it_and_whose_tag_hangs_there(desk: Desk) -> None:
    name = desk.start("alpha", [*TO_TURN, "They stand still", DEAD], "one", "--name", "Ana")
    desk.resume(name, [DEAD], "--name", "Bo", "--as", "service")
    page = desk.page(name)
    assert [person.words for person in page.people] == ["Ana, operator", "Bo, service"]
    text = " ".join(as_markdown(page).split())
    assert (
        "**Walked by:** Ana, operator, 2026-11-03 10:00; then Bo, service, 10:06; still open"
        in text
    )
    assert page.standing.tag == "Bo, service"
    assert "the tag of Bo, service, hangs there" in text


def test_times_are_those_of_the_clock_on_the_wall_with_its_offset(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two hours east of Greenwich (POSIX counts west); what is stored stays as it is."""
    monkeypatch.setenv("TZ", "XYZ-2")
    time.tzset()
    name = desk.start("alpha", ["Nothing odd"], "one")
    page = desk.page(name)
    assert page.opened == "2026-11-03T10:00:00+00:00"
    text = " ".join(as_markdown(page).split())
    assert "1. 12:01 Walk round it." in text
    assert (
        "operator (name ....................), 2026-11-03 12:00; still open 12:02 (local time, UTC+02:00)"
        in text
    )
    assert as_json(page)["story"][0]["at"] == "2026-11-03T10:01:00+00:00"


def test_where_the_clocks_were_changed_each_time_says_which_it_is(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Summer time ends on 25 October 2026 at 01:00 UTC."""
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    desk.clock.at = desk.clock.at.replace(month=10, day=25, hour=0, minute=58)
    text = " ".join(desk.markdown(desk.start("alpha", ["Nothing odd", "unsure"], "one")).split())
    assert "1. 02:59 Walk round it." in text
    assert "2. 02:00 +01:00 State of charge" in text


def test_what_was_noted_stands_on_the_page(desk: Desk) -> None:
    assert desk.trees is not None
    file = desk.trees / "alpha.yaml"
    text = file.read_text().replace("format: 1", "format: 2")
    text = text.replace("    who: service\n", "    who: service\n    until_mended: out of use\n")
    file.write_text(text.replace("do: Walk round it.", "do: Walk round it.\n    note_down: Code"))
    replies = ["note E3", "note a loose cap", "Nothing odd", "note hour meter 1851 h"]
    replies += ["back", "danger"]
    page = desk.page(desk.start("alpha", replies, "one"))
    assert [(note.what, note.text) for note in page.notes] == [
        ("Code", "E3"),
        ("Code", "a loose cap"),
        ("", "hour meter 1851 h"),
    ]
    top = "\n".join(head(as_markdown(page)))
    assert "**Hours now:** **hour meter 1851 h** (10:04); **On the card:** 12 h" in top
    assert "**Fault code as shown:** **E3** (10:01); **a loose cap** (10:02)" in top
    assert "- 10:01 Code: **E3**\n- 10:02 Code: **a loose cap**\n" in as_markdown(page)


def test_nothing_that_is_no_code_and_no_hours_is_taken_for_one(desk: Desk) -> None:
    replies = ["note it decodes nothing", "note two hours late", "Nothing odd"]
    page = desk.page(desk.start("alpha", replies, "one"))
    assert (page.hours, page.codes, len(page.notes)) == (None, (), 2)


GOGGLES = """
  goggles:
    title: Goggles on
    signal: WARNING
    signs: [M004]
    covers: [splash]
    includes: [dead]
    lapses: when energised
    text: It splashes.
    confirm: [Goggles are on.]
    release: [Drops are wiped up.]
"""


def test_goggles_are_not_how_a_machine_was_left(desk: Desk) -> None:
    """They lapse as the lockout does, but they are on no machine: they went with the person."""
    assert desk.trees is not None
    file = desk.trees / "cautions.yaml"
    hazard = "  startup: {title: It can start}\n"
    text = file.read_text().replace(hazard, f"{hazard}  splash: {{title: It splashes}}\n")
    file.write_text(text + GOGGLES.removeprefix("\n"))
    tree = desk.trees / "alpha.yaml"
    tree.write_text(tree.read_text().replace("hazards: [brush-drive]", "hazards: [splash]", 1))
    name = desk.start("alpha", [*TO_TURN, "They stand still", DEAD], "one")
    page = desk.page(name)
    assert [taken.id for taken in page.cautions if taken.worn] == ["goggles"]
    left = next(line for line in head(as_markdown(page)) if line.startswith("**How it was left"))
    assert "**Nothing can turn** since" in left
    assert "In force: Key out." in left
    assert "Goggles" not in left
    assert "**Goggles on:** 10:0" in as_markdown(page)
    desk.resume(name, [])
    assert "**Goggles on** was taken" not in desk.markdown(name)
    assert "**Nothing can turn** was taken" in desk.markdown(name)


def test_a_lockout_is_told_whatever_its_signs_are(desk: Desk) -> None:
    assert desk.trees is not None
    file = desk.trees / "cautions.yaml"
    file.write_text(file.read_text().replace("signs: [M021]", "signs: [M021, M009]"))
    page = desk.page(desk.start("alpha", [*TO_TURN, "They stand still", DEAD], "one"))
    assert "**Nothing can turn** since" in as_markdown(page)


def test_parts_are_brought_for_likely_causes_only(desk: Desk) -> None:
    """The motor is service's at 15 of 100 before anything was answered, the brush at 30."""
    name = desk.start("alpha", ["Nothing odd", "leave"], "one")
    page = desk.page(name)
    shares = {cause.step: cause.probability for cause in page.likely[0].causes}
    assert shares["motor"] > 0.1
    assert page.parts == ("brush motor", "a new brush")
    assert desk.trees is not None
    file = desk.trees / "alpha.yaml"
    file.write_text(
        file.read_text().replace(
            "chance: 15\n    who: service\n    leave_safe: Leave",
            "chance: 8\n    who: service\n    leave_safe: Leave",
        )
    )
    page = desk.page(desk.start("alpha", ["Nothing odd", "leave"], "one"))
    shares = {cause.step: cause.probability for cause in page.likely[0].causes}
    assert 0.02 < shares["motor"] < 0.1
    assert page.parts == ("a new brush",)
    assert "**Parts to bring:** a new brush; " in as_markdown(page)


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
TWO_PAGES = 2 * ONE_PAGE
SYMPTOMS = ["streaking", "poor-pickup", "low-runtime", "no-solution-flow", "leak", "which-symptom"]


@pytest.mark.many_cases
def test_nine_of_ten_referrals_take_one_printed_page() -> None:
    """Each built-in worked case, walked and referred."""
    lines = [case.lines for case in referrals()]
    assert len(lines) > 300
    assert max(lines) <= TWO_PAGES
    assert sum(each <= ONE_PAGE for each in lines) / len(lines) >= 0.9


def test_a_short_case_is_told_in_full(desk: Desk) -> None:
    text = desk.markdown(desk.start("alpha", [*TO_TURN, "They stand still", DEAD], "one"))
    assert "Told shortly" not in text
    assert text.count("\n") <= ONE_PAGE


@pytest.mark.many_cases
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
