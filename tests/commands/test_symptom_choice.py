"""From the operator's own words to a case, and back to the choice; JSON lines, one reply a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from strategies.desk import Desk

if TYPE_CHECKING:
    from pathlib import Path

TITLE = "No water comes, or too little"


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A desk with the built-in library."""
    return Desk(tmp_path, monkeypatch, built_in=True)


@pytest.fixture
def small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A desk with the small library: its symptom begins with the key out."""
    return Desk(tmp_path, monkeypatch)


def started(desk: Desk, *replies: str, machine: str = "none") -> list[dict[str, Any]]:
    return desk.walk("start", "--machine", machine, replies=replies)


def ids(screen: dict[str, Any], what: str = "options") -> list[str]:
    return [one["id"] for one in screen[what]]


def test_words_that_fit_one_surely_begin_it_and_say_so(shop: Desk) -> None:
    _, first, second, *_ = started(shop, "no water coming out", "unsure")
    assert first["symptom"] == "no-solution-flow"
    assert first["notes"][0] == (
        f'Your words: "no water coming out". Taken as: {TITLE}. If it is not that, go back.'
    )
    assert "back" in ids(first, "replies")
    assert "Your words" not in str(second.get("notes"))
    (case,) = shop.cases()
    (shown,) = shop.walk("cases", "show", case["name"])
    assert shown["events"][0]["words"] == "no water coming out"


def test_a_symptom_that_was_picked_is_not_explained(shop: Desk) -> None:
    screens = started(shop, "streaking")
    assert "Your words" not in str(screens[1].get("notes"))


def test_words_that_fit_two_offer_both_and_a_way_to_all(shop: Desk) -> None:
    screens = started(shop, "wont suck and leaves lines", "all symptoms", "leave")
    both, whole = screens[1], screens[2]
    assert {"poor-pickup", "streaking", "which-symptom"} <= set(ids(both))
    assert len(both["options"]) <= 5
    assert both["options"][-1] == {
        "id": "all symptoms",
        "title": "None of these. Show all symptoms.",
    }
    assert both["notes"] == ['More than one sounds like "wont suck and leaves lines". Which is it?']
    assert ids(whole) == ids(screens[0])
    assert "notes" not in whole


def test_the_way_to_all_is_a_number_and_back_too(shop: Desk) -> None:
    words = "wont suck and leaves lines"
    offered = started(shop, words, "leave")[1]
    number = str(len(offered["options"]))
    for way in (number, "back", "None of these. Show all symptoms."):
        screens = started(shop, words, way, "leave")
        assert ids(screens[2]) == ids(screens[0])
        assert "back" not in ids(screens[2], "replies")


def test_one_that_is_not_sure_is_asked_about_and_not_begun(shop: Desk) -> None:
    screens = started(shop, "brush turning", "1", "leave")
    assert screens[1]["screen"] == "choose"
    assert screens[1]["notes"] == ['This is what "brush turning" comes nearest to. Is it this?']
    assert ids(screens[1]) == ["brushes-stopped", "which-symptom", "all symptoms"]
    assert screens[2]["symptom"] == "brushes-stopped"
    assert "Your words" not in str(screens[2].get("notes"))


def test_below_a_fair_match_all_are_listed_with_the_reason(shop: Desk) -> None:
    screens = started(shop, "asdfgh", "leave")
    assert sorted(ids(screens[1])) == sorted(ids(screens[0]))
    assert ids(screens[1])[0] == "which-symptom"
    assert screens[1]["notes"] == [
        'No symptom here sounds like "asdfgh". The first one asks what it looks like.'
    ]


def test_back_at_the_first_screen_returns_to_the_choice(shop: Desk) -> None:
    screens = started(shop, "no water", "back", "2", "1", "back", "back", "leave")
    assert [screen["screen"] for screen in screens[:3]] == ["choose", "check", "choose"]
    assert ids(screens[2]) == ids(screens[0])
    second = screens[3]
    assert second["symptom"] == ids(screens[0])[1]
    assert "Your words" not in str(second.get("notes"))
    # After an answer, back is one screen; at the first one the choice comes again.
    assert screens[4]["symptom"] == second["symptom"]
    assert screens[5]["step"] == second["step"]
    assert screens[6]["screen"] == "choose"
    assert screens[7]["outcome"] == "left"
    assert shop.cases() == []


def test_the_case_that_is_kept_has_the_words_of_its_own_choice(shop: Desk) -> None:
    started(shop, "no water", "back", "streaking", "1")
    (case,) = shop.cases()
    assert (case["symptom"], case["outcome"]) == ("streaking", "open")
    (shown,) = shop.walk("cases", "show", case["name"])
    assert "words" not in shown["events"][0]


@pytest.mark.parametrize("last", [(), ("leave",)])
def test_a_case_left_before_its_first_answer_is_not_kept(shop: Desk, last: tuple[str, ...]) -> None:
    screens = started(shop, "streaking", "why", "nonsense", *last, machine="dock")
    end = screens[-1]
    assert (end["outcome"], end["notes"]) == ("left", ["Nothing was answered, so no case is kept."])
    assert "case" not in end
    assert shop.cases() == []
    assert shop.walk("cases", "--machine", "dock") == [[]]
    assert "0 open" in shop("resume")[2]


def test_one_that_was_named_on_the_command_line_is_not_kept_either(small: Desk) -> None:
    end = small.walk("start", "lines", "--machine", "dock", replies=("leave",))[-1]
    assert end["notes"] == ["Nothing was answered, so no case is kept."]
    assert small.cases() == []
    screens = small.walk("start", "lines", "--machine", "dock", replies=("back", "leave"))
    assert screens[1]["message"] == "This is the first screen: there is nothing to go back to."


def test_with_an_answer_it_is_kept_and_can_be_resumed(small: Desk) -> None:
    end = small.walk("start", "lines", "--machine", "dock", replies=("done", "3", "leave"))[-1]
    (case,) = small.cases()
    assert case["outcome"] == "open"
    assert f"diagnose resume {case['name']}" in end["notes"][0]


def test_not_sure_is_an_answer(shop: Desk) -> None:
    started(shop, "streaking", "unsure", "leave")
    assert len(shop.cases()) == 1


@pytest.mark.parametrize("before", [("1", "back"), ()])
def test_a_case_in_which_something_was_noted_is_kept(shop: Desk, before: tuple[str, ...]) -> None:
    started(shop, "streaking", *before, "note the left end hangs", "leave", machine="dock")
    (case,) = shop.cases()
    assert case["outcome"] == "open"
    # Taken up and left again it is still there; so is the way back to the choice of a symptom.
    shop.walk("resume", case["name"], replies=("leave",))
    assert [one["outcome"] for one in shop.cases()] == ["open"]
    screens = started(shop, "leak", "note drips", "back", "streaking", "leave")
    assert "choose" in [one["screen"] for one in screens[2:]]


def test_a_danger_at_the_first_screen_is_kept(shop: Desk) -> None:
    started(shop, "streaking", "danger", "smoke")
    assert [case["outcome"] for case in shop.cases()] == ["referred"]


def test_one_that_was_a_danger_by_mistake_alone_is_not_kept(shop: Desk) -> None:
    end = started(shop, "streaking", "danger", "mistake", "leave")[-1]
    assert end["notes"] == ["Nothing was answered, so no case is kept."]
    assert shop.cases() == []


def test_a_caution_that_was_taken_stays_in_force_over_the_choice(small: Desk) -> None:
    screens = started(small, "lines", "done", "back", "lines", "leave")
    assert [screen["screen"] for screen in screens] == [
        *("choose", "caution", "check", "choose", "check", "end"),
    ]
    for screen in screens[2:]:
        assert ids(screen, "in_force") == ["key-out"]
    left = started(small, "lines", "done", "back", "leave")[-1]
    assert (left["outcome"], ids(left, "in_force")) == ("left", ["key-out"])


def test_a_case_with_a_lockout_is_kept_and_not_taken_back(small: Desk) -> None:
    path = small.library / "cautions.yaml"
    path.write_text(
        path.read_text().replace(
            "    includes: [key-out]", "    signs: [M021]\n    includes: [key-out]"
        )
    )
    path = small.library / "lines.yaml"
    path.write_text(path.read_text().replace("hazards: [startup]", "hazards: [brush]"))
    screens = started(small, "lines", "done", "back", "leave")
    assert "back" in ids(screens[1], "replies")
    assert "back" not in ids(screens[2], "replies")
    assert screens[3]["screen"] == "refused"
    (case,) = small.cases()
    assert case["outcome"] == "open"
    assert f"diagnose resume {case['name']}" in screens[-1]["notes"][0]


def test_back_at_the_choice_itself_leads_nowhere(shop: Desk) -> None:
    screens = started(shop, "back", "leave")
    assert screens[1]["message"] == "This is the first screen: there is nothing to go back to."
    assert screens[2]["screen"] == "choose"


def test_plain_lines_go_back_to_the_choice_too(shop: Desk) -> None:
    replies = ("wont suck", "b", "no water", "l")
    code, said, err = shop("start", "--machine", "none", "--plain", replies=replies)
    assert (code, err) == (0, "")
    text = " ".join(said.split())
    assert text.count("What is wrong with it? Give a number, or your own words.") == 2
    assert 'Your words: "wont suck". Taken as: It leaves water lying on the floor.' in text
    assert f'Your words: "no water". Taken as: {TITLE}.' in text
    assert "Nothing was answered, so no case is kept." in text


TREE = """\
format: 1
symptom: {0}
title: It is {0}
start: look
steps:
  look: {{ask: Is it so?, hazards: [{1}], answers: {{It is: one, It is not: two}}}}
  one: {{finding: One., chance: 1, who: operator, remedy: Do it.}}
  two: {{finding: Two., chance: 1, who: operator, remedy: Do it.}}
"""


def test_words_for_a_symptom_that_cannot_be_opened_explain_no_other(small: Desk) -> None:
    for name, hazards in (("purple", "no-such"), ("dead", "")):
        (small.library / f"{name}.yaml").write_text(TREE.format(name, hazards))
    screens = started(small, "it is purple", "dead", "leave")
    assert [screen["screen"] for screen in screens] == [
        *("choose", "refused", "choose", "check", "end"),
    ]
    assert "purple.yaml" in screens[1]["message"]
    assert "notes" not in screens[3]
