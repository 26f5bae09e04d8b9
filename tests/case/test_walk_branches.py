"""Where the walk goes on without an answer: not sure, not cured, doorways, the machine card."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from strategies.by_hand import after, case, finding, ranking

if TYPE_CHECKING:
    from strategies.walking import Case

# Not sure

FORK = f"""
top: {{ask: a, slip: 0.1, answers: {{to left: left, to right: right}}}}
left: {{ask: b, minutes: 10, answers: {{one way: l-one, other way: l-two}}}}
right: {{ask: c, minutes: 1, answers: {{one way: r-one, other way: r-two}}}}
l-one: {finding(30)}
l-two: {finding(30)}
r-one: {finding(20)}
r-two: {finding(20)}
"""


def test_not_sure_is_no_evidence() -> None:
    opened = case(FORK)
    before = ranking(opened)
    after(opened, "unsure")
    assert ranking(opened) == pytest.approx(before)


def test_not_sure_enters_the_branch_worth_most() -> None:
    # Left: 0.6 / (10 + 5). Right: 0.4 / (1 + 5). By hand: 0.040 against 0.067.
    assert after(case(FORK), "unsure")["step"] == "right"


def test_not_sure_takes_the_safe_way_where_the_step_has_one() -> None:
    safe = FORK.replace("slip: 0.1,", "slip: 0.1, if_unsure: to left,")
    assert after(case(safe), "unsure")["step"] == "left"


def test_not_sure_keeps_to_the_branches_of_its_own_step() -> None:
    # At `right` the best finding of all would be l-one, behind an answer of `top`.
    steps = FORK.replace("to right: right", "to right: right, straight: best").replace(
        "l-one:", f"best: {finding(500)}\nl-one:"
    )
    assert after(case(steps), "to right", "unsure")["step"] == "r-one"


def test_not_sure_without_a_branch_of_its_own_goes_on_as_after_not_cured() -> None:
    steps = f"""
    top: {{ask: a, slip: 0.4, answers: {{spot: leaf, onward: mid}}}}
    mid: {{ask: b, slip: 0.4, answers: {{there: last, here: other}}}}
    last: {{ask: c, answers: {{one way: leaf, another: leaf}}}}
    leaf: {finding(50)}
    other: {finding(50)}
    """
    screen = after(case(steps), "spot", "cannot", "there", "unsure")
    assert screen["step"] == "other"


# What is closed

DIAMOND = f"""
top: {{ask: a, answers: {{to left: left, to right: right}}}}
left: {{ask: b, answers: {{on: meet, off: l-off}}}}
right: {{ask: c, answers: {{on: meet, off: r-off}}}}
meet: {{ask: d, answers: {{first: m-one, second: m-two}}}}
l-off: {finding(1)}
r-off: {finding(1)}
m-one: {finding(40)}
m-two: {finding(30)}
"""


def test_an_answered_step_that_is_reached_once_more_sends_on_by_its_answer() -> None:
    steps = f"""
    {DIAMOND.strip()}
    deep: {{ask: e, answers: {{third: d-one, fourth: d-two}}}}
    d-one: {finding(30)}
    d-two: {finding(0.5, minutes=90)}
    """.replace(f"r-off: {finding(1)}", f"r-off: {finding(60)}")
    steps = steps.replace("second: m-two", "second: deep, third: m-two")
    opened = case(steps)
    assert after(opened, "to left", "on", "second", "unsure")["step"] == "d-one"
    assert after(opened, "not cured")["step"] == "right"
    # By `meet`, which was answered, to `deep`, which was not.
    assert after(opened, "on")["step"] == "d-two"


def test_a_step_passed_over_that_is_reached_once_more_takes_its_own_best_branch() -> None:
    # `unsure` at meet leads to m-one, then m-two is left; through `right` the walk comes to meet
    # again, is not asked, and goes to its best branch that is left.
    steps = DIAMOND.replace(f"m-two: {finding(30)}", f"m-two: {finding(0.5, minutes=90)}").replace(
        f"r-off: {finding(1)}", f"r-off: {finding(60)}"
    )
    opened = case(steps)
    assert after(opened, "to left", "on", "unsure")["step"] == "m-one"
    assert after(opened, "not cured")["step"] == "right"
    screen = after(opened, "on")
    assert (screen["step"], screen["checked"]) == ("m-two", False)


def test_a_step_passed_over_with_nothing_left_goes_on_as_after_not_cured() -> None:
    steps = DIAMOND.replace(", second: m-two", ", second: m-one").replace("ask", "slip: 0.4, ask")
    steps = steps.replace(f"m-two: {finding(30)}\n", "").replace(finding(1), finding(20))
    opened = case(steps)
    assert after(opened, "to left", "on", "unsure")["step"] == "m-one"
    screen = after(opened, "cannot")
    while screen["step"] != "right":
        screen = after(opened, "cannot")
    assert after(opened, "on")["step"] == "r-off"


def test_a_step_passed_over_is_no_branch_itself_and_its_branches_count_alone() -> None:
    # Together m-two and m-three would be worth more than `aside`, each of them is worth less.
    steps = f"""
    top: {{ask: a, answers: {{to mid: mid, to aside: aside}}}}
    mid: {{ask: b, answers: {{first: m-one, second: m-two, third: m-three}}}}
    aside: {finding(40)}
    m-one: {finding(50)}
    m-two: {finding(30)}
    m-three: {finding(30)}
    """
    opened = case(steps)
    assert after(opened, "unsure")["step"] == "mid"
    assert after(opened, "unsure")["step"] == "m-one"
    assert after(opened, "not cured")["step"] == "aside"
    assert after(opened, "not cured")["step"] == "m-two"


def test_a_finding_that_was_tried_is_not_shown_again() -> None:
    steps = f"""
    top: {{ask: a, passes: none, answers: {{spot: leaf, onward: mid}}}}
    mid: {{ask: b, answers: {{there: leaf, here: other}}}}
    leaf: {finding(50)}
    other: {finding(50)}
    """
    assert after(case(steps), "spot", "not cured", "there")["step"] == "other"


# Not cured, keep looking, cannot

LEAVES = f"""
top: {{ask: a, slip: 0.2, answers: {{first: one, second: two, third: three}}}}
one: {finding(50)}
two: {finding(20)}
three: {finding(30)}
"""


def test_not_cured_leaves_a_tenth_and_enters_the_branch_worth_most() -> None:
    opened = case(LEAVES)
    before = ranking(opened)
    screen = after(opened, "unsure")
    assert screen["step"] == "one"
    screen = after(opened, "not cured")
    assert screen["step"] == "three"
    left = {name: share * (0.1 if name == "one" else 1) for name, share in before.items()}
    total = sum(left.values())
    assert ranking(opened) == pytest.approx({name: share / total for name, share in left.items()})


@pytest.mark.parametrize("who", ["operator", "service"])
def test_what_is_set_aside_keeps_its_probability(who: str) -> None:
    steps = LEAVES.replace(f"one: {finding(50)}", f"one: {finding(50, who)}")
    opened = case(steps)
    after(opened, "first")
    before = ranking(opened)
    assert after(opened, "cannot" if who == "operator" else "keep looking")["step"] == "three"
    assert ranking(opened) == pytest.approx(before)


def test_the_case_is_referred_when_nothing_is_left() -> None:
    screen = after(case(LEAVES), "first", "not cured", "not cured", "not cured")
    assert (screen["screen"], screen["outcome"]) == ("end", "referred")
    assert [note["id"] for note in screen["notes"]] == ["end-nothing-left"]
    # In order: each failed once, so the chances decide, and what the answer said.
    assert [cause["step"] for cause in screen["ranking"]] == ["one", "three", "two"]


@pytest.mark.parametrize(("chance", "ended"), [(1.999, True), (2.001, False)])
def test_less_than_two_per_cent_for_an_operator_is_a_referral(chance: float, ended: bool) -> None:
    steps = f"""
    top: {{ask: a, slip: 0.4, answers: {{first: one, second: two, third: three}}}}
    one: {finding(50, "service")}
    two: {finding(50 - chance, "service")}
    three: {finding(chance)}
    """
    # After `unsure` the beliefs are the chances, out of a hundred.
    opened = case(steps)
    screen = after(opened, "unsure")
    assert (screen["screen"] == "end") is ended


@pytest.mark.parametrize(("chance", "ended"), [(1.999, True), (2.001, False)])
@pytest.mark.parametrize("said", [None, (), ("Yes",)], ids=["opened", "resumed", "answered"])
def test_so_it_is_where_a_case_is_opened_or_taken_up_again(
    said: tuple[str, ...] | None, chance: float, ended: bool
) -> None:
    """The step where it stands is for somebody else, so that it is passed over."""
    steps = f"""
    top: {{ask: a, by: battery-trained, slip: 0.4, answers: {{first: one, second: two, third: three}}}}
    one: {finding(50, "service")}
    two: {finding(50 - chance, "service")}
    three: {finding(chance)}
    """
    if said is None:
        opened = case(steps)
    else:
        before = "pre: {ask: p, answers: {Yes: top, No: top}}" if said else ""
        opened = case(f"{before}{steps if said else steps.strip()}", role="battery-trained")
        after(opened, *said, "leave")
        opened.resume("operator")
    screen = opened.show()
    if ended:
        assert (screen["screen"], screen["outcome"]) == ("end", "referred")
    else:
        assert (screen["step"], screen["notes"][-1]["id"]) == ("one", "passed-by")


def test_a_doorway_counts_as_an_operators() -> None:
    steps = f"""
    top: {{ask: a, slip: 0.4, answers: {{first: one, second: two}}}}
    one: {finding(50, "service")}
    two: {{finding: d, chance: 50, continue_with: beta}}
    """
    beta = f"leaf: {finding(1)}"
    opened = case(steps, others={"beta": beta})
    screen = after(opened, "first", "keep looking")
    assert (screen["symptom"], screen["step"]) == ("beta", "leaf")


@pytest.mark.parametrize("who", ["operator", "service"])
def test_the_two_per_cent_are_never_asked_after_a_plain_answer(who: str) -> None:
    # The answer leads to a step for somebody else; of what is open an operator may find 0.1 % or 0.
    steps = f"""
    top: {{ask: a, slip: 0.4, answers: {{first: one, second: mid}}}}
    mid: {{ask: b, by: battery-trained, answers: {{left: two, right: three}}}}
    one: {finding(50, "service")}
    two: {finding(49.9, "service")}
    three: {finding(0.1, who)}
    """
    screen = after(case(steps), "second")
    assert (screen["step"], screen["checked"]) == ("two", False)


@pytest.mark.parametrize(("chance", "shown"), [(49, "own"), (50, "service"), (51, "service")])
def test_service_waits_for_what_is_likelier_and_for_nothing_else(chance: float, shown: str) -> None:
    # By its minutes the branch to service is worth far more; as likely is not likelier.
    steps = f"""
    top: {{ask: a, passes: none, answers: {{this way: own, that way: service}}}}
    own: {finding(50, minutes=30)}
    service: {finding(chance, "service", minutes=1)}
    """
    assert after(case(steps), "unsure")["step"] == shown


def test_a_branch_worth_nothing_is_no_branch() -> None:
    # Behind `mid` lies only what was tried. The answer at `more` leads to a doorway into a symptom
    # where the case has been, so nothing is left, and nobody is asked what can tell nothing.
    steps = f"""
    top: {{ask: a, slip: 0.2, passes: none, answers: {{spot: leaf, door: gate, on: more, off: mid}}}}
    mid: {{ask: b, answers: {{there: leaf, here: leaf}}}}
    more: {{ask: c, answers: {{this: again, that: again}}}}
    leaf: {finding(40)}
    gate: {{finding: g, chance: 40, continue_with: beta}}
    again: {{finding: h, chance: 20, continue_with: beta}}
    """
    opened = case(steps, others={"beta": f"b-one: {finding(3)}"})
    screen = after(opened, "spot", "not cured")
    assert (screen["symptom"], screen["step"]) == ("beta", "b-one")
    assert after(opened, "not cured")["step"] == "more"
    screen = after(opened, "this")
    assert (screen["outcome"], screen["notes"][0]["id"]) == ("referred", "end-nothing-left")


def test_a_finding_that_no_answer_points_to_is_not_checked_yet() -> None:
    opened = case(LEAVES)
    assert after(opened, "second")["checked"] is True
    assert after(opened, "not cured")["checked"] is False


# Ties


@pytest.mark.parametrize(
    ("second", "first_shown"),
    [(50, "one"), (50 * (1 + 0.999e-9), "one"), (50 * (1 + 1.001e-9), "two")],
)
def test_worths_within_one_part_in_a_thousand_million_tie(second: float, first_shown: str) -> None:
    # The first answer wins, wherever in the file its step stands.
    steps = f"""
    top: {{ask: a, answers: {{to one: one, to two: two}}}}
    two: {finding(second)}
    one: {finding(50)}
    """
    assert after(case(steps), "unsure")["step"] == first_shown


def test_of_branches_of_several_steps_that_tie_the_first_in_the_file_wins() -> None:
    # Steps 7 and 9 of the file, which a set of numbers does not keep in order by itself. With slips
    # of 0.05, m-off weighs 19 · 0.05 · 1/2 after the two answers, l-off 10 · 0.95 · 0.05: the same.
    few = [f"few-{number}" for number in range(6)]
    steps = "\n".join(
        [
            f"top: {{ask: a, answers: {{on: mid, {', '.join(f'to {one}: {one}' for one in few)}}}}}",
            *(f"{one}: {finding(0.001)}" for one in few),
            "mid: {ask: b, passes: none, answers: {on: last, off: m-off}}",
            f"leaf: {finding(50)}",
            "last: {ask: c, passes: none, answers: {spot: leaf, off: l-off}}",
            f"l-off: {finding(10)}",
            f"m-off: {finding(19)}",
        ]
    )
    opened = case(steps)
    assert after(opened, "on", "on", "spot")["step"] == "leaf"
    believed = ranking(opened)
    assert believed["m-off"] == pytest.approx(believed["l-off"], rel=1e-12)
    assert after(opened, "cannot")["step"] == "m-off"


def test_the_minutes_of_the_remedy_count_in_the_worth() -> None:
    # 0.6 / 20 against 0.4 / 5, by hand: 0.03 against 0.08.
    steps = f"""
    top: {{ask: a, answers: {{to one: one, to two: two}}}}
    one: {finding(60, minutes=20)}
    two: {finding(40)}
    """
    assert after(case(steps), "unsure")["step"] == "two"


# Back


def test_back_is_refused_at_the_first_screen() -> None:
    opened = case(LEAVES)
    turn = opened.say("back")
    assert turn.exchange is None
    assert turn.interludes[0].message.id == "no-way-back"
    assert "back" not in opened.show()["replies"]


def test_back_withdraws_the_reply_and_its_evidence() -> None:
    opened = case(LEAVES)
    before = ranking(opened)
    after(opened, "first", "not cured", "back")
    assert opened.show()["step"] == "one"
    screen = after(opened, "back")
    assert screen["step"] == "top"
    assert ranking(opened) == pytest.approx(before)
    assert "back" not in screen["replies"]
    assert [event.reply for event in opened.events[1:]] == ["answer", "not cured", "back", "back"]


# Doorways

DOORS = f"""
top: {{ask: a, slip: 0.2, passes: none, answers: {{spot: leaf, door: gate, more: again}}}}
leaf: {finding(40)}
gate: {{finding: the gate, chance: 30, continue_with: beta}}
again: {{finding: the second gate, chance: 20, continue_with: beta}}
"""
BETA = f"""
start: {{ask: b, answers: {{one way: b-one, another: b-two}}}}
b-one: {finding(3)}
b-two: {finding(1)}
"""


def test_a_doorways_line_stands_above_the_other_tree_which_has_its_own_chances() -> None:
    opened = case(DOORS, others={"beta": BETA})
    screen = after(opened, "door")
    assert (screen["symptom"], screen["step"], screen["doorway"]) == ("beta", "start", "the gate")
    assert ranking(opened) == pytest.approx({"b-one": 0.75, "b-two": 0.25})
    # Only there: the next screen has no such line.
    assert after(opened, "one way")["doorway"] is None


def test_a_doorway_with_nothing_left_counts_as_tried_and_the_first_tree_goes_on() -> None:
    opened = case(DOORS, others={"beta": BETA})
    after(opened, "door")
    before = {c.step: c.probability for c in _first(opened)}
    # The other doorway leads where the case has been, so it counts as tried at once.
    screen = after(opened, "one way", "not cured", "not cured")
    assert (screen["symptom"], screen["step"], screen["checked"]) == ("alpha", "leaf", False)
    factors = {"leaf": 1.0, "gate": 0.1, "again": 1.0}
    weights = {name: before[name] * factors[name] for name in before}
    total = sum(weights.values())
    assert ranking(opened) == pytest.approx({n: w / total for n, w in weights.items()})


def test_a_second_doorway_into_the_same_symptom_counts_as_tried() -> None:
    opened = case(DOORS, others={"beta": BETA})
    after(opened, "door", "one way", "not cured", "not cured", "not cured")
    assert opened.state.outcome == "referred"
    returned = [(t.step, t.what) for e in opened.events for t in e.trail if t.what == "returned"]
    assert returned == [("gate", "returned"), ("again", "returned")]


def test_a_cure_behind_a_doorway_counts_for_the_doorway_and_the_end_ranks_the_first_tree() -> None:
    opened = case(DOORS, others={"beta": BETA})
    screen = after(opened, "door", "one way", "cured")
    assert screen["outcome"] == "cured"
    assert screen["symptom"] == "alpha"
    assert {cause["step"] for cause in screen["ranking"]} == {"leaf", "gate", "again"}
    assert opened.events[-1].cures == (("alpha", "gate"), ("beta", "b-one"))


def test_so_it_does_when_the_case_was_taken_up_in_between() -> None:
    opened = case(DOORS, others={"beta": BETA})
    after(opened, "door", "leave")
    opened.resume()
    after(opened, "one way", "cured")
    assert opened.events[-1].cures == (("alpha", "gate"), ("beta", "b-one"))


def test_answers_do_not_go_through_a_doorway() -> None:
    # The same step names on both sides.
    both = DOORS.replace("leaf:", "start: {ask: s, answers: {one way: leaf, another: leaf}}\nleaf:")
    both = both.replace("spot: leaf", "spot: start")
    opened = case(both, others={"beta": BETA})
    screen = after(opened, "spot", "back", "door")
    assert screen["screen"] == "check"
    assert screen["step"] == "start"


def _first(opened: Case) -> Any:
    from diagnose.case.view import ranking as ranked

    return ranked(opened.state.frames[0])


# The machine card

CARD = "format: 1\nmachine: m\ntitle: M\nbattery: {kind: Sealed}\n"
ASKED = f"""
kind: {{ask: a, slip: 0.3, from_card: battery.kind, answers: {{flooded: one, sealed: next-step}}}}
next-step: {{ask: b, answers: {{one way: two, another: three}}}}
one: {finding(60)}
two: {finding(20)}
three: {finding(20)}
"""


def test_the_card_answers_and_is_said_to() -> None:
    card = CARD.replace("Sealed", "sealed")
    opened = case(ASKED, card=card)
    screen = opened.show()
    assert screen["step"] == "next-step"
    assert screen["notes"] == [
        {"id": "from-card", "into": [["line", "battery.kind"], ["answer", "sealed"]]}
    ]
    # A slip of 0 counts as one in a thousand million, whatever the step says.
    believed = ranking(opened)
    assert believed["one"] / believed["two"] == pytest.approx(3 * 1e-9 / (1 - 1e-9))
    assert "back" not in screen["replies"]


def test_where_the_card_has_no_word_for_it_the_operator_is_asked() -> None:
    opened = case(ASKED, card=CARD.replace("Sealed", "lithium"))
    assert opened.show()["step"] == "kind"
    assert case(ASKED).show()["step"] == "kind"
