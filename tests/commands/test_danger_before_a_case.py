"""A danger before a case, its case and its page; and one that was pressed when the program died."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from driver import Driver
from strategies.desk import NOW, Desk
from strategies.rounds import ROUND

from diagnose.files.replies import DANGERS

if TYPE_CHECKING:
    from pathlib import Path

DOCK = ("start", "--machine", "dock")
LINES = (*DOCK[:1], "lines", *DOCK[1:])
SITE = """\
format: 2
name: The hall
call:
  service: {name: Site's service, phone: 555-0142}
  emergency: {name: Fire brigade, phone: 555-0100}
also_danger: [ammonia]
"""
CALLED = [
    {"who": "Fire brigade", "phone": "555-0100"},
    {"who": "Site's service", "phone": "555-0142"},
]
WORDS = {
    "smoke": "smoke or a burning smell",
    "heat": "something is too hot",
    "battery": "a swollen or hissing battery",
    "hurt": "somebody is hurt",
    "other": "something else",
}


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    desk = Desk(tmp_path, monkeypatch)
    (desk.library / "site.yaml").write_text(SITE)
    return desk


def names(screens: list[dict[str, Any]]) -> list[str]:
    return [screen["screen"] for screen in screens]


def state_of(desk: Desk) -> tuple[str, str]:
    (row,) = [row for row in desk.walk("cases", "--open")[0] if row["machine"] == "dock"]
    return row["state"], row["why"]


def page(desk: Desk, case: str) -> str:
    code, out, err = desk("handover", case)
    assert (code, err) == (0, "")
    return " ".join(out.split())


# Before a case


def test_what_opens_for_a_danger_is_kept_at_once(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No second write: a program that ended between two would leave a case that holds nothing."""

    def gone(*_: object) -> None:
        raise AssertionError("a second write")

    monkeypatch.setattr("diagnose.log.sqlite.SqliteLog.append", gone)
    desk.walk(*DOCK, replies=("danger", "smoke"))
    (case,) = desk.cases()
    assert (case["symptom"], case["outcome"]) == ("danger", "referred")
    assert state_of(desk) == ("out of use", f"a danger was reported: {WORDS['smoke']}")


@pytest.mark.parametrize("kind", DANGERS)
def test_a_danger_before_a_case_opens_one_of_its_own(desk: Desk, kind: str) -> None:
    choose, danger, end = desk.walk(*DOCK, "--name", "Ana", replies=("danger", kind))
    assert (choose["screen"], danger["screen"]) == ("choose", "danger")
    assert "case" not in danger
    assert (danger["symptom"], danger["replies"], danger["call"]) == (None, [], CALLED)
    assert [answer["id"] for answer in danger["answers"]] == [*DANGERS, "mistake"]
    assert danger["text"] == "Stop. Get off. Send people away. Call for help."
    assert (end["screen"], end["outcome"]) == ("end", "referred")
    (case,) = desk.cases()
    own = (case["symptom"], case["machine"], case["outcome"], case["name"])
    assert own == ("danger", "dock", "referred", end["case"])
    assert end["notes"][0].startswith("Stop.")
    assert end["notes"][1:3] == [f"Call {one['who']}: {one['phone']}." for one in CALLED]
    assert f"diagnose handover {case['name']}" in end["notes"][3]
    assert state_of(desk) == ("out of use", f"a danger was reported: {WORDS[kind]}")
    told = page(desk, case["name"])
    assert f"**The machine is out of use:** a danger was reported: {WORDS[kind]}. Since" in told
    assert f"({WORDS[kind]}). It then said: stop, people away, call." in told
    first = "What service is asked to do - Find what the danger came from before"
    assert first in told
    assert "the likeliest" not in told
    # Whoever comes next meets it first.
    assert desk.walk(*LINES, replies=("leave",))[0]["screen"] == "state"
    code, out, _ = desk("cases", "show", case["name"])
    assert (code, f"Danger: {WORDS[kind]}" in out) == (0, True)
    assert desk("release", "dock", "--name", "Bo")[0] == 0
    assert desk.walk(*LINES, replies=("leave",))[0]["screen"] == "caution"


@pytest.mark.parametrize("word", ["mistake", "back", "6"])
def test_before_a_case_a_mistake_leaves_nothing(desk: Desk, word: str) -> None:
    screens = desk.walk(
        *DOCK, replies=("danger", "nonsense", "danger", word, "danger", word, "leave")
    )
    assert names(screens) == [
        *("choose", "danger", "refused", "danger", "refused", "danger"),
        *("choose", "danger", "choose", "end"),
    ]
    assert screens[1] == screens[3] == screens[5] == screens[7]
    assert screens[0].pop("notice")
    assert screens[0] == screens[6] == screens[8]
    assert screens[-1]["outcome"] == "left"
    assert not desk.log.exists()


@pytest.mark.parametrize("last", [(), ("leave",)])
def test_before_a_case_silence_is_a_danger_all_the_same(desk: Desk, last: tuple[str, ...]) -> None:
    end = desk.walk(*DOCK, replies=("danger", *last))[-1]
    assert end["outcome"] == "referred"
    assert state_of(desk) == ("out of use", "a danger was reported: something else")


@pytest.mark.parametrize("verb", ["start", "round"])
def test_a_danger_at_the_choice_of_a_machine_is_no_machine_s(desk: Desk, verb: str) -> None:
    what = () if verb == "start" else ("daily",)
    screens = desk.walk(verb, *what, replies=("danger", "mistake", "danger", "hurt"))
    assert names(screens) == ["choose", "danger", "choose", "danger", "end"]
    (case,) = desk.cases()
    assert (case["symptom"], case["machine"], case["outcome"]) == ("danger", None, "referred")
    assert "a danger was reported: somebody is hurt" in page(desk, case["name"])


@pytest.mark.parametrize("verb", [LINES, ("round", "daily", "--machine", "dock")])
@pytest.mark.parametrize("before", [(), ("released",)])
def test_a_danger_at_the_state_of_a_machine_or_while_a_name_is_asked(
    desk: Desk, verb: tuple[str, ...], before: tuple[str, ...]
) -> None:
    desk.walk(*LINES, replies=("done", "2", "refer"))
    desk.at(NOW + timedelta(hours=1))
    replies = (*before, "danger", "mistake", "danger", "battery")
    screens = desk.walk(*verb, replies=replies)
    at = len(before)
    assert names(screens)[at:] == [
        names(screens)[at],
        "danger",
        names(screens)[at],
        "danger",
        "end",
    ]
    screens[0].pop("notice")
    assert screens[at] == screens[at + 2]
    assert screens[at + 1]["call"] == CALLED
    assert sorted(case["symptom"] for case in desk.cases()) == ["danger", "lines"]
    assert state_of(desk) == ("out of use", "a danger was reported: a swollen or hissing battery")


@pytest.mark.parametrize("words", ["smoke from the hood", "Ammonia!"])
def test_words_of_danger_at_the_choice_of_a_symptom_lead_there(desk: Desk, words: str) -> None:
    screens = desk.walk(*DOCK, replies=(words, "mistake", words, "smoke"))
    assert names(screens) == ["choose", "danger", "choose", "danger", "end"]
    (case,) = desk.cases()
    assert case["outcome"] == "referred"
    (shown,) = desk.walk("cases", "show", case["name"])
    assert shown["events"][0]["words"] == words.casefold()
    assert f'in the operator\'s words: "{words.casefold()}"' in page(desk, case["name"])


def test_no_word_of_danger_is_one_where_a_machine_or_a_name_is_asked_for(desk: Desk) -> None:
    assert names(desk.walk("start", replies=("smoke", "leave"))) == [
        *("choose", "refused", "choose", "end"),
    ]
    desk.walk(*LINES, replies=("done", "2", "refer"))
    screens = desk.walk(*LINES, replies=("released", "Smoke", "leave"))
    assert screens[2]["notes"] == ["Released by Smoke, and in use again."]


def test_a_danger_at_the_choice_keeps_what_was_taken_before(desk: Desk) -> None:
    """A case that was taken back to the choice left its caution in force."""
    screens = desk.walk(*DOCK, replies=("lines", "done", "back", "danger", "heat"))
    assert names(screens) == ["choose", "caution", "check", "choose", "danger", "end"]
    for screen in screens[3:]:
        assert [held["id"] for held in screen["in_force"]] == ["key-out"]
    assert [case["symptom"] for case in desk.cases()] == ["danger"]


def test_a_trial_keeps_nothing_of_a_danger(desk: Desk) -> None:
    end = desk.walk(*DOCK, "--trial", replies=("danger", "smoke"))[-1]
    assert (end["outcome"], "case" in end) == ("referred", False)
    assert not desk.log.exists()


def test_what_a_danger_opened_is_listed_and_told_like_any_case(desk: Desk) -> None:
    name = desk.walk(*DOCK, replies=("danger", "smoke"))[-1]["case"]
    assert f"{name}  2026-11-25 12:00 +00:00  dock  danger  referred" in desk("cases")[1]
    story = desk("cases", "--machine", "dock")[1]
    assert "opened: A danger was reported" in story
    assert "referred: a danger was reported: smoke or a burning smell" in story
    assert "dock: out of use since" in desk("cases", "--open")[1]
    assert f"Case {name} has ended (referred)" in desk("resume", name)[2]
    assert desk("release", "dock", "--name", "Bo")[0] == 0
    assert desk.walk("cases", "--open")[0][0]["state"] == "in use"


# In a case and in a round, by the program's own verbs


@pytest.mark.parametrize("kind", DANGERS)
@pytest.mark.parametrize("replies", [(), ("done",), ("done", "1"), ("done", "2")])
def test_a_danger_in_a_case_comes_first_on_its_page(
    desk: Desk, replies: tuple[str, ...], kind: str
) -> None:
    screens = desk.walk(*LINES, replies=(*replies, "danger", kind))
    assert names(screens)[-2:] == ["danger", "end"]
    case = screens[0]["case"]
    assert (screens[-2]["case"], screens[-2]["call"]) == (case, CALLED)
    assert state_of(desk) == ("out of use", f"a danger was reported: {WORDS[kind]}")
    head = page(desk, case).partition("**The machine is ")[2]
    assert head.startswith(f"out of use:** a danger was reported: {WORDS[kind]}.")


@pytest.mark.parametrize("kind", DANGERS)
@pytest.mark.parametrize("replies", [(), ("done",)])
def test_a_danger_at_an_item_comes_first_on_the_round_s_page(
    desk: Desk, replies: tuple[str, ...], kind: str
) -> None:
    screens = desk.daily(*replies, "danger", "mistake", "danger", kind)
    case = screens[0]["case"]
    assert [one["name"] for one in desk.cases()] == [case]
    assert state_of(desk) == ("out of use", f"a danger was reported: {WORDS[kind]}")
    head = page(desk, case).partition("**The machine is ")[2]
    assert head.startswith(f"out of use:** a danger was reported: {WORDS[kind]}.")
    assert f"diagnose handover {case}" in " ".join(screens[-1]["notes"])
    shown = [line[9:] for line in desk("cases", "show", case)[1].splitlines()][-4:]
    pressed = "Look at the blade. danger" if replies else "Key out: danger"
    assert shown == [pressed, "Danger: mistake", pressed, f"Danger: {WORDS[kind]}"]


def test_a_danger_in_a_case_of_a_round_is_on_the_page_of_the_case(desk: Desk) -> None:
    screens = desk.daily("done", "not right", "1", "danger", "mistake", "danger", "heat")
    round_, inner = sorted(desk.cases(), key=lambda case: case["symptom"])
    assert (inner["symptom"], inner["outcome"], round_["outcome"]) == (
        *("lines", "referred", "referred"),
    )
    assert screens[-1]["outcome"] == "referred"
    assert f"diagnose handover {inner['name']}" in " ".join(screens[-1]["notes"])
    assert state_of(desk) == ("out of use", "a danger was reported: something is too hot")
    assert "a danger was reported: something is too hot" in page(desk, inner["name"])


def test_a_mistake_is_on_record_and_holds_nothing(desk: Desk) -> None:
    replies = ("done", "danger", "mistake", "1", "done", "cured")
    case = desk.walk(*LINES, replies=replies)[0]["case"]
    shown = desk("cases", "show", case)[1]
    assert "Is the blade clean? danger" in shown
    assert "Danger: mistake" in shown
    assert state_of(desk)[0] == "in use"
    assert "anger" not in page(desk, case)


def test_a_stop_that_is_no_danger_calls_service_alone(desk: Desk) -> None:
    stops = ROUND.replace("format: 1", "format: 2").replace(
        "    do: Read the log.\n", "    do: Try the brake.\n    stops: true\n"
    )
    (desk.library / "rounds" / "daily.yaml").write_text(stops)
    end = desk.daily("done", "done", "not right")[-1]
    called = [note for note in end["notes"] if note.startswith("Call ")]
    assert called == ["Call Site's service: 555-0142."]


# Killed between pressing and answering


@pytest.mark.parametrize(
    ("verb", "replies"),
    [
        (LINES, ("done",)),
        (LINES, ("done", "1", "done")),
        (("round", "daily", "--machine", "dock"), ("done",)),
        (("round", "daily", "--machine", "dock"), ("done", "not right", "1")),
    ],
)
@pytest.mark.parametrize("told", ["smoke", "mistake"])
def test_killed_at_a_danger_it_is_asked_again(
    desk: Desk, verb: tuple[str, ...], replies: tuple[str, ...], told: str
) -> None:
    driver = Driver(*verb, "--trees", str(desk.library), log=desk.log)
    case = driver.screen()["case"]
    for reply in replies:
        driver.reply(reply)
    assert driver.reply("danger")["screen"] == "danger"
    driver.kill()
    # Nobody may use it until somebody says what it was.
    assert state_of(desk) == ("out of use", "a danger was reported")
    screens = desk.walk("resume", case, replies=(told, "leave"))
    assert (screens[0]["screen"], screens[0]["call"]) == ("danger", CALLED)
    assert "notes" not in screens[0]
    if told == "smoke":
        assert [screen["screen"] for screen in screens] == ["danger", "end"]
        assert state_of(desk) == ("out of use", "a danger was reported: smoke or a burning smell")
        return
    assert screens[1]["screen"] == "caution"
    assert ("notice" in screens[0], "notice" in screens[1]) == (False, True)
    assert screens[1]["notes"][0].startswith("Taken up again.")
    assert "danger" not in state_of(desk)[1]
