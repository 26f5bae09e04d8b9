"""Water, travel, dose, temperature against figures from outside.

Status beside each source: R read, C computed with an independent tool, M from memory.
"""

import math

import pint
import psychrolib
import pytest

ACRE = 43560 * 0.3048**2  # m²: the international acre, 43,560 ft² of 0.3048 m, by definition


@pytest.fixture(scope="module")
def units():
    return pint.UnitRegistry()


# Bucket and watch (R): the flow in US gallons a minute, 3.785412 L each (NIST, R).
BUCKETS = [("5 gal", "45 s", 6.667, 0.0005), ("0.25 gal", "10 s", 1.5, 1e-9)]
BUCKETS += [("1 impgal", "1 min", 4.54609 / 3.785412, 1e-6)]  # NIST (R)


@pytest.mark.parametrize(("volume", "time", "gpm", "tolerance"), BUCKETS)
def test_bucket_flow(take, volume, time, gpm, tolerance):
    value = take("bucket-flow", f"volume={volume} time={time}").value
    assert value / 3.785412 == pytest.approx(gpm, abs=max(tolerance, 2e-7))


@pytest.mark.parametrize(("volume", "time", "gpm", "tolerance"), BUCKETS)
def test_tank_drop_is_the_bucket_upside_down(take, volume, time, gpm, tolerance):
    value = take("tank-drop", f"before={volume} after=0 L time={time}").value
    assert value / 3.785412 == pytest.approx(gpm, abs=max(tolerance, 2e-7))


def test_the_mean_flow_of_a_draining_tank_is_half_of_the_first(take, units):
    """Worked example (3035.79 s, C; by integration 3035.76): radius 2 ft, 10 ft of water, a hole
    of radius 0.5 in, c 0.6, g 32 ft/s². By Torricelli the mean flow, which a tank drop gives,
    is half of the first.
    """
    litres = units.Quantity(math.pi * 2**2 * 10, "ft**3").to("L").magnitude
    first = units.Quantity(0.6 * math.pi * (0.5 / 12) ** 2 * math.sqrt(2 * 32 * 10), "ft**3/s").to(
        "L/min"
    )
    value = take("tank-drop", f"before={litres} L after=0 L time=3035.79 s").value
    assert value == pytest.approx(first.magnitude / 2, rel=1e-5)


def test_flow_expected_is_the_cards_within_20_per_cent(take):
    """Common practice, no published source."""
    reply = "before=100 L after=88 L time=5 min"
    silent, told = take("tank-drop", reply), take("tank-drop", reply, **{"flow.rate": "2.5 L/min"})
    assert silent.value == told.value == pytest.approx(2.4)
    assert (silent.expected.low, silent.expected.high) == (1.5, 6.0)
    assert (told.expected.low, told.expected.high) == pytest.approx((2.0, 3.0))


@pytest.mark.parametrize(
    ("reply", "millimetres", "tolerance"),
    [
        # 1 US gal over 400 ft² is 0.10186 mm (R): 1 gpm on 4 ft at 100 ft/min.
        ("flow=1 gpm width=4 ft speed=100 ft/min", 0.10186, 5e-6),
        # 1 L/m² is 1 mm (R): 60 L/min on 1 m at 3.6 km/h, 60 m/min.
        ("flow=60 L/min width=1 m speed=1 m/s", 1.0, 1e-12),
        ("flow=2.5 L/min width=75 cm speed=4.5 km/h", 2 / 45, 1e-9),  # by hand (C)
    ],
)
def test_film(take, reply, millimetres, tolerance):
    assert take("film", reply).value == pytest.approx(millimetres, abs=tolerance)


@pytest.mark.parametrize(
    ("reply", "minutes", "tolerance"),
    [
        ("volume=5 gal flow=6.667 gpm", 0.75, 5e-5),  # bucket and watch (R), the other way round
        ("volume=0.25 gal flow=1.5 gpm", 10 / 60, 1e-9),  # the same (R)
        ("volume=110 L flow=2.5 L/min", 44, 1e-9),  # by hand (C)
    ],
)
def test_tank_time(take, reply, minutes, tolerance):
    assert take("tank-time", reply).value == pytest.approx(minutes, abs=tolerance)


