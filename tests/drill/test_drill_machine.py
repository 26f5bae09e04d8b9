"""The player of faulty machines: the same on every platform, true to its cause, plausible."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small import CAUTIONS, OTHER, TREE, library
from strategies.libraries import libraries
from strategies.written import Written, read
from trainees import Follower, played

from diagnose.case.onward import at_start
from diagnose.drill.drill import Drill
from diagnose.drill.figures import figure_in
from diagnose.drill.machine import (
    SEEDS,
    NoSuchMachine,
    drawn,
    misleading,
    truthful,
    weights,
)
from diagnose.files.cautions import Cautions
from diagnose.files.reading import read_tree
from diagnose.files.tree import Finding, Question, Reading
from diagnose.study.in_force import caution_table
from diagnose.study.outlook import normalised
from diagnose.study.ready import made_ready


def sample() -> Any:
    ready = library().ready("sample")
    assert ready is not None
    return ready


GOLDEN_CAUSES = "dry dirty other dirty dirty stuck worn tired dirty tired stuck tired".split()
GOLDEN_TRUTHS = [0, 1, 1, 1, 0]
GOLDEN_SIGHTS = [0, 1, 1, 1, 0, 1, 1, 2, 0, 0]
GOLDEN_VALUES = [3.7, 6.9]


def test_the_same_seed_is_the_same_machine_on_every_platform() -> None:
    # Written down once, from `Random(int).random()`, whose sequence Python promises for good.
    ready = sample()
    told = [ready.plan.ids[drawn(ready, seed).cause] for seed in range(12)]
    assert told == GOLDEN_CAUSES
    machine = drawn(ready, 3, slips=True)
    questions = [n for n, step in enumerate(ready.steps) if isinstance(step, Question)]
    assert [machine.truths[n] for n in questions] == GOLDEN_TRUTHS
    sights = [machine.sight(n, look) for n in questions for look in (1, 2)]
    assert [sight.answer for sight in sights] == GOLDEN_SIGHTS
    assert [sight.taken.value for sight in sights if sight.taken is not None] == GOLDEN_VALUES


@given(st.integers(0, 2**63 - 1), st.booleans())
def test_the_same_seed_and_replies_are_the_same_drill(seed: int, slips: bool) -> None:
    replies = ["figure", "lockout done", "look", "done", "figure", "done", "done", "worn", "2"]

    def drill() -> Drill:
        own = read(Written(trees={"sample": TREE, "other": OTHER}, cautions=CAUTIONS))
        ready = own.ready("sample")
        assert ready is not None
        return Drill(drawn(ready, seed, slips=slips), own.table)

    assert played(drill(), replies) == played(drill(), replies)


@given(st.integers(0, 10**6), st.permutations(["look", "run", "hands", "figure", "inside"]))
def test_what_a_machine_shows_does_not_hang_on_what_is_asked_first(
    seed: int, order: list[str]
) -> None:
    own = library()

    def seen(names: list[str]) -> dict[str, Any]:
        drill = Drill(drawn(sample(), seed, slips=True), own.table)
        replies = [reply for name in names for reply in (name, "done")]
        looks = [s["look"] for s in played(drill, replies) if s["screen"] == "seen"]
        assert len(looks) == len(names)
        return {look["step"]: (look["answer"], look["value"]) for look in looks}

    assert seen(order) == seen(sorted(order))


@pytest.mark.parametrize(
    ("step", "cause", "truths"),
    [
        ("look", "dirty", (0,)),
        ("look", "stuck", (1,)),
        ("run", "tired", (0, 2)),
        ("run", "dirty", (1,)),  # a part that is not at fault looks right
        ("figure", "worn", (0, 2)),
        ("inside", "dry", (0,)),
        ("inside", "dirty", (0, 1)),  # nothing there rules anything out
    ],
)
def test_which_answers_tell_the_truth(step: str, cause: str, truths: tuple[int, ...]) -> None:
    ready = sample()
    number, hidden = ready.plan.number[step], ready.plan.number[cause]
    count = len(ready.plan.ways[number])
    assert truthful(ready, number, hidden) == truths
    assert misleading(ready, number, hidden) == tuple(n for n in range(count) if n not in truths)


def test_without_slips_no_look_misleads_and_with_them_another_look_may_set_it_right() -> None:
    ready = sample()
    look = ready.plan.number["look"]
    honest = [drawn(ready, seed) for seed in range(200)]
    assert all(m.sight(look, n).answer == m.truths[look] for m in honest for n in (1, 2, 3))
    sly = [drawn(ready, seed, slips=True) for seed in range(200)]
    first = [machine.sight(look, 1).answer == machine.truths[look] for machine in sly]
    second = [machine.sight(look, 2).answer == machine.truths[look] for machine in sly]
    assert 90 < sum(first) < 150  # a slip of 0.4
    assert any(later and not now for now, later in zip(first, second, strict=True))


CARD_TREE = """
format: 1
symptom: sample
title: By kind
start: kind
steps:
  kind: {ask: Which kind is it?, from_card: battery.kind, passes: none,
         answers: {flooded: water, sealed: lamp}}
  water: {ask: How high is it?, answers: {Low: low, Right: lamp}}
  lamp: {ask: What does it show?, answers: {Red: red, Green: green}}
  low: {finding: Water is low., chance: 50, who: operator, remedy: Fill.}
  red: {finding: It is broken., chance: 30, who: operator, remedy: Mend.}
  green: {finding: It is well., chance: 20, who: operator, remedy: Rest.}
