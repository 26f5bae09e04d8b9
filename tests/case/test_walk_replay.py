"""A case left and taken up again, on the same library and on an edited one."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies.edits import edited
from strategies.libraries import libraries
from strategies.observer import Files, Observer
from strategies.sampling import several
from strategies.walking import Case, as_logged
from strategies.written import Written, read

from diagnose.case.onward import answered
from diagnose.log.events import MOVES, Replied, Resumed
from diagnose.log.replay import replay
from diagnose.study.outlook import normalised

if TYPE_CHECKING:
    from strategies.walker import Walker

    from diagnose.case.state import State

CASES = 8


def standing(state: State) -> list[Any]:
    """Return where a case stands, symptom by symptom, in plain names."""
    found = []
    for frame in state.frames:
        plan = frame.tree.plan
        ids, findings = plan.ids, set(plan.findings)
        found.append(
            {
                "symptom": frame.tree.symptom,
                "at": ids[frame.at],
                "checked": frame.checked or frame is not state.frames[-1],
                "door": frame.door,
                "closed": {ids[step]: answer for step, answer in frame.closed.items()},
                "gone": {ids[step] for step in frame.gone},
                "visited": {ids[step] for step in frame.visited if step not in findings},
                "beliefs": [round(share, 9) for share in normalised(frame.logs)],
            }
        )
    return found


def routes_back(walk: Walker, state: State) -> list[Any]:
    """Return where each *back* in turn leads."""
    found = []
    while state.before is not None:
        state = walk.reply(state, "back").state
        found.append(standing(state))
    return found


def some_way(case: Case, most: int) -> None:
    """Walk at random for a while; an end is taken back where nobody has seen it.

    A danger that was reported last was a mistake.
    """
    for _ in range(case.random.randint(0, most)):
        before, events = case.state, len(case.events)
        case.step(case.show())
        if case.ended:
            if case.observer is not None:
                return
            case.state = before
            del case.events[events:]
    if case.state.alarm:
        case.say("mistake")


@settings(max_examples=several(120))
@given(libraries(), st.integers(0, 2**32))
@pytest.mark.many_cases
def test_a_case_is_taken_up_where_it_was_left(written: Written, seed: int) -> None:
    library, random = read(written), Random(seed)
    for _ in range(CASES):
        case = Case(library=library, symptom="alpha", random=random, role="battery-trained")
        case.resumes = 3  # none but ours
        if case.ended:
            continue
        for _ in range(3):
            some_way(case, 8)
            before, back = standing(case.state), routes_back(case.walk, case.state)
            case.say("leave")
            case.resume()
            assert case.state.cautions.in_force == 0
            assert case.state.outcome is None
            assert standing(case.state) == before
            assert routes_back(case.walk, case.state) == back
            assert last_resume(case).misfits == 0


def last_resume(case: Case) -> Resumed:
    event = case.events[-1]
    assert isinstance(event, Resumed)
    return event


def first_break(after: Files, events: list[Replied]) -> tuple[str, str] | None:
    """Return the question that the first reply without a place in today's tree was given to.

    None where the log and the tree part ways otherwise, or not at all.
    """
    for event in events:
        here = (event.symptom, event.step)
        step = after.steps.get(here)
        if step is None or "finding" in step or event.caution:
            return None
        if event.reply == "answer" and "ask" in step and event.answer not in step["answers"]:
            return here
        if event.shown.ask != step.get("ask", ""):
            return here if step.get("ask") else None
        if event.reply != "answer":
            return None
        to = step["answers"].get(event.answer) if "answers" in step else event.to
        if event.to != to:
            return None
    return None


@settings(max_examples=several(250))
@given(libraries(plain=True), st.integers(0, 2**32))
@pytest.mark.many_cases
def test_a_case_is_taken_up_on_an_edited_library(written: Written, seed: int) -> None:
    library, random = read(written), Random(seed)
    changed = edited(written, random)
    assume(changed is not None)
    assert changed is not None
    today, files = read(changed), Files(changed.trees, changed.cautions)
    for _ in range(CASES):
        case = Case(library=library, symptom="alpha", random=random, role="service")
        case.resumes = 3
        if case.ended:
            continue
        some_way(case, 12)
        case.say("leave")
        moves: list[Replied] = []
        for event in map(as_logged, case.events):
            if isinstance(event, Replied) and event.reply in MOVES:
                moves.append(event)
            elif isinstance(event, Replied) and event.reply == "back":
                moves.pop()
        case.resume(library=today)
        again = first_break(files, moves)
        if again is not None:
            assert last_resume(case).misfits >= 1
            frame = case.state.frames[-1]
            assert (frame.tree.symptom, frame.tree.plan.ids[frame.at]) == again
        # What follows is as safe as ever, and can be left and taken up again.
        case.observer = Observer(files, "service", late=True)
        if not case.ended:
            some_way(case, 6)
        if not case.ended:
            before = standing(case.state)
            case.say("leave")
            case.resume()
            assert standing(case.state) == before


TREE = """
format: 1
symptom: alpha
title: t
start: one
steps:
  one: {ask: First?, passes: good one, answers: {good one: two, bad one: one-off, odd one: two}}
  two: {ask: Second?, answers: {good two: three, bad two: two-off}}
  three: {ask: Third?, answers: {good three: four, bad three: three-off}}
  four: {ask: Fourth?, passes: good four, answers: {good four: rest, bad four: four-off}}
  one-off: {finding: f1, chance: 5, who: operator, remedy: r}
  two-off: {finding: f2, chance: 4, who: operator, remedy: r}
  three-off: {finding: f3, chance: 3, who: operator, remedy: r}
  four-off: {finding: f4, chance: 2, who: operator, remedy: r}
  rest: {finding: f5, chance: 1, who: service, leave_safe: l}
