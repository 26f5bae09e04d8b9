"""Laws: what must hold for any reading."""

import math

import pint
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies.sampling import several

from diagnose.measure import inputs, registry
from diagnose.measure.arithmetic import interpolate
from diagnose.measure.battery import peukert_hours
from diagnose.measure.brush import brush_current
from diagnose.measure.gravity import cell_gravities, gravity_at_80_fahrenheit
from diagnose.measure.model import Need, Unreadable
from diagnose.measure.runtime import capacity_share, runtime
from diagnose.measure.solution import dose
from diagnose.measure.suction import standard_pressure, suction
from diagnose.measure.travel import area_rate, travel_speed
from diagnose.measure.units import SI
from diagnose.measure.voltage import rest_voltage
from diagnose.measure.water import film, recovery, tank_drop, tank_time

UNITS = pint.UnitRegistry()
laws = settings(deadline=None, max_examples=several(60))


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_subnormal=False)


amps = between(2, 200)
exponents = between(1.0, 1.5)
hours = between(1, 20)
capacities = between(50, 1000)


@laws
@given(capacities, hours, exponents, amps, between(1.001, 5))
def test_more_load_less_time(capacity, rated, exponent, current, more):
    less = peukert_hours(capacity, rated, current * more, exponent)
    assert less < peukert_hours(capacity, rated, current, exponent)


@laws
@given(capacities, hours, exponents)
def test_the_rated_current_lasts_the_rated_hours(capacity, rated, exponent):
    assert math.isclose(peukert_hours(capacity, rated, capacity / rated, exponent), rated)


@laws
@given(capacities, hours, between(1.01, 1.5), amps, between(1.1, 5))
def test_the_exponent_comes_back_from_two_times(capacity, rated, exponent, current, more):
    slow = peukert_hours(capacity, rated, current, exponent)
    fast = peukert_hours(capacity, rated, current * more, exponent)
    assert math.isclose(math.log(slow / fast) / math.log(more), exponent, rel_tol=1e-9)


@laws
@given(between(-1, 37), between(0.01, 10))
def test_colder_less_capacity(temperature, colder):
    assume(temperature - colder >= -1)
    assert capacity_share(temperature - colder) < capacity_share(temperature)


@laws
@given(between(0.5, 10), between(-1, 36), between(0.1, 20))
def test_the_same_hours_are_better_in_the_cold(observed, temperature, colder):
    assume(temperature - colder >= -1)
    battery = {"capacity": 240.0, "rated_hours": 5.0, "exponent": 1.2, "current": 38.0}
    warm = runtime(observed=observed, temperature=temperature, **battery).value
    cold = runtime(observed=observed, temperature=temperature - colder, **battery).value
    assert cold > warm


@laws
@given(between(7, 13.4), between(0, 1), st.sampled_from(["flooded", "sealed"]))
def test_more_volts_more_charge(volts, more, kind):
    assume(volts + more <= 13.5)
    low = rest_voltage(volts=volts, cells=6, kind=kind).value
    high = rest_voltage(volts=volts + more, cells=6, kind=kind).value
    assert 0 <= low <= high <= 100


@laws
@given(between(11.9, 12.6), st.integers(1, 60))
def test_the_number_of_cells_does_not_matter_to_a_cell(six, cells):
    one = rest_voltage(volts=six / 6 * cells, cells=cells, kind="flooded").value
    assert math.isclose(one, rest_voltage(volts=six, cells=6, kind="flooded").value, abs_tol=1e-9)


@laws
@given(between(11.9, 12.7))
def test_a_sealed_cell_has_less_charge_at_the_same_voltage(six):
    sealed = rest_voltage(volts=six, cells=6, kind="sealed").value
    assert sealed < rest_voltage(volts=six, cells=6, kind="flooded").value


@laws
@given(between(1.1, 1.3), between(-20, 50))
def test_the_gravity_correction_can_be_taken_back(gravity, temperature):
    shift = gravity_at_80_fahrenheit(gravity, temperature) - gravity
    assert math.isclose(
        gravity_at_80_fahrenheit(gravity - shift, temperature), gravity, rel_tol=1e-12
    )


@laws
@given(st.lists(between(1.1, 1.3), min_size=2, max_size=24), between(-20, 50), st.randoms())
def test_the_spread_knows_no_temperature_and_no_order(readings, temperature, shuffler):
    shuffled = shuffler.sample(readings, len(readings))
    spread = cell_gravities(readings=tuple(readings), temperature=temperature).value
    assert spread == cell_gravities(readings=tuple(shuffled)).value >= 0


