"""Steps that look at the same on one route: what they cost, and which orders are tried.

Against all routes one by one, in all permutations of small trees, worked out from the files alone.
"""

from __future__ import annotations

import itertools
import math
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies.libraries import libraries
from strategies.observer import Files, files_of
from strategies.ordering import YARDS, cautions_text
from strategies.plain import Plain
from strategies.sampling import several
from strategies.written import Written, read, text_of

from diagnose.files.library import built_in, load
from diagnose.study.in_force import caution_table
from diagnose.study.looks import met_twice, unfolded
from diagnose.study.order.study import order_study
from diagnose.study.outlook import expected_minutes
from diagnose.study.plan import plan_of
from diagnose.study.runs import runs_of

Tree = dict[str, Any]
YARD = cautions_text(YARDS["lockout alone"])


def a_check(bad: str, fine: str, random: Random) -> Tree:
    minutes = random.choice([1, 2, 3, 7])
    cautions = random.choice([{}, {"cautions": ["lock"]}, {"energises": True}])
    return {"ask": "?", "minutes": minutes, **cautions, "answers": {"bad": bad, "fine": fine}}


def small(random: Random) -> Tree:
    """Return a chain with a check in some branches, before it and behind it; some look the same."""
    members = [f"m{n}" for n in range(random.randint(2, 5))]
    steps: Tree = {"top": a_check("f-top", "m0", random) | {"passes": "none"}}
    for name, after in zip(members, [*members[1:], "last"], strict=True):
        inner = random.random() < 0.6
        steps[name] = a_check(f"in-{name}" if inner else f"f-{name}", after, random)
        steps[name]["passes"] = "fine"
        if inner:
            steps[f"in-{name}"] = a_check(f"f-{name}", f"g-{name}", random)
    steps["last"] = a_check("f-last", "f-rest", random)
    checks = list(steps)
    aside = [name for name in checks if name.startswith("in-")]
    for _ in range(random.randint(1, 2)):
        # In two branches no route meets both, and the run may change.
        among = aside if len(aside) > 2 and random.random() < 0.7 else checks
        one, other = random.sample([n for n in among if "same_as" not in steps[n]], 2)
        if not any(step.get("same_as") == other for step in steps.values()):
            steps[other]["same_as"] = one
    for name in {to for n in checks for to in steps[n]["answers"].values()} - set(checks):
        chance = random.choice([1, 5, 30])
        steps[name] = {"finding": name, "chance": chance, "who": "operator", "remedy": "x"}
    return {"format": 2, "symptom": "alpha", "title": "t", "start": "top", "steps": steps}


def in_order(tree: Tree, names: tuple[str, ...], order: tuple[str, ...]) -> Tree:
    """Return the tree with a run of it asked in another order: arrows turned in the file."""
    behind = tree["steps"][names[-1]]["answers"]["fine"]
    following = dict(zip(order, [*order[1:], behind], strict=True))
    steps = {}
    for name, step in tree["steps"].items():
        ways = {w: order[0] if to == names[0] else to for w, to in step.get("answers", {}).items()}
        if name in following:
            ways["fine"] = following[name]
        steps[name] = step | {"answers": ways} if ways else step
    return tree | {"steps": steps}


def written(tree: Tree) -> Written:
    return Written(trees={"alpha": text_of(tree)}, cautions=YARD)


def plain(tree: Tree) -> Plain:
    texts = written(tree)
    return Plain(Files(texts.trees, texts.cautions), "alpha", tree["start"])


def minutes(tree: Tree) -> float:
    """Return the expected minutes, each look looked at once, from all routes."""
    by_hand = plain(tree)
    means = by_hand.minutes_to(list(by_hand.routes("top", once=True)))
    prior = by_hand.prior()
    return math.fsum(prior[name] * mean for name, mean in means.items())