"""


def left_after(*replies: str, tree: str = TREE) -> Case:
    case = Case(library=read(Written(trees={"alpha": tree})), symptom="alpha", random=Random(0))
    for reply in replies:
        case.say(reply)
    case.say("leave")
    return case


def taken_up(case: Case, tree: str) -> tuple[dict[str, Any], int, int]:
    case.resume(library=read(Written(trees={"alpha": tree})))
    event = last_resume(case)
    return case.show(), event.fits, event.misfits


def test_a_reworded_question_is_asked_again_and_what_came_after_it_is_not() -> None:
    case = left_after("good one", "good two", "good three")
    screen, fits, misfits = taken_up(case, TREE.replace("Second?", "Second now?"))
    assert (screen["step"], fits, misfits) == ("two", 2, 1)
    # The third was answered and fits: the fourth follows at once.
    case.say("good two")
    assert case.show()["step"] == "four"


def test_what_did_not_fit_is_counted_once() -> None:
    case = left_after("good one", "good two", "good three")
    for tree, wanted in (
        (TREE.replace("Second?", "Second now?"), (2, 1)),
        (TREE.replace("Second?", "Second now?"), (2, 0)),
        (TREE.replace("Second?", "Second now?").replace("Third?", "3?"), (1, 1)),
        (TREE, (3, 0)),
    ):
        _, *counts = taken_up(case, tree)
        assert tuple(counts) == wanted
        case.say("leave")


def test_only_the_first_of_several_misfits_is_asked_at_once() -> None:
    case = left_after("good one", "good two", "good three")
    tree = TREE.replace("First?", "1?").replace("Third?", "3?")
    screen, fits, misfits = taken_up(case, tree)
    assert (screen["step"], fits, misfits) == ("one", 1, 2)
    case.say("good one")
    assert case.show()["step"] == "three"


def test_an_answer_that_is_not_offered_any_more_is_asked_again() -> None:
    case = left_after("odd one", "good two")
    screen, fits, misfits = taken_up(case, TREE.replace(", odd one: two", ""))
    assert (screen["step"], fits, misfits) == ("one", 1, 1)
    assert [answer["title"] for answer in screen["answers"]] == ["good one", "bad one"]


def test_a_step_that_is_gone_is_left_out() -> None:
    case = left_after("good one", "good two", "good three")
    shorter = "\n".join(line for line in TREE.splitlines() if not line.startswith("  two"))
    screen, fits, misfits = taken_up(case, shorter.replace(": two", ": three"))
    # The first leads to the third now, which was answered.
    assert (screen["step"], fits, misfits) == ("four", 2, 1)


def test_a_turned_arrow_is_followed() -> None:
    case = left_after("good one", "good two")
    screen, fits, misfits = taken_up(
        case,
        TREE.replace("good one: two", "good one: four").replace("odd one: two", "odd one: two"),
    )
    assert (screen["step"], fits, misfits) == ("four", 2, 0)


def test_a_turned_arrow_checks_the_finding_that_it_leads_to() -> None:
    case = left_after("good one", "good two")
    screen, *_ = taken_up(case, TREE.replace("good one: two", "good one: four-off"))
    assert (screen["step"], screen["checked"]) == ("four-off", True)


def test_evidence_that_no_longer_fits_is_gone() -> None:
    case = left_after("good one", "good two")
    taken_up(case, TREE.replace("First?", "1?"))
    fresh = left_after()
    frame = fresh.state.frames[-1]
    frame = answered(frame, frame.tree.plan.number["two"], 0)
    assert list(case.state.frames[-1].logs) == pytest.approx(list(frame.logs), abs=1e-12)


def test_back_after_a_resume_withdraws_the_last_reply() -> None:
    case = left_after("good one", "good two")
    screen, *_ = taken_up(case, TREE)
    assert screen["step"] == "three"
    for step in ("two", "one"):
        case.say("back")
        assert case.show()["step"] == step
    assert "back" not in case.show()["replies"]
    # And once more, from a log that has these withdrawals in it.
    case.say("bad one")
    case.say("leave")
    screen, fits, misfits = taken_up(case, TREE)
    assert (screen["step"], fits, misfits) == ("one-off", 1, 0)


def test_a_step_for_another_person_is_not_shown_by_back_after_a_resume() -> None:
    tree = TREE.replace("{ask: Second?,", "{ask: Second?, by: battery-trained,")
    case = Case(
        library=read(Written(trees={"alpha": tree})),
        symptom="alpha",
        random=Random(0),
        role="battery-trained",
    )
    for reply in ("good one", "good two", "leave"):
        case.say(reply)
    case.resume("operator")
    assert case.show()["step"] == "three"
    case.say("back")
    screen = case.show()
    assert screen["step"] != "two"
    assert any(note["id"] == "passed-by" for note in screen["notes"])


def test_what_an_earlier_resume_passed_over_stays_passed_over() -> None:
    tree = TREE.replace("{ask: Second?,", "{ask: Second?, by: battery-trained,")
    library = read(Written(trees={"alpha": tree}))
    case = Case(library=library, symptom="alpha", random=Random(0), role="battery-trained")
    case.say("good one")
    assert case.show()["step"] == "two"
    case.say("leave")
    case.resume("operator")
    passed = case.show()
    assert passed["step"] != "two"
    case.say("leave")
    case.resume("battery-trained")
    again = case.show()
    assert (again["step"], again.get("checked")) == (passed["step"], passed.get("checked"))
    assert last_resume(case).trail[-1].step == passed["step"]


def test_a_symptom_that_is_gone_raises() -> None:
    case = left_after("good one")
    visit = read(Written(trees={"beta": TREE.replace("alpha", "beta")})).visit()
    with pytest.raises(KeyError):
        replay(visit, "alpha", [as_logged(event) for event in case.events])


def test_back_after_a_misfit_and_a_resume_comes_to_what_fitted() -> None:
    # The second step is gone: its reply has no place any more, and *back* passes by it for good.
    case = left_after("good one", "good two")
    shorter = "\n".join(line for line in TREE.splitlines() if not line.startswith("  two"))
    shorter = shorter.replace(": two", ": three")
    tree = shorter.replace("good one: three", "good one: three, worst one: one-off")
    screen, *_ = taken_up(case, tree)
    assert screen["step"] == "three"
    case.say("good three")
    case.say("back")
    case.say("leave")
    screen, *_ = taken_up(case, tree)
    assert screen["step"] == "three"


DOOR = """
format: 1
symptom: alpha
title: t
start: top
steps:
  top: {ask: a, slip: 0.3, passes: none, answers: {door: gate, other: leaf}}
  gate: {finding: g, chance: 40, continue_with: beta}
  leaf: {finding: l, chance: 60, who: operator, remedy: r}
