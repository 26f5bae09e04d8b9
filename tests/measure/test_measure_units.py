"""Units: what is read, what is refused and what is said about it."""

import math

import pint
import pytest

from diagnose.measure import inputs, units
from diagnose.measure.arithmetic import clean
from diagnose.measure.model import Need, Unreadable


def need(dimension: str, unit: str = "", **more: object) -> Need:
    return Need(name="it", title="it", unit=unit, dimension=dimension, example="12", **more)


SHOWN = {
    "voltage": "V",
    "current": "A",
    "charge": "Ah",
    "time": "min",
    "temperature": "°C",
    "length": "mm",
    "volume": "L",
    "flow": "L/min",
    "speed": "km/h",
    "pressure": "kPa",
    **{"mass": "kg", "area": "m²", "force": "N", "energy": "kWh", "power": "W"},
    **{"resistance": "ohm", "rotation": "rpm"},
}


def value(text: str, dimension: str, *, bare: bool = False) -> float:
    return inputs.read(need(dimension, SHOWN.get(dimension, "")), text, bare=bare).value


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("24.9 V", "voltage", 24.9),
        ("24,9V", "voltage", 24.9),
        ("24900 mV", "voltage", 24.9),
        ("24.9 volts", "voltage", 24.9),
        ("38 amps", "current", 38),
        ("38 a", "current", 38),
        ("240 Ah", "charge", 240),
        ("240 ah", "charge", 240),
        ("864 kC", "charge", 240),
        ("90 s", "time", 1.5),
        ("1,5 h", "time", 90),
        ("5 min.", "time", 5),
        ("12 mm", "length", 12),
        ("1.2cm", "length", 12),
        ('1"', "length", 25.4),
        ("1 in", "length", 25.4),
        ("1,2 L", "volume", 1.2),
        (".5 l", "volume", 0.5),
        ("500 mL", "volume", 0.5),
        ("1 gal", "volume", 3.785411784),
        ("1 imperial_gallon", "volume", 4.54609),
        ("1 US gal", "volume", 3.785411784),
        ("1000 cm3", "volume", 1),
        ("0.001 m³", "volume", 1),
        ("2.5 L/min", "flow", 2.5),
        ("2.5 lpm", "flow", 2.5),
        ("1 gpm", "flow", 3.785411784),
        ("1 gal / min", "flow", 3.785411784),
        ("1 cfm", "flow", 28.316846592),
        ("0.06 m3/h", "flow", 1),
        ("0.06 m**3/h", "flow", 1),
        ("4.5 km/h", "speed", 4.5),
        ("4.5 kmh", "speed", 4.5),
        ("1 mph", "speed", 1.609344),
        ("1.25 m/s", "speed", 4.5),
        ("7 kPa", "pressure", 7),
        ("70 mbar", "pressure", 7),
        ("11 psi", "pressure", 75.84233),
        ("28 inH2O", "pressure", 6.97449),
        ("28 in H2O", "pressure", 6.97449),
        ("28 in. w.c.", "pressure", 6.97449),
        ('28 "WC', "pressure", 6.97449),
        ("1 mmH2O", "pressure", 0.00980665),
        ("1 inHg", "pressure", 3.386389),
        ("76.8F", "temperature", 24.888888889),
        ("24.9 degC", "temperature", 24.9),
        ("24.9°C", "temperature", 24.9),
        ("24.9 C", "temperature", 24.9),
        ("32 °F", "temperature", 0),
        ("−5 °C", "temperature", -5),
        ("273.15 K", "temperature", 0),
    ],
)
def test_a_quantity_is_read(text, dimension, expected):
    assert value(text, dimension) == pytest.approx(expected, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(
    ("unit", "pascal"),
    [("inH2O", 249.0889), ("mmH2O", 9.80665), ("inHg", 3386.389), ("psi", 6894.757)],
)
def test_pressure_units_are_nists(unit, pascal):
    """NIST SP 811 Appendix B (R), printed to seven figures."""
    assert value(f"1 {unit}", "pressure") * 1000 == pytest.approx(pascal, rel=3e-7)


def test_temperatures_are_points_on_a_scale():
    """20 °F is -6.67 °C; as a difference it would be 11.1 °C."""
    assert value("20 °F", "temperature") == pytest.approx(-20 / 3, rel=1e-9)
    for text in ("20 delta_degC", "20 delta_degF", "20 degC/min", "20 degC**2"):
        with pytest.raises(Unreadable):
            value(text, "temperature")


def test_pint_alone_would_be_wrong_about_these():
    """The reason for the own words: if pint changes, this says that they may go."""
    registry = pint.UnitRegistry()
    assert registry.parse_units("amps").is_compatible_with("m/s")
    assert registry.parse_units("cfm").is_compatible_with("m")
    assert registry.parse_units("F").is_compatible_with("A*s/V")
    assert registry.parse_units("C").is_compatible_with("A*s")


def test_cfm_is_no_length():
    with pytest.raises(Unreadable, match="'cfm' measures a flow"):
        value("7 cfm", "length")


@pytest.mark.parametrize(
    ("text", "dimension", "said"),
    [
        ("7 L", "pressure", "'L' measures a volume; expected a pressure"),
        ("7 kPa", "volume", "'kPa' measures a pressure; expected a volume"),
        ("7 kg", "volume", "'kg' measures a mass"),
        ("7 lx", "volume", "'lx' measures something else"),
        ("7 wombats", "volume", "'wombats' is no unit"),
        ("7 L L", "volume", "'L L' measures something else"),
        ("7 m**9**9**9**9", "volume", "is no unit"),
        ("7 m^99999999", "volume", "is no unit"),
        ("7 " + "m" * 41, "length", "is no unit"),
        ("7 (((", "length", "is no unit"),
        ("7 __import__", "length", "is no unit"),
        ("7 3", "length", "is no unit"),
        ("2:75", "time", "is no time in minutes:seconds"),
        ("nan V", "voltage", "no number"),
        ("inf V", "voltage", "no number"),
        ("-inf", "voltage", "no number"),
        ("1e999 V", "voltage", "no finite number"),
        ("1e308 kV", "voltage", "out of range"),
        ("", "voltage", "nothing was given"),
        ("   ", "voltage", "nothing was given"),
        ("V", "voltage", "no number"),
        ("1.2.3 V", "voltage", "is no unit"),
        ("1,200 L", "volume", "two ways"),
        ("٢٤ V", "voltage", "no number"),
        ("24\x1b[2J V", "voltage", "control characters"),
        ("24\u202e V", "voltage", "control characters"),
        ("24\nV", "voltage", "control characters"),
        ("5 V", "number", "has a unit"),
        ("5 V", "percent", "has a unit"),
        ("1.5", "count", "no whole number"),
        ("-3", "count", "no whole number"),
        ("1/40", "ratio", "no ratio"),
        ("1:0", "ratio", "no ratio"),
        ("1:..", "ratio", "no ratio"),
        ("1:2:3", "ratio", "no ratio"),
    ],
)
def test_what_cannot_be_read_is_refused_in_one_sentence(text, dimension, said):
    with pytest.raises(Unreadable) as refused:
        value(text, dimension, bare=True)
    message = str(refused.value)
    assert said in message
    assert "; expected " in message
    assert message.isprintable()


@pytest.mark.parametrize("size", [2001, 1_000_000])
@pytest.mark.parametrize("letter", ["1", " ", "m", ",", "-", "e"])
def test_a_long_text_is_refused_unread(size, letter):
    with pytest.raises(Unreadable) as refused:
        value(letter * size, "length", bare=True)
    assert f"{size} were given" in str(refused.value)
    assert len(str(refused.value)) < 200


@pytest.mark.parametrize("letter", ["1", "m", ",", "1,", "1 ", "m/", "1:", "-"])
def test_the_longest_text_that_is_read_is_refused(letter):
    """2,000 characters, many times over: with a pattern that backtracks this would not end."""
    text = (letter * 2000)[:2000]
    for dimension in ("length", "ratio", "count", "percent"):
        with pytest.raises(Unreadable):
            inputs.read(need(dimension, SHOWN.get(dimension, ""), high=1), text, bare=True)


@pytest.mark.parametrize(
    "dimension", ["volume", "length", "pressure", "temperature", "speed", "flow", "time"]
)
def test_on_the_command_line_these_need_their_unit(dimension):
    assert value("7", dimension, bare=True) == 7
    with pytest.raises(Unreadable, match="'7' has no unit; expected"):
        value("7", dimension, bare=False)


@pytest.mark.parametrize("dimension", ["voltage", "current", "charge", "percent", "gravity"])
def test_on_the_command_line_these_may_be_bare(dimension):
    assert value("1.2", dimension, bare=False) == 1.2


@pytest.mark.parametrize("text", ["1.265", "1,265", "1265", "1.265 SG"])
def test_a_hydrometer_is_read_as_it_is_marked(text):
    assert value(text, "gravity") == 1.265


@pytest.mark.parametrize(("text", "parts"), [("1:40", 40), ("1 : 40", 40), ("2:5", 2.5)])
def test_a_ratio(text, parts):
    assert value(text, "ratio") == parts


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("18, 16, 17 mm", (18, 16, 17)),
        ("18 mm, 16 mm, 1.7 cm", (18, 16, 17)),
        ("18; 16; 17", (18, 16, 17)),
        ("18 16 17", (18, 16, 17)),
        ("18mm 16mm 17mm", (18, 16, 17)),
        ("1.8,1.6,1.7 cm,", (18, 16, 17)),
    ],
)
def test_a_list(text, values):
    taken = inputs.read(need("length", "mm", places=(3, 3)), text, bare=True)
    assert taken.value == values
    assert taken.si == pytest.approx([one / 1000 for one in values])


