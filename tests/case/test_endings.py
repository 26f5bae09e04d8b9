"""Cases end well: a smaller run of the benchmark on the built-in trees, held to wide limits."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import pytest
from strategies.shop_floor import own_symptoms, visit_as

from diagnose.drill.outcomes import Machine, Outcome, Person

if TYPE_CHECKING:
    from diagnose.case.visit import Visit

#: Machines of each symptom.
EACH = 30


@cache
def visit() -> Visit:
    return visit_as("battery-trained", "dock")


@cache
def walked(*, slips: bool = True, chart: bool = False, unsure: float = 0.05) -> list[Outcome]:
    person = Person(visit(), chart=chart, unsure=unsure)
    return [
        person.walks(Machine(visit().tree, symptom, seed, slips=slips))
        for symptom in own_symptoms(visit())
        for seed in range(EACH)
    ]


def well(cases: list[Outcome], *, mine: bool) -> float:
    """Return the share that ended well, of the causes of one's own or of service's."""
    found = [case.well for case in cases if case.mine is mine]
    return sum(found) / len(found)


@pytest.mark.many_cases
def test_most_cases_end_well_and_more_than_with_a_printed_chart() -> None:
    assert len(own_symptoms(visit())) == 10
    assert well(walked(), mine=True) > 0.85
    assert well(walked(), mine=False) > 0.75
    assert well(walked(), mine=True) > well(walked(chart=True), mine=True) + 0.15
    assert sorted(case.replies for case in walked())[EACH * 5] <= 13


@pytest.mark.many_cases
def test_without_wrong_answers_every_case_ends_well() -> None:
    sure = walked(slips=False, unsure=0.0)
    assert [case for case in sure if not (case.well or case.slipped)] == []
    assert not any(case.slipped for case in sure)
    # And nearly all where some questions cannot be answered.
    assert well(walked(slips=False), mine=True) > 0.97


@pytest.mark.many_cases
def test_the_same_look_shows_the_same_thing_and_slips_as_often_as_the_step_says() -> None:
    tree = visit().tree("poor-pickup")
    assert tree is not None
    step = tree.plan.number["sound"]
    wrong = 0
    for seed in range(2_000):
        machine = Machine(visit().tree, "poor-pickup", seed)
        number, slipped = machine.answer(tree, step)
        assert machine.answer(tree, step) == (number, slipped)
        assert slipped == (number not in machine.truths(tree, step))
        wrong += slipped
        honest = Machine(
            visit().tree, "poor-pickup", seed, honest=frozenset({("poor-pickup", "sound")})
        )
        assert honest.answer(tree, step)[1] is False
        assert honest.cause == machine.cause
    # Four standard deviations of 2,000 answers that slip in one of five.
    assert wrong / 2_000 == pytest.approx(tree.plan.slip[step], abs=4 * (0.2 * 0.8 / 2_000) ** 0.5)


@pytest.mark.many_cases
def test_causes_are_drawn_by_their_chances_and_through_doorways() -> None:
    tree = visit().tree("leak")
    assert tree is not None
    drawn = [Machine(visit().tree, "leak", seed) for seed in range(3_000)]
    place = tree.plan.number["lifts-in-curves"]
    share = sum(machine.causes["leak"] == place for machine in drawn) / 3_000
    chance = tree.plan.chances[tree.plan.bit[place]]
    assert share == pytest.approx(chance, abs=4 * (chance * (1 - chance) / 3_000) ** 0.5)
    behind = next(machine for machine in drawn if machine.causes["leak"] == place)
    assert list(behind.causes)[:2] == ["leak", "streaking"]
    assert behind.cause[0] != "leak"
