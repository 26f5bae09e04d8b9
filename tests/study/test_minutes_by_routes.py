"""Worths and expected minutes, against all routes one by one."""

from __future__ import annotations

import math
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies.libraries import libraries
from strategies.observer import Files
from strategies.plain import Plain
from strategies.sampling import several
from strategies.written import Read, Written, read

from diagnose.study import outlook
from diagnose.study.outlook import expected_minutes, outlooks


def plain_of(written: Written, library: Read, symptom: str) -> Plain:
    minutes = library.card.section("caution_minutes") if library.card is not None else {}
    return Plain(
        Files(written.trees, written.cautions),
        symptom,
        library.trees[symptom].start,
        minutes,
    )


@pytest.mark.many_cases
@settings(max_examples=several(150))
@given(libraries(most_trees=1, most_questions=6), st.integers(0, 2**32))
def test_outlooks_are_those_of_all_routes(written: Written, seed: int) -> None:
    _against_all_routes(written, seed)


@pytest.mark.many_cases
@pytest.mark.parametrize("few", [0, 1, 2])
def test_outlooks_are_those_of_all_routes_whatever_is_followed_together(
    few: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Most of these trees are so small that all findings are followed one by one."""
    monkeypatch.setattr(outlook, "FEW", few)

    @settings(max_examples=several(50))
    @given(libraries(most_trees=1, most_questions=6), st.integers(0, 2**32))
    def compare(written: Written, seed: int) -> None:
        _against_all_routes(written, seed)

    compare()


def _against_all_routes(written: Written, seed: int) -> None:
    library, random = read(written), Random(seed)
    plain = plain_of(written, library, "alpha")
    plan = library.plan("alpha")
    questions = [n for n, ways in enumerate(plan.ways) if ways]
    for _ in range(3):
        closed = {
            step: random.choice([None, *range(len(plan.ways[step]))])
            for step in questions
            if random.random() < 0.4
        }
        gone = {step for step in plan.findings if random.random() < 0.3}
        in_force = library.table.closed(random.getrandbits(len(library.table.ids)))
        weights = [random.random() for _ in plan.findings]
        own = [random.choice([0.0, 1.0, 5.0, 7.25]) for _ in plan.findings]
        sources = random.sample(range(len(plan.ids)), min(4, len(plan.ids)))
        found = outlooks(
            plan,
            library.table,
            sources,
            weights=weights,
            own=own,
            closed=closed,
            gone=gone,
            in_force=in_force,
        )
        assert set(found) == set(sources)
        for source in sources:
            routes = list(
                plain.routes(
                    plan.ids[source],
                    frozenset(library.table.names(in_force)),
                    {plan.ids[step]: answer for step, answer in closed.items()},
                    {plan.ids[step] for step in gone},
                )
            )
            means = plain.minutes_to(routes)
            which = {name: plan.bit[plan.number[name]] for name in means}
            weight = math.fsum(weights[which[name]] for name in means)
            minutes = math.fsum(
                weights[which[name]] * (mean + own[which[name]]) for name, mean in means.items()
            )
            seen = found[source]
            assert seen.reach == sum(1 << number for number in which.values())
            assert seen.weight == pytest.approx(weight, rel=1e-9, abs=1e-9)
            assert seen.minutes == pytest.approx(minutes, rel=1e-9, abs=1e-9)
            if minutes:
                assert seen.worth == pytest.approx(weight / (minutes / weight), rel=1e-9)


@pytest.mark.many_cases
@settings(max_examples=several(150))
@given(libraries(most_trees=1, most_questions=6))
def test_expected_minutes_are_those_of_all_routes(written: Written) -> None:
    library = read(written)
    plain = plain_of(written, library, "alpha")
    means = plain.minutes_to(list(plain.routes(plain.start, once=True)))
    prior = plain.prior()
    if set(means) != set(prior):
        # Two answers of one look would lead to what is missing.
        assert "same_as" in written.trees["alpha"]
    by_hand = math.fsum(prior[name] * mean for name, mean in means.items())
    found = expected_minutes(library.plan("alpha"), library.table)
    assert found == pytest.approx(by_hand, rel=1e-9, abs=1e-9)


def test_a_finding_behind_two_answers_is_reached_by_each_equally_often() -> None:
    text = """
format: 1
symptom: alpha
title: t
start: top
steps:
  top: {ask: a, minutes: 2, answers: {one: far, two: far, three: leaf, four: other}}
  far: {ask: b, minutes: 9, answers: {one: leaf, two: other}}
  leaf: {finding: f, chance: 3, who: operator, remedy: r}
  other: {finding: g, chance: 1, who: operator, remedy: r}
"""
    library = read(Written(trees={"alpha": text}))
    # To the leaf: two answers in three pass `far`. To the other: two in three as well.
    by_hand = 0.75 * (2 + 9 * 2 / 3) + 0.25 * (2 + 9 * 2 / 3)
    assert expected_minutes(library.plan("alpha"), library.table) == pytest.approx(by_hand)


def test_the_cards_minutes_for_a_caution_count() -> None:
    cautions = """
format: 1
hazards: {press: {title: Press}}
cautions:
  inner: {title: I, signal: NOTICE, lapses: never, minutes: 40, text: t, confirm: [c]}
  outer: {title: O, signal: NOTICE, lapses: never, minutes: 3, covers: [press], includes: [inner],
    text: t, confirm: [c]}
"""
    tree = """
format: 1
symptom: alpha
title: t
start: top
steps:
  top: {ask: a, minutes: 2, hazards: [press], answers: {one: leaf, two: other}}
  leaf: {finding: f, chance: 3, who: operator, remedy: r}
  other: {finding: g, chance: 1, who: operator, remedy: r}
"""
    card = (
        "format: 1\nmachine: m\ntitle: M\nbattery: {kind: sealed}\ncaution_minutes: {outer: 10}\n"
    )
    for own, minutes in ((None, 2 + 3), (card, 2 + 10)):
        library = read(Written(trees={"alpha": tree}, cautions=cautions, card=own))
        found = expected_minutes(library.plan("alpha"), library.table)
        assert found == pytest.approx(minutes)
