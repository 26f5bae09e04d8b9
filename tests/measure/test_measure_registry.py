"""From a typed reply and a card to a figure: what is filled in, refused, and said."""

import subprocess
import sys

import pytest

from diagnose.measure import inputs, registry
from diagnose.measure.registry import (
    MEASUREMENTS,
    Expected,
    Measurement,
    MissingLine,
    Need,
    Outcome,
    Unreadable,
)
from diagnose.measure.units import SI

NAMES = [
    "rest-voltage",
    "loaded-voltage",
    "gravity",
    "cell-gravities",
    "peukert-time",
    "runtime",
    "recharge",
    "tank-drop",
    "bucket-flow",
    "film",
    "tank-time",
    "area-rate",
    "travel-speed",
    "suction",
    "recovery",
    "dose",
    "solution-temperature",
    "blade-edge",
    "blade-bend",
    "bristle",
    "brush-current",
    "value",
]

CARD = {
    "battery.kind": "flooded",
    "battery.cells": "12",
    "battery.capacity": "240 Ah",
    "battery.rated_hours": "5 h",
    "battery.exponent": "1.2",
    "battery.charge_factor": "1.2",
    "battery.lowest_charge": "20 %",
    "battery.cycles": "310",
    "currents.working": "38 A",
    "suction.rated": "45 inH2O",
    "site.altitude": "320 m",
    "path_width": "75 cm",
    "working_speed": "4.5 km/h",
    "flow.rate": "2.5 L/min",
    "tanks.clean": "110 L",
    "brushes.current": "18 A",
    "brushes.bristle_new": "40 mm",
    "squeegee.rear_edges": "4",
    "squeegee.edges_used": "2",
    "squeegee.bend": "12 mm",
    "detergent.ratio": "1:100",
    "warmest_solution": "50 degC",
}


#: Each measurement's inputs: `!` is asked at the machine, `?` may be missing, `=` a line of the card.
INPUTS = {
    "rest-voltage": "volts! cells=battery.cells kind=battery.kind lowest_charge?=battery.lowest_charge",
    "loaded-voltage": "volts! cells=battery.cells",
    "gravity": "reading! temperature!",
    "cell-gravities": "readings! temperature!? cells?=battery.cells",
    "peukert-time": "capacity=battery.capacity rated_hours=battery.rated_hours"
    " current!=currents.working exponent=battery.exponent",
    "runtime": "observed! temperature!? capacity=battery.capacity rated_hours=battery.rated_hours"
    " exponent=battery.exponent current=currents.working cycles?=battery.cycles"
    " lowest_charge?=battery.lowest_charge depth? kind?=battery.kind",
    "recharge": "capacity=battery.capacity taken_out! factor=battery.charge_factor current?",
    "tank-drop": "before! after! time! rate?=flow.rate",
    "bucket-flow": "volume! time! rate?=flow.rate",
    "film": "flow!=flow.rate width=path_width speed!=working_speed",
    "tank-time": "volume=tanks.clean flow!=flow.rate",
    "area-rate": "width=path_width speed!=working_speed efficiency!",
    "travel-speed": "distance! time! working_speed?=working_speed",
    "recovery": "dispensed! recovered!",
    "dose": "volume! ratio=detergent.ratio percent?",
    "solution-temperature": "reading! warmest?=warmest_solution",
    "suction": "reading! rated=suction.rated altitude=site.altitude",
    "blade-edge": "reading! rear_edges?=squeegee.rear_edges edges_used?=squeegee.edges_used",
    "blade-bend": "left! right! bend?=squeegee.bend",
    "blade-level": "left! right!",
    "bristle": "readings! bristle_new?=brushes.bristle_new",
    "pad": "readings!",
    "brush-current": "reading! other!? rated=brushes.current",
    "value": "value!",
}


def silent(path: str) -> None:
    return None


def test_every_name_that_trees_may_use_is_there():
    assert set(NAMES) <= set(MEASUREMENTS)
    assert all(name == one.name for name, one in MEASUREMENTS.items())
    assert registry.find("film") is MEASUREMENTS["film"]
    with pytest.raises(KeyError):
        registry.find("flim")


