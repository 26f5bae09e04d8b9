"""`diagnose check --coverage`: what no worked case walks, as a technician reads it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from diagnose import app

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

TREE = """\
format: 3
symptom: still
title: It stands still
start: lamp
steps:
  lamp:
    ask: What does the lamp show?
    passes: It glows
    answers: {It is dark: fuse, It glows: volts, It blinks: to-other}
  volts:
    read: value
    bands:
      - {below: 5, call: too little, go: flat}
      - {otherwise: enough, go: worn}
  fuse: {finding: The fuse is blown, chance: 5, who: operator, remedy: Change it.}
  flat: {finding: It is flat, chance: 5, who: operator, remedy: Charge it.}
  worn: {finding: It is worn, chance: 5, who: operator, remedy: Change it.}
  to-other: {finding: Something else, chance: 1, continue_with: other}
worked_cases:
  - {name: flat, answers: {volts: {value: "3"}}, finding: flat}
"""
OTHER = TREE.replace("symptom: still", "symptom: other").replace("with: other", "with: still")


@pytest.fixture
def check(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    (tmp_path / "still.yaml").write_text(TREE, "utf-8")
    (tmp_path / "other.yaml").write_text(OTHER, "utf-8")

    def run(*args: str) -> tuple[int, str, str]:
        code = app.run(["check", "--trees", str(tmp_path), "--coverage", *args])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def test_each_thing_is_named_at_its_place(check: Any, tmp_path: Path) -> None:
    code, out, err = check("still")
    assert (code, err) == (0, "")
    file = tmp_path / "still.yaml"
    assert out.splitlines()[:7] == [
        f'{file}:9:15: No worked case walks the answer "It is dark" of "lamp".',
        f'{file}:9:50: No worked case walks the answer "It blinks" of "lamp".',
        f'{file}:14:21: No worked case walks the band "enough" of "volts".',
        f'{file}:15:3: warning: No worked case ends at the finding "fuse".',
        f'{file}:17:3: warning: No worked case ends at the finding "worn".',
        f'{file}:18:3: warning: No worked case ends at the doorway "to-other".',
        "still: 1 worked case walks 1 of 3 findings, 0 of 1 doorways, 1 of 3 answers, 1 of 2 bands.",
    ]


def test_the_same_for_other_programs(check: Any) -> None:
    code, out, err = check("--json")
    assert (code, err) == (0, "")
    found = json.loads(out)["coverage"]
    assert set(found) == {"still", "other"}
    assert found["still"]["cases"] == 1
    assert found["still"]["findings"] == {
        "of": 3,
        "missing": [
            {"step": "fuse", "line": 15, "column": 3},
            {"step": "worn", "line": 17, "column": 3},
        ],
    }
    assert found["still"]["bands"]["missing"] == [
        {"step": "volts", "answer": "enough", "line": 14, "column": 21}
    ]


def test_a_case_that_ends_elsewhere_walks_nothing(check: Any, tmp_path: Path) -> None:
    (tmp_path / "still.yaml").write_text(TREE.replace('"3"', '"7"'), "utf-8")
    code, out, _ = check("--json")
    found = json.loads(out)
    assert code == 1
    assert found["coverage"]["still"] is None
    assert found["coverage"]["other"] is not None
    assert (
        f"{tmp_path / 'still.yaml'}: not walked, since it or cautions.yaml has errors."
        in check()[1]
    )


def test_without_being_asked_nothing_is_said_of_it(
    check: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert app.run(["check", "--trees", str(tmp_path)]) == 0
    assert "worked case" not in capsys.readouterr().out