def seen_of(tree: Tree, finding: str) -> dict[str, str]:
    """Return what a machine with this fault alone shows, by look; all else is fine."""
    for route in plain(tree).routes("top", once=True):
        if route.finding == finding:
            steps = tree["steps"]
            return {
                steps[name].get("same_as", name): list(steps[name]["answers"])[number]
                for name, number in route.answers
            }
    return {}


def found(tree: Tree, seen: dict[str, str]) -> str:
    at = "top"
    while "answers" in (step := tree["steps"][at]):
        at = step["answers"][seen.get(step.get("same_as", at), "fine")]
    return at


def test_all_orders_of_small_trees() -> None:
    """The study tries those in which the same is found, and the best of them is best."""
    kept = tried = 0
    for seed in range(several(250)):
        tree = small(Random(seed))
        library = read(written(tree))
        study = order_study(library.trees["alpha"], library.table)
        assert study.now.minutes == pytest.approx(minutes(tree), rel=1e-9)
        kept += bool(study.same_looks)
        worlds = {name: seen_of(tree, name) for name in study.now.plan.ids}
        for run in study.runs:
            costs = {}
            for order in itertools.permutations(run.steps):
                other = in_order(tree, run.steps, order)
                costs[order] = minutes(other)
                for name, world in worlds.items():
                    if world:
                        assert found(other, world) == name == found(tree, world)
            assert run.exact
            assert run.best_minutes == pytest.approx(min(costs.values()), rel=1e-9)
            assert costs[run.best] == pytest.approx(run.best_minutes, rel=1e-9)
            tried += len(costs) > 1
        by_look = [{tree["steps"][n].get("same_as", n) for n in look} for look in study.same_looks]
        assert all(len(look) == 1 for look in by_look)
    assert kept > several(100)
    assert tried > several(50)


PAIR = {
    "top": {"ask": "?", "minutes": 2, "passes": "none", "answers": {"bad": "f-top", "fine": "m0"}},
    "m0": {"ask": "?", "minutes": 3, "passes": "fine", "answers": {"bad": "f-m0", "fine": "m1"}},
    "m1": {"ask": "?", "minutes": 5, "passes": "fine", "answers": {"bad": "f-m1", "fine": "last"}},
    "last": {"ask": "?", "minutes": 7, "answers": {"bad": "f-last", "fine": "f-rest"}},
}


def pair(**same: str) -> Tree:
    steps: Tree = {name: dict(step) for name, step in PAIR.items()}
    for name, other in same.items():
        steps[name]["same_as"] = other
    ends = ("f-top", "f-m0", "f-m1", "f-last", "f-rest")
    steps |= {n: {"finding": n, "chance": 1, "who": "operator", "remedy": "x"} for n in ends}
    return {"format": 2, "symptom": "alpha", "title": "t", "start": "top", "steps": steps}


@pytest.mark.parametrize(
    ("same", "runs", "kept", "expected"),
    [
        # Each of five findings after 2, 5, 10, 17 and 17 minutes.
        ({}, [("m0", "m1")], (), (2 + 5 + 10 + 17 + 17) / 5),
        # The second says nothing new: what is behind its other answer is never come to.
        ({"m1": "m0"}, [], (("m0", "m1"),), (2 + 5 + 12 + 0 + 12) / 5),
        ({"last": "m1"}, [], (("m1", "last"),), (2 + 5 + 10 + 0 + 10) / 5),
        ({"last": "top"}, [], (("top", "last"),), (2 + 5 + 10 + 0 + 10) / 5),
    ],
)
def test_what_looks_at_the_same_takes_nothing_and_stays(
    same: dict[str, str], runs: list[tuple[str, ...]], kept: Any, expected: float
) -> None:
    library = read(written(pair(**same)))
    study = order_study(library.trees["alpha"], library.table)
    assert study.now.minutes == pytest.approx(expected)
    assert expected_minutes(library.plan("alpha"), library.table) == pytest.approx(expected)
    assert [run.steps for run in study.runs] == runs
    assert study.same_looks == kept