@pytest.mark.parametrize("name", MEASUREMENTS)
def test_a_measurement_is_whole(name):
    measurement = MEASUREMENTS[name]
    for text in (measurement.title, measurement.how, measurement.source):
        assert text.strip()
    doc = measurement.compute.__doc__ or ""
    names = [need.name for need in measurement.needs]
    if name != "value":
        assert "Source:" in doc
        assert "Returns" in doc
        assert [one for one in names if one not in doc] == []
    assert len(names) == len(set(names))
    assert any(need.asked for need in measurement.needs)
    for need in measurement.needs:
        assert need.replaces is None or need.replaces in names
        assert (need.dimension in SI) <= bool(need.unit)


@pytest.mark.parametrize("name", MEASUREMENTS)
def test_what_is_asked_what_may_be_missing_and_what_the_card_says(name):
    found = [
        need.name + "!" * need.asked + "?" * need.optional + (f"={need.card}" if need.card else "")
        for need in MEASUREMENTS[name].needs
    ]
    assert found == INPUTS[name].split()


@pytest.mark.parametrize("name", MEASUREMENTS)
def test_every_example_can_be_typed(name):
    for need in MEASUREMENTS[name].needs:
        assert inputs.read(need, need.example, bare=False).value


@pytest.mark.parametrize("name", MEASUREMENTS)
def test_the_examples_are_good_replies(name):
    """A bare example where one input is asked, else `name=example` for each."""
    measurement = MEASUREMENTS[name]
    asked = [need for need in measurement.needs if need.asked and not need.optional]
    reply = " ".join(f"{need.name}={need.example}" for need in asked)
    card = CARD | {"battery.cells": "3"} if name == "cell-gravities" else CARD
    figure = registry.compute(
        measurement, registry.parse_reply(measurement, reply), card.get, bare=False
    )
    assert figure.read == name
    assert figure.unit == measurement.unit
    assert figure.workings
    assert all(line.isprintable() for line in figure.workings)
    assert {need.name for need in asked} <= {one[0] for one in figure.si}


def test_the_card_fills_in_and_the_workings_say_so(take):
    figure = take("rest-voltage", "24.4 V", **CARD)
    assert figure.workings[0] == (
        "from the machine card: cells 12, kind flooded, lowest charge 20 %"
    )
    assert figure.expected == Expected(low=20, high=100, source="machine card")
    assert figure.si == (("volts", 24.4, "V"), ("cells", 12, "1"), ("lowest_charge", 0.2, "1"))


def test_a_typed_input_wins_over_the_card(take):
    assert take("rest-voltage", "volts=12.2 cells=6", **CARD).value == pytest.approx(
        take("rest-voltage", "24.4", **CARD).value
    )


def test_inputs_in_si(take):
    figure = take("suction", "reading=28 inH2O", **CARD)
    named = {name: (magnitude, unit) for name, magnitude, unit in figure.si}
    assert named["reading"] == (pytest.approx(28 * 249.0889, rel=1e-6), "Pa")
    assert named["altitude"] == (320, "m")
    temperature = take("gravity", "reading=1.24 temperature=100F").si[1]
    assert temperature == ("temperature", pytest.approx(310.9278, abs=1e-4), "K")
    assert take("dose", "100 L", **CARD).si == (("volume", 0.1, "m³"), ("ratio", 0.01, "1"))


@pytest.mark.parametrize("name", MEASUREMENTS)
def test_what_a_silent_card_lacks_is_named_and_nothing_invented(name):
    measurement = MEASUREMENTS[name]
    required = [need for need in measurement.needs if not need.asked and not need.optional]
    lacking = registry.missing_line(measurement, silent)
    if not required:
        assert lacking is None
        return
    asked = {need.name: need.example for need in measurement.needs if need.asked}
    with pytest.raises(MissingLine) as refused:
        registry.compute(measurement, asked, silent, bare=False)
    assert str(refused.value) == str(lacking)
    assert refused.value.path == required[0].card
    for need in required:
        assert need.name in str(refused.value)
        assert need.card.rpartition(".")[2] in str(refused.value)
    assert registry.missing_line(measurement, CARD.get) is None