@laws
@given(between(1, 20), between(5, 20), between(-400, 3000), between(1, 3000))
def test_the_higher_the_site_the_better_the_same_reading(reading, rated, altitude, higher):
    assume(reading <= rated)
    assert standard_pressure(altitude + higher) < standard_pressure(altitude)
    low = suction(reading=reading * 0.5, rated=rated, altitude=altitude).value
    high = suction(reading=reading * 0.5, rated=rated, altitude=altitude + higher).value
    assert high > low


@laws
@given(between(0.1, 100), between(0, 100), between(0.1, 60))
def test_what_dropped_can_be_filled_back(before, share, time):
    after = before * share / 100
    flow = tank_drop(before=before, after=after, time=time).value
    assert math.isclose(flow * time, before - after, rel_tol=1e-9, abs_tol=1e-9)


@laws
@given(between(0.1, 50), between(10, 300), between(0.5, 12))
def test_film_times_area_is_the_flow(flow, width, speed):
    thickness = film(flow=flow, width=width, speed=speed).value  # mm, which is L/m²
    per_hour = area_rate(width=width, speed=speed, efficiency=100).value
    assert math.isclose(thickness * per_hour / 60, flow, rel_tol=1e-9)
    assert film(flow=flow, width=width, speed=speed * 1.5).value < thickness


@laws
@given(between(1, 500), between(0.1, 50))
def test_tank_time_and_tank_drop_are_inverse(volume, flow):
    minutes = tank_time(volume=volume, flow=flow).value
    assert math.isclose(tank_drop(before=volume, after=0.0, time=minutes).value, flow)


@laws
@given(between(1, 1000), between(2, 500))
def test_ratio_and_percent_say_the_same(volume, parts):
    by_ratio = dose(volume=volume, ratio=parts).value
    assert math.isclose(by_ratio, dose(volume=volume, percent=100 / parts).value, rel_tol=1e-9)
    assert by_ratio > dose(volume=volume, ratio=parts * 1.1).value


@laws
@given(between(1, 100), between(1, 100))
def test_speed_and_time_are_inverse(distance, time):
    speed = travel_speed(distance=distance, time=time).value
    assert math.isclose(speed / 3.6 * time, distance, rel_tol=1e-9)


@laws
@given(between(1, 1000), between(0, 1000), between(1.5, 3))
def test_shares_do_not_know_the_size(whole, part, times):
    assert math.isclose(
        recovery(dispensed=whole, recovered=part).value,
        recovery(dispensed=whole * times, recovered=part * times).value,
        abs_tol=1e-9,
    )
    assert math.isclose(
        brush_current(reading=part, rated=whole).value,
        brush_current(reading=part * times, rated=whole * times).value,
        abs_tol=1e-9,
    )


@laws
@given(between(-10, 110))
def test_between_two_points_of_a_table(x):
    table = ((0.0, 1.0), (10.0, 2.0), (100.0, 50.0))
    y, (x0, y0), (x1, y1) = interpolate(table, x)
    assert (x0, y0) in table
    assert (x1, y1) in table
    assert math.isclose((y - y0) * (x1 - x0), (y1 - y0) * (x - x0), abs_tol=1e-9)


# Unit invariance: a reading typed in any unit gives the same figure and falls in the same band.
OTHER = {
    "voltage": ["mV", "kV", "volt"],
    "current": ["mA", "amps"],
    "charge": ["kC", "C", "mAh"],
    "time": ["s", "min", "h"],
    "temperature": ["°F", "K", "degC"],
    "length": ["mm", "cm", "m", "in", "ft"],
    "volume": ["mL", "gal", "m³", "impgal"],
    "flow": ["gpm", "L/h", "cfm", "m3/h"],
    "speed": ["mph", "m/s", "ft/min"],
    "pressure": ["inH2O", "psi", "mbar", "mmH2O", "inHg"],
}
PINT = {"°F": "degF", "amps": "ampere", "impgal": "imperial_gallon", "gpm": "gallon/minute"}
PINT |= {"cfm": "ft**3/minute", "m3/h": "m**3/hour", "m³": "m**3", "°C": "degC"}


def in_unit(number: float, shown: str, other: str) -> str:
    """The same quantity in another unit, by pint itself."""
    quantity = UNITS.Quantity(number, PINT.get(shown, shown)).to(PINT.get(other, other))
    return f"{quantity.magnitude!r} {other}"


# Where the whole range of an input would mostly be refused: what fits the other examples.
FITTING = {
    ("rest-voltage", "volts"): (13, 26),
    ("loaded-voltage", "volts"): (13, 26),
    ("tank-drop", "before"): (50, 100),
    ("tank-drop", "after"): (0, 49),
    ("suction", "reading"): (1, 6),
    ("suction", "rated"): (8, 15),
}


