"""The drill against things outside it: a general statistics library, and the order study's minutes.

The chi-square test is SciPy's (`scipy.stats.chisquare`, a general-purpose reference library); its
expected counts are the chances as they stand in the files, read as plain YAML.
"""

from __future__ import annotations

import math
from collections import Counter
from typing import Any

import pytest
from scipy.stats import chisquare
from strategies.sampling import several
from trainees import SYMPTOMS, Follower, drill_of, library, raw, ways_of

from diagnose.drill.machine import cause_of, drawn
from diagnose.files.library import built_in
from diagnose.measure.registry import MEASUREMENTS, compute
from diagnose.study.outlook import expected_minutes

#: One false alarm in a thousand, had the seeds not been fixed.
ALPHA = 0.001


@pytest.mark.many_cases
def test_over_100_000_draws_the_causes_fit_the_chances() -> None:
    steps = raw(built_in() / "streaking.yaml")["steps"]
    chances = {name: float(step["chance"]) for name, step in steps.items() if "chance" in step}
    ready = library().require("streaking")
    draws = 100_000
    counts = Counter(ready.plan.ids[cause_of(ready, seed)] for seed in range(draws))
    assert all(drawn(ready, seed).cause == cause_of(ready, seed) for seed in range(200))
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
    causes = Counter(ready.plan.ids[cause_of(ready, seed)] for seed in range(20_000))
    assert not {"water-low", "cell-weak", "pack-locked", "worn-lithium"} & set(causes)
    # Nothing on these two's routes depends on the battery's kind.
    ratio = float(steps["too-heavy"]["chance"]) / float(steps["cold"]["chance"])
    assert causes["too-heavy"] / causes["cold"] == pytest.approx(ratio, rel=0.15)


@pytest.mark.many_cases
def test_over_5_000_drills_whoever_follows_the_tree_needs_the_expected_minutes() -> None:
    """What the order study expects, where every way to a cause is as likely as its answers are."""
    symptom = "streaking"
    used = followed(symptom, several(5_000))
    opened = library()
    agrees(used, expected_minutes(opened.require(symptom).plan, opened.table))
    agrees(used, minutes_of_cases(symptom))


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", [name for name in SYMPTOMS if name != "streaking"])
def test_the_minutes_of_every_symptom_are_those_of_its_worked_cases(symptom: str) -> None:
    """The order study's where the author's cases take the ways that it counts; else near to it."""
    expected = minutes_of_cases(symptom)
    agrees(followed(symptom, several(600)), expected)
    opened = library()
    study = expected_minutes(opened.require(symptom).plan, opened.table)
    assert expected == pytest.approx(study, rel=0.35)


def followed(symptom: str, drills: int) -> list[float]:
    """Return the minutes of those who follow the tree, all of whom pass."""
    used = []
    for seed in range(drills):
        follower = Follower.at(drill_of(symptom, seed), symptom)
        score = follower.go()
        assert score["outcome"] == "passed", score
        assert score["minutes"] == pytest.approx(follower.clock)
        assert score["minutes"] == pytest.approx(score["tree_minutes"])
        used.append(score["minutes"])
    return used


def minutes_of_cases(symptom: str) -> float:
    """Return the minutes that the files promise: causes by chance, their worked cases alike."""
    tree = raw(built_in() / f"{symptom}.yaml")
    minutes: dict[str, list[float]] = {}
    for case in tree["worked_cases"]:
        follower = Follower.at(drill_of(symptom, 0), symptom)
        finding = follower.walked(lambda name, step, _, case=case: said(case, name, step, tree))
        minutes.setdefault(finding, []).append(follower.clock)
    chances = {n: float(s["chance"]) for n, s in tree["steps"].items() if "chance" in s}
    means = {name: math.fsum(one) / len(one) for name, one in minutes.items()}
    return math.fsum(chances[n] * means[n] for n in chances) / math.fsum(chances.values())


def said(case: Any, name: str, step: Any, tree: Any) -> str:
    """Return what a worked case has at a step, else what the step passes by."""
    given = case["answers"].get(name)
    if isinstance(given, str):
        return given
    if given is not None:
        # Its inputs were computed by the program; the band is the one that leads to the finding.
        figure = compute(MEASUREMENTS[step["read"]], given, lambda path: None, bare=True).value
        return next(
            band.get("call") or band["otherwise"]
            for band in step["bands"]
            if "below" not in band or figure < float(band["below"])
        )
    onward = [
        answer
        for answer, way in ways_of(step).items()
        if "finding" not in tree["steps"][way if isinstance(way, str) else way["go"]]
    ]
    passing: str = step.get("passes") or onward[0]
    return passing


def agrees(used: list[float], expected: float) -> None:
    """The mean lies within 3.5 standard errors of what is expected."""
    mean = math.fsum(used) / len(used)
    spread = math.sqrt(math.fsum((one - mean) ** 2 for one in used) / (len(used) - 1))
    assert abs(mean - expected) < 3.5 * spread / math.sqrt(len(used)), (mean, expected)
    assert spread / math.sqrt(len(used)) < 0.1 * expected


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", ["streaking", "poor-pickup"])
def test_answers_mislead_as_often_as_their_slip_says(symptom: str) -> None:
    steps = raw(built_in() / f"{symptom}.yaml")["steps"]
    ready = library().require(symptom)
    looks = misled = 0
    expected = variance = 0.0
    for seed in range(several(2_000)):
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
    assert looks > several(10_000)
    assert abs(misled - expected) < 3.5 * math.sqrt(variance)


def plan_reaches(ready, step: int, answer: int) -> int:  # type: ignore[no-untyped-def]
    """Return the findings behind an answer, as bits."""
    reach: int = ready.plan.reach[ready.plan.ways[step][answer]]
    return reach