def test_the_line_to_add_can_be_pasted():
    import yaml

    for name in ("rest-voltage", "runtime", "film", "dose", "suction"):
        lacking = str(registry.missing_line(MEASUREMENTS[name], silent))
        for line in lacking.split("`")[1::2]:
            top = yaml.load(line, yaml.BaseLoader)
            for key, below in top.items():
                paths = [f"{key}.{one}" for one in below] if isinstance(below, dict) else [key]
                assert set(paths) <= set(CARD)


def test_a_cards_line_that_cannot_be_used_is_the_cards_fault():
    card = CARD | {"battery.cells": "twelve"}
    with pytest.raises(MissingLine, match=r"machine card's battery\.cells cannot be used") as bad:
        registry.compute(MEASUREMENTS["rest-voltage"], {"volts": "24"}, card.get, bare=True)
    assert bad.value.path == "battery.cells"
    card = CARD | {"flow.rate": "2.5"}
    with pytest.raises(MissingLine, match=r"'2\.5' has no unit"):
        registry.compute(MEASUREMENTS["film"], {}, card.get, bare=True)


@pytest.mark.parametrize(
    ("name", "given", "said"),
    [
        ("tank-drop", {"befor": "1 L"}, "tank-drop takes no input called 'befor': did you mean be"),
        ("tank-drop", {"xyzzy": "1"}, "it takes before, after, time, rate"),
        ("tank-drop", {"before": "100 L"}, "after is missing: give after=88 L"),
        ("film", {"speed": "4 km/h"}, "or add `flow: {rate: 2.5 L/min}` to the machine card"),
        ("dose", {"volume": "1 L", "ratio": "1:40", "percent": "1"}, "either ratio or percent"),
        ("tank-drop", {"before": "1 L", "after": "2 L", "time": "1 min"}, "more than 1 L before"),
        ("rest-voltage", {"volts": "25.6 V", "cells": "8", "kind": "lithium"}, "tells no charge"),
        ("rest-voltage", {"volts": "24", "cells": "6", "kind": "sealed"}, "number of cells right"),
        ("rest-voltage", {"volts": "28", "cells": "12", "kind": "flooded"}, "is the charger off"),
        ("loaded-voltage", {"volts": "2.4", "cells": "12"}, "expected 1.00 to"),
        (
            "cell-gravities",
            {"readings": "1.27 1.28", "cells": "12"},
            "one for each of the 12 cells",
        ),
        ("suction", {"reading": "28", "rated": "45 inH2O", "altitude": "0 m"}, "unit right?"),
        ("suction", {"reading": "-7", "rated": "45 inH2O", "altitude": "0 m"}, "out of range"),
        ("bristle", {"readings": "17"}, "expected a list of 3 values"),
        ("gravity", {"reading": "1.9", "temperature": "20 C"}, "out of range; expected"),
        ("recovery", {"dispensed": "0 L", "recovered": "1 L"}, "above 0"),
    ],
)
def test_what_makes_no_sense_is_refused_with_what_was_expected(name, given, said):
    with pytest.raises(Unreadable) as refused:
        registry.compute(MEASUREMENTS[name], given, silent, bare=True)
    assert said in str(refused.value)


def test_runtime_outside_its_table(take):
    for degrees in ("-2 °C", "38 °C"):
        with pytest.raises(Unreadable, match="outside the capacity table, expected"):
            take("runtime", f"observed=2 h temperature={degrees}", **CARD)
    for degrees in ("30 °F", "100 °F"):
        assert take("runtime", f"observed=2 h temperature={degrees}", **CARD).value > 0


def test_runtime_of_lithium_takes_nothing_from_lead_acid(take):
    lithium = CARD | {"battery.kind": "lithium"}
    figure = take("runtime", "observed=2 h temperature=0 °C", **lithium)
    assert figure.value == take("runtime", "observed=2 h", **lithium).value
    del lithium["battery.lowest_charge"]
    with pytest.raises(MissingLine, match="how deep this lithium battery") as lacking:
        take("runtime", "2 h", **lithium)
    assert lacking.value.path == "battery.lowest_charge"
    assert take("runtime", "observed=2 h depth=90", **lithium).value > 0


