"""Cautions on the way: when they are taken, released, refused, and in force no more."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from strategies.walker import Walker, visit_to
from test_walk_branches import after, case, finding, ranking

from diagnose.case.cautions import CautionState
from diagnose.commands.ready_library import ReadyLibrary

if TYPE_CHECKING:
    from pathlib import Path

    from strategies.walking import Case

CAUTIONS = """
format: 1
hazards:
  startup: {title: S}
  press: {title: P}
  wet: {title: W}
cautions:
  key-out:
    {title: Key out, signal: WARNING, covers: [startup], lapses: when energised, minutes: 1,
     text: t, confirm: [key in pocket], release: [lids shut]}
  barrier:
    {title: Barrier, signal: CAUTION, covers: [wet], lapses: never, minutes: 2, text: t,
     confirm: [signs up]}
  lockout:
    {title: Machine dead, signal: WARNING, signs: [M021], covers: [press], includes: [key-out],
     lapses: when energised, minutes: 3, text: t, confirm: [connector apart], release: [tag off]}
"""

ROUTE = f"""
top: {{ask: a, hazards: [wet], answers: {{good: hand, bad: t-off}}}}
hand: {{ask: b, hazards: [press], answers: {{good: runs, bad: h-off}}}}
runs: {{ask: c, energises: true, answers: {{good: hand-again, bad: r-off}}}}
hand-again: {{ask: d, hazards: [press], passes: good, answers: {{good: rest, bad: a-off}}}}
t-off: {finding(10)}
h-off: {finding(30, more=", hazards: [press]")}
r-off: {finding(20)}
a-off: {finding(20)}
rest: {finding(20, "service")}
"""


def seen(screen: dict) -> str:
    return screen.get("step") or f"{screen['phase']} {screen['id']}"


def lines(screen: dict) -> list[str]:
    return [line for caution in screen["cautions"] for line in caution["confirm"]]


def test_a_caution_comes_before_its_step_and_holds_until_it_lapses() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    order = [seen(opened.show())]
    for reply in ("done", "good", "done", "good", "done", "done", "good", "done"):
        order.append(seen(after(opened, reply)))
    assert order == [
        "take barrier",
        "top",
        "take lockout",
        "hand",
        # The reverse order of cautions.yaml, one screen each; the barrier never lapses.
        "release lockout",
        "release key-out",
        "runs",
        "take lockout",
        "hand-again",
    ]


def test_what_is_included_is_confirmed_first_and_comes_into_force_with_it() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    screen = after(opened, "done", "good")
    assert lines(screen) == ["key in pocket", "connector apart"]
    screen = after(opened, "done")
    assert [named["id"] for named in screen["in_force"]] == ["key-out", "barrier", "lockout"]


def test_what_is_included_and_in_force_already_is_not_confirmed_again() -> None:
    steps = ROUTE.replace("top: {ask: a, hazards: [wet]", "top: {ask: a, hazards: [startup]")
    screen = after(case(steps, cautions=CAUTIONS), "done", "good")
    assert lines(screen) == ["connector apart"]


def test_the_second_time_one_confirmation_is_enough() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    first = after(opened, "done", "good")
    assert (first["lines"], first["cautions"][0]["again"]) == ("each", False)
    second = after(opened, "done", "good", "done", "done", "good")
    assert (second["lines"], second["cautions"][0]["again"]) == ("together", True)
    # The lines stay: whoever confirms them sees them.
    assert lines(second) == lines(first)


def test_cannot_passes_the_step_over_and_no_evidence_comes_of_it() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    after(opened, "done", "good")
    before = ranking(opened)
    screen = after(opened, "cannot")
    # h-off needs the same caution, so of the branches of `hand` only `runs` can be shown.
    assert screen["step"] == "runs"
    assert ranking(opened) == pytest.approx(before)


def test_a_refused_caution_stays_refused_with_what_includes_it() -> None:
    steps = f"""
    top: {{ask: a, hazards: [startup], answers: {{good: hand, bad: t-off}}}}
    hand: {{ask: b, hazards: [press], answers: {{good: last, bad: h-off}}}}
    last: {{ask: c, passes: good, answers: {{good: rest, bad: l-off}}}}
    t-off: {finding(1)}
    h-off: {finding(30)}
    l-off: {finding(30)}
    rest: {finding(20)}
    """
    opened = case(steps, cautions=CAUTIONS)
    screen = after(opened, "cannot")
    assert screen["screen"] != "caution"
    trail = [t for event in opened.events for t in event.trail if t.what == "passed"]
    assert [(t.step, t.why) for t in trail] == [("top", "caution"), ("hand", "caution")]
    assert [note["id"] for note in screen["notes"]] == ["passed-caution"]
    # Until a resume, when somebody else may stand there.
    after(opened, "leave")
    opened.resume()
    assert opened.state.cautions.refused == 0


def test_back_withdraws_a_refusal() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    after(opened, "done", "good", "cannot")
    screen = after(opened, "back")
    assert (screen["screen"], screen["id"]) == ("caution", "lockout")
    assert after(opened, "done")["step"] == "hand"


def test_back_at_a_caution_goes_to_the_question_before() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    assert after(opened, "done", "good", "back")["step"] == "top"
    # `done` did not move the walk, and what happened to the machine stays.
    assert after(opened, "good", "done")["step"] == "hand"
    screen = after(opened, "back")
    assert screen["step"] == "top"
    assert "lockout" in [named["id"] for named in screen["in_force"]]


def test_in_force_follows_time_and_not_the_path() -> None:
    # Back over a step that ran the machine: the lockout is not in force again by itself.
    opened = case(ROUTE, cautions=CAUTIONS)
    assert after(opened, "done", "good", "done", "good", "done", "done")["step"] == "runs"
    screen = after(opened, "back")
    assert seen(screen) == "take lockout"
    assert [named["id"] for named in screen["in_force"]] == ["barrier"]


def test_a_tag_that_is_not_mine_passes_the_running_step_over() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    after(opened, "done", "good", "done", "good")
    screen = after(opened, "cannot")
    # What was not released stays in force; the branch on the other side needs no more cautions.
    assert screen["step"] in ("hand-again", "r-off")
    assert [named["id"] for named in screen["in_force"]] == ["key-out", "barrier", "lockout"]


def test_what_was_released_before_the_refusal_is_gone_and_taken_again_where_needed() -> None:
    # The file lists lockout first here, so key-out is released first, and lockout refused.
    head, key, rest = CAUTIONS.partition("  key-out:\n")
    block, barrier, tail = rest.partition("  barrier:\n")
    swapped = head + barrier + tail + key + block
    opened = case(ROUTE, cautions=swapped)
    assert seen(after(opened, "done", "good", "done", "good")) == "release key-out"
    screen = after(opened, "done", "cannot")
    while screen.get("step") != "hand-again" and screen["screen"] != "caution":
        screen = after(opened, "cannot")
    # A lockout without its key-out is none: the key comes out again before hands go in.
    assert seen(screen) == "take key-out"


def test_the_release_stands_with_the_remedy_and_a_trial_ends_what_lapses() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    screen = after(opened, "done", "good", "done", "bad")
    assert screen["before_trying"] == ["tag off", "lids shut"]
    screen = after(opened, "not cured")
    assert "lockout" not in [named["id"] for named in screen["in_force"]]


def test_cannot_at_a_remedy_energises_nothing() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    screen = after(opened, "done", "good", "done", "bad", "cannot")
    assert "lockout" in [named["id"] for named in screen["in_force"]]


def test_back_from_a_remedy_ends_what_lapses_since_it_may_have_been_tried() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    screen = after(opened, "done", "good", "done", "bad", "back")
    assert [named["id"] for named in screen["in_force"]] == ["barrier"]
    assert seen(screen) == "take lockout"


def test_back_from_a_finding_for_service_ends_nothing() -> None:
    steps = ROUTE.replace(
        f"h-off: {finding(30, more=', hazards: [press]')}", f"h-off: {finding(30, 'service')}"
    )
    opened = case(steps, cautions=CAUTIONS)
    assert after(opened, "done", "good", "done", "bad")["who"] == "service"
    screen = after(opened, "back")
    assert screen["step"] == "hand"
    assert "lockout" in [named["id"] for named in screen["in_force"]]


def test_what_service_finds_calls_no_caution_for_its_hazards() -> None:
    steps = f"""
    top: {{ask: a, answers: {{good: one, bad: two}}}}
    one: {finding(30, "service", more=", hazards: [press]")}
    two: {finding(30, "service", more=", cautions: [barrier]")}
    """
    assert after(case(steps, cautions=CAUTIONS), "good")["step"] == "one"
    assert seen(after(case(steps, cautions=CAUTIONS), "bad")) == "take barrier"


def test_on_resume_nothing_is_in_force() -> None:
    opened = case(ROUTE, cautions=CAUTIONS)
    after(opened, "done", "good", "done", "leave")
    opened.resume()
    screen = opened.show()
    assert screen["in_force"] == []
    assert (seen(screen), screen["lines"]) == ("take lockout", "each")


def test_a_step_for_another_person_is_passed_over() -> None:
    steps = ROUTE.replace("hand: {ask: b,", "hand: {ask: b, by: battery-trained,")
    screen = after(case(steps, cautions=CAUTIONS), "done", "good")
    assert seen(screen) != "take lockout"
    assert screen["notes"][0] == {"id": "passed-by", "into": [["who", "battery-trained"]]}
    trained = case(steps, cautions=CAUTIONS, role="battery-trained")
    assert seen(after(trained, "done", "good")) == "take lockout"


def test_a_remedy_for_another_person_is_set_aside_unseen_and_service_is_not() -> None:
    steps = f"""
    top: {{ask: a, answers: {{good: one, bad: two, other: three}}}}
    one: {finding(30, "battery-trained")}
    two: {finding(20, "service")}
    three: {finding(30)}
    """
    assert after(case(steps), "good")["step"] == "three"
    assert after(case(steps), "bad")["step"] == "two"
    assert after(case(steps, role="battery-trained"), "good")["step"] == "one"


#: Two that are confirmed together, one line by line between them, one that brings the last along.
SHARED = """
format: 2
hazards:
  wet: {title: W}
  germs: {title: G}
  press: {title: P}
  cuts: {title: C}
  acid: {title: A}
