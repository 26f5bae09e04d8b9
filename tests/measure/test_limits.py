"""Every limit: what is expected of a figure, and the range in which an input is taken.

What is expected is the trade's ("practice": common practice, no published source) unless a source
stands beside it; R read, M from memory. A range keeps typing mistakes out. Where nature or a
definition sets an end of it, that stands beside it; the others are ours and have no source.
"""

from __future__ import annotations

import pytest

from diagnose.measure import inputs
from diagnose.measure.gravity import HOTTEST
from diagnose.measure.model import Expected, MissingLine, Unreadable
from diagnose.measure.registry import MEASUREMENTS, find
from diagnose.measure.voltage import rest_voltage

PRACTICE = "common practice, no published source"
CARD_WITHIN_20 = f"card ±20 %, {PRACTICE}"
DEAD_CELL = "US Army TM 55-2210-224-12 p. 4-78: more than 0.020 may be a dead cell"
DOSE = f"0.5 to 2 %, {PRACTICE}; the product's label wins"
CARD = "machine card"

EXPECTED = [
    # (measurement, reply, low, high, source as it is shown)
    (
        "rest-voltage",
        "volts=24 cells=12 kind=sealed",
        20,
        100,
        f"lowest charge for lead-acid, {PRACTICE}",
    ),
    ("rest-voltage", "volts=24 cells=12 kind=sealed lowest_charge=30", 30, 100, CARD),
    ("loaded-voltage", "volts=24 cells=12", 2.0, None, PRACTICE),
    # Full at about 1.280 (US Army TM 55-2210-224-12 ¶4-30, R); 0.005 to each side: practice.
    ("gravity", "reading=1.28 temperature=80 °F", 1.275, 1.285, f"fully charged, {PRACTICE}"),
    # The one spread that manuals give (R); 0.025, 0.030 and 0.050 are practice.
    ("cell-gravities", "1.28 1.27", 0, 0.020, DEAD_CELL),
    (
        "runtime",
        "observed=2 h capacity=240 rated_hours=5 exponent=1.2 current=38",
        80,
        None,
        PRACTICE,
    ),
    ("tank-drop", "before=100 after=88 time=5", 1.5, 6, PRACTICE),
    ("tank-drop", "before=100 after=88 time=5 rate=2.5", 2, 3, CARD_WITHIN_20),
    ("bucket-flow", "volume=2 time=1", 1.5, 6, PRACTICE),
    ("bucket-flow", "volume=2 time=1 rate=10", 8, 12, CARD_WITHIN_20),
    ("film", "flow=2 width=75 speed=4", 0.03, 0.10, PRACTICE),
    ("travel-speed", "distance=10 time=8", 3, 6, f"scrubbing, {PRACTICE}"),
    ("travel-speed", "distance=10 time=8 working_speed=4.5", 4.5, 4.5, CARD),
    ("recovery", "dispensed=50 recovered=44", 85, 95, f"smooth floor, {PRACTICE}"),
    ("dose", "volume=100 ratio=1:40", 500, 2000, DOSE),
    ("solution-temperature", "30", 10, 40, PRACTICE),
    ("solution-temperature", "reading=30 warmest=35", 10, 35, PRACTICE),
    ("suction", "reading=9 rated=11 altitude=0", 90, None, PRACTICE),
    ("blade-edge", "1", 0, 1.5, PRACTICE),
    ("blade-bend", "left=12 right=12", 10, 15, PRACTICE),
    ("blade-bend", "left=12 right=12 bend=13", 13, 13, CARD),
    ("blade-level", "left=12 right=12", 0, 3, PRACTICE),
    ("bristle", "24 22 23", 20, None, f"change at 15 to 20 mm, {PRACTICE}"),
    ("bristle", "readings=24 22 23 bristle_new=40", 20, 40, f"change at 15 to 20 mm, {PRACTICE}"),
    # 8 of 25 mm.
    ("pad", "14 12 13", 8, None, PRACTICE),
    ("brush-current", "reading=18 rated=20", 80, 120, CARD_WITHIN_20),
]
#: These say how much, and nothing of good and bad.
NOTHING_EXPECTED = {"peukert-time", "recharge", "tank-time", "area-rate", "value"}


