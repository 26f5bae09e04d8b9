"""The drill against things outside it: a general statistics library, and the order study's minutes.

The chi-square test is SciPy's (`scipy.stats.chisquare`, a general-purpose reference library); its
expected counts are the chances as they stand in the files, read as plain YAML.
"""

from __future__ import annotations

import math
from collections import Counter

import pytest
from scipy.stats import chisquare
from trainees import SYMPTOMS, Follower, drill_of, library, raw

from diagnose.drill.machine import drawn
from diagnose.files.library import built_in
from diagnose.study.outlook import expected_minutes

#: One false alarm in a thousand, had the seeds not been fixed.
ALPHA = 0.001


@pytest.mark.many_cases
def test_over_100_000_draws_the_causes_fit_the_chances() -> None:
    steps = raw(built_in() / "streaking.yaml")["steps"]
    chances = {name: float(step["chance"]) for name, step in steps.items() if "chance" in step}
    ready = library().require("streaking")
    draws = 100_000
    counts = Counter(ready.plan.ids[drawn(ready, seed).cause] for seed in range(draws))
    total = sum(chances.values())
    expected = [draws * chance / total for chance in chances.values()]
    assert min(expected) > 5
    found = chisquare([counts[name] for name in chances], expected)
    assert found.pvalue > ALPHA
    # The test has teeth: one cause in a hundred more for one less is noticed.
    counts["grit"], counts["edge-worn"] = counts["grit"] - 1000, counts["edge-worn"] + 1000
    assert chisquare([counts[name] for name in chances], expected).pvalue < ALPHA


@pytest.mark.many_cases
def test_a_machine_card_rules_causes_out_and_leaves_the_others_their_chances() -> None:
    # Sealed and lithium batteries have no water to be low; a flooded one cannot be a locked pack.
    ready = library("aisle").require("low-runtime")
    steps = raw(built_in() / "low-runtime.yaml")["steps"]
    causes = Counter(ready.plan.ids[drawn(ready, seed).cause] for seed in range(20_000))
    assert not {"water-low", "cell-weak", "pack-locked", "worn-lithium"} & set(causes)
    # Nothing on these two's routes depends on the battery's kind.
    ratio = float(steps["too-heavy"]["chance"]) / float(steps["cold"]["chance"])
    assert causes["too-heavy"] / causes["cold"] == pytest.approx(ratio, rel=0.15)


@pytest.mark.many_cases
def test_over_5_000_drills_whoever_follows_the_tree_needs_the_expected_minutes() -> None:
    symptom, drills = "streaking", 5_000
    used = []
    for seed in range(drills):
        follower = Follower.at(drill_of(symptom, seed), symptom)
        score = follower.go()
        assert score["outcome"] == "passed"
        assert score["minutes"] == pytest.approx(follower.clock)
        assert score["minutes"] == pytest.approx(score["tree_minutes"])
        used.append(score["minutes"])
    agrees(used, symptom)


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", [name for name in SYMPTOMS if name != "streaking"])
def test_the_expected_minutes_hold_for_every_symptom(symptom: str) -> None:
    used = []
    for seed in range(600):
        follower = Follower.at(drill_of(symptom, seed), symptom)
        score = follower.go()
        assert score["outcome"] == "passed", score
        assert score["minutes"] == pytest.approx(follower.clock)
        assert score["minutes"] == pytest.approx(score["tree_minutes"])
        used.append(score["minutes"])
    agrees(used, symptom)


def agrees(used: list[float], symptom: str) -> None:
    """The mean lies within 3.5 standard errors of what the order study expects."""
    opened = library()
    expected = expected_minutes(opened.require(symptom).plan, opened.table)
    mean = math.fsum(used) / len(used)
    spread = math.sqrt(math.fsum((one - mean) ** 2 for one in used) / (len(used) - 1))
    assert abs(mean - expected) < 3.5 * spread / math.sqrt(len(used)), (mean, expected)
    assert spread / math.sqrt(len(used)) < 0.1 * expected


@pytest.mark.parametrize("symptom", ["streaking", "poor-pickup"])
def test_answers_mislead_as_often_as_their_slip_says(symptom: str) -> None:
    steps = raw(built_in() / f"{symptom}.yaml")["steps"]
    ready = library().require(symptom)
    looks = misled = 0
    expected = variance = 0.0
    for seed in range(2_000):
        machine = drawn(ready, seed, slips=True)
        honest = drawn(ready, seed)
        assert (machine.cause, machine.truths) == (honest.cause, honest.truths)
        for number, name in enumerate(ready.plan.ids):
            answers = steps[name].get("answers") or steps[name].get("bands")
            if answers is None or ready.plan.passing[number] is None:
                continue  # a finding; or a question of which every answer may be true
            truth = honest.sight(number, 1).answer
            leads = [
                plan_reaches(ready, number, n) >> ready.plan.bit[machine.cause] & 1
                for n in range(len(answers))
            ]
            if sum(leads) > 1:
                continue
            slip = float(steps[name].get("slip", 0.05))
            looks, expected = looks + 1, expected + slip
            variance += slip * (1 - slip)
            misled += machine.sight(number, 1).answer != truth
    assert looks > 10_000
    assert abs(misled - expected) < 3.5 * math.sqrt(variance)


def plan_reaches(ready, step: int, answer: int) -> int:  # type: ignore[no-untyped-def]
    """Return the findings behind an answer, as bits."""
    reach: int = ready.plan.reach[ready.plan.ways[step][answer]]
    return reach