@pytest.mark.parametrize(
    "text",
    [
        "18,5, 16,5, 17,5",
        "18,5; 16,5; 17,5",
        "18,5 16,5 17,5",
        "18, 16",
        "18, , 17",
        ",,",
        "1, x, 2",
    ],
)
def test_a_list_with_decimal_commas_is_refused_not_misread(text):
    with pytest.raises(Unreadable, match="expected a list of 3 values"):
        inputs.read(need("length", "mm", places=(3, 3)), text, bare=True)


def test_a_list_needs_its_unit_on_the_command_line():
    with pytest.raises(Unreadable, match="no unit"):
        inputs.read(need("length", "mm", places=(3, 3)), "18, 16, 17", bare=False)


@pytest.mark.parametrize(
    ("text", "fits"), [("0", False), ("0.1", True), ("10", True), ("10.1", False), ("-1", False)]
)
def test_the_range(text, fits):
    ranged = need("voltage", "V", low=0, high=10, above_low=True)
    if fits:
        assert inputs.read(ranged, text, bare=True).value == float(text)
    else:
        with pytest.raises(Unreadable, match="out of range; expected a voltage above 0 and up to"):
            inputs.read(ranged, text, bare=True)


def test_a_choice_is_read_in_any_case_or_told():
    kind = need("choice", words=("flooded", "sealed"))
    assert inputs.read(kind, "Flooded", bare=True).value == "flooded"
    with pytest.raises(Unreadable, match="did you mean flooded; expected one of flooded, sealed"):
        inputs.read(kind, "floded", bare=True)