def test_a_member_that_stays_parts_a_run() -> None:
    """Two before it may change places, and two behind it, on which nothing of it depends."""
    names = [f"m{n}" for n in range(5)]
    steps: Tree = {}
    for name, after in zip(names, [*names[1:], "f-rest"], strict=True):
        steps[name] = {"ask": "?", "passes": "fine", "answers": {"bad": f"f-{name}", "fine": after}}
    steps["m0"]["answers"]["bad"] = "again"
    steps["again"] = {"ask": "?", "same_as": "m2", "answers": {"bad": "f-m0", "fine": "g-m0"}}
    ends = {to for step in steps.values() for to in step["answers"].values()} - set(steps)
    steps |= {n: {"finding": n, "chance": 1, "who": "operator", "remedy": "x"} for n in ends}
    tree = {"format": 2, "symptom": "alpha", "title": "t", "start": "m0", "steps": steps}
    library = read(written(tree))
    plan = library.plan("alpha")
    found = [tuple(plan.ids[n] for n in run.steps) for run in runs_of(library.trees["alpha"], plan)]
    assert found == [("m0", "m1"), ("m3", "m4")]
    assert met_twice(plan) == []


def chain(*names: str) -> Tree:
    """Return checks one behind the other, with a finding behind each and one at the end."""
    ends = [*names[1:], f"r-{names[0]}"]
    return {
        name: {"ask": "?", "passes": "fine", "answers": {"bad": f"f-{name}", "fine": after}}
        for name, after in zip(names, ends, strict=True)
    }


def test_on_two_routes_that_never_meet_the_same_look_keeps_nothing_in_place() -> None:
    steps: Tree = {"top": {"ask": "?", "passes": "none", "answers": {"this": "a0", "that": "b0"}}}
    steps |= chain("a0", "a1") | chain("b0", "b1")
    steps["b1"]["same_as"] = "a0"
    ends = {to for step in steps.values() for to in step["answers"].values()} - set(steps)
    steps |= {n: {"finding": n, "chance": 1, "who": "operator", "remedy": "x"} for n in ends}
    tree = {"format": 2, "symptom": "alpha", "title": "t", "start": "top", "steps": steps}
    library = read(written(tree))
    study = order_study(library.trees["alpha"], library.table)
    assert [run.steps for run in study.runs] == [("a0", "a1"), ("b0", "b1")]
    assert study.same_looks == ()


BY_KIND = """
format: 2
symptom: alpha
title: t
start: first
steps:
  first: {ask: "?", from_card: battery.kind, answers: {flooded: water, sealed: other}}
  other: {ask: "?", same_as: first, passes: sealed, answers: {flooded: f-other, sealed: water}}
  water: {ask: "?", applies_to: {battery.kind: [flooded]}, passes: fine,
    answers: {bad: f-water, fine: f-rest}}
  f-water: {finding: f, chance: 1, who: operator, remedy: r}
  f-other: {finding: f, chance: 1, who: operator, remedy: r}
  f-rest: {finding: f, chance: 1, who: operator, remedy: r}
"""


@pytest.mark.parametrize(
    ("card", "answered", "left"),
    [
        ("machine: m, title: M", {}, {"f-water", "f-other", "f-rest"}),
        ("machine: m, title: M, battery: {kind: flooded}", {"first": 0, "other": 0}, ...),
        (
            "machine: m, title: M, battery: {kind: sealed}",
            {"first": 1, "other": 1, "water": 0},
            {"f-other", "f-rest"},
        ),
        (None, {}, ...),
    ],
)
def test_what_the_card_answers_is_answered_wherever_the_same_is_seen(
    card: str | None, answered: dict[str, int], left: Any
) -> None:
    text = None if card is None else f"{{format: 2, {card}}}"
    ready = read(Written(trees={"alpha": BY_KIND}, card=text)).ready("alpha")
    assert ready is not None
    ids = ready.plan.ids
    assert {ids[step]: number for step, number in ready.from_card.items()} == answered
    everything = {"f-water", "f-other", "f-rest"}
    assert {ids[n] for n in ready.plan.findings} == (everything if left is ... else left)


