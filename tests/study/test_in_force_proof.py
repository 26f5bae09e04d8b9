"""What is in force on every route: the must-analysis against two other ways of finding out."""

from __future__ import annotations

import re
from random import Random
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies.libraries import libraries
from strategies.observer import Files
from strategies.plain import Plain
from strategies.sampling import several
from strategies.written import Read, Written, loaded, read

from diagnose.files.places import KEY
from diagnose.study.in_force import always_in_force

if TYPE_CHECKING:
    from diagnose.study.plan import Plan


def before_by_rule(library: Read, plan: Plan) -> list[set[str]]:
    masks = always_in_force(plan.order, plan.ways, plan.needs, plan.energises, library.table)
    everything = (1 << len(library.table.ids)) - 1
    return [set(library.table.names(mask & everything)) for mask in masks]


def by_remove_and_reach(library: Read, plan: Plan, caution: str) -> set[int]:
    """Return the steps that can be reached without the caution in force on the way in.

    What calls the caution is deleted. What can still be reached from where it is not in force (the
    start, and any step at which the machine ends it) is a way in without it.
    """
    bit = 1 << library.table.number[caution]
    lapses = bool(library.table.lapsing & bit)
    calls = {n for n, mask in enumerate(plan.needs) if library.table.closed(mask) & bit}
    todo = [plan.start] if plan.start not in calls else []
    todo += [n for n, runs in enumerate(plan.energises) if runs and lapses and n not in calls]
    bare = {plan.start}
    passed: set[int] = set()
    while todo:
        step = todo.pop()
        if step in passed:
            continue
        passed.add(step)
        for target in plan.ways[step]:
            bare.add(target)
            if target not in calls:
                todo.append(target)
    return bare


def by_every_route(plain: Plain, plan: Plan) -> list[set[str] | None]:
    """Return what is in force before each step on all routes, by walking each of them."""
    before: list[set[str] | None] = [None] * len(plan.ids)

    def go(step: str, in_force: frozenset[str]) -> None:
        place = plan.number[step]
        known = before[place]
        before[place] = set(in_force) if known is None else known & in_force
        _, after = plain.taken(step, in_force)
        for target in plain.ways(step):
            go(target, after)

    go(plain.start, frozenset())
    return before


@pytest.mark.many_cases
@settings(max_examples=several(100))
@given(libraries(most_trees=1))
def test_the_must_analysis_agrees_with_both(written: Written) -> None:
    library, files = read(written), Files(written.trees, written.cautions)
    plan = library.plan("alpha")
    found = before_by_rule(library, plan)
    for caution in library.table.ids:
        bare = by_remove_and_reach(library, plan, caution)
        assert {n for n, held in enumerate(found) if caution not in held} == bare
    start = library.trees["alpha"].start
    assert found == by_every_route(Plain(files, "alpha", start), plan)


@pytest.mark.many_cases
@settings(max_examples=several(100))
@given(libraries(most_trees=1), st.integers(0, 2**32))
def test_any_needs_on_any_graph(written: Written, seed: int) -> None:
    # Not only what the checker lets through: steps that run the machine under what that ends, too.
    library, random = read(written), Random(seed)
    cautions, plan = library.table, library.plan("alpha")
    needs = [random.getrandbits(len(cautions.ids)) for _ in plan.ids]
    energises = [random.random() < 0.4 for _ in plan.ids]
    before: list[int | None] = [None] * len(plan.ids)

    def go(step: int, held: int) -> None:
        known = before[step]
        before[step] = held if known is None else known & held
        entry = held & ~cautions.lapsing if energises[step] else held
        for target in plan.ways[step]:
            go(target, entry | cautions.closed(needs[step]))

    go(plan.start, 0)
    assert always_in_force(plan.order, plan.ways, needs, energises, cautions) == before


@pytest.mark.many_cases
@settings(max_examples=several(100))
@given(libraries())
def test_a_step_needs_what_the_files_say(written: Written) -> None:
    library, files = read(written), Files(written.trees, written.cautions)
    for symptom, tree in library.trees.items():
        for name, step in tree.steps.items():
            needed = library.table.names(library.table.needs(step))
            assert set(needed) == files.needs[symptom, name]
            assert list(needed) == sorted(needed, key=files.place.__getitem__)


FINDINGS = """
format: 1
symptom: alpha
title: t
start: top
steps:
  top: {ask: a, answers: {one: mended, two: served, three: door}}
  mended: {finding: m, chance: 5, who: operator, remedy: r, hazards: [press], cautions: [barrier]}
  served: {finding: s, chance: 5, who: service, leave_safe: l, hazards: [press], cautions: [barrier]}
  door: {finding: d, chance: 5, continue_with: beta, hazards: [press], cautions: [barrier]}
"""
GUARDS = """
format: 1
hazards: {press: {title: P}}
cautions:
  lockout: {title: L, signal: WARNING, signs: [M021], covers: [press], lapses: when energised,
            text: t, confirm: [c], release: [r]}
  barrier: {title: B, signal: CAUTION, covers: [], lapses: never, text: t, confirm: [c]}
"""


def test_what_nobody_reaches_into_calls_no_caution_for_its_hazards() -> None:
    """What service mends, and the line of a doorway; what they list has to be in force."""
    library = read(Written(trees={"alpha": FINDINGS}, cautions=GUARDS, symptoms=("beta",)))
    steps = library.trees["alpha"].steps
    needed = {name: library.table.names(library.table.needs(step)) for name, step in steps.items()}
    assert needed == {
        "top": (),
        "mended": ("lockout", "barrier"),
        "served": ("barrier",),
        "door": ("barrier",),
    }


@pytest.mark.many_cases
@settings(max_examples=several(200))
@given(libraries(most_trees=1, lockouts=True))
def test_a_second_lockout_is_named_where_some_route_takes_it(written: Written) -> None:
    files = Files(written.trees, written.cautions)
    library, _, problems = loaded(written)
    tree = library.trees["alpha"]
    plain = Plain(files, "alpha", tree.start)
    twice: set[tuple[str, str]] = set()

    def go(step: str, held: frozenset[str], had: frozenset[str]) -> None:
        _, after = plain.taken(step, held)
        entry = held - files.lapsing if plain.steps[step].get("energises") else held
        twice.update((step, name) for name in (after - entry) & had)
        for target in plain.ways(step):
            go(target, after, had | after)

    go(plain.start, frozenset(), frozenset())
    file = library.file("alpha.yaml")
    places = {library.place(file, ("steps", name, KEY)): name for name in tree.steps}
    said = set()
    for problem in problems:
        if problem.code == "lockout-twice":
            caution = re.search(r'the caution "([^"]+)"', problem.message)
            assert caution is not None
            said.add((places[problem.line, problem.column], caution[1]))
    assert said == twice
