"""`diagnose measure` at the command line."""

import json

import pytest

from diagnose import app
from diagnose.measure import registry


def run(args):
    return app.run(["measure", *args])


CARD = """format: 1
machine: spare
title: Spare machine
battery: {kind: flooded, cells: 12, capacity: 240 Ah, rated_hours: 5 h}
"""


@pytest.fixture
def trees(tmp_path):
    machines = tmp_path / "machines"
    machines.mkdir()
    (machines / "spare.yaml").write_text(CARD, encoding="utf-8")
    (machines / "broken.yaml").write_text("format: 1\nmachine: broken\nfoo: 1\n", encoding="utf-8")
    return str(tmp_path)


def test_alone_it_lists_them(capsys):
    assert run([]) == 0
    names = [line.split()[0] for line in capsys.readouterr().out.splitlines()]
    assert names == list(registry.MEASUREMENTS)
    assert run(["--json"]) == 0
    listed = json.loads(capsys.readouterr().out)["measurements"]
    assert [one["name"] for one in listed] == names


@pytest.mark.parametrize("name", registry.MEASUREMENTS)
def test_a_name_alone_is_explained(capsys, name):
    assert run([name]) == 0
    out = capsys.readouterr().out
    measurement = registry.find(name)
    assert measurement.how in out
    assert f"Source: {measurement.source}" in out
    for need in measurement.needs:
        assert f"  {need.name}: {need.title}; " in out
        assert need.card is None or need.card in out
    assert run([name, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["needs"][0]["name"] == measurement.needs[0].name


@pytest.mark.parametrize(
    "typed",
    [["volts=24.4 V", "cells=12", "kind=flooded"], ["volts=24.4", "V", "cells=12", "kind=flooded"]],
)
def test_a_figure_as_json(capsys, typed):
    assert run(["rest-voltage", *typed, "--json"]) == 0
    figure = json.loads(capsys.readouterr().out)
    assert list(figure) == ["read", "value", "unit", "good_to", "expected", "workings"]
    assert figure["read"] == "rest-voltage"
    assert figure["value"] == pytest.approx(400 / 9, rel=1e-11)  # 25 + 25 · 0.14 / 0.18
    assert figure["unit"] == "%"
    assert figure["expected"]["low"] == 20
    assert set(figure["expected"]) == {"low", "high", "source"}
    assert any("table A" in line for line in figure["workings"])


def test_no_expected_value_is_null(capsys):
    assert run(["tank-time", "volume=110 L", "flow=2.5 L/min", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["expected"] is None


def test_a_figure_in_lines(capsys):
    assert run(["loaded-voltage", "volts=23.1", "cells=12"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "Voltage a cell under load: about 1.925 V/cell, ± 0.01, too low",
        "expected: at least 2 V/cell (common practice, no published source)",
        "  23.1 V / 12 cells = 1.925 V a cell",
        "  about 1.925 V/cell, ± 0.01: a display of tenths over the set, common practice, no"
        " published source",
    ]
    assert (
        run(["area-rate", "width=40 ft", "speed=6 mph", "efficiency=70", "--machine", "none"]) == 0
    )
    assert "about 82000 m²/h, ± 8000" in capsys.readouterr().out


def test_the_card_fills_in(capsys, trees, monkeypatch):
    assert run(["rest-voltage", "volts=24.4", "--machine", "spare", "--trees", trees]) == 0
    assert "from the machine card: cells 12, kind flooded" in capsys.readouterr().out
    monkeypatch.setenv("DIAGNOSE_TREES", trees)
    assert run(["loaded-voltage", "24", "--machine", "spare"]) == 0


def test_one_expected_value_is_shown_as_one(capsys):
    reply = ["travel-speed", "distance=10 m", "time=8 s", "working_speed=4.5 km/h"]
    assert run(reply) == 0
    assert "expected: 4.5 km/h (machine card)" in capsys.readouterr().out.splitlines()


@pytest.mark.parametrize(
    ("args", "code", "said"),
    [
        (["rest-volts"], 2, 'Did you mean "rest-voltage"?'),
        (["qqqq"], 2, "`diagnose measure` lists all"),
        (["q\x1b[2J"], 2, '"q\ufffd[2J"'),
        (
            ["bucket-flow", "volume=2", "time=1 min"],
            3,
            "volume: '2' has no unit; expected a volume",
        ),
        (["bucket-flow", "volume=2 kg", "time=1 min"], 3, "measures a mass"),
        (["bucket-flow", "volumes=2 L", "time=1 min"], 3, "did you mean volume"),
        (["bucket-flow", "volume=2 L"], 3, "time is missing"),
        (["bucket-flow", "2 L"], 3, "such as: volume=2 L time=1 min"),
        (["rest-voltage", "volts=24"], 3, "add `battery: {cells: 12, kind: flooded}`"),
    ],
)
def test_what_goes_wrong_is_one_line(capsys, args, code, said):
    assert run(args) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert len(err.splitlines()) == 1
    assert err.startswith("diagnose: ")


@pytest.mark.parametrize(
    ("machine", "code", "said"),
    [
        ("spar", 2, 'Did you mean "spare"?'),
        ("qqqq", 2, 'There is no machine "qqqq"'),
        ("broken", 3, "broken.yaml"),
        ("../spare", 2, 'There is no machine "../spare"'),
    ],
)
def test_a_card_that_cannot_be_used_is_one_line(capsys, trees, machine, code, said):
    assert run(["loaded-voltage", "24", "--machine", machine, "--trees", trees]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert len(err.splitlines()) == 1


def test_a_folder_that_is_not_there(capsys, tmp_path):
    missing = str(tmp_path / "nowhere")
    assert run(["loaded-voltage", "24", "--machine", "spare", "--trees", missing]) == 3
    assert missing in capsys.readouterr().err


def test_a_card_that_lacks_a_line_says_which(capsys, trees):
    reply = ["runtime", "2 h", "--machine", "spare", "--trees", trees]
    assert run(reply) == 3
    err = capsys.readouterr().err
    assert "runtime lacks exponent, current" in err
    assert "`battery: {exponent: 1.2}` and `currents: {working: 38 A}`" in err


def test_wrong_use(capsys):
    assert run(["film", "--bogus"]) == 2
    assert "--bogus" in capsys.readouterr().err
    assert run(["--help"]) == 0
    assert "--machine ID" in capsys.readouterr().out