LESS_SAID = """
format: 2
symptom: alpha
title: t
start: first
steps:
  first: {ask: "?", minutes: 2, passes: none, answers: {odd: second, bad: second, fine: f-rest}}
  second: {ask: "?", minutes: 4, same_as: first, passes: none,
    answers: {odd: {go: f-odd, applies_to: {battery.kind: [flooded]}}, bad: f-bad, fine: f-fine}}
  f-odd: {finding: f, chance: 1, who: operator, remedy: r}
  f-bad: {finding: f, chance: 1, who: operator, remedy: r}
  f-fine: {finding: f, chance: 1, who: operator, remedy: r}
  f-rest: {finding: f, chance: 1, who: operator, remedy: r}
"""


@pytest.mark.parametrize(("kind", "expected"), [("flooded", 6 / 4), ("sealed", 12 / 3)])
def test_an_answer_that_a_machine_does_not_give_there_says_nothing_there(
    kind: str, expected: float
) -> None:
    card = f"{{format: 2, machine: m, title: M, battery: {{kind: {kind}}}}}"
    library = read(Written(trees={"alpha": LESS_SAID}, card=card))
    ready = library.ready("alpha")
    assert ready is not None
    # Flooded: three of four findings after 2 minutes, and `f-fine` is never come to. Sealed: `odd`
    # at the first is no answer at the second, which is asked then: of three findings `f-bad` is
    # come to after 2 or 6 minutes, by two ways, `f-fine` after 6, `f-rest` after 2.
    assert expected_minutes(ready.plan, library.table) == pytest.approx(expected)


@settings(max_examples=several(100))
@given(libraries(most_trees=1, told=True), st.integers(0, 2**32))
def test_unfolded_no_look_is_met_twice(written: Written, seed: int) -> None:
    """And at random a case ends there as it does in the plan, at the same cost."""
    library, random = read(written), Random(seed)
    plan = library.plan("alpha")
    flat = unfolded(plan)
    assert met_twice(flat) == []
    for _ in range(10):
        at, there, told = plan.start, flat.start, dict[int, int]()
        while plan.ways[at]:
            number = told.get(at)
            asked = number is None
            if number is None:
                number = random.randrange(len(plan.ways[at]))
                told |= {at: number, **dict(plan.twins.get((at, number), ()))}
            assert flat.ids[there] == plan.ids[at]
            assert flat.minutes[there] == (plan.minutes[at] if asked else 0.0)
            assert flat.needs[there] == (plan.needs[at] if asked else 0)
            assert flat.energises[there] == (plan.energises[at] and asked)
            there = flat.ways[there][number if asked else 0]
            at = plan.ways[at][number]
        assert there == at


def test_the_minutes_of_the_built_in_library_are_those_of_its_routes() -> None:
    library, files = load(built_in()), files_of(built_in())
    table = caution_table(library.cautions)
    twice = 0
    for name, tree in library.trees.items():
        plan = plan_of(tree, table)
        twice += bool(met_twice(plan))
        by_hand = Plain(files, name, tree.start)
        means = by_hand.minutes_to(list(by_hand.routes(tree.start, once=True)))
        prior = by_hand.prior()
        # Every finding is come to by answers that agree.
        assert set(means) == set(prior)
        expected = math.fsum(prior[finding] * mean for finding, mean in means.items())
        assert expected_minutes(plan, table) == pytest.approx(expected, rel=1e-9)
        assert order_study(tree, table).now.minutes == pytest.approx(expected, rel=1e-9)
    # Some look is met twice on one route, or this says nothing.
    assert twice