cautions:
  barrier: {title: Barrier, signal: CAUTION, covers: [wet], lapses: never, text: t, confirm: [b]}
  gloves: {title: Gloves, signal: WARNING, covers: [germs], lapses: never, text: t, confirm: [g]}
  lockout:
    {title: Locked out, signal: WARNING, covers: [press], confirm_lines: each, lockout: true,
     lapses: when energised, text: t, confirm: [k, l], release: [r]}
  knife: {title: Knife, signal: CAUTION, covers: [cuts], lapses: never, text: t, confirm: [n]}
  goggles:
    {title: Goggles, signal: NOTICE, covers: [acid], includes: [lockout], lapses: never, text: t,
     confirm: [e]}
"""


def shared(hazards: str) -> str:
    return f"""
top: {{ask: a, passes: good, answers: {{good: hands, bad: off}}}}
hands: {{ask: b, hazards: [{hazards}], passes: good, answers: {{good: wet, bad: off}}}}
wet: {{ask: c, hazards: [wet], passes: good, answers: {{good: rest, bad: off}}}}
off: {finding(10)}
rest: {finding(20)}
"""


def at(hazards: str, *replies: str) -> tuple:
    """A case before the step with these hazards, and its screen after the replies."""
    opened = case(shared(hazards), cautions=SHARED)
    return opened, after(opened, "good", *replies)


def on_it(screen: dict) -> list[str]:
    return [caution["id"] for caution in screen["cautions"]]


def test_cautions_that_follow_one_another_share_a_screen_and_a_confirmation() -> None:
    opened, screen = at("germs, wet")
    assert (on_it(screen), screen["lines"]) == (["barrier", "gloves"], "together")
    assert (screen["id"], screen["title"], screen["signal"]) == ("barrier", "Barrier", "WARNING")
    assert [[one["id"] for one in caution["hazards"]] for caution in screen["cautions"]] == [
        ["wet"],
        ["germs"],
    ]
    screen = after(opened, "done")
    assert screen["step"] == "hands"
    assert [named["id"] for named in screen["in_force"]] == ["barrier", "gloves"]


def test_one_whose_lines_are_confirmed_each_has_a_screen_of_its_own() -> None:
    opened, screen = at("cuts, press, germs, wet")
    screens = []
    while screen["screen"] == "caution":
        screens.append((on_it(screen), screen["lines"]))
        screen = after(opened, "done")
    assert screens == [
        (["barrier", "gloves"], "together"),
        (["lockout"], "each"),
        (["knife"], "together"),
    ]


def test_so_has_one_that_brings_such_lines_along() -> None:
    _, screen = at("acid, germs")
    assert on_it(screen) == ["gloves"]
    opened, screen = at("acid, cuts", "done")
    assert (on_it(screen), screen["lines"], screen["signal"]) == (["goggles"], "each", "WARNING")
    assert lines(screen) == ["k", "l", "e"]
    # Where the lockout is in force its lines are not there, and nothing has to stand alone.
    steps = shared("acid, cuts").replace("top: {ask: a,", "top: {ask: a, hazards: [press],")
    opened = case(steps, cautions=SHARED)
    screen = after(opened, "done", "good")
    assert (on_it(screen), screen["lines"]) == (["knife", "goggles"], "together")


def test_cannot_refuses_all_that_stands_on_the_screen() -> None:
    opened, _ = at("germs, wet", "cannot")
    assert opened.events[-1].refused == ("barrier", "gloves")
    assert passed_over(opened) == ["hands", "wet"]


@pytest.mark.parametrize("word", ["gloves", "2", "GLOVES"])
def test_cannot_with_a_name_refuses_that_one(word: str) -> None:
    opened, screen = at("germs, wet", f"cannot {word}")
    assert opened.events[-1].refused == ("gloves",)
    assert opened.events[-1].passed[0].reason == "Gloves"
    assert passed_over(opened) == ["hands"]
    # The other one was not confirmed either, and may still be.
    assert (on_it(screen), screen["in_force"]) == (["barrier"], [])
    assert after(opened, "done")["step"] == "wet"


def test_what_is_brought_along_can_be_refused_by_its_id_too() -> None:
    opened, _ = at("acid", "cannot lockout")
    assert opened.events[-1].refused == ("lockout",)
    assert passed_over(opened) == ["hands"]
    assert opened.events[-1].passed[0].reason == "Locked out"


def test_cannot_with_a_name_that_is_not_on_the_screen_says_so() -> None:
    opened, _ = at("germs, wet")
    turn = opened.say("cannot glove")
    assert turn.exchange is None
    (refused,) = turn.interludes
    assert refused.message.id == "no-such-caution"
    assert dict(refused.message.into)["hint"] == ' Did you mean "gloves"?'
    assert on_it(opened.show()) == ["barrier", "gloves"]


def test_back_withdraws_the_refusal_of_one() -> None:
    opened, _ = at("germs, wet", "cannot gloves")
    assert on_it(after(opened, "back")) == ["barrier", "gloves"]


def test_a_case_with_a_shared_screen_is_taken_up_again() -> None:
    opened, _ = at("germs, wet", "cannot gloves", "done", "leave")
    opened.resume()
    assert opened.events[-1].misfits == 0
    assert opened.state.cautions == CautionState()


def passed_over(opened: Case) -> list[str]:
    return [t.step for event in opened.events for t in event.trail if t.what == "passed"]


BRANCHES = f"""
top: {{ask: a, answers: {{to one: one, to two: two}}}}
one: {{ask: b, hazards: [press], answers: {{good: o-off, bad: o-on}}}}
two: {{ask: c, minutes: 6, answers: {{good: t-off, bad: t-on}}}}
o-off: {finding(25)}
o-on: {finding(25)}
t-off: {finding(25)}
t-on: {finding(25)}
"""


@pytest.mark.parametrize(("minutes", "step"), [(None, "take lockout"), (9, "two")])
def test_the_cards_minutes_for_a_caution_count_in_the_worth(minutes: int | None, step: str) -> None:
    # One: 1 + 3 for the lockout (or 9 on this machine) + 5. Two: 6 + 5.
    card = "format: 1\nmachine: m\ntitle: M\nbattery: {kind: sealed}\n"
    own = f"{card}caution_minutes: {{lockout: {minutes}}}\n" if minutes else card
    assert seen(after(case(BRANCHES, cautions=CAUTIONS, card=own), "unsure")) == step


def test_a_caution_in_force_costs_nothing() -> None:
    steps = BRANCHES.replace("top: {ask: a,", "top: {ask: a, hazards: [press],")
    card = (
        "format: 1\nmachine: m\ntitle: M\nbattery: {kind: sealed}\ncaution_minutes: {lockout: 9}\n"
    )
    assert after(case(steps, cautions=CAUTIONS, card=card), "done", "unsure")["step"] == "one"


def chain(length: int, more: str) -> str:
    """Return checks in a row, all but the first with `more`."""
    lines = ["q0: {ask: a, answers: {good: q1, bad: f0}}", f"f0: {finding(1)}"]
    for n in range(1, length):
        to = f"q{n + 1}" if n + 1 < length else "rest"
        lines += [f"q{n}: {{ask: a, {more} answers: {{good: {to}, bad: f{n}}}}}"]
        lines += [f"f{n}: {finding(1)}"]
    return "\n".join([*lines, f"rest: {finding(1)}"])


@pytest.mark.parametrize(
    "more", ["by: service, if_unsure: good,", "hazards: [press], if_unsure: good,"]
)
def test_a_thousand_steps_can_be_passed_over_in_a_row(more: str) -> None:
    opened = case(chain(1000, more), cautions=CAUTIONS)
    screen = after(opened, "good")
    if screen["screen"] == "caution":
        screen = after(opened, "cannot")
    assert (screen["step"], screen["checked"], len(screen["notes"])) == ("rest", False, 1)


@pytest.mark.parametrize(("machine", "minutes"), [("none", 1 + 3 + 2 + 5), ("m", 1 + 61 + 2 + 5)])
def test_the_cards_minutes_count_in_what_is_left_at_the_machine(
    machine: str, minutes: float, tmp_path: Path
) -> None:
    steps = f"""
  top: {{ask: a, passes: none, answers: {{good: hand, bad: hand-too}}}}
  hand: {{ask: b, minutes: 2, hazards: [press], answers: {{good: one, bad: two}}}}
  hand-too: {{ask: c, minutes: 2, hazards: [press], answers: {{good: one, bad: two}}}}
  one: {finding(10, minutes=5)}
  two: {finding(10, minutes=5)}
"""
    head = "format: 1\nsymptom: alpha\ntitle: T\nstart: top\nsteps:"
    (tmp_path / "alpha.yaml").write_text(f"{head}{steps}")
    (tmp_path / "cautions.yaml").write_text(CAUTIONS)
    (tmp_path / "machines").mkdir()
    card = (
        "format: 1\nmachine: m\ntitle: M\nbattery: {kind: sealed}\ncaution_minutes: {lockout: 61}\n"
    )
    (tmp_path / "machines" / "m.yaml").write_text(card)
    library = ReadyLibrary(tmp_path)
    library.machine(machine)
    walker = Walker(visit_to(library))
    screen = walker.screen(walker.open("alpha"))
    assert screen.minutes_left == pytest.approx(minutes)  # type: ignore[attr-defined]
