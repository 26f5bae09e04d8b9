"""A machine's state comes first: its screen, the verb that releases it, and what each leaves."""

from __future__ import annotations

import os
import time
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from strategies.desk import NOW, Desk
from strategies.rounds import ROUND, written

from diagnose.log.machine_state import held
from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: Into a case under a lockout, and away.
LOCKED = ("done", "1", "done", "leave")
REFERRED = ("done", "2", "refer")
CURED = ("done", "1", "done", "cured")
START = ("start", "lines", "--machine", "dock")
SERVICE = "service: {name: Demo service, phone: 555-0100}\n"
STOPS = ROUND.replace("format: 1", "format: 2").replace(
    "    do: Read the log.\n", "    do: Try the brake.\n    stops: true\n"
)


def rewritten(desk: Desk, **texts: str) -> None:
    """Write the small library anew, its lockout with the sign by which one is known."""
    written(desk.library, **texts)
    cautions = desk.library / "cautions.yaml"
    title = "    title: Machine dead\n"
    assert title in cautions.read_text()
    cautions.write_text(cautions.read_text().replace(title, f"{title}    signs: [M021]\n"))


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    desk = Desk(tmp_path, monkeypatch)
    rewritten(desk)
    card = desk.library / "machines" / "dock.yaml"
    card.write_text(card.read_text() + SERVICE)
    return desk


def left_locked(desk: Desk, *more: str) -> str:
    """Leave a case with the lockout on, and return its name."""
    name: str = desk.walk(*START, *more, replies=LOCKED)[0]["case"]
    return name


def state_of(desk: Desk, machine: str = "dock") -> str:
    (state,) = [
        row["state"] for row in desk.walk("cases", "--open")[0] if row["machine"] == machine
    ]
    return str(state)


def ids(screen: dict[str, Any]) -> list[str]:
    return [reply["id"] for reply in screen["replies"]]


def names(screens: list[dict[str, Any]]) -> list[str]:
    return [screen["screen"] for screen in screens]


# The screen


def test_a_lockout_left_in_place_is_met_first(desk: Desk) -> None:
    name = left_locked(desk, "--name", "Ana")
    desk.at(NOW + timedelta(hours=3))
    state, end = desk.walk(*START, replies=("leave",))
    own = ("machine", "state", "since", "why", "tag", "case", "call")
    assert [state[key] for key in own] == [
        "dock",
        "out of use",
        NOW.isoformat(),
        "Machine dead: in force, not released",
        "Ana, operator",
        name,
        [{"who": "Demo service", "phone": "555-0100"}],
    ]
    assert (state["screen"], state["symptom"], state["in_force"]) == ("state", None, [])
    assert "notice" in state
    assert ids(state) == ["go on", "start anew", "released", "danger", "leave"]
    assert (end["screen"], end["outcome"]) == ("end", "left")
    assert [case["name"] for case in desk.cases()] == [name]


@pytest.mark.parametrize("verb", [START, ("round", "daily", "--machine", "dock")])
def test_one_goes_on_with_that_case(desk: Desk, verb: tuple[str, ...]) -> None:
    name = left_locked(desk)
    state, first, *_, end = desk.walk(*verb, replies=("go on", "done", "cured"))
    assert (state["screen"], first["case"]) == ("state", name)
    assert first["notes"][0].startswith("Taken up again.")
    assert (end["outcome"], state_of(desk)) == ("cured", "in use")
    assert len(desk.cases()) == 1


def test_a_round_that_was_left_in_its_case_is_gone_on_with(desk: Desk) -> None:
    first = desk.daily("done", "not right", "1", "done", "leave")
    state, again, *_ = desk.walk(*START, replies=("go on", "done", "cured", "leave"))
    assert state["case"] == first[-2]["case"] != first[0]["case"]
    assert again["case"] == state["case"]
    assert state_of(desk) == "in use"