"""


def card(kind: str) -> str:
    return f"{{format: 1, machine: m, title: M, battery: {{kind: {kind}}}}}"


def by_kind(kind: str, tree: str = CARD_TREE) -> tuple[Any, Any]:
    own = read(Written(trees={"sample": tree}, card=card(kind)))
    ready = own.ready("sample")
    assert ready is not None
    return own, ready


def test_a_card_rules_causes_and_checks_out_and_is_told() -> None:
    own, ready = by_kind("sealed")
    assert weights(ready) == pytest.approx([0, 0.3 / 2, 0.2 / 2])
    drill = Drill(drawn(ready, 0), own.table)
    screen = played(drill, [])[0]
    assert [check["id"] for check in screen["checks"]] == ["lamp"]
    assert [note["id"] for note in screen["notes"]] == ["from-card"]
    assert played(drill, ["lamp", "back"])[-1]["notes"] == []
    # What the card answers takes no time.
    found = played(drill, ["done", "green", "operator", "done"])[-1]["score"]
    assert found["tree_minutes"] == 1
    assert [look["step"] for look in found["tree_route"]] == ["lamp"]
    own, ready = by_kind("flooded")
    drill = Drill(drawn(ready, 0), own.table)
    assert {check["id"] for check in played(drill, [])[0]["checks"]} == {"water", "lamp"}


NO_CAUSE = """
format: 1
symptom: sample
title: The kind counts twice, and not alike
start: look
steps:
  look: {ask: What is it like?, passes: none, answers: {Odd: here, Even: there}}
  here: {ask: Which kind is it?, from_card: battery.kind, answers: {flooded: one, sealed: two}}
  there: {ask: Which kind is it?, from_card: battery.kind, answers: {flooded: two, sealed: one}}
  one: {finding: One., chance: 1, who: operator, remedy: Do it.}
  two: {finding: Two., chance: 1, who: operator, remedy: Do it.}
"""


def test_a_card_that_fits_no_cause_is_said() -> None:
    _, ready = by_kind("sealed", NO_CAUSE)
    with pytest.raises(NoSuchMachine):
        drawn(ready, 5)


TWICE = """
format: 1
symptom: sample
title: The same look on two ways
start: kind
steps:
  kind: {ask: Which kind is it?, passes: none, answers: {This one: first, That one: second}}
  first: {do: Read the display., ask: What does it say?, answers: {Red: red, Green: green}}
  second: {do: Read the display., ask: What does it say?, answers: {Blue: blue, Off: off}}
  red: {finding: Red., chance: 1, who: operator, remedy: Do it.}
  green: {finding: Green., chance: 1, who: operator, remedy: Do it.}
  blue: {finding: Blue., chance: 1, who: operator, remedy: Do it.}
  off: {do: Read the display., ask: How bright is it?, answers: {Dim: dim, Dark: dark}}
  dim: {finding: Dim., chance: 1, who: operator, remedy: Do it.}
  dark: {finding: Dark., chance: 1, who: operator, remedy: Do it.}