@pytest.mark.parametrize(
    ("width", "speed", "efficiency", "acres"),
    [(40, 6, 70, 20.4), (15, 5, 63, 5.7), (30, 6, 60, 13.1)],
)
def test_area_rate(take, width, speed, efficiency, acres):
    """Field capacity, Iowa State Univ. PM 696 (2001) (R), printed to 0.1 acre/h."""
    reply = f"width={width} ft speed={speed} mph efficiency={efficiency} %"
    assert take("area-rate", reply).value / ACRE == pytest.approx(acres, abs=0.051)


@pytest.mark.parametrize(
    ("reply", "speed", "tolerance"),
    [
        ("distance=100 m time=9.58 s", 37.58, 0.005),  # the 100 m world record, 2009 (M)
        ("distance=88 ft time=1 min", 1.609344, 1e-9),  # 88 ft/min is 1 mph (M)
        ("distance=10 m time=8 s", 4.5, 1e-12),  # by hand (C)
    ],
)
def test_travel_speed(take, reply, speed, tolerance):
    assert take("travel-speed", reply).value == pytest.approx(speed, abs=tolerance)


@pytest.mark.parametrize(
    ("reply", "percent"),
    [
        ("dispensed=100 L recovered=85 L", 85),  # common practice: a smooth floor's low end
        ("dispensed=100 L recovered=95 L", 95),  # its high end
        ("dispensed=10 gal recovered=37.85412 L", 100),  # US gallon (NIST, R)
        ("dispensed=1 impgal recovered=3.785412 L", 83.26742),  # 3.785412 / 4.54609 (NIST, R)
    ],
)
def test_recovery(take, reply, percent):
    assert take("recovery", reply).value == pytest.approx(percent, rel=1e-6)


@pytest.mark.parametrize(
    ("reply", "amount", "unit"),
    [
        ("volume=1 gal ratio=1:128", 1.0, "fluid_ounce"),  # US dilution charts (M): 1 oz a gallon
        ("volume=1 gal ratio=1:64", 2.0, "fluid_ounce"),  # 2 oz
        ("volume=1 gal ratio=1:256", 0.5, "fluid_ounce"),  # half an ounce
        ("volume=40 L ratio=1:40", 1.0, "liter"),  # common practice: 1 part and 40 parts
        ("volume=100 L percent=0.5 %", 0.5, "liter"),  # common practice: 0.5 to 2 %
    ],
)
def test_dose(take, units, reply, amount, unit):
    expected = units.Quantity(amount, unit).to("mL").magnitude
    assert take("dose", reply).value == pytest.approx(expected, rel=1e-9)


def test_a_ratio_is_not_a_part_in_the_whole(take):
    """1:40 into 40 L of water makes 41 L: not 40 / 41 of a litre."""
    assert take("dose", "volume=40 L ratio=1:40").value != pytest.approx(40000 / 41, rel=0.01)


@pytest.mark.parametrize("fahrenheit", [32, 50, 76.8, 104, 134.6, 135, 212])
def test_solution_temperature(take, fahrenheit):
    """psychrolib as the independent reference (C); 57 °C is 134.6 °F, 135 °F is 57.2 °C (C)."""
    kelvin = psychrolib.GetTRankineFromTFahrenheit(fahrenheit) / 1.8
    expected = psychrolib.GetTCelsiusFromTKelvin(kelvin)
    value = take("solution-temperature", f"{fahrenheit}F").value
    assert value == pytest.approx(expected, abs=1e-9)


def test_published_temperatures(take):
    assert take("solution-temperature", "134.6 °F").value == 57.0
    assert take("solution-temperature", "135 °F").value == pytest.approx(57.2, abs=0.05)


@pytest.mark.parametrize(
    ("reply", "card", "said"),
    [
        ("57 °C", {}, "limit 57 °C (134.6 °F), common practice"),
        ("40 °C", {"warmest_solution": "50 degC"}, "limit 50 °C (122.0 °F), machine card"),
    ],
)
def test_the_limit_is_named_and_the_cards_wins(take, reply, card, said):
    figure = take("solution-temperature", reply, **card)
    assert any(line.startswith(said) for line in figure.workings)


@pytest.mark.parametrize(("degrees", "stops"), [("56.9", False), ("57", True), ("134.6 F", True)])
def test_scalding_water_stops(take, degrees, stops):
    workings = take("solution-temperature", degrees).workings
    assert any("STOP" in line for line in workings) is stops