@pytest.mark.parametrize(("name", "reply", "low", "high", "source"), EXPECTED)
def test_what_is_expected(take, name, reply, low, high, source):
    expected = take(name, reply).expected
    assert expected == Expected(
        low=pytest.approx(low, rel=1e-12),
        high=None if high is None else pytest.approx(high, rel=1e-12),
        source=source,
    )


def test_of_every_measurement_it_is_known_what_is_expected():
    assert {row[0] for row in EXPECTED} | NOTHING_EXPECTED == set(MEASUREMENTS)
    for name in NOTHING_EXPECTED:
        needs = [need for need in MEASUREMENTS[name].needs if not need.optional]
        values = {need.name: float(need.example.split()[0]) for need in needs}
        assert MEASUREMENTS[name].compute(**values).expected is None


# Ranges of inputs: (low, high), the unit, whether the low end itself is refused, what sets the ends.
ABOVE = True
FLOW = (0, 100, "L/min", ABOVE, "nothing runs at no flow")
SPEED = (0, 30, "km/h", ABOVE, "no floor is done at a stand")
WIDTH = (0, 2000, "cm", ABOVE, "no floor is done without width")
LITRES = (0, 5000, "L", not ABOVE, "ours")
SIXTY_TIMES_TEN = (0, 600, "min", ABOVE, "nothing runs in no time")
BEND = (0, 60, "mm", not ABOVE, "ours")
RULER = (0, 150, "mm", not ABOVE, "ours: the small steel ruler")
AMPS = (0, 300, "A", not ABOVE, "ours")
# A cell of pure water has 1.000 (M), concentrated sulfuric acid 1.84 (M), a full cell 1.300.
GRAVITY = (1.0, 1.4, "", not ABOVE, "water is 1.000")
# A battery's acid freezes at about -30 °C at half charge (M); over 45 °C it is left alone.
ACID = (-30, 60, "°C", not ABOVE, "ours")
VOLTS = (0, 130, "V", ABOVE, "60 cells of 2.17 V")
CELLS = (1, 60, "", not ABOVE, "one cell at the least")
SHARE = (0, 100, "%", not ABOVE, "a share of the whole, by definition")
CAPACITY = (0, 5000, "Ah", ABOVE, "a battery without capacity is none")
HOURS = (0.5, 1000, "h", not ABOVE, "ours")
# 1 is a battery that minds no load, by definition; published ones lie between 1.05 and 1.6 (M).
EXPONENT = (1.0, 1.6, "", not ABOVE, "1 by definition")
CURRENT = (0, 2000, "A", ABOVE, "it lasts for ever without a load")
# Charge put back for charge taken: usual range 1.05 to 1.50 (R); 1 by the conservation of charge.
FACTOR = (1.0, 1.5, "", not ABOVE, "the usual range's high end")
# Keeping more than 95 % in would leave no work to do.
KEPT = (0, 95, "%", not ABOVE, "ours")
# No suction is deeper than the air outside: 101.325 kPa (ISO 2533, R).
SUCTION = (0, 101.325, "kPa", not ABOVE, "ISO 2533")

