"""Units: what is read, what is refused and what is said about it."""

import pint
import pytest

from diagnose.measure import inputs, units
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


@pytest.mark.parametrize("dimension", units.SI)
def test_a_word_of_ours_is_of_its_kind(dimension):
    for word in units.WORDS[dimension]:
        size = units.convert(1.0, word, dimension, SHOWN[dimension])
        si = units.in_si(1.0, word, dimension)
        assert size != 0 or dimension == "temperature"
        assert si != 0


@pytest.mark.parametrize(
    ("text", "dimension", "said"),
    [
        ("7 L", "pressure", "'L' measures a volume; expected a pressure"),
        ("7 kPa", "volume", "'kPa' measures a pressure; expected a volume"),
        ("7 kg", "volume", "'kg' measures something else"),
        ("7 wombats", "volume", "'wombats' is no unit"),
        ("7 L L", "volume", "'L L' measures something else"),
        ("7 m**9**9**9**9", "volume", "is no unit"),
        ("7 m^99999999", "volume", "is no unit"),
        ("7 " + "m" * 41, "length", "is no unit"),
        ("7 (((", "length", "is no unit"),
        ("7 __import__", "length", "is no unit"),
        ("7 3", "length", "is no unit"),
        ("2:10", "time", "is no unit"),
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
def test_the_longest_text_that_is_read_is_refused_in_no_time(letter):
    """No pattern here may take more than linear time (2,000 characters, many times over)."""
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