#: What people write, by what one of it is in SI: NIST SP 811 Appendix B (R), else by definition.
IN_SI = {
    "voltage": {"1 V": "v vdc volts V.d.c."},
    "current": {"1 A": "a amp amps adc"},
    "charge": {"3600 C": "ah amph amphours amp.h"},
    "time": {"60 s": "min mins", "1 s": "sec secs s", "3600 s": "h hr hrs"}
    # A mean year of 365.25 days, a twelfth of it for a month: ages, where a day more is nothing.
    | {"86400 s": "day days", "2629800 s": "month months", "31557600 s": "year years"},
    "temperature": {
        "274.15 K": "c °c degc celsius ℃ ºc",
        "255.92777777777778 K": "f °f degf fahrenheit ℉ ºf",
        "1 K": "k kelvin",
    },
    "length": {"0.0254 m": 'in "', "0.001 m": "mm", "0.01 m": "cm", "1 m": "m", "0.3048 m": "ft"},
    "volume": {
        "0.001 m³": "l L",
        "1e-06 m³": "ml",
        "0.003785411784 m³": "usgal",
        "0.00454609 m³": "impgal",
    },
    "flow": {
        f"{0.001 / 60} m³/s": "l/min lpm",
        f"{0.001 / 3600} m³/s": "l/h lph",
        f"{0.003785411784 / 60} m³/s": "gpm gal/min",
        f"{0.3048**3 / 60} m³/s": "cfm",
    },
    "speed": {f"{1 / 3.6} m/s": "kmh km/h kph", "0.44704 m/s": "mph"},
    "pressure": {
        "1000 Pa": "kpa",
        "100 Pa": "mbar hpa",
        "6894.757 Pa": "psi psig",
        "249.0889 Pa": 'inh2o inwc inwg "wc',
        "9.80665 Pa": "mmh2o mmwc",
        "3386.389 Pa": "inhg",
    },
}