"""


@pytest.mark.parametrize(
    ("cause", "met"), [("red", "first"), ("blue", "second"), ("dim", "second")]
)
def test_one_look_is_offered_once_and_is_the_one_on_the_route(cause: str, met: str) -> None:
    own = read(Written(trees={"sample": TWICE}))
    ready = own.ready("sample")
    assert ready is not None
    number = ready.plan.number[cause]
    machine = next(m for seed in range(99) if (m := drawn(ready, seed)).cause == number)
    checks = played(Drill(machine, own.table), [])[0]["checks"]
    assert {check["id"]: check["title"] for check in checks} == {
        "kind": "Which kind is it?",
        # Two questions about one look are told apart by the question.
        met: "Read the display. What does it say?",
        "off": "Read the display. How bright is it?",
    }


ALIKE = """
format: 2
symptom: sample
title: The same look on two ways
start: kind
steps:
  kind: {ask: Which kind is it?, passes: none, answers: {This one: first, That one: second}}
  first: {ask: What does it say?, slip: 0.4, passes: Dark,
    answers: {Red: red, Green: green, Dark: later}}
  second: {do: Look again., ask: And here?, same_as: first, slip: 0.1, passes: Dark,
    answers: {Dark: off, Green: dim, Red: blue}}
  later: {ask: And later?, minutes: 9, same_as: first, passes: Dark,
    answers: {Red: red, Green: green, Dark: worn}}
  red: {finding: Red., chance: 1, who: operator, remedy: Do it.}
  green: {finding: Green., chance: 1, who: operator, remedy: Do it.}
  blue: {finding: Blue., chance: 1, who: operator, remedy: Do it.}
  off: {finding: Off., chance: 1, who: operator, remedy: Do it.}
  dim: {finding: Dim., chance: 1, who: operator, remedy: Do it.}
  worn: {finding: Worn., chance: 1, who: operator, remedy: Do it.}