def typed_pairs(
    data: st.DataObject, name: str, needs: tuple[Need, ...]
) -> tuple[dict[str, str], dict[str, str]]:
    """The same inputs twice: in the unit shown, and in another one."""
    plain, other = {}, {}
    for need in needs:
        if need.optional or need.dimension not in SI:
            if not need.optional:
                plain[need.name] = other[need.name] = need.example
            continue
        low, high = FITTING.get((name, need.name), (max(need.low, 0), min(need.high, 100)))
        number = data.draw(st.integers(int(low * 10) + 1, max(int(high * 10), int(low * 10) + 2)))
        value = number / 10
        unit = data.draw(st.sampled_from(OTHER[need.dimension]))
        plain[need.name] = ", ".join([f"{value!r} {need.unit}"] * (need.places or (1, 1))[0])
        there = in_unit(value, need.unit, unit)
        other[need.name] = ", ".join([there] * (need.places or (1, 1))[0])
    return plain, other


@pytest.mark.parametrize("name", registry.MEASUREMENTS)
@settings(deadline=None, max_examples=25)
@given(data=st.data())
def test_the_same_reading_in_any_unit(name, data):
    measurement = registry.find(name)
    plain, other = typed_pairs(data, name, measurement.needs)
    here, there = (
        registry.compute(measurement, given, lambda path: None, bare=False)
        for given in (plain, other)
    )
    assert there.value == pytest.approx(here.value, rel=1e-10, abs=1e-11)
    for one, same in zip(here.si, there.si, strict=True):
        assert one[0] == same[0]
        assert one[2] == same[2]
        assert same[1] == pytest.approx(one[1], rel=1e-10)
    if here.expected:
        low, high = here.expected.low, here.expected.high
        bands = [edge for edge in (low, high) if edge is not None]
        # At an edge itself too: `clean` takes the conversion's last digits off.
        assert [here.value < edge for edge in bands] == [there.value < edge for edge in bands]


@settings(deadline=None, max_examples=several(200))
@given(st.integers(-100, 1100), st.sampled_from(["°F", "K"]))
def test_a_temperature_at_a_bands_edge_stays_there(tenths, unit):
    """57 °C is 134.6 °F: neither may fall on the other side of `below: 57`."""
    measurement = registry.find("solution-temperature")
    typed = in_unit(tenths / 10, "°C", unit)
    figure = registry.compute(measurement, {"reading": typed}, lambda path: None, bare=False)
    assert figure.value == tenths / 10


@settings(deadline=None, max_examples=several(200))
@given(st.integers(1100, 1280), st.integers(0, 40))
def test_a_spread_at_a_bands_edge_stays_there(lowest, thousandths):
    """1.265 - 1.245 is a little under 0.020 in floating point, 1.280 - 1.260 a little over."""
    measurement = registry.find("cell-gravities")
    readings = f"{lowest / 1000}, {(lowest + thousandths) / 1000}"
    figure = registry.compute(measurement, {"readings": readings}, lambda path: None, bare=False)
    assert figure.value == thousandths / 1000


@settings(deadline=None, max_examples=several(300))
@given(st.sampled_from(list(registry.MEASUREMENTS)), st.text(max_size=60))
def test_any_text_gives_a_figure_or_one_sentence(name, text):
    measurement = registry.find(name)
    refused = ""
    try:
        typed = registry.parse_reply(measurement, text)
        registry.compute(measurement, typed, lambda path: None, bare=True)
    except (registry.Unreadable, registry.MissingLine) as problem:
        refused = str(problem)
    assert refused.isprintable()
    assert len(refused) < 600


numbers = st.from_regex(r"[-+]?[0-9]{1,4}([.,][0-9]{0,4})?(e[0-9]{1,3})?", fullmatch=True)
unit_texts = st.text(alphabet='VAhLmincFCKPaHgO2 /*^°³"._', max_size=12)


@settings(deadline=None, max_examples=several(300))
@given(st.sampled_from(sorted(SI)), numbers, unit_texts)
def test_any_unit_gives_a_finite_value_or_one_sentence(dimension, number, unit):
    need = Need(name="it", title="it", unit=_shown(dimension), dimension=dimension, example="1")
    try:
        finite = math.isfinite(inputs.read(need, number + unit, bare=True).value)
    except Unreadable as refused:
        finite = "; expected " in str(refused)
    assert finite


def _shown(dimension: str) -> str:
    return SI[dimension][2]