def test_a_referred_case_cannot_be_gone_on_with(desk: Desk) -> None:
    name = desk.walk(*START, replies=REFERRED)[0]["case"]
    state, refused, again, check = desk.walk(*START, replies=("go on", "start anew"))[:4]
    assert ids(state) == ["start anew", "released", "danger", "leave"]
    assert (state["case"], state["tag"]) == (name, None)
    assert state["why"] == "referred to service: The frame is bent"
    assert (refused["screen"], again["screen"]) == ("refused", "state")
    assert '"go on" is no reply here' in refused["message"]
    assert check["screen"] == "caution"
    # To have started anew changes nothing.
    assert state_of(desk) == "out of use"


def test_a_cure_in_another_case_releases_nothing(desk: Desk) -> None:
    desk.walk(*START, replies=REFERRED)
    assert desk.walk(*START, replies=("start anew", *CURED))[-1]["outcome"] == "cured"
    assert state_of(desk) == "out of use"


def test_released_at_the_screen_is_the_verb_s_event(desk: Desk) -> None:
    first = left_locked(desk)
    state, check, *_ = desk.walk(*START, "--name", "Bo", replies=("released", "leave"))
    assert state["screen"] == "state"
    assert check["notes"] == ["Released by Bo, and in use again."]
    assert check["case"] != first
    assert state_of(desk) == "in use"
    log = SqliteLog(desk.log, "rw")
    case = log.case(first)
    assert case is not None
    last = log.events(case)[-1].event
    second = left_locked(desk)
    assert desk("release", "dock", "--name", "Bo")[0] == 0
    other = log.case(second)
    assert other is not None
    assert log.events(other)[-1].event == last


def test_a_release_is_nobody_s_word_without_a_name(desk: Desk) -> None:
    left_locked(desk)
    replies = ("released", "back", "released", "  ", "Bo  Berg", "leave")
    shown = desk.walk(*START, replies=replies)
    assert names(shown)[:7] == [
        "state",
        "choose",
        "state",
        "choose",
        "refused",
        "choose",
        "caution",
    ]
    assert (shown[1]["what"], shown[1]["options"]) == ("name", [])
    assert shown[6]["notes"] == ["Released by Bo Berg, and in use again."]
    assert desk("cases", "--machine", "dock")[1].count("released by Bo Berg") == 1


@pytest.mark.parametrize("reply", ["danger", "leave"])
def test_one_may_leave_while_a_name_is_asked_for(desk: Desk, reply: str) -> None:
    left_locked(desk)
    _, asked, *danger, end = desk.walk(*START, replies=("released", reply))
    assert asked["what"] == "name"
    assert names(danger) == ([] if reply == "leave" else ["danger"])
    assert end["outcome"] == ("left" if reply == "leave" else "referred")
    assert state_of(desk) == "out of use"


