"""A danger: one question that stops everything, the way back from it, and what it comes to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from strategies.by_hand import after, case, finding
from test_walk_cautions import CAUTIONS

from diagnose.case.danger import in_words, what_it_is
from diagnose.case.screens import Contact, Phrase
from diagnose.case.view import contacts
from diagnose.files.card import Card
from diagnose.files.replies import DANGERS
from diagnose.files.site import Contact as Called
from diagnose.files.site import Site
from diagnose.log.events import Replied

if TYPE_CHECKING:
    from strategies.walking import Case

ROUTE = f"""
top: {{ask: a, hazards: [wet], answers: {{good: volts, bad: t-off}}}}
volts: {{read: value, do: r, bands: [{{below: 20, call: low, go: hand}}, {{otherwise: high, go: rest}}]}}
hand: {{ask: b, hazards: [press], answers: {{good: runs, bad: h-off}}}}
runs: {{ask: c, energises: true, answers: {{good: rest, bad: t-off}}}}
t-off: {finding(30)}
h-off: {finding(30, more=", hazards: [press]")}
rest: {finding(40, "service")}
"""

#: The replies that lead to every kind of screen, and to some with more said on them.
PLACES = {
    "a caution": (),
    "a check": ("done",),
    "a reading": ("done", "good"),
    "a finding": ("done", "bad"),
    "a finding for service": ("done", "good", "30"),
    "a second caution": ("done", "good", "12"),
    "a check under a lockout": ("done", "good", "12", "done"),
    "a release": ("done", "good", "12", "done", "good"),
    "a finding under a lockout": ("done", "good", "12", "done", "bad"),
    "after a note": ("done", "note it drips"),
    "after a step back": ("done", "good", "back"),
    "after a refused caution": ("cannot",),
}


def at(place: str) -> Case:
    opened = case(ROUTE, cautions=CAUTIONS)
    after(opened, *PLACES[place])
    return opened


def last(opened: Case) -> Replied:
    event = opened.events[-1]
    assert isinstance(event, Replied)
    return event


@pytest.mark.parametrize("place", PLACES)
def test_a_danger_is_asked_about_alone(place: str) -> None:
    opened = at(place)
    before = opened.show()
    assert "danger" in before["replies"]
    screen = after(opened, "danger")
    assert screen == {
        "symptom": "alpha",
        "in_force": before["in_force"],
        "replies": [],
        "doorway": None,
        "notes": [],
        "screen": "danger",
        "call": [],
        "answers": ["smoke", "heat", "battery", "hurt", "other", "mistake"],
    }
    assert (opened.state.outcome, last(opened).outcome) == (None, None)


@pytest.mark.parametrize("kind", DANGERS)
@pytest.mark.parametrize("place", PLACES)
def test_what_it_is_ends_the_case(place: str, kind: str) -> None:
    opened = at(place)
    shown = opened.show()
    screen = after(opened, "danger", kind)
    assert (screen["screen"], screen["outcome"]) == ("end", "referred")
    assert [note["id"] for note in screen["notes"]] == ["end-danger"]
    assert screen["in_force"] == shown["in_force"]
    assert opened.state.danger
    assert (last(opened).reply, last(opened).answer) == ("danger", kind)
    assert [(trace.what, trace.why) for trace in last(opened).trail] == [("ended", "danger")]


@pytest.mark.parametrize("word", ["mistake", "back", "6", "  MISTAKE "])
@pytest.mark.parametrize("place", PLACES)
def test_by_mistake_nothing_has_changed_but_the_record(place: str, word: str) -> None:
    opened = at(place)
    screen, state, events = opened.show(), opened.state, len(opened.events)
    # Two presses, and a mistake after each; what cannot be understood in between counts for none.
    after(opened, "danger", word)
    assert (opened.show(), opened.state) == (screen, state)
    after(opened, "danger")
    assert opened.say("danger").exchange is None
    after(opened, word)
    assert (opened.show(), opened.state) == (screen, state)
    told = [(e.reply, e.answer) for e in opened.events[events:] if isinstance(e, Replied)]
    assert told == [("danger", ""), ("mistake", "")] * 2
    screen = after(opened, "danger", "hurt")
    assert screen["outcome"] == "referred"


@pytest.mark.parametrize("place", ["a check", "a reading", "a second caution"])
def test_after_a_mistake_the_case_goes_on_as_if_nothing_had_been(place: str) -> None:
    onward = {"a check": "bad", "a reading": "12", "a second caution": "done"}[place]
    mistaken, plain = at(place), at(place)
    after(mistaken, "danger", "mistake")
    assert after(mistaken, onward) == after(plain, onward)
    # *Back* withdraws the answer before, and neither the danger nor the mistake.
    assert after(mistaken, "back") == after(plain, "back")


@pytest.mark.parametrize(
    "text",
    ["", " ", "danger", "0", "7", "06", "1 2", "smok", "done", "cured", "note it smokes", "²"],
)
def test_nonsense_at_a_danger_is_refused_and_asked_again(text: str) -> None:
    opened = at("a check")
    screen = after(opened, "danger")
    turn = opened.say(text)
    (refused,) = turn.interludes
    assert refused.message.id == "danger-which"  # type: ignore[attr-defined]
    assert (turn.exchange, opened.show()) == (None, screen)


def test_whoever_leaves_has_reported_it() -> None:
    """Silence and a closed input are *leave*, for every face."""
    opened = at("a finding")
    assert after(opened, "danger", "leave")["outcome"] == "referred"
    assert (last(opened).reply, last(opened).answer, opened.state.danger) == (
        "danger",
        "other",
        True,
    )


@pytest.mark.parametrize("word", ["mistake", "smoke", "!"])
def test_its_answers_are_no_replies_elsewhere(word: str) -> None:
    assert at("a check").say(word).exchange is None


@pytest.mark.parametrize("place", PLACES)
def test_killed_before_it_is_said_which_it_is_asked_again(place: str) -> None:
    opened, plain = at(place), at(place)
    after(opened, "danger")
    plain.resume()
    for _ in range(2):
        opened.resume()
        screen = opened.show()
        assert (screen["screen"], screen["in_force"], screen["notes"]) == ("danger", [], [])
    # By mistake it is taken up where it was, with nothing in force.
    assert after(opened, "mistake") == plain.show()
    after(opened, "danger")
    opened.resume()
    assert after(opened, "smoke")["outcome"] == "referred"
    assert last(opened).answer == "smoke"


def test_after_a_mistake_a_resume_asks_nothing() -> None:
    opened = at("a reading")
    after(opened, "danger", "mistake")
    opened.resume()
    assert opened.show()["screen"] == "reading"


CALL = (Contact(who="Fire", phone="1"), Contact(who="Service", phone="2"))


def test_whom_to_call_stands_there_and_at_the_end() -> None:
    opened = at("a check")
    opened.walk.visit = replace(opened.walk.visit, call=CALL)
    screen = after(opened, "danger")
    assert screen["call"] == [{"who": "Fire", "phone": "1"}, {"who": "Service", "phone": "2"}]
    notes = [(note["id"], dict(note["into"])) for note in after(opened, "heat")["notes"][1:]]
    assert notes == [
        ("end-call", {"who": "Fire", "phone": "1"}),
        ("end-call", {"who": "Service", "phone": "2"}),
    ]


def test_the_emergency_comes_first_and_service_last_of_whom_to_call() -> None:
    site = Site(
        name="Hall",
        call={
            "service": Called(name="Site's service", phone="3"),
            "shift_lead": Called(name="Lead", phone="2"),
            "emergency": Called(name="Fire", phone="1"),
        },
    )
    card = Card(machine="m", title="M", lines={"service": {"name": "Own", "phone": "4"}})
    no_number = Card(machine="m", title="M", lines={"service": {"name": "Own"}})
    assert [one.phone for one in contacts(None, site)] == ["1", "2", "3"]
    assert [one.phone for one in contacts(no_number, site)] == ["1", "2", "3"]
    assert [(one.who, one.phone) for one in contacts(card, site)][-1] == ("Own", "4")
    assert len(contacts(card, site)) == 3
    assert [one.who for one in contacts(card)] == ["Own"]
    assert contacts(None) == contacts(no_number) == ()


# Words of danger where a symptom is asked for


@pytest.mark.parametrize(
    "words",
    [
        *("smoke", "SMOKE!", "there is smoke from the hood", "burning smell", "it's on fire"),
        *("battery swollen", "hissing", "sparks", "somebody hurt", "charger-smoke"),
    ],
)
def test_words_of_danger(words: str) -> None:
    assert in_words(words)


@pytest.mark.parametrize(
    "words", ["", "it leaves lines", "no water", "smokeless", "firefly", "unhurt", "danger"]
)
def test_words_of_no_danger(words: str) -> None:
    assert not in_words(words)


def test_a_site_adds_its_own_words() -> None:
    also = ("Ammonia", "e-stop", "hot oil", "  ")
    for words in ("ammonia leaks", "the e-stop", "E STOP", "there is hot  oil"):
        assert in_words(words, also), words
        assert not in_words(words)
    for words in ("ammoniac", "a hot boil", "hot and oil", "stop"):
        assert not in_words(words, also), words


@given(st.text())
def test_any_reply_is_a_danger_a_mistake_or_asked_again(text: str) -> None:
    told = what_it_is(text)
    assert isinstance(told, Phrase) or told in (*DANGERS, "mistake")