RANGES = {
    ("rest-voltage", "volts"): VOLTS,
    ("rest-voltage", "cells"): CELLS,
    ("rest-voltage", "lowest_charge"): KEPT,
    ("loaded-voltage", "volts"): VOLTS,
    ("loaded-voltage", "cells"): CELLS,
    ("gravity", "reading"): GRAVITY,
    ("gravity", "temperature"): ACID,
    ("cell-gravities", "readings"): GRAVITY,
    ("cell-gravities", "temperature"): ACID,
    ("cell-gravities", "cells"): (2, 60, "", not ABOVE, "one cell has no spread"),
    ("peukert-time", "capacity"): CAPACITY,
    ("peukert-time", "rated_hours"): HOURS,
    ("peukert-time", "current"): CURRENT,
    ("peukert-time", "exponent"): EXPONENT,
    ("runtime", "observed"): (0, 100, "h", not ABOVE, "ours"),
    # The table of capacities ends earlier, which has a message of its own.
    ("runtime", "temperature"): (-40, 60, "°C", not ABOVE, "ours"),
    ("runtime", "capacity"): CAPACITY,
    ("runtime", "rated_hours"): HOURS,
    ("runtime", "exponent"): EXPONENT,
    ("runtime", "current"): CURRENT,
    ("runtime", "cycles"): (0, 100000, "", not ABOVE, "ours"),
    ("runtime", "lowest_charge"): KEPT,
    ("runtime", "depth"): (0, 100, "%", ABOVE, "a share of the whole, by definition"),
    ("recharge", "capacity"): CAPACITY,
    ("recharge", "taken_out"): SHARE,
    ("recharge", "factor"): FACTOR,
    ("recharge", "current"): (0, 1000, "A", ABOVE, "no current puts nothing back"),
    ("tank-drop", "before"): LITRES,
    ("tank-drop", "after"): LITRES,
    ("tank-drop", "time"): SIXTY_TIMES_TEN,
    ("tank-drop", "rate"): FLOW,
    ("bucket-flow", "volume"): LITRES,
    ("bucket-flow", "time"): SIXTY_TIMES_TEN,
    ("bucket-flow", "rate"): FLOW,
    ("film", "flow"): FLOW,
    ("film", "width"): WIDTH,
    ("film", "speed"): SPEED,
    ("tank-time", "volume"): LITRES,
    ("tank-time", "flow"): FLOW,
    ("area-rate", "width"): WIDTH,
    ("area-rate", "speed"): SPEED,
    ("area-rate", "efficiency"): SHARE,
    ("travel-speed", "distance"): (0, 1000, "m", not ABOVE, "ours"),
    ("travel-speed", "time"): (0, 3600, "s", ABOVE, "nothing moves in no time"),
    ("travel-speed", "working_speed"): SPEED,
    ("recovery", "dispensed"): (0, 5000, "L", ABOVE, "no share of nothing"),
    ("recovery", "recovered"): LITRES,
    ("dose", "volume"): LITRES,
    ("dose", "percent"): SHARE,
    # Liquid water (M), a little more on both sides for a probe's fault.
    ("solution-temperature", "reading"): (-10, 110, "°C", not ABOVE, "liquid water"),
    ("solution-temperature", "warmest"): (0, 100, "°C", not ABOVE, "liquid water (M)"),
    ("suction", "reading"): SUCTION,
    ("suction", "rated"): (0, 101.325, "kPa", ABOVE, "ISO 2533"),
    # The Dead Sea's shore is at about -430 m, the highest towns at about 5,100 m (M).
    ("suction", "altitude"): (-500, 6000, "m", not ABOVE, "where people live (M)"),
    ("blade-edge", "reading"): (0, 20, "mm", not ABOVE, "ours"),
    ("blade-edge", "rear_edges"): (0, 8, "", not ABOVE, "ours: twice the usual four"),
    ("blade-edge", "edges_used"): (0, 8, "", not ABOVE, "ours: twice the usual four"),
    ("blade-bend", "left"): BEND,
    ("blade-bend", "right"): BEND,
    ("blade-bend", "bend"): BEND,
    ("blade-level", "left"): BEND,
    ("blade-level", "right"): BEND,
    ("bristle", "readings"): RULER,
    ("bristle", "bristle_new"): (0, 150, "mm", ABOVE, "a new brush has bristles"),
    ("pad", "readings"): RULER,
    ("brush-current", "reading"): AMPS,
    ("brush-current", "other"): AMPS,
    ("brush-current", "rated"): (0, 300, "A", ABOVE, "no share of nothing"),
}
NEEDS = {(name, need.name): need for name, one in MEASUREMENTS.items() for need in one.needs}


def test_every_input_with_a_range_is_here():
    ranged = {key for key, need in NEEDS.items() if need.dimension not in ("choice", "ratio")}
    assert set(RANGES) == ranged - {("value", "value")}