def test_a_key_that_replaces_another_silences_the_card(take):
    assert take("dose", "volume=100 L percent=1 %", **CARD).value == 1000
    deep, card = take("runtime", "observed=2 h depth=40", **CARD), take("runtime", "2 h", **CARD)
    assert deep.value == pytest.approx(2 * card.value)


@pytest.mark.parametrize(
    ("name", "text", "given"),
    [
        ("rest-voltage", "24.4 V", {"volts": "24.4 V"}),
        ("rest-voltage", " 24,4 ", {"volts": "24,4"}),
        ("rest-voltage", "volts=24.4 V", {"volts": "24.4 V"}),
        ("rest-voltage", "Volts = 24.4 V cells = 12", {"volts": "24.4 V", "cells": "12"}),
        (
            "tank-drop",
            "before=100 L after=88 L time=5 min",
            {"before": "100 L", "after": "88 L", "time": "5 min"},
        ),
        ("tank-drop", "before=100 L, after=88 L; time=5", {"before": "100 L", "after": "88 L"}),
        (
            "cell-gravities",
            "readings=1.275, 1.280, 1.270 temperature=20 °C",
            {"readings": "1.275, 1.280, 1.270", "temperature": "20 °C"},
        ),
        ("cell-gravities", "1.275, 1.280", {"readings": "1.275, 1.280"}),
        ("runtime", "2.5", {"observed": "2.5"}),
        ("value", "-3", {"value": "-3"}),
    ],
)
def test_a_reply(name, text, given):
    assert given.items() <= registry.parse_reply(MEASUREMENTS[name], text).items()


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("tank-drop", "12 L", "such as: before=100 L after=88 L time=5 min"),
        ("gravity", "1.265", "such as: reading=1.265 temperature=20 °C"),
        ("rest-voltage", "", "such as: volts=24.4 V"),
        ("rest-voltage", "24.4 cells=12", "'24.4' has no name before it"),
        ("rest-voltage", "volts=24 volts=25", "'volts' is given twice"),
        ("rest-voltage", "24\x07", "control characters"),
        ("rest-voltage", "9" * 1_000_000, "1000000 were given"),
        ("rest-voltage", f"{'a' * 900}=1 {'a' * 900}=2", "is given twice"),
    ],
)
def test_a_reply_that_cannot_be_taken_apart(name, text, said):
    with pytest.raises(Unreadable) as refused:
        registry.parse_reply(MEASUREMENTS[name], text)
    assert said in str(refused.value)
    assert len(str(refused.value)) < 200


def in_a_fresh_process(code: str) -> str:
    command = [sys.executable, "-c", code]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()


def test_the_table_alone_imports_nothing_heavy():
    """A walk without readings, `check` and `draw` never import pint ."""
    code = """
import sys
from diagnose.measure import inputs, registry
heavy = {'pint', 'numpy', 'scipy', 'networkx', 'yaml', 'prompt_toolkit', 'json', 'argparse'}
print(sorted(heavy & set(sys.modules)))
registry.missing_line(registry.find('runtime'), lambda path: None)
registry.compute(registry.find('value'), {'value': '12'}, lambda path: None, True)
print('pint' in sys.modules)
registry.compute(registry.find('blade-edge'), {'reading': '1 mm'}, lambda path: None, True)
print('pint' in sys.modules)
print([m for m in sys.modules if m.startswith('diagnose.') and m != 'diagnose.text' and 'measure' not in m])
"""
    assert in_a_fresh_process(code).splitlines() == ["[]", "False", "True", "[]"]


# Messages, word for word.


@pytest.mark.parametrize(
    ("name", "path", "said"),
    [
        (
            "rest-voltage",
            "battery.cells",
            "rest-voltage lacks cells, kind: add `battery: {cells: 12, kind: flooded}` to the"
            " machine card, or give cells=12 kind=flooded",
        ),
        (
            "film",
            "path_width",
            "film lacks width: add `path_width: 75 cm` to the machine card, or give width=75 cm",
        ),
        (
            "dose",
            "detergent.ratio",
            'dose lacks ratio: add `detergent: {ratio: "1:40"}` to the machine card, or give ratio=1:40',
        ),
        (
            "suction",
            "suction.rated",
            "suction lacks rated, altitude: add `suction: {rated: 45 inH2O}` and"
            " `site: {altitude: 320 m}` to the machine card, or give rated=45 inH2O altitude=320 m",
        ),
    ],
)
def test_a_silent_card_is_told_what_to_say(name, path, said):
    lacking = registry.missing_line(MEASUREMENTS[name], silent)
    assert (str(lacking), lacking.path) == (said, path)


