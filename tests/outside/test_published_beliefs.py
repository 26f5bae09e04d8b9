"""Beliefs against published examples; each file in data/ names its source and its status."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from strategies.written import Written, read

from diagnose.study.beliefs import updated
from diagnose.study.outlook import normalised

DATA = Path(__file__).parent / "data"


def example(name: str) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))
    return data


@pytest.mark.parametrize("name", ["noisy_test_004", "noisy_test_eddy", "naive_bayes_tennis"])
def test_posterior(name: str) -> None:
    # noisy_test_004: University of Oslo lecture notes, R. noisy_test_eddy: Gigerenzer and
    # Hoffrage 1995, M. naive_bayes_tennis: weather data of Quinlan, Mitchell, Witten and Frank, R.
    case = example(name)
    logs = [math.log(chance) for chance in case["inputs"]["prior"]]
    for row in case["inputs"]["lik"]:
        logs = list(updated(logs, map(math.log, row)))
    assert normalised(logs) == pytest.approx(case["expected"]["posterior"], abs=case["tolerance"])
    if "unnormalised" in case["expected"]:
        weights = [math.exp(log) for log in logs]
        assert weights == pytest.approx(case["expected"]["unnormalised"], abs=case["tolerance"])


def test_the_noisy_test_as_a_case() -> None:
    # The same example (Oslo, R) through tree, reader and walk: a question with three answers and a
    # slip of 0.2 hits with 0.8 and gives each wrong answer 0.1.
    case = example("noisy_test_004")
    ill, well = case["inputs"]["prior"]
    text = f"""
format: 1
symptom: alpha
title: t
start: probe
steps:
  probe:
    ask: a
    slip: 0.2
    answers: {{shows: ill, clear: well, between: neither}}
  ill: {{finding: ill, chance: {ill}, who: service, leave_safe: l}}
  well: {{finding: well, chance: {well}, who: service, leave_safe: l}}
  neither: {{finding: neither, chance: 1e-300, who: service, leave_safe: l}}
"""
    walk = read(Written(trees={"alpha": text})).walk()
    screen = walk.screen(walk.reply(walk.open("alpha"), "shows").state)
    expected = case["expected"]["posterior"][0]
    assert screen.probability == pytest.approx(expected, abs=case["tolerance"])
    assert screen.probability == pytest.approx(0.004 * 0.8 / (0.004 * 0.8 + 0.996 * 0.1), abs=1e-12)