@pytest.mark.parametrize("key", RANGES, ids=" ".join)
def test_both_sides_of_both_ends(key):
    need = NEEDS[key]
    low, high, unit, above, _ = RANGES[key]
    step = 1 if need.dimension == "count" else 0.0001

    def taken(value: float) -> bool:
        text = f"{value:.10g} {unit}"
        if need.places:
            text = "; ".join([text] * need.places[0])
        try:
            inputs.read(need, text, bare=False)
        except Unreadable:
            return False
        return True

    assert [taken(value) for value in (low - step, low, low + step)] == [False, not above, True]
    assert [taken(value) for value in (high - step, high, high + step)] == [True, True, False]
    assert need.unit == unit


@pytest.mark.parametrize(
    ("ratio", "taken"), [("1:0.9999", 0), ("1:1", 1), ("1:5000", 1), ("1:5001", 0)]
)
def test_the_range_of_a_ratio(ratio, taken):
    """Neat at the most; the high end is ours."""
    need = NEEDS["dose", "ratio"]
    if taken:
        assert inputs.read(need, ratio, bare=False).value == float(ratio[2:])
    else:
        with pytest.raises(Unreadable, match="out of range; expected a ratio from 1 to 5000, such"):
            inputs.read(need, ratio, bare=False)


@pytest.mark.parametrize(
    ("key", "least", "most"),
    [
        # Two cells for a spread; 60 cells of 2 V are 120 V.
        (("cell-gravities", "readings"), 2, 60),
        # Three places: practice.
        (("bristle", "readings"), 3, 3),
        (("pad", "readings"), 3, 3),
    ],
)
def test_how_many_values_a_list_takes(key, least, most):
    need = NEEDS[key]
    for number in {least, most}:
        assert len(inputs.read(need, " ".join(["1.2"] * number), bare=True).value) == number
    for number in (least - 1, most + 1):
        with pytest.raises(Unreadable, match="expected a list of"):
            inputs.read(need, " ".join(["1.2"] * number), bare=True)


# What only a computation can refuse.


@pytest.mark.parametrize("name", ["rest-voltage", "loaded-voltage"])
@pytest.mark.parametrize(
    ("volts", "taken"),
    # A lead-acid cell stands at 1.00 V nearly dead, and above 2.25 V only while it is charged (M).
    [("5.99", False), ("6", True), ("13.5", True), ("13.51", False)],
)
def test_volts_of_a_cell(take, name, volts, taken):
    reply = f"volts={volts} cells=6" + (" kind=sealed" if name == "rest-voltage" else "")
    if taken:
        assert take(name, reply).value >= 0
    else:
        with pytest.raises(
            Unreadable, match=r"V over 6 cells is (1\.00|2\.25) V a cell, expected 1\.00 to 2\.25"
        ):
            take(name, reply)


def test_the_words_about_volts_of_a_cell(take):
    with pytest.raises(Unreadable) as refused:
        take("rest-voltage", "volts=28.1234567 cells=12 kind=flooded")
    assert str(refused.value) == (
        "28.1235 V over 12 cells is 2.34 V a cell, expected 1.00 to 2.25: is the number of cells"
        " right, and is the charger off for two hours?"
    )
    with pytest.raises(Unreadable) as refused:
        take("loaded-voltage", "volts=28 cells=12")
    assert str(refused.value).endswith("expected 1.00 to 2.25: is the number of cells right?")


def test_lithium_has_no_charge_by_its_voltage():
    """Practice: its voltage hardly changes between full and nearly empty."""
    with pytest.raises(Unreadable, match="tells no charge: read the battery's own display"):
        rest_voltage(volts=25.6, cells=8, kind="lithium")


@pytest.mark.parametrize(
    ("degrees", "taken"), [("29.99 °F", 0), ("30 °F", 1), ("100 °F", 1), ("100.01 °F", 0)]
)
def test_the_ends_of_the_capacity_table(take, degrees, taken):
    """The end lines of UPS and Standby Power Systems p. 199 (R), 40 and 90 °F, and 10 °F on."""
    reply = f"observed=2 h capacity=240 rated_hours=5 exponent=1.2 current=38 temperature={degrees}"
    if taken:
        assert take("runtime", reply).value > 0
        return
    with pytest.raises(
        Unreadable, match=r"°C lies outside the capacity table, expected -1\.1 to 37"
    ):
        take("runtime", reply)


