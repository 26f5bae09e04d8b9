"""A round on one machine: items that do not apply, people it is for, what it has seen goes along."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from diagnose import app

if TYPE_CHECKING:
    from pathlib import Path

TREE = """\
format: 2
symptom: weak
title: It picks up badly
start: full
steps:
  full:
    ask: Is the dirty-water tank full?
    answers: {It is full: tank, There is room: hose}
  hose:
    ask: Does the hose sit?
    answers: {It is off: off, It sits: motor}
  tank: {finding: The tank is full., chance: 30, who: operator, remedy: Drain it.}
  off: {finding: The hose is off., chance: 30, who: operator, remedy: Push it on.}
  motor: {finding: The motor is weak., chance: 10, who: service, leave_safe: Park it.,
          until_mended: out of use}
"""
ROUND = """\
format: 2
round: daily
title: Before the shift
every: shift
items:
  level:
    do: Look into the dirty-water tank.
    starts: {symptom: weak, answers: {full: There is room}}
  water:
    do: Look at the water in the cells.
    applies_to: {battery.kind: [flooded]}
    by: battery-trained
  lamp: {do: Look at the lamp.}
"""
DEEP = """\
format: 2
round: deep
title: Battery day
every: week
applies_to: {battery.kind: [flooded]}
items:
  look: {do: Look at the cells., by: battery-trained}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "weak.yaml").write_text(TREE)
    for name, text in (("daily", ROUND), ("deep", DEEP)):
        (tmp_path / "rounds").mkdir(exist_ok=True)
        (tmp_path / "rounds" / f"{name}.yaml").write_text(text)
    for kind in ("flooded", "sealed"):
        (tmp_path / "machines").mkdir(exist_ok=True)
        (tmp_path / "machines" / f"{kind}.yaml").write_text(
            f"format: 2\nmachine: {kind}\ntitle: The {kind} one\nbattery: {{kind: {kind}}}\n"
        )
    return tmp_path


@pytest.fixture
def walked(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Any:
    def walk(*args: str, replies: tuple[str, ...] = ()) -> tuple[int, list[dict[str, Any]], str]:
        left = iter([*replies, None])
        monkeypatch.setattr("diagnose.faces.json_lines.read_line", lambda: next(left, None))
        log = ["--log", str(folder / "log.sqlite"), "--trees", str(folder), "--json"]
        code = app.run([*args, *log])
        out, err = capsys.readouterr()
        return code, [json.loads(line) for line in out.splitlines()], err

    return walk


def items(screens: list[dict[str, Any]]) -> list[str]:
    return [screen["item"] for screen in screens if screen["screen"] == "item"]


def test_an_item_that_does_not_apply_is_none_of_the_round_and_one_line_says_so(walked: Any) -> None:
    trained = ("--as", "battery-trained")
    _, screens, _ = walked(
        "round", "daily", "--machine", "sealed", *trained, replies=("done", "done")
    )
    assert items(screens) == ["level", "lamp"]
    assert screens[0]["total"] == 2
    assert screens[0]["notes"] == ["Skipped, since this machine is another: battery kind."]
    _, screens, _ = walked(
        "round", "daily", "--machine", "flooded", *trained, replies=("done", "done", "done")
    )
    assert items(screens) == ["level", "water", "lamp"]
    assert "notes" not in screens[0]


def test_a_round_for_other_machines_or_other_people_is_refused_in_one_line(walked: Any) -> None:
    code, screens, err = walked("round", "deep", "--machine", "flooded")
    assert (code, screens) == (2, [])
    assert (
        err
        == 'diagnose: The round "deep" is for battery-trained people: add --as battery-trained.\n'
    )
    code, screens, err = walked("round", "deep", "--machine", "sealed", "--as", "battery-trained")
    assert (code, screens) == (2, [])
    assert 'The round "deep" is for other machines' in err
    assert "battery.kind sealed" in err
    code, screens, _ = walked("round", "deep", "--machine", "flooded", "--as", "battery-trained")
    assert (code, items(screens)) == (0, ["look"])


def test_what_not_right_has_seen_is_not_asked_again_in_its_case_nor_after_a_resume(
    walked: Any,
) -> None:
    _, screens, _ = walked("round", "daily", "--machine", "sealed", replies=("not right", "leave"))
    case = screens[1]
    assert (case["screen"], case["step"]) == ("check", "hose")
    # The tank has 30 of 70, and room was seen: 0.05 of that is left beside 0.95 of the others.
    _, again, _ = walked("resume", screens[0]["case"], replies=("why", "It sits", "refer"))
    assert again[0]["step"] == "hose"
    share = {cause["step"]: cause["probability"] for cause in again[1]["ranking"]}
    total = 30 * 0.05 + 40 * 0.95
    assert share == pytest.approx(
        {"tank": 30 * 0.05 / total, "off": 30 * 0.95 / total, "motor": 10 * 0.95 / total}
    )
    assert [one["step"] for one in again if "step" in one] == ["hose", "hose", "motor"]