def made_up(*needs: Need) -> Measurement:
    return Measurement(
        name="made-up",
        title="made up",
        unit="",
        how="",
        source="",
        needs=needs,
        compute=lambda **given: Outcome(value=1.0, workings=("one",)),
    )


def test_what_no_card_can_say_has_to_be_given():
    bare = made_up(
        Need(name="this", title="", unit="", dimension="number", example="1"),
        Need(name="that", title="", unit="", dimension="number", card="path", example="2"),
        Need(name="deep", title="", unit="", dimension="number", card="a.path", example="3"),
    )
    assert registry.missing_line(bare, silent, ["that", "deep"]).path == ""
    assert str(registry.missing_line(bare, silent, ["that", "deep"])) == (
        "made-up lacks this: give this=1"
    )
    assert str(registry.missing_line(bare, silent, ["this"])) == (
        "made-up lacks that, deep: add `path: 2` and `a: {path: 3}` to the machine card, or give"
        " that=2 deep=3"
    )
    assert registry.missing_line(bare, silent, ["this", "that", "deep"]) is None


@pytest.mark.parametrize(
    ("name", "given", "said"),
    [
        ("film", {"width": "75 cm"}, "flow is missing: give flow=2.5 L/min, or add `flow: {rate: 2.5 L/min}` to the machine card"),
        ("gravity", {"reading": "1.2"}, "temperature is missing: give temperature=20 °C"),
        ("pad", {"q\x1b": "1"}, "pad takes no input called 'q?': it takes readings"),
        ("pad", {"reading": "1"}, "pad takes no input called 'reading': did you mean readings"),
        ("dose", {"percent": "1", "ratio": "1:40", "volume": "1 L"}, "give either ratio or percent, not both"),
        ("runtime", {"depth": "80", "lowest_charge": "20"}, "give either lowest_charge or depth, not both"),
    ],
)  # fmt: skip
def test_what_is_refused_about_the_inputs(name, given, said):
    with pytest.raises(Unreadable) as refused:
        registry.compute(MEASUREMENTS[name], given, silent, bare=True)
    assert str(refused.value) == said


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("pad", " ", "say which value is which, such as: readings=14, 12, 13 mm"),
        ("blade-level", "12", "say which value is which, such as: left=12 mm right=12 mm"),
        ("pad", "1, pad=2", "'1,' has no name before it"),
        ("pad", "READINGS=1 readings=2", "'readings' is given twice"),
    ],
)
def test_what_is_refused_about_a_reply(name, text, said):
    with pytest.raises(Unreadable) as refused:
        registry.parse_reply(MEASUREMENTS[name], text)
    assert str(refused.value) == said


def test_a_reply_is_parted_at_its_names():
    pad = MEASUREMENTS["pad"]
    for text in ("left=1 mm;right_2=2", " left = 1 mm , right_2=2 ;", "LEFT=1 mm right_2=2,"):
        assert registry.parse_reply(pad, text) == {"left": "1 mm", "right_2": "2"}
    # A sign of equality inside a value parts nothing where no name stands before it.
    assert registry.parse_reply(pad, "left=1=2") == {"left": "1=2"}


def test_si_only_when_it_is_asked_for(take):
    measurement = MEASUREMENTS["blade-edge"]
    figure = registry.compute(measurement, {"reading": "1 mm"}, silent, bare=True, si=False)
    assert figure.si == ()
    assert registry.compute(measurement, {"reading": "1 mm"}, silent, bare=True).si == (
        ("reading", 0.001, "m"),
    )


def test_the_cards_lines_are_named_in_the_order_of_the_inputs(take):
    figure = take("blade-edge", "reading=1 edges_used=1", **{"squeegee.rear_edges": "4"})
    assert figure.workings[0] == "from the machine card: rear edges 4"
    assert not any("card" in line for line in take("blade-edge", "1").workings)
