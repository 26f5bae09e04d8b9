"""What a reply may be: its length, its numbers, its odd spaces; and as much of it as is kept."""

from __future__ import annotations

import pytest
from test_walk_branches import LEAVES, after, case, finding


def refusal(text: str, steps: str = LEAVES, *before: str) -> str | None:
    """Return what a reply is refused for; None where it is understood."""
    opened = case(steps)
    if before:
        after(opened, *before)
    turn = opened.say(text)
    return None if turn.exchange is not None else turn.interludes[0].message.id


@pytest.mark.parametrize(
    ("text", "step"),
    [("1", "one"), ("3", "three"), ("00002", "two"), ("  SECOND ", "two"), ("Third", "three")],
)
def test_an_answer_is_its_words_or_its_number(text: str, step: str) -> None:
    assert after(case(LEAVES), text)["step"] == step


@pytest.mark.parametrize("text", ["0", "4", "-1", "+1", "1.", "000001", "²", "first second"])
def test_no_other_number_is_an_answer(text: str) -> None:
    assert refusal(text) == "no-such-answer"


def test_four_hundred_letters_are_looked_at() -> None:
    assert refusal(" " * 395 + "first") is None
    assert refusal(" " * 396 + "first") == "no-such-answer"


def test_two_thousand_letters_are_kept() -> None:
    opened = case(LEAVES)
    typed = "first" + " " * 3000
    turn = opened.say(typed)
    assert turn.exchange is not None
    assert turn.exchange.typed == typed[:2000]
    assert opened.events[-1].typed == typed[:2000]


def test_nothing_typed_is_told_from_a_wrong_word() -> None:
    assert refusal("") == refusal("  \t ") == "nothing-typed"
    assert refusal("back") == "no-way-back"
    assert refusal("done") == "no-such-answer"
    assert refusal("done", LEAVES, "first") == "no-such-reply"
    assert refusal("1", LEAVES, "first") == "no-such-reply"


@pytest.mark.parametrize("typed", ["dangr", "dange", "danger!", "dager"])
@pytest.mark.parametrize("to", [(), ("first",)])
def test_nobody_is_led_to_danger_by_a_guess(typed: str, to: tuple[str, ...]) -> None:
    opened = case(LEAVES)
    for reply in to:
        opened.say(reply)
    message = opened.say(typed).interludes[0].message
    assert message.id in ("no-such-answer", "no-such-reply")
    assert dict(message.into)["hint"] == ""


@pytest.mark.parametrize(("typed", "meant"), [("leavee", "leave"), ("unsuer", "unsure")])
def test_other_slips_are_guessed(typed: str, meant: str) -> None:
    into = case(LEAVES).say(typed).interludes[0].message.into
    assert dict(into)["hint"] == f' Did you mean "{meant}"?'


READ = f"""
top: {{read: value, bands: [{{below: 5, call: little, go: one}}, {{otherwise: much, go: two}}]}}
one: {finding(50)}
two: {finding(50)}
"""


def test_a_reading_is_refused_for_a_reply_of_another_screen_by_the_replies_that_are_there() -> None:
    assert refusal("done", READ) == "no-such-reply"
    assert refusal("plenty", READ) == "cannot-read"
    assert refusal("4.9", READ) is None
    opened = case(READ)
    assert after(opened, "4.9")["step"] == "one"
    event = opened.events[-1]
    assert (event.reply, event.answer, event.typed) == ("answer", "little", "4.9")
    assert (event.reading.figure.value, event.reading.inputs) == (4.9, {"value": "4.9"})


def test_a_number_without_a_unit_takes_the_one_that_is_shown() -> None:
    steps = READ.replace("read: value", "read: solution-temperature").replace(
        "below: 5", "below: 20"
    )
    for typed, step in (("19", "one"), ("19 °C", "one"), ("66 degF", "one"), ("21", "two")):
        assert after(case(steps), typed)["step"] == step


def test_an_answer_that_is_not_there_is_told_how_many_there_are_and_which_may_be_meant() -> None:
    turn = case(LEAVES).say("secnod")
    into = dict(turn.interludes[0].message.into)
    assert into["last"] == "3"
    assert into["typed"] == "secnod"
    assert "second" in into["hint"]
    turn = case(LEAVES).say("unsrue")
    assert "unsure" in dict(turn.interludes[0].message.into)["hint"]


def test_a_reply_that_is_not_there_is_told_which_there_are() -> None:
    opened = case(LEAVES)
    after(opened, "first")
    turn = opened.say("curde")
    into = dict(turn.interludes[0].message.into)
    assert into["offered"] == ", ".join(opened.show()["replies"])
    assert "cured" in into["hint"]


def test_what_was_refused_changes_nothing_and_is_not_logged() -> None:
    opened = case(LEAVES)
    before, events = opened.state, list(opened.events)
    for text in ("", "nonsense", "why", "99"):
        turn = opened.say(text)
        assert turn.state is before
        assert turn.exchange is None
        assert len(turn.interludes) == 1
    assert opened.events == events