"""


def alike() -> tuple[Any, Any]:
    own = read(Written(trees={"sample": ALIKE}))
    return own, own.ready("sample")


@pytest.mark.parametrize("slips", [False, True])
def test_what_looks_at_the_same_shows_the_same(slips: bool) -> None:
    _, ready = alike()
    names = ("first", "second", "later")
    different = set()
    for seed in range(200):
        machine = drawn(ready, seed, slips=slips)
        for look in (1, 2):
            seen = [
                ready.named(name).exits[machine.sight(ready.plan.number[name], look).answer].answer
                for name in names
            ]
            assert len(set(seen)) == 1
            truth = machine.truths[ready.plan.number["first"]]
            different.add(seen[0] == ready.named("first").exits[truth].answer)
    assert different == ({True, False} if slips else {True})


@pytest.mark.parametrize(
    ("cause", "route", "minutes"),
    [("red", ["kind", "first"], 2), ("dim", ["kind", "second"], 2), ("worn", ["kind", "first"], 2)],
)
def test_one_look_is_offered_and_counted_once(cause: str, route: list[str], minutes: int) -> None:
    own, ready = alike()
    number = ready.plan.number[cause]
    machine = next(m for seed in range(99) if (m := drawn(ready, seed)).cause == number)
    drill = Drill(machine, own.table)
    assert {look["id"] for look in played(drill, [])[0]["checks"]} == set(route)
    found = played(drill, ["done", cause, "operator", "done"])[-1]["score"]
    assert [look["step"] for look in found["tree_route"]] == route
    assert found["tree_minutes"] == minutes


def test_a_look_that_is_not_on_the_way_is_offered_once_too() -> None:
    straight = ALIKE.replace("That one: second}", "That one: second, Another: straight}")
    straight += "  straight: {finding: Straight., chance: 1, who: operator, remedy: Do it.}\n"
    own = read(Written(trees={"sample": straight}))
    ready = own.ready("sample")
    assert ready is not None
    number = ready.plan.number["straight"]
    machine = next(m for seed in range(99) if (m := drawn(ready, seed)).cause == number)
    offered = played(Drill(machine, own.table), [])[0]["checks"]
    assert {look["id"] for look in offered} == {"kind", "first"}


def test_seeds_are_those_that_a_log_of_64_bits_can_keep() -> None:
    with closing(sqlite3.connect(":memory:")) as log:
        assert log.execute("SELECT ?", (SEEDS - 1,)).fetchone() == (SEEDS - 1,)
        with pytest.raises(OverflowError):
            log.execute("SELECT ?", (SEEDS,))


@pytest.mark.parametrize(
    ("kind", "passes", "expected"),
    [
        # No answer of `which` leads to `low`: half of it where nothing passes, else all or none.
        ("flooded", "none", [0.5 / 2, 0.3, 0.0]),
        ("sealed", "none", [0.5 / 2, 0.0, 0.2]),
        ("flooded", "flooded", [0.5, 0.3, 0.0]),
        ("sealed", "flooded", [0.0, 0.0, 0.2]),
    ],
)
def test_what_a_card_says_of_a_cause_that_it_does_not_lead_to(
    kind: str, passes: str, expected: list[float]
) -> None:
    tree = f"""
format: 1
symptom: sample
title: By kind
start: top
steps:
  top: {{ask: How high is it?, passes: none, answers: {{Low: low, Right: which}}}}
  which: {{ask: Which kind is it?, from_card: battery.kind, passes: {passes},
    answers: {{flooded: red, sealed: green}}}}
  low: {{finding: Water is low., chance: 50, who: operator, remedy: Fill.}}
  red: {{finding: It is broken., chance: 30, who: operator, remedy: Mend.}}
  green: {{finding: It is well., chance: 20, who: operator, remedy: Rest.}}
