"""A measurement that a library declares works wherever one of the program's own does."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from commands.driver import Driver

from diagnose import app
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.drill.figures import Wanted
from diagnose.drill.machine import drawn
from diagnose.files.tree import Reading
from diagnose.measure.registry import compute

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
    do: Count.
    bands:
      - {below: 0, call: nonsense, go: again}
      - {below: 3, call: hardly any, go: other}
      - {otherwise: it slips, go: belt}
  again: {ask: Was it read twice?, answers: {It was: other, Once: belt}}
  belt:
    finding: The belt is loose
    chance: 30
    who: service
    until_mended: out of use
    leave_safe: Leave it.
    ask_service: Tighten it.
  other: {finding: Something else, chance: 30, who: operator, remedy: Look on.}
worked_cases:
  - {name: slipping, answers: {slip: {driving: "1000", driven: 900 rpm}}, finding: belt}
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "measurements.yaml").write_text(MEASUREMENTS, encoding="utf-8")
    (tmp_path / "slow.yaml").write_text(TREE, encoding="utf-8")
    monkeypatch.setenv("DIAGNOSE_TREES", str(tmp_path))
    return tmp_path


def out(capsys: pytest.CaptureFixture[str], *args: str, code: int = 0) -> str:
    assert app.run(list(args)) == code
    said = capsys.readouterr()
    return said.out + said.err


def test_measure_lists_explains_and_takes_it(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "belt-slip             Slip of the drive belt (%)" in out(capsys, "measure")
    said = out(capsys, "measure", "belt-slip")
    assert "driven: turns of the driven pulley" in said
    assert "from 0 to 5000 rpm" in said
    args = ("measure", "belt-slip", "driving=1000 rpm", "driven=94.2 rad/s")
    data = json.loads(out(capsys, *args, "--json"))
    assert data["value"] == pytest.approx(100 * (1 - 94.2 * 60 / (2 * 3.141592653589793) / 1000))
    assert data["expected"] == {"low": 0, "high": 3, "source": "definition of slip"}
    refused = out(capsys, "measure", "belt-slip", "driving=0 rpm", "driven=1 rpm", code=3)
    assert refused.count("\n") == 1
    assert "out of range" in refused


def test_a_broken_one_is_said_where_it_is_asked_for(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = folder / "measurements.yaml"
    file.write_text(MEASUREMENTS.replace("driven) /", "drivn) /"), encoding="utf-8")
    for args in (["measure", "belt-slip"], ["start", "slow", "--machine", "none", "--plain"]):
        said = out(capsys, *args, code=3)
        assert "measurements.yaml" in said
        assert "drivn" in said
    assert "Film of solution" in out(capsys, "measure", "film")
    file.write_text("format: 3\n", encoding="utf-8")
    for args in (["measure", "belt-slip"], ["start", "slow", "--machine", "none", "--plain"]):
        assert "measurements.yaml:1:1" in out(capsys, *args, code=3)


def test_a_case_is_walked_resumed_and_handed_over(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "cases.sqlite"
    first = Driver("start", "slow", "--machine", "none", log=log)
    screen = first.screen()
    assert (screen["screen"], screen["read"]) == ("reading", "belt-slip")
    assert [need["unit"] for need in screen["needs"]] == ["rpm", "rpm"]
    assert first.reply("why")["text"]
    first.screen()
    assert "out of range" in json.dumps(first.reply("driving=0 driven=5"))
    first.screen()
    figure = first.reply("driving=1000 driven=900")
    assert (figure["value"], figure["band"]) == (10, "it slips")
    assert first.screen()["step"] == "belt"
    first.kill()
    again = Driver("resume", log=log)
    assert again.screen()["step"] == "belt"
    assert again.reply("refer")["outcome"] == "referred"
    assert again.end()[0] == 0
    page = out(capsys, "handover", screen["case"], "--log", str(log))
    assert "Slip of the drive belt" in page
    assert "1000 rpm" in page or "driving" in page


def test_a_drill_has_inputs_from_which_its_figure_follows(folder: Path) -> None:
    ready = ReadyLibrary(folder).require("slow")
    reading = ready.steps[0]
    assert isinstance(reading, Reading)
    seen = set()
    for seed in range(40):
        machine = drawn(ready, seed)
        sight = machine.sight(0, 1)
        assert sight == machine.sight(0, 1)
        assert sight.taken is not None
        typed = dict(sight.taken.typed)
        figure = compute(ready.measurements["belt-slip"], typed, lambda _: None, bare=False)
        assert figure.value == sight.taken.value
        assert reading.band(figure.value) == reading.exits[sight.answer]
        seen.add(sight.answer)
    assert len(seen) > 1
    # A band in which no figure of the formula falls has one that is computed from nothing.
    out_of_reach = Reading(exits=reading.exits[:2], read=reading.read, limits=(-1e9,))
    taken = machine.figures.shown(Wanted(out_of_reach, 0), 0.5)
    assert taken.typed == ()
    assert taken.value < -1e9


@pytest.mark.parametrize("verb", ["sheets", "draw", "quiz"])
def test_papers_name_it(
    verb: str,
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    name = "page.dot" if verb == "draw" else "page.svg"
    out(capsys, verb, "slow", "-o", name)
    assert list(tmp_path.glob("page*"))
    if verb == "draw":
        assert "Slip of the drive belt" in (tmp_path / name).read_text(encoding="utf-8")


def test_compare_says_that_the_formula_is_another_and_a_case_ends_elsewhere(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    new = tmp_path / "new"
    new.mkdir()
    other = MEASUREMENTS.replace("100 * (driving", "10 * (driving")
    (new / "measurements.yaml").write_text(other, encoding="utf-8")
    (new / "slow.yaml").write_text(TREE, encoding="utf-8")
    said = out(capsys, "compare", str(folder), str(new), code=1)
    assert "measurement belt-slip: other formula" in said
    assert 'worked case "slipping": it ends elsewhere now' in said
    data = json.loads(out(capsys, "compare", str(folder), str(new), "--json", code=1))
    assert data["measurements.yaml"]["measurements"]["changed"] == [
        {"id": "belt-slip", "keys": ["formula"]}
    ]