@pytest.mark.parametrize("dimension", IN_SI)
def test_every_word_has_its_size(dimension):
    for size, words in IN_SI[dimension].items():
        number, unit = size.split()
        for word in words.split():
            taken = inputs.read(need(dimension, SHOWN[dimension]), f"1 {word}", bare=False)
            assert taken.si == (pytest.approx(float(number), rel=3e-7),)
            assert taken.unit == unit
    known = {word.casefold() for words in IN_SI[dimension].values() for word in words.split()}
    assert set(units.WORDS[dimension]) <= known


@pytest.mark.parametrize(("length", "said"), [(40, "that is known here"), (41, "is no unit;")])
def test_the_longest_unit(length, said):
    with pytest.raises(Unreadable, match=said) as refused:
        value("7 " + "q" * length, "length")
    assert "'" + "q" * 40 + "'" in str(refused.value)


def test_a_figure_to_twelve_digits():
    assert clean(1.23456789012345) == 1.23456789012
    assert [clean(1e-12), clean(0.99e-12), clean(-0.99e-12)] == [1e-12, 0, 0]
    assert math.copysign(1, clean(-0.0)) == 1
    assert clean(12.3 - 9.3) == 3


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a" * 40, "'" + "a" * 40 + "'"),
        ("a" * 41, "'" + "a" * 40 + "…'"),
        ("a" * 2000, "'" + "a" * 40 + "…'"),
        ("a" * 2001, "'" + "a" * 40 + "'"),
        ("a\x1bb\u202ec", "'a?b?c'"),
    ],
)
def test_what_was_typed_is_quoted_short_and_printable(text, shown):
    assert inputs.quoted(text) == shown


@pytest.mark.parametrize(
    ("text", "unit", "wanted", "typed"),
    [
        ("0:48", "min", 0.8, (48, "s")),
        ("0:48", "s", 48, (48, "s")),
        ("11:00", "s", 660, (660, "s")),
        ("2:30", "h", 2.5, (150, "min")),
        ("1:30 min", "min", 1.5, (90, "s")),
        ("1:30 h", "min", 90, (90, "min")),
        ("90:05", "min", 90.0833333333, (5405, "s")),
    ],
)
def test_a_time_as_a_watch_shows_it(text, unit, wanted, typed):
    taken = inputs.read(Need("it", "it", unit, "12"), text, bare=False)
    assert taken.value == pytest.approx(wanted)
    assert taken.typed == (typed,)