"""
    _, ready = by_kind(kind, tree)
    assert weights(ready) == pytest.approx(expected)


@given(libraries(told=True))
def test_causes_are_drawn_as_a_walk_believes_when_it_opens(written: Written) -> None:
    own = read(written)
    for symptom in own.trees:
        ready = own.ready(symptom)
        if ready is None or not sum(weights(ready)):
            continue
        found = weights(ready)
        # In a walk a card that says otherwise leaves one part in a thousand million.
        believed = normalised(at_start(ready).logs)
        assert [one / sum(found) for one in found] == pytest.approx(believed, abs=1e-4)


@given(
    st.lists(st.floats(-1e6, 1e6).map(lambda x: round(x, 3)), min_size=1, max_size=5, unique=True),
    st.integers(0, 5),
    st.floats(0, 1, exclude_max=True),
)
def test_a_figure_lies_in_its_band(limits: list[float], band: int, place: float) -> None:
    limits = sorted(limits)
    band = min(band, len(limits))
    value = figure_in(limits, band, place)
    # `below` is strict, as in the file format.
    assert sum(value >= limit for limit in limits) == band
    if limits[0] > 0:
        assert value > 0


def test_figures_have_the_digits_that_one_would_read() -> None:
    assert figure_in([60, 80], 1, 0.5) == 70
    assert figure_in([60, 80], 0, 0.0) == 42
    assert figure_in([60, 80], 2, 0.999) == 98
    assert figure_in([1.5], 1, 0.33) == 1.72
    assert figure_in([0.15], 0, 0.5) == 0.12
    assert figure_in([10, 15.1], 1, 0.5) == 12.6
    assert figure_in([0.0], 0, 0.5) == -0.5
    # One is as wide as it gets where the limit says nothing: 1 - 0.1 - 0.8 * 0.43875 = 0.549.
    assert figure_in([0.0], 0, 0.43875) == -0.5
    assert figure_in([2, 50], 0, 0.5) == 1


@pytest.mark.many_cases
@given(libraries(most_trees=2), st.integers(0, 2**63 - 1))
def test_whoever_follows_a_tree_is_safe_right_and_as_fast_as_the_tree(
    written: Written, seed: int
) -> None:
    import yaml

    own = read(replace(written, card=None))
    tree = yaml.load(written.trees["alpha"], yaml.BaseLoader)
    cautions = yaml.load(written.cautions, yaml.BaseLoader)
    ready = own.ready("alpha")
    assert ready is not None
    drill = Drill(drawn(ready, seed), own.table)
    found = Follower(drill, tree, cautions).go()
    assert found["outcome"] == "passed", found
    assert found["minutes"] == pytest.approx(found["tree_minutes"])
    assert [one["step"] for one in found["route"]] == [one["step"] for one in found["tree_route"]]


@pytest.mark.many_cases
@given(libraries(most_trees=2), st.integers(0, 2**63 - 1), st.randoms(use_true_random=False))
def test_any_trainee_gets_to_an_end(written: Written, seed: int, random: Any) -> None:
    own = read(written)
    ready = own.ready("alpha")
    assert ready is not None
    role = random.choice(["operator", "battery-trained", "service"])
    try:
        machine = drawn(ready, seed, slips=True)
    except NoSuchMachine:
        assert ready.from_card
        return
    drill = Drill(machine, own.table, role=role)
    position = drill.start()
    used = 0.0
    for _ in range(60):
        screen = drill.screen(position)
        if screen.screen == "score":
            break
        words = [
            *screen.replies[:1],
            "1",
            "2",
            "3 1",
            "2 done",
            "9",
            "done",
            "back",
            "nonsense",
            "",
        ]
        position = drill.reply(position, random.choice(words)).position
        assert position.minutes >= used
        used = position.minutes
    else:
        position = drill.reply(position, "leave").position
    found: Any = drill.screen(position)
    assert found.score.minutes == used
    assert found.score.minutes == pytest.approx(sum(one.minutes for one in found.score.route))
    if found.score.outcome == "passed":
        assert not found.score.unsafe
        assert not found.score.wrong_referrals
        assert found.score.cause == found.score.named


def test_readings_of_the_built_in_library_show_what_their_band_says() -> None:
    from trainees import SYMPTOMS, library

    readings = 0
    for symptom in SYMPTOMS:
        ready = library().require(symptom)
        for seed in range(30):
            machine = drawn(ready, seed, slips=True)
            assert isinstance(ready.steps[machine.cause], Finding)
            for number, step in enumerate(ready.steps):
                if isinstance(step, Reading):
                    sight = machine.sight(number, 1)
                    assert sight.taken is not None
                    assert step.band(sight.taken.value) == step.exits[sight.answer]
                    readings += 1
    assert readings > 500


def test_a_cause_behind_answers_that_do_not_agree_is_never_drawn() -> None:
    """Two looks at the same would have to show different things: no machine is like that."""
    text = """
format: 2
symptom: sample
title: It does not work
start: first
steps:
  first: {ask: How is it?, answers: {Dry: dry, Wet: second}}
  second: {ask: How is it now?, same_as: first, answers: {Dry: never, Wet: wet}}
  dry: {finding: It is dry, chance: 1, who: operator, remedy: Wet it.}
  wet: {finding: It is wet, chance: 1, who: operator, remedy: Dry it.}
  never: {finding: It is both, chance: 98, who: operator, remedy: Wonder.}
"""
    tree, problems = read_tree(text, "sample.yaml")
    assert tree is not None, problems
    ready = made_ready(tree, caution_table(Cautions(hazards={}, cautions={})))
    causes = {ready.plan.ids[drawn(ready, seed).cause] for seed in range(100)}
    assert causes == {"dry", "wet"}