"""
BETA = TREE.replace("alpha", "beta")


def behind_the_doorway(*replies: str) -> Case:
    """Return a case that went through the doorway, replied and was left."""
    library = read(Written(trees={"alpha": DOOR, "beta": BETA}))
    case = Case(library=library, symptom="alpha", random=Random(0))
    for reply in ("door", *replies, "leave"):
        case.say(reply)
    return case


def believed_above(case: Case) -> list[float]:
    """Return what is believed of the findings of the first tree."""
    return normalised(case.state.frames[0].logs)


@pytest.mark.parametrize(
    "today",
    [
        # Its tree has errors now.
        Written(trees={"alpha": DOOR}, symptoms=("beta",)),
        # The doorway leads elsewhere, to one that has.
        Written(trees={"alpha": DOOR.replace("beta", "gamma"), "beta": BETA}, symptoms=("gamma",)),
    ],
    ids=["broken", "elsewhere"],
)
def test_a_doorway_that_cannot_be_opened_any_more_counts_as_tried(today: Written) -> None:
    case = behind_the_doorway("good one", "good two")
    before = believed_above(case)
    case.resume(library=read(today))
    screen = case.show()
    assert (screen["symptom"], screen["step"], screen["checked"]) == ("alpha", "leaf", False)
    assert "doorway-shut" in [note["id"] for note in screen["notes"]]
    assert [(t.what, t.step) for t in last_resume(case).trail][:2] == [
        ("parted", "gate"),
        ("returned", "gate"),
    ]
    # The doorway's remedy failed: a tenth of its weight is left.
    gate, leaf = before[0] * 0.1, before[1]
    assert believed_above(case) == pytest.approx([gate / (gate + leaf), leaf / (gate + leaf)])
    case.say("not cured")
    assert case.state.outcome == "referred"


def test_a_doorway_that_leads_elsewhere_is_gone_through_anew() -> None:
    case = behind_the_doorway("good one", "good two")
    gamma = BETA.replace("symptom: beta", "symptom: gamma")
    trees = {"alpha": DOOR.replace("beta", "gamma"), "beta": BETA, "gamma": gamma}
    case.resume(library=read(Written(trees=trees)))
    screen = case.show()
    # What was answered in the other tree says nothing here.
    assert (screen["symptom"], screen["step"]) == ("gamma", "one")
    assert [frame.tree.symptom for frame in case.state.frames] == ["alpha", "gamma"]


def test_a_doorway_that_the_log_enters_twice_is_entered_once() -> None:
    """The answers changed places, the first led elsewhere and the doorway was entered once more;
    then they changed back, and the whole log fits."""
    case = behind_the_doorway("good one")
    turned = DOOR.replace("{door: gate, other: leaf}", "{door: leaf, other: gate}")
    case.resume(library=read(Written(trees={"alpha": turned, "beta": BETA})))
    assert (case.show()["symptom"], case.show()["step"]) == ("alpha", "leaf")
    case.say("not cured")
    assert (case.show()["symptom"], case.show()["step"]) == ("beta", "two")
    case.say("good two")
    case.say("leave")
    case.resume(library=read(Written(trees={"alpha": DOOR, "beta": BETA})))
    assert [frame.tree.symptom for frame in case.state.frames] == ["alpha", "beta"]
    assert (case.show()["symptom"], case.show()["step"]) == ("beta", "three")
    assert last_resume(case).misfits == 0
    # The leaf was tried: behind the doorway nothing is left, and then nothing at all.
    while case.state.outcome is None:
        assert len(case.state.frames) == 2
        screen = case.show()
        answer = "keep looking" if screen.get("who") == "service" else "cannot"
        case.say(f"good {screen['step']}" if screen["screen"] == "check" else answer)
    assert case.state.outcome == "referred"


def test_a_doorway_that_has_become_a_question_is_asked() -> None:
    case = behind_the_doorway()
    case.resume()
    out_of_the_doorway(case)
    case.say("leave")
    asks = "gate: {ask: Which?, answers: {this: leaf, that: other}}"
    found = "other: {finding: o, chance: 40, who: operator, remedy: r}"
    gate = next(line for line in DOOR.splitlines() if "gate: {finding" in line)
    today = DOOR.replace(gate, f"  {asks}\n  {found}")
    case.resume(library=read(Written(trees={"alpha": today, "beta": BETA})))
    screen = case.show()
    assert (screen["screen"], screen["step"]) == ("check", "gate")
    assert case.state.frames[-1].gone == frozenset()


def test_a_doorway_that_is_walked_again_on_an_edited_library_fails_once() -> None:
    case = behind_the_doorway()
    case.resume()
    out_of_the_doorway(case)
    assert case.show()["step"] == "leaf"
    believed = normalised(case.state.frames[-1].logs)
    case.say("leave")
    case.resume(library=read(Written(trees={"alpha": DOOR, "beta": BETA.replace("Fourth", "4")})))
    assert (case.show()["symptom"], case.show()["step"]) == ("beta", "four")
    out_of_the_doorway(case)
    assert normalised(case.state.frames[-1].logs) == pytest.approx(believed)


def out_of_the_doorway(case: Case) -> None:
    """Find everything good, and set every finding aside, until the first tree goes on."""
    while len(case.state.frames) == 2:
        screen = case.show()
        if screen["screen"] == "check":
            case.say(f"good {screen['step']}")
        else:
            case.say("keep looking" if screen["who"] == "service" else "cannot")