def test_the_words_about_the_capacity_table(take):
    with pytest.raises(Unreadable) as refused:
        take(
            "runtime",
            "observed=2 h capacity=240 rated_hours=5 exponent=1.2 current=38 temperature=-12.3456789 °C",
        )
    assert str(refused.value) == (
        "temperature: -12.3457 °C lies outside the capacity table, expected -1.1 to 37.7 °C;"
        " without a temperature 25 °C is assumed"
    )


@pytest.mark.parametrize(
    ("reply", "taken"),
    [
        # 1.5 times what can be is no fan's doing, but a wrong unit: ours.
        ("reading=15 kPa rated=10 kPa altitude=0 m", True),
        ("reading=15.001 kPa rated=10 kPa altitude=0 m", False),
        # No suction is deeper than the air outside: 79.49520 kPa at 2000 m (ISO 2533, C).
        ("reading=79.495 kPa rated=101 kPa altitude=2000 m", True),
        ("reading=79.496 kPa rated=101 kPa altitude=2000 m", False),
    ],
)
def test_suction_that_cannot_be(take, reply, taken):
    if taken:
        assert take("suction", reply).value > 90
    else:
        with pytest.raises(Unreadable, match="expected up to about 100 %: is the unit right"):
            take("suction", reply)


def test_the_words_about_suction_that_cannot_be(take):
    with pytest.raises(Unreadable) as refused:
        take("suction", "reading=28.123456 kPa rated=11.2 kPa altitude=0 m")
    assert str(refused.value) == (
        "reading: 28.12 kPa is 251 % of what this machine can have, expected up to about 100 %:"
        " is the unit right?"
    )


def test_a_tank_cannot_fill_while_it_empties(take):
    assert take("tank-drop", "before=88 after=88 time=5").value == 0
    with pytest.raises(Unreadable) as refused:
        take("tank-drop", "before=88.1234567 after=88.7654321 time=5")
    assert str(refused.value) == (
        "after: 88.7654 L is more than 88.1235 L before, expected the same or less"
    )


def test_one_gravity_for_each_cell(take):
    assert take("cell-gravities", "readings=1.28 1.27 cells=2").value == pytest.approx(0.01)
    for readings in ("1.28 1.27", "1.28 1.27 1.28 1.28"):
        with pytest.raises(
            Unreadable, match=r"^\d gravities were given, expected one for each of the 3 cells$"
        ):
            take("cell-gravities", f"readings={readings} cells=3")


def test_lithium_must_say_how_deep_it_may_be_run(take):
    """Practice: 20 % is left in a lead-acid battery; of lithium its maker says."""
    with pytest.raises(MissingLine) as lacking:
        take(
            "runtime",
            "observed=2 h capacity=240 rated_hours=5 exponent=1.05 current=38 kind=lithium",
        )
    assert lacking.value.path == "battery.lowest_charge"
    assert "add `battery: {lowest_charge: 10 %}` to the machine card" in str(lacking.value)


def test_the_hottest_battery_to_touch():
    """Practice: over 45 °C a battery is not charged, and left alone."""
    assert HOTTEST == 45


@pytest.mark.parametrize("name", MEASUREMENTS)
def test_a_measurement_is_shown_in_the_unit_of_what_is_expected(name):
    units = {
        "%": "rest-voltage runtime recovery suction brush-current",
        "V/cell": "loaded-voltage",
        "": "gravity cell-gravities value",
        "h": "peukert-time",
        "Ah": "recharge",
        "L/min": "tank-drop bucket-flow",
        "mm": "film blade-edge blade-bend blade-level bristle pad",
        "min": "tank-time",
        "m²/h": "area-rate",
        "km/h": "travel-speed",
        "mL": "dose",
        "°C": "solution-temperature",
    }
    assert name in units[find(name).unit].split()


def test_a_flow_is_measured_or_read_off_the_card():
    assert NEEDS["film", "flow"].title == "flow of solution"
    assert NEEDS["tank-drop", "rate"].title == "flow on the card"
