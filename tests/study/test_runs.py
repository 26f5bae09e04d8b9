"""Runs: where they begin and end, what they allow, and what changes when their steps do."""

from __future__ import annotations

import itertools
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies.libraries import libraries
from strategies.ordering import YARDS, any_tree, cautions_text, tree_with_run
from strategies.sampling import several
from strategies.written import Read, Written, read, text_of

from diagnose.files.tree import Question
from diagnose.rules.check import check, errors
from diagnose.study.plan import passing_answer, plan_of
from diagnose.study.runs import reordered, runs_of


def check_step(passes: str | None = None, **answers: str) -> dict[str, Any]:
    step: dict[str, Any] = {"ask": "What is it?"}
    if passes:
        step["passes"] = passes
    return {**step, "answers": {word.replace("_", " "): to for word, to in answers.items()}}


def library(steps: dict[str, Any]) -> Read:
    named = {to for step in steps.values() for to in step["answers"].values()} - set(steps)
    found = {
        name: {"finding": name, "chance": 1, "who": "operator", "remedy": name}
        for name in sorted(named)
    }
    tree = {"format": 1, "symptom": "alpha", "title": "t", "start": next(iter(steps))}
    return read(Written(trees={"alpha": text_of({**tree, "steps": {**steps, **found}})}))


def runs(steps: dict[str, Any]) -> list[tuple[str, ...]]:
    made = library(steps)
    plan = made.plan("alpha")
    return [tuple(plan.ids[n] for n in run.steps) for run in runs_of(made.trees["alpha"], plan)]


CHAIN = {
    "one": check_step(bad="f-one", fine="two"),
    "two": check_step(bad="f-two", fine="three"),
    "three": check_step("fine", bad="f-three", fine="rest"),
}


def test_a_chain_is_one_run() -> None:
    assert runs(CHAIN) == [("one", "two", "three")]


@pytest.mark.parametrize(
    ("change", "left"),
    [
        # No passing answer: all of its answers end at findings, and none is named.
        ({"three": check_step(bad="f-three", fine="rest")}, [("one", "two")]),
        # A second arrow into the last, by another answer, which meets the rest too.
        ({"one": check_step("fine", bad="f-one", odd="three", fine="two")}, []),
        # Another answer meets what the passing one leads to at a finding.
        ({"two": check_step(bad="rest", fine="three")}, []),
        ({"one": check_step(bad="f-three", fine="two")}, [("two", "three")]),
        # Two answers of one step lead to the next.
        ({"one": check_step("fine", odd="two", fine="two")}, [("two", "three")]),
    ],
)
def test_where_a_run_ends(change: dict[str, Any], left: list[tuple[str, ...]]) -> None:
    assert runs({**CHAIN, **change}) == left


def test_a_way_in_from_outside_starts_a_run() -> None:
    steps = {"first": check_step("no", yes="two", no="one"), **CHAIN}
    assert runs(steps) == [("two", "three")]


def test_after_binds_members_and_what_stands_behind_their_other_answers() -> None:
    steps = {
        **CHAIN,
        "two": {**check_step("fine", bad="deeper", fine="three"), "after": []},
        # It comes after its own member anyway, and behind another one of the run.
        "deeper": {**check_step("none", yes="f-two", no="g-two"), "after": ["one", "two"]},
        "three": {**CHAIN["three"], "after": ["two"]},
    }
    made = library(steps)
    plan = made.plan("alpha")
    (run,) = runs_of(made.trees["alpha"], plan)
    assert run.before == (0, 0b1, 0b10)
    allowed = [order for order in itertools.permutations(range(3)) if run.allows(order)]
    assert allowed == [(0, 1, 2)]


def test_the_passing_answer_is_named_where_it_was_understood() -> None:
    made = library(CHAIN)
    tree = reordered(made.trees["alpha"], ["one", "two", "three"], ["three", "one", "two"])
    assert (tree.start, tree.steps["two"].passes) == ("three", "fine")  # type: ignore[index, union-attr]
    assert tree.steps["one"].passes is None  # type: ignore[index, union-attr]
    assert list(tree.steps) == list(made.trees["alpha"].steps)


def found_by_each(tree: Any, worlds: list[set[tuple[str, str]]]) -> list[str]:
    """Return where a walk ends, in worlds that say which other answers are seen."""
    ends = []
    for world in worlds:
        at = tree.start
        while isinstance(step := tree.steps[at], Question):
            seen = [way for way in step.exits if (at, way.answer) in world]
            passing = passing_answer(tree, step)
            at = seen[0].to if seen else step.exit(passing or step.exits[0].answer).to  # type: ignore[union-attr]
        ends.append(str(at))
    return ends


@pytest.mark.many_cases
@settings(max_examples=several(80))
@given(libraries(most_trees=1), st.integers(0, 2**32))
def test_another_order_of_a_run_changes_nothing_that_is_found(written: Written, seed: int) -> None:
    """For one fault at a time, in any tree: the same end, no new error, passing answers kept."""
    made, rng = read(written), Random(seed)
    old = made.trees["alpha"]
    plan = made.plan("alpha")
    for run in runs_of(old, plan):
        names = [plan.ids[step] for step in run.steps]
        orders = [o for o in itertools.permutations(range(len(names))) if run.allows(o)]
        new = reordered(old, names, [names[job] for job in rng.choice(orders)])
        questions = [(n, s) for n, s in old.steps.items() if isinstance(s, Question)]
        worlds: list[set[tuple[str, str]]] = [set()]
        for name, step in questions:
            worlds += [{(name, way.answer)} for way in step.exits]
            assert passing_answer(new, new.steps[name]) == passing_answer(old, step)  # type: ignore[arg-type]
        assert found_by_each(new, worlds) == found_by_each(old, worlds)
        made.library.trees["alpha"] = new
        assert not errors(check(made.library))
        again = plan_of(new, made.table)
        chains = {frozenset(again.ids[n] for n in run.steps) for run in runs_of(new, again)}
        assert frozenset(names) in chains
        made.library.trees["alpha"] = old


def test_orders_that_break_after_are_not_allowed_and_the_checker_says_so() -> None:
    """Of the steps themselves, and of checks behind their other answers."""
    told = 0
    text = cautions_text(YARDS["side by side"])
    behind = [
        tree_with_run(Random(seed), 4, YARDS["side by side"], exits=0.7, after_behind=0.4)
        for seed in range(15)
    ]
    for written in (
        *(any_tree(Random(seed), (4,), "side by side") for seed in range(25)),
        *(Written(trees={"alpha": text_of(tree)}, cautions=text) for tree in behind),
    ):
        made = read(written)
        old = made.trees["alpha"]
        plan = made.plan("alpha")
        for run in runs_of(old, plan):
            names = [plan.ids[step] for step in run.steps]
            for order in itertools.permutations(range(len(names))):
                made.library.trees["alpha"] = reordered(old, names, [names[job] for job in order])
                bad = {problem.code for problem in errors(check(made.library))}
                assert bad == (set() if run.allows(order) else {"after"})
                told += bool(bad)
    assert told > 20