@pytest.mark.parametrize(
    ("text", "unit", "said"),
    [
        ("0:60", "min", "'0:60' is no time in minutes:seconds, such as 0:48"),
        ("0:60", "h", "'0:60' is no time in hours:minutes, such as 0:48"),
        ("1:5", "min", "is no time in minutes:seconds"),
        ("1:30:00", "h", "is no time in hours:minutes"),
        ("-0:30", "s", "is no time in minutes:seconds"),
        ("0:48 L", "min", "is no time in minutes:seconds"),
        ("99:00", "h", "'99:00' is out of range in hours:minutes; expected a time from 0 to 10 h"),
    ],
)
def test_what_no_watch_shows_says_how_it_was_read(text, unit, said):
    with pytest.raises(Unreadable) as refused:
        inputs.read(Need("it", "it", unit, "12", 0, 10), text, bare=True)
    assert said in str(refused.value)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("1/16 in", 1 / 16),
        ("1 1/2 in", 1.5),
        ("1-1/2 in", 1.5),
        ("3/4in", 0.75),
        ('1 1/2"', 1.5),
        ("-1/2 in", -0.5),
        ("7/4 in", 1.75),
    ],
)
def test_inches_as_a_ruler_has_them(text, inches):
    taken = inputs.read(Need("it", "it", "mm", "12"), text, bare=False)
    assert taken.value == pytest.approx(25.4 * inches)
    assert taken.typed[0][0] == inches


@pytest.mark.parametrize("text", ["1/16, 1 1/8, 3 in", "1/16 in; 1-1/8 in; 3 in"])
def test_inches_in_a_list(text):
    taken = inputs.read(Need("it", "it", "mm", "12", places=(3, 3)), text, bare=False)
    assert taken.value == pytest.approx((25.4 / 16, 25.4 * 1.125, 76.2))


def test_blanks_do_not_part_fractions():
    with pytest.raises(Unreadable, match="a comma is needed"):
        inputs.read(Need("it", "it", "mm", "12", places=(3, 3)), "1 1/2 2 in", bare=False)


@pytest.mark.parametrize(
    ("text", "dimension"), [("1/0 in", "length"), ("1/2", "count"), ("1/2", "gravity")]
)
def test_a_fraction_stands_only_where_it_means_something(text, dimension):
    with pytest.raises(Unreadable, match="is no number that can stand here"):
        value(text, dimension, bare=True)


def test_a_share_may_be_typed_in_per_cent():
    share = Need("it", "it", "", "0.5", 0, 1)
    assert inputs.read(share, "85 %", bare=True).value == 0.85
    assert inputs.read(share, "0.85", bare=True).value == 0.85
    with pytest.raises(Unreadable, match="does not belong here"):
        inputs.read(Need("it", "it", "", "5", 0, 10), "85 %", bare=True)
    assert value("85 %", "percent") == value("85", "percent", bare=True) == 85
    assert inputs.read(Need("it", "it", "%", "5 %"), "1/2 %", bare=True).value == 0.5


@pytest.mark.parametrize("blank", ["\u00a0", "\u2009", "\u202f", "  ", ""])
def test_blanks_of_any_width(blank):
    assert value(f"{blank}24.9{blank}V{blank}", "voltage") == 24.9


WANTED = {
    "voltage": "a voltage from 0 to 10 V, such as 12",
    "current": "a current from 0 to 10 A, such as 12",
    "charge": "an amount of charge from 0 to 10 Ah, such as 12",
    "time": "a time from 0 to 10 min, such as 12",
    "temperature": "a temperature from 0 to 10 °C, such as 12",
    "length": "a length from 0 to 10 mm, such as 12",
    "volume": "a volume from 0 to 10 L, such as 12",
    "flow": "a flow from 0 to 10 L/min, such as 12",
    "speed": "a speed from 0 to 10 km/h, such as 12",
    "pressure": "a pressure from 0 to 10 kPa, such as 12",
    "mass": "a mass from 0 to 10 kg, such as 12",
    "area": "an area from 0 to 10 m², such as 12",
    "force": "a force from 0 to 10 N, such as 12",
    "energy": "an energy from 0 to 10 kWh, such as 12",
    "power": "a power from 0 to 10 W, such as 12",
    "resistance": "a resistance from 0 to 10 ohm, such as 12",
    "rotation": "a speed of turning from 0 to 10 rpm, such as 12",
    "gravity": "a specific gravity from 0 to 10, such as 12",
    "percent": "a percentage from 0 to 10, such as 12",
    "number": "a number from 0 to 10, such as 12",
    "count": "a whole number from 0 to 10, such as 12",
    "ratio": "a ratio from 0 to 10, such as 12",
}


