"""What is wrong with a measurement that a library declares, at its place; and what follows from it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from diagnose.files.library import load
from diagnose.rules.check import check

if TYPE_CHECKING:
    from pathlib import Path

MEASUREMENTS = """\
format: 3
measurements:
  belt-slip:
    title: Slip of the drive belt
    unit: "%"
    how: Count the turns of both pulleys in the same minute.
    inputs:
      driving: {title: turns of the driving pulley, unit: rpm, least: 1, most: 5000}
      driven: {title: turns of the driven pulley, unit: rpm, least: 0, most: 5000}
    formula: 100 * (driving - driven) / driving
    expected: {least: 0, most: 3}
    good_to: 1
    source: definition of slip
"""
TREE = """\
format: 3
symptom: slow
title: It turns slowly
start: slip
steps:
  slip:
    read: belt-slip
    bands:
      - {below: 3, call: hardly any, go: other}
      - {otherwise: it slips, go: belt}
  belt: {finding: The belt is loose, chance: 30, who: operator, remedy: Tighten it.}
  other: {finding: Something else, chance: 30, who: operator, remedy: Look on.}
worked_cases:
  - {name: slipping, answers: {slip: {driving: "1000", driven: 900 rpm}}, finding: belt}
"""


def found(folder: Path, measurements: str, tree: str = TREE) -> list[tuple[str, str, int, int]]:
    (folder / "measurements.yaml").write_text(measurements, encoding="utf-8")
    (folder / "slow.yaml").write_text(tree, encoding="utf-8")
    problems = check(load(folder))
    return [(p.file.rpartition("/")[2], p.code, p.line, p.column) for p in problems]


def test_a_sound_one_is_used_by_bands_and_worked_cases(tmp_path: Path) -> None:
    assert found(tmp_path, MEASUREMENTS) == []


@pytest.mark.parametrize(
    ("old", "new", "code", "line", "column"),
    [
        ("  belt-slip:", "  film:", "taken-measurement", 3, 3),
        ("unit: rpm, least: 1", "unit: rqm, least: 1", "input-unit", 8, 59),
        ("least: 1, most: 5000", "least: 5000, most: 1", "input-unit", 8, 71),
        ("driven) / driving", "driven / driving", "formula", 10, 14),
        ("driven) / driving", "drivn) / driving", "formula", 10, 14),
        ("100 * (driving - driven) / driving", "100 * driving", "formula", 10, 14),
        ("100 * (driving - driven) / driving", "(driving - driven) / driving", "formula", 10, 14),
        ("least: 0, most: 3", "least: 3, most: 0", "expected-range", 11, 23),
        ("good_to: 1", "good_to: 0", "out-of-range", 12, 14),
        ("driving:", "Driving:", "not-a-name", 8, 7),
        ("format: 3", "format: 2", "later-key", 2, 1),
        ("    source: definition of slip\n", "", "missing-key", 4, 5),
    ],
)
def test_each_mistake_is_one_problem_at_its_place(
    tmp_path: Path, old: str, new: str, code: str, line: int, column: int
) -> None:
    broken = MEASUREMENTS.replace(old, new)
    assert broken != MEASUREMENTS
    tree = TREE.replace("belt-slip", "film").partition("worked_cases")[0] if "film" in new else TREE
    assert found(tmp_path, broken, tree)[0] == ("measurements.yaml", code, line, column)
    # What follows from it in the tree is not said once more.
    assert {file for file, *_ in found(tmp_path, broken, tree)} == {"measurements.yaml"}


def test_a_name_that_nobody_declares_is_unknown(tmp_path: Path) -> None:
    problems = found(tmp_path, MEASUREMENTS, TREE.replace("belt-slip", "belt-slipp"))
    assert problems == [("slow.yaml", "unknown-measurement", 7, 11)]


def test_a_worked_case_that_cannot_be_computed_is_one_line(tmp_path: Path) -> None:
    tree = TREE.replace('driving: "1000"', 'driving: "0"')
    assert found(tmp_path, MEASUREMENTS, tree)[0][:2] == ("slow.yaml", "worked-case")


def test_a_case_ends_elsewhere_with_another_formula(tmp_path: Path) -> None:
    other = MEASUREMENTS.replace("100 * (driving - driven)", "10 * (driving - driven)")
    assert [one[1] for one in found(tmp_path, other)] == ["worked-case"]
