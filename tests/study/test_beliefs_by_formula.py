"""Beliefs, against Bayes' rule written out answer by answer."""

from __future__ import annotations

import math
import sys
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies.libraries import libraries
from strategies.observer import Files
from strategies.plain import Plain
from strategies.sampling import several
from strategies.written import Read, Written, read, text_of

from diagnose.study.beliefs import LEAST_SLIP, after_failed_remedy, likelihood, prior, updated
from diagnose.study.outlook import normalised


def plain_of(written: Written, library: Read) -> Plain:
    start = library.trees["alpha"].start
    return Plain(Files(written.trees, written.cautions), "alpha", start)


@pytest.mark.many_cases
@settings(max_examples=several(150))
@given(libraries(most_trees=1), st.integers(0, 2**32))
def test_beliefs_are_those_of_the_formula(written: Written, seed: int) -> None:
    library, random = read(written), Random(seed)
    plain, plan = plain_of(written, library), library.plan("alpha")
    questions = [n for n, ways in enumerate(plan.ways) if ways]
    answered = [
        (n, random.randrange(len(plan.ways[n]))) for n in questions if random.random() < 0.6
    ]
    on_card = {n for n, _ in answered if random.random() < 0.3}
    failed = [n for n in plan.findings if random.random() < 0.3]
    logs = prior(plan)
    for step, answer in answered:
        slip = LEAST_SLIP if step in on_card else plan.slip[step]
        logs = updated(logs, likelihood(plan, step, answer, slip))
    for finding in failed:
        logs = after_failed_remedy(logs, plan.bit[finding])
    by_hand = plain.beliefs(
        [(plan.ids[n], answer) for n, answer in answered if n not in on_card],
        [plan.ids[n] for n in failed],
        [(plan.ids[n], answer) for n, answer in answered if n in on_card],
    )
    names = [plan.ids[n] for n in plan.findings]
    assert dict(zip(names, normalised(logs), strict=True)) == pytest.approx(by_hand, abs=1e-12)


@pytest.mark.many_cases
@settings(max_examples=several(100))
@given(libraries(most_trees=1), st.integers(0, 2**32))
def test_the_answers_of_a_question_have_a_probability_of_one_together(
    written: Written, seed: int
) -> None:
    library = read(written)
    plan = library.plan("alpha")
    slip = Random(seed).uniform(0, 0.499)
    for step, ways in enumerate(plan.ways):
        rows = [likelihood(plan, step, answer, slip) for answer in range(len(ways))]
        for column in zip(*rows, strict=True):
            assert math.fsum(map(math.exp, column)) == pytest.approx(1, abs=1e-12)


@pytest.mark.many_cases
@settings(max_examples=several(100))
@given(libraries(most_trees=1), st.integers(0, 2**32))
def test_the_order_of_the_answers_changes_no_belief(written: Written, seed: int) -> None:
    library, random = read(written), Random(seed)
    plan = library.plan("alpha")
    rows = [
        likelihood(plan, step, random.randrange(len(ways)), plan.slip[step])
        for step, ways in enumerate(plan.ways)
        if ways
    ]
    found = []
    for _ in range(3):
        random.shuffle(rows)
        logs = prior(plan)
        for row in rows:
            logs = updated(logs, row)
        found.append(normalised(logs))
    for other in found[1:]:
        assert other == pytest.approx(found[0], abs=1e-12)


def test_answers_that_are_all_but_impossible_leave_beliefs_exact() -> None:
    """Each of 60 answers is 1e-9 likely at the most, whatever the cause: no float holds 1e-540."""
    library = read(Written(trees={"alpha": run(["belt", "hose", "lid"])}))
    plan = library.plan("alpha")
    chances = dict(zip((plan.ids[n] for n in plan.findings), plan.chances, strict=True))
    lid = plan.number["lid"]
    bad, fine = (plan.ways[lid].index(plan.number[to]) for to in ("lid-off", "rest"))
    # "bad lid" is 1 where the lid is off, else the least slip; "fine" is the other way round.
    logs = updated(
        prior(plan),
        *[likelihood(plan, lid, bad, 0.0)] * 60,
        *[likelihood(plan, lid, fine, 0.0)] * 60,
    )
    assert max(logs) < math.log(sys.float_info.min)
    found = dict(zip(chances, normalised(logs), strict=True))
    assert found == pytest.approx(chances, rel=1e-9)
    # From either end of the list: one cause is e^2000 times as likely as another.
    assert normalised([-3000.0, -1000.0]) == [0.0, 1.0]
    assert normalised([-1000.0, -3000.0]) == [1.0, 0.0]


def run(order: list[str]) -> str:
    """Return a run of three checks, each with a cause of its own, in the given order."""
    causes = {"belt": (5, 0.03), "hose": (9, 0.2), "lid": (20, 0.0)}
    steps: dict[str, Any] = {
        name: {
            "ask": "a",
            "slip": causes[name][1],
            # Each step of a run has a passing answer; the last one's leads to a finding.
            "passes": "fine",
            "answers": {f"bad {name}": f"{name}-off", "fine": after},
        }
        for name, after in zip(order, [*order[1:], "rest"], strict=True)
    }
    for name, (chance, _) in causes.items():
        steps[f"{name}-off"] = {"finding": "f", "chance": chance, "who": "operator", "remedy": "r"}
    steps["rest"] = {"finding": "f", "chance": 2, "who": "service", "leave_safe": "l"}
    head = {"format": 1, "symptom": "alpha", "title": "t", "start": order[0]}
    return text_of({**head, "steps": steps})


@pytest.mark.parametrize("order", [["lid", "hose", "belt"], ["hose", "belt", "lid"]])
def test_the_order_of_a_runs_checks_changes_no_belief(
    order: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Through the walk: the same answers, the checks of the run asked in another order.
    def beliefs(names: list[str]) -> dict[str, float]:
        walk = read(Written(trees={"alpha": run(names)})).walk()
        state = walk.open("alpha")
        for _ in names:
            state = walk.reply(state, "fine").state
        end = walk.screen(walk.reply(state, "refer").state)
        return {cause.step: cause.probability for cause in end.ranking}

    wanted = pytest.approx(beliefs(["belt", "hose", "lid"]), abs=1e-12)
    assert beliefs(order) == wanted
    # Nor does the size of a tree: of a large one no likelihood is worked out beforehand.
    monkeypatch.setattr("diagnose.study.ready.LARGE", 0)
    assert beliefs(order) == wanted