@pytest.mark.parametrize("dimension", WANTED)
def test_what_is_wanted_is_said(dimension):
    assert set(WANTED) == {*units.SI, *inputs.KINDS}
    ranged = need(dimension, SHOWN.get(dimension, ""), low=0, high=10)
    assert inputs.wanted(ranged) == WANTED[dimension]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "a length, such as 12"),
        ({"low": 1}, "a length, such as 12"),
        ({"high": 1}, "a length, such as 12"),
        (
            {"low": 0.5, "high": 1000, "above_low": True},
            "a length above 0.5 and up to 1000 mm, such as 12",
        ),
        ({"places": (3, 3)}, "a list of 3 values, each a length, such as 12"),
        ({"places": (2, 60)}, "a list of 2 to 60 values, each a length, such as 12"),
    ],
)
def test_what_is_wanted_of_a_length(more, said):
    assert inputs.wanted(need("length", "mm", **more)) == said


def test_a_choice_and_what_is_far_from_it():
    kind = need("choice", words=("flooded", "sealed"))
    with pytest.raises(Unreadable) as refused:
        inputs.read(kind, "qqq", bare=True)
    assert str(refused.value) == "it: 'qqq' is not known; expected one of flooded, sealed"
    assert (inputs.read(kind, "sealed", bare=True).si, kind.unit) == ((), "")


@pytest.mark.parametrize(
    ("text", "taken"),
    [
        ("999.9", 999.9),
        ("1000", 1.0),
        ("1999", 1.999),
        ("2000", 2000),
        ("1.265 sp.gr.", 1.265),
        ("1.265 sp gr", 1.265),
        ("1,265", 1.265),
    ],
)
def test_a_hydrometers_scale(text, taken):
    """A hydrometer reads 1265 for 1.265; 2000 can be none (M)."""
    assert value(text, "gravity") == taken


@pytest.mark.parametrize(("text", "share"), [("20 %", 0.2), ("20", 0.2), ("20 Percent", 0.2)])
def test_a_percentage_is_a_share_in_si(text, share):
    taken = inputs.read(need("percent", "%"), text, bare=False)
    assert (taken.value, taken.si, taken.unit) == (20, (share,), "1")


@pytest.mark.parametrize(
    "text", ["0:40", "1:0", "40", "1:1:1", ":", "1234567890:1", "1:1234567890"]
)
def test_no_ratio(text):
    with pytest.raises(Unreadable, match="is no ratio"):
        value(text, "ratio")


@pytest.mark.parametrize(
    ("text", "value_", "si"),
    [("1:40", 40, 0.025), ("2,5:10", 4, 0.25), ("123456789 : 1", 8.1000000737e-9, 123456789)],
)
def test_a_ratio_in_si(text, value_, si):
    taken = inputs.read(need("ratio"), text, bare=False)
    assert (taken.value, taken.si) == (pytest.approx(value_), (pytest.approx(si),))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("+12", None),
        ("12.0", "no whole number"),
        ("-1", "no whole number"),
        ("1e2", "no whole number"),
        ("1,200", "two ways"),
    ],
)
def test_a_whole_number(text, said):
    if said:
        with pytest.raises(Unreadable, match=said):
            value(text, "count")
    else:
        assert value(text, "count") == 12


def test_a_list_of_pure_numbers_and_its_si():
    taken = inputs.read(need("gravity", places=(2, 3)), "1.25 1.26 1265", bare=False)
    assert (taken.value, taken.si, taken.unit) == ((1.25, 1.26, 1.265), (1.25, 1.26, 1.265), "1")
    taken = inputs.read(need("length", "mm", places=(2, 3)), "1 in; 2 cm", bare=False)
    assert (taken.si, taken.unit) == (pytest.approx((0.0254, 0.02)), "m")
