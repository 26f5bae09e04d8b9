"""Units, by pint, which only this module imports, and only when a quantity has to be converted."""

import re
from functools import cache
from typing import TYPE_CHECKING

from diagnose.measure.arithmetic import clean
from diagnose.measure.model import Unreadable

if TYPE_CHECKING:
    from pint import UnitRegistry

# Each kind of quantity: its name in a sentence, its SI unit as pint reads it, as it is written.
SI: dict[str, tuple[str, str, str]] = {
    "voltage": ("a voltage", "volt", "V"),
    "current": ("a current", "ampere", "A"),
    "charge": ("an amount of charge", "coulomb", "C"),
    "time": ("a time", "second", "s"),
    "temperature": ("a temperature", "kelvin", "K"),
    "length": ("a length", "meter", "m"),
    "volume": ("a volume", "meter**3", "m³"),
    "flow": ("a flow", "meter**3/second", "m³/s"),
    "speed": ("a speed", "meter/second", "m/s"),
    "pressure": ("a pressure", "pascal", "Pa"),
}

# What people write and pint would miss, or take for something else (`amps` is attometre per
# second to it, `F` farad, `C` coulomb, `a` year). Compared in lower case, without spaces and dots.
WORDS: dict[str, dict[str, str]] = {
    "voltage": {"v": "volt", "vdc": "volt", "volts": "volt"},
    "current": {"a": "ampere", "amp": "ampere", "amps": "ampere", "adc": "ampere"},
    "charge": {"ah": "ampere_hour", "amph": "ampere_hour", "amphours": "ampere_hour"},
    "time": {"min": "minute", "mins": "minute", "sec": "second", "secs": "second"}
    | {"h": "hour", "hr": "hour", "hrs": "hour", "s": "second"}
    | {"day": "day", "days": "day", "month": "month", "months": "month"}
    | {"year": "year", "years": "year"},
    "temperature": {"c": "degC", "°c": "degC", "degc": "degC", "celsius": "degC", "℃": "degC"}
    | {"f": "degF", "°f": "degF", "degf": "degF", "fahrenheit": "degF", "℉": "degF"}
    | {"k": "kelvin", "kelvin": "kelvin", "ºc": "degC", "ºf": "degF"},
    "length": {"in": "inch", '"': "inch", "mm": "mm", "cm": "cm", "m": "m", "ft": "foot"},
    "volume": {"l": "liter", "ml": "milliliter", "usgal": "gallon", "impgal": "imperial_gallon"},
    "flow": {"l/min": "liter/minute", "lpm": "liter/minute", "gpm": "gallon/minute"}
    | {"l/h": "liter/hour", "lph": "liter/hour", "gal/min": "gallon/minute"}
    | {"cfm": "foot**3/minute"},
    "speed": {"kmh": "km/hour", "km/h": "km/hour", "kph": "km/hour", "mph": "mile/hour"},
    "pressure": {"kpa": "kPa", "mbar": "mbar", "hpa": "hPa", "psi": "psi", "psig": "psi"}
    | {"inh2o": "inch_H2O", "inwc": "inch_H2O", "inwg": "inch_H2O", '"wc': "inch_H2O"}
    | {"mmh2o": "millimeter_H2O", "mmwc": "millimeter_H2O", "inhg": "inch_Hg"},
}

LONGEST = 40
# One letter or more, at most squared or cubed (to pint a unit is a formula, `m**9**9**9` too).
_ONE = r'[A-Za-zµμ°º℃℉"_.][A-Za-z0-9µμ°_.]*(?:(?:\*\*|\^)[23]|[²³])?'
_UNIT = rf"{_ONE}(?:\s*[/*·\s]\s*{_ONE})*"
_POWER = r"(?<=[A-Za-z])\^?([23])(?![0-9A-Za-z])"


@cache
def _registry() -> "UnitRegistry[float]":
    """pint's registry, built at the first quantity (some 0.2 s), then kept."""
    import pint

    registry: UnitRegistry[float] = pint.UnitRegistry()
    # To pint alone `cfm` is a centifermi: a length, and no error.
    registry.define("cubic_foot_per_minute = foot ** 3 / minute = cfm")
    return registry


@cache
def _kind(unit: str) -> str | None:
    """Which of the kinds in `SI` a unit of pint's belongs to."""
    registry = _registry()
    for kind, (_, si, _) in SI.items():
        if registry.is_compatible_with(unit, si):
            return kind
    return None


def known(unit: str, dimension: str) -> str:
    """The unit as pint reads it, or Unreadable with what was wrong about it."""
    if len(unit) > LONGEST or not re.fullmatch(_UNIT, unit):
        raise Unreadable(f"'{unit[:LONGEST]}' is no unit")
    word = WORDS[dimension].get(unit.replace(" ", "").replace(".", "").casefold())
    if word is not None:
        return word
    spelt = re.sub(_POWER, r"**\1", unit.replace("²", "**2").replace("³", "**3").replace("·", "*"))
    try:
        parsed = str(_registry().parse_units(spelt))
        kind = _kind(parsed)
    except Exception:  # pint's parser lets through whatever Python's tokenizer and parser raise
        raise Unreadable(f"'{unit}' is no unit that is known here") from None
    # A temperature is read off a scale: `delta_degC` and the like are differences, not readings.
    if kind != dimension or dimension == "temperature":
        said = SI[kind][0] if kind else "something else"
        raise Unreadable(f"'{unit}' measures {said}" if kind != dimension else f"not '{unit}'")
    return parsed


def fahrenheit(celsius: float) -> float:
    """A temperature in °F from one in °C, both points on a scale: 1.8 °F to 1 °C, 32 °F at 0 °C."""
    return clean(celsius * 9 / 5 + 32)


def convert(magnitude: float, unit: str, dimension: str, shown: str) -> float:
    """A quantity in the unit shown.

    magnitude, unit: as typed. dimension: a key of `SI`. shown: the unit wanted, as typed text.
    Temperatures are points on a scale (0 °C is 273.15 K), never differences.
    Raises Unreadable, with half a sentence, where the unit is unknown or of another dimension.
    Unit sizes are pint's; NIST SP 811 Appendix B gives the same. What is typed in the unit shown
    needs no conversion, and so no pint: a library is checked without it.
    """
    typed, wanted = known(unit, dimension), known(shown, dimension)
    if wanted == typed:
        return magnitude
    return float(_registry().Quantity(magnitude, typed).to(wanted).magnitude)


def in_si(magnitude: float, unit: str, dimension: str) -> float:
    """A quantity in the SI unit of its dimension; arguments as those of `convert`."""
    quantity = _registry().Quantity(magnitude, known(unit, dimension))
    return float(quantity.to(SI[dimension][1]).magnitude)