def test_the_name_may_come_from_the_environment(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DIAGNOSE_NAME", "Cem")
    left_locked(desk)
    state, check, *_ = desk.walk(*START, replies=("released", "leave"))
    assert state["tag"] == "Cem, operator"
    assert check["notes"] == ["Released by Cem, and in use again."]


def test_back_leads_to_the_choice_of_a_machine(desk: Desk) -> None:
    desk.card("aisle")
    left_locked(desk)
    shown = desk.walk("start", "lines", replies=("dock", "back", "aisle", "leave"))
    assert names(shown) == ["choose", "state", "choose", "caution", "end"]
    assert "back" in ids(shown[1])
    assert "notice" not in shown[1]
    # A machine that was named on the command line was not chosen at a screen.
    _, refused, *_ = desk.walk(*START, replies=("back", "leave"))
    assert refused["message"].startswith("This is the first screen")


def test_danger_at_the_state_s_screen_ends(desk: Desk) -> None:
    left_locked(desk)
    _, danger, end = desk.walk(*START, replies=("danger", "heat"))
    assert danger["call"] == [{"who": "Demo service", "phone": "555-0100"}]
    assert end["outcome"] == "referred"
    assert "Stop." in end["notes"][0]


def test_nothing_is_shown_of_a_machine_in_use_in_a_trial_or_without_a_card(desk: Desk) -> None:
    desk.walk(*START, replies=(*CURED,))
    assert names(desk.walk(*START, replies=("leave",)))[0] == "caution"
    left_locked(desk)
    assert names(desk.walk(*START, "--trial", replies=("leave",)))[0] == "caution"
    assert names(desk.walk("start", "lines", "--machine", "none"))[0] == "caution"


def test_what_else_holds_it_is_told_shortly(desk: Desk) -> None:
    for hours in range(4):
        desk.at(NOW + timedelta(hours=hours))
        replies = LOCKED if hours == 3 else REFERRED
        desk.walk(*START, replies=("start anew", *replies) if hours else replies)
    (state, _) = desk.walk(*START)
    # The last that happened, since the first; the others by name, then by number.
    assert (state["why"], state["since"]) == (
        "Machine dead: in force, not released",
        NOW.isoformat(),
    )
    assert len(state["notes"]) == 3
    assert "Also on this machine: out of use since 2026-11-25 14:00 +00:00" in state["notes"][0]
    assert state["notes"][2].startswith("More cases that hold this machine: 1.")
    first, *_ = desk.walk("resume", state["case"])
    assert first["notes"][0].startswith("Taken up again.")
    assert first["notes"][1:] == state["notes"]
    assert desk("release", "dock", "--name", "Bo")[0] == 0
    assert state_of(desk) == "in use"


def test_times_are_shown_as_the_clock_on_the_wall_has_them(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, local: None
) -> None:
    left_locked(desk)
    # 12:00 UTC in November, two hours east of it.
    assert "out of use since 2026-11-25 14:00 +02:00" in desk("cases", "--open")[1]
    assert "2026-11-25 14:00 +02:00" in desk("cases")[1]
    _, out, _ = desk(*START, "--plain", replies=("leave",))
    assert "Out of use since 2026-11-25 14:00 +02:00" in out
    (row,) = desk.walk("cases", "--open")[0]
    assert row["since"] == NOW.isoformat()


@pytest.fixture
def local(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A computer two hours east of Greenwich (POSIX counts west)."""
    monkeypatch.setitem(os.environ, "TZ", "XYZ-2")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


# What was noted


def test_the_next_shift_is_told_what_was_noted(desk: Desk) -> None:
    noted = ("note E3 on the panel", "done", "note 12 h", "1", "done", "note a loose cap", "leave")
    name = desk.walk(*START, replies=noted)[0]["case"]
    (row,) = desk.walk("cases", "--open")[0]
    assert row["waiting"][0]["noted"] == ["E3 on the panel", "12 h", "a loose cap"]
    assert "    noted: E3 on the panel\n" in desk("cases", "--open")[1]
    assert f"{name}  note  E3 on the panel\n" in desk("cases", "--machine", "dock")[1]
    # Whoever begins a case meets the last ones; the list has all.
    state = desk.walk(*START, replies=("leave",))[0]
    assert state["screen"] == "state"
    assert state["notes"] == ["Noted there: 12 h", "Noted there: a loose cap"]
    assert desk("release", "dock", "--name", "Bo")[0] == 0
    assert desk.walk(*START, replies=("leave",))[0]["screen"] != "state"


def test_the_list_tells_what_was_noted_in_the_last_round_alone(desk: Desk) -> None:
    for hours, words in enumerate(("a worn pad", "the lamp flickers")):
        desk.at(NOW + timedelta(hours=hours))
        desk.daily(f"note {words}", *["done"] * 11)
    (row,) = desk.walk("cases", "--open")[0]
    at = (NOW + timedelta(hours=1)).isoformat()
    assert row["last_round"] == [{"at": at, "words": "the lamp flickers"}]
    lines = desk("cases", "--open")[1].splitlines()
    assert lines[1:] == ["  noted in the last round: the lamp flickers"]


# The verb


def test_release_says_what_was_released_and_refuses_what_is_in_use(desk: Desk) -> None:
    name = left_locked(desk)
    code, out, err = desk("release", "dock", "--name", "Bo")
    assert (code, out, err) == (0, f"dock: in use, released by Bo (cases {name}).\n", "")
    assert state_of(desk) == "in use"
    code, out, err = desk("release", "dock", "--name", "Bo")
    assert (code, out) == (2, "")
    assert err == "diagnose: dock is in use: there is nothing to release.\n"
    shown = desk("cases", "show", name)[1]
    assert shown.splitlines()[-1].endswith("released by Bo")


def test_release_in_json(desk: Desk) -> None:
    name = left_locked(desk)
    (told,) = desk.walk("release", "dock", "--name", "Bo")
    assert told == {"machine": "dock", "released": "Bo", "cases": [name]}


def test_release_wants_a_name_and_a_machine_that_is_there(desk: Desk) -> None:
    code, _, err = desk("release", "dock")
    assert (code, err) == (2, "diagnose: Say who releases it: --name WHO.\n")
    code, _, err = desk("release", "dokc", "--name", "Bo")
    assert (code, err.count("\n")) == (2, 1)
    assert 'There is no machine "dokc" in the library or the log. Did you mean "dock"?' in err
    code, _, err = desk("release", "dock", "--name", "Bo")
    assert (code, err) == (2, "diagnose: dock is in use: there is nothing to release.\n")


def test_cases_without_a_machine_are_released_together(desk: Desk) -> None:
    desk.walk("start", "lines", "--machine", "none", replies=LOCKED)
    left_locked(desk)
    assert desk("release", "none", "--name", "Bo")[0] == 0
    states = {row["machine"]: row["state"] for row in desk.walk("cases", "--open")[0]}
    assert states == {None: "in use", "dock": "out of use"}


def test_a_machine_that_has_left_the_library_can_be_released(desk: Desk) -> None:
    left_locked(desk)
    (desk.library / "machines" / "dock.yaml").unlink()
    assert desk("release", "dock", "--name", "Bo")[0] == 0


# The verdict


def test_a_verdict_ends_it_only_with_a_release(desk: Desk) -> None:
    name = desk.walk(*START, replies=REFERRED)[0]["case"]
    assert desk("cases", "found", name, "bent", "--name", "Bo")[0] == 0
    assert state_of(desk) == "out of use"
    code, _, err = desk("cases", "found", name, "bent", "--released")
    assert (code, err) == (2, "diagnose: Say who releases the machine: --name WHO.\n")
    code, out, _ = desk("cases", "found", name, "bent", "--released", "--name", "Bo")
    assert (code, out.splitlines()[-1]) == (0, "dock: in use, nothing holds it any more.")
    assert state_of(desk) == "in use"
    told = desk("cases", "show", name)[1].splitlines()
    assert [line[9:] for line in told[-2:]] == ["found bent", "found bent, released"]
    page = " ".join(desk("handover", name)[1].split())
    assert "**The machine is in use:** released by Bo." in page


def test_a_verdict_s_release_is_that_of_its_own_case(desk: Desk) -> None:
    """Whoever mended one thing knows nothing of another one's tag."""
    name = desk.walk(*START, replies=REFERRED)[0]["case"]
    other = desk.walk(*START, replies=("start anew", *LOCKED))[1]["case"]
    code, out, _ = desk("cases", "found", name, "bent", "--released", "--name", "Bo")
    assert code == 0
    assert out.splitlines()[1].startswith(f"dock: still out of use (cases {other}).")


@pytest.mark.parametrize("more", [(), ("show", "X"), ("--open",)])
def test_a_release_goes_with_a_verdict(desk: Desk, more: tuple[str, ...]) -> None:
    code, _, err = desk("cases", *more, "--released")
    assert (code, err.count("\n")) == (2, 1)


# A round's stop


def test_an_item_that_stops_a_round_puts_the_machine_out_of_use(desk: Desk) -> None:
    rewritten(desk, round_=STOPS)
    shown = desk.daily("done", "done", "not right")
    end = shown[-1]
    assert (end["screen"], end["outcome"]) == ("end", "referred")
    assert "It is out of use until it is released." in end["notes"][0]
    assert end["notes"][1] == "Call Demo service: 555-0100."
    (round_,) = desk.cases()
    assert (round_["outcome"], round_["round"]) == ("referred", "daily")
    assert end["notes"][2].startswith(f"The page for service: diagnose handover {round_['name']}")
    (row,) = desk.walk("cases", "--open")[0]
    assert (row["state"], row["why"], row["case"]) == (
        "out of use",
        "not right: Try the brake",
        round_["name"],
    )
    assert row["noted"] == [{"at": NOW.isoformat(), "do": "Try the brake."}]
    page = " ".join(desk("handover", round_["name"])[1].split())
    assert "**The machine is out of use:** not right: Try the brake." in page
    assert "## Not right in the round" in page
    assert "**Try the brake.**" in page
    assert "- Put right what the round found not right." in page
    story = desk("cases", "--machine", "dock")[1]
    assert "The daily round: stopped, it was not right, 1 of 5 done" in story
    assert names(desk.daily())[0] == "state"
    assert desk("release", "dock", "--name", "Bo")[0] == 0
    (row,) = desk.walk("cases", "--open")[0]
    assert (row["state"], row["noted"]) == ("in use", [])


def test_an_item_that_stops_begins_no_case(desk: Desk) -> None:
    rewritten(desk, round_=STOPS.replace("stops: true", "stops: true\n    starts: dead"))
    shown = desk.daily("done", "done", "not right")
    assert shown[-1]["outcome"] == "referred"
    assert len(desk.cases()) == 1


# What a round found not right


def test_what_is_not_right_is_on_the_page_where_no_case_can_begin(desk: Desk) -> None:
    """Its symptom is with service already, or its tree is broken: it is noted all the same."""
    lamp = "  lamp:\n    do: Look at the other blade.\n    starts: lines\n  run:\n"
    rewritten(desk, round_=ROUND.replace("  run:\n", lamp))
    shown = desk.daily("done", "not right", "2", "refer", "done", "done", "done", "not right")
    assert any("with service already" in note for note in shown[-2].get("notes", []))
    (row,) = desk.walk("cases", "--open")[0]
    assert [note["do"] for note in row["noted"]] == ["Look at the other blade."]
    round_, case = sorted(desk.cases(), key=lambda one: one["round"] is None)
    for name in (round_["name"], case["name"]):
        assert "**Look at the other blade.**" in desk("handover", name)[1]


def test_what_was_noted_stays_until_that_item_is_done(desk: Desk) -> None:
    desk.daily("done", "done", "not right", *["done"] * 8)
    for later, replies in enumerate((("leave",), ("done", "done", "not now", *["done"] * 8))):
        desk.at(NOW + timedelta(hours=later + 1))
        desk.daily(*replies)
        (row,) = desk.walk("cases", "--open")[0]
        assert row["noted"] == [{"at": NOW.isoformat(), "do": "Read the log."}]
    desk.daily(*["done"] * 11)
    assert desk.walk("cases", "--open")[0][0]["noted"] == []


def test_it_is_held_by_what_is_in_its_log_alone(desk: Desk) -> None:
    left_locked(desk)
    log = SqliteLog(desk.log, "rw")
    assert [one.case.machine for one in held(log)] == ["dock"]
    assert held(log, "aisle") == []


def test_a_round_that_is_due_says_what_its_machine_is(desk: Desk) -> None:
    desk.card("aisle")
    left_locked(desk)
    lines = sorted(desk("round", "daily", "--due")[1].splitlines())
    assert [line.split("; ")[1:] for line in lines] == [[], ["out of use"]]


def test_a_round_that_broke_off_tells_what_it_had_noted(desk: Desk) -> None:
    """As if the program had been killed: what it wrote last is no end."""
    desk.daily("done", "done", "not right", "back", "done", "leave")
    desk.daily("done", "done", "not right", "leave")
    log = SqliteLog(desk.log, "rw")
    for case in log.cases():
        last = log.events(case)[-1].number
        log.base.execute('DELETE FROM events WHERE "case" = ? AND number = ?', (case.key, last))
    (row,) = desk.walk("cases", "--open")[0]
    assert [note["do"] for note in row["noted"]] == ["Read the log."]
