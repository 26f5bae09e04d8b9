"""Units, by pint, which only this module imports, and only when a quantity has to be converted."""

import re
from functools import cache
from typing import TYPE_CHECKING

from diagnose.measure import formula
from diagnose.measure.arithmetic import clean
from diagnose.measure.model import DIMENSIONS, Unreadable

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pint import UnitRegistry
    from pint.facets.plain import PlainUnit

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
    # What only measurements of a library take.
    "mass": ("a mass", "kilogram", "kg"),
    "area": ("an area", "meter**2", "m²"),
    "force": ("a force", "newton", "N"),
    "energy": ("an energy", "joule", "J"),
    "power": ("a power", "watt", "W"),
    "resistance": ("a resistance", "ohm", "Ω"),
    "rotation": ("a speed of turning", "radian/second", "rad/s"),
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


def dimension_of(unit: str) -> str:
    """What is measured in a unit: a key of `SI`, or number or percent; Unreadable for no unit."""
    if unit in DIMENSIONS:
        return DIMENSIONS[unit]
    if len(unit) <= LONGEST and re.fullmatch(_UNIT, unit):
        for kind in SI:
            try:
                known(unit, kind)
            except Unreadable:
                continue
            return kind
    raise Unreadable(f'"{unit[:LONGEST]}" is no unit that is known here')


def known(unit: str, dimension: str) -> str:
    """The unit as pint reads it, or Unreadable with what was wrong about it."""
    if len(unit) > LONGEST or not re.fullmatch(_UNIT, unit):
        raise Unreadable(f"'{unit[:LONGEST]}' is no unit")
    word = WORDS.get(dimension, {}).get(unit.replace(" ", "").replace(".", "").casefold())
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


def refuse_units(term: formula.Term, inputs: "Mapping[str, str]", unit: str) -> None:
    """Refuse a formula whose units cannot come to `unit`, such as L/s where L/min is said.

    inputs: the unit of each. A number in the formula may carry any unit and any factor (the 3.6
    from m/s to km/h), so nothing is said against what one is multiplied with; nor of a unit that
    pint does not know. Raises Unreadable.
    """
    try:
        wanted = _of(unit)
    except Unreadable:
        return
    found = _unit(term, {name: _of(one) for name, one in inputs.items()})
    if found is None:
        return
    gives = f"in these units the formula gives {f'{found:~P}' or 'a plain number'}"
    if not found.is_compatible_with(wanted):
        raise Unreadable(f"{gives}, which is not {unit or 'a plain number'}")
    factor = _factor(found, wanted)
    if factor != 1:
        raise Unreadable(f"{gives}: multiply by {factor:g} for {unit or 'a plain number'}")


def _of(unit: str) -> "PlainUnit":
    """A unit as pint has it; of a temperature its degree."""
    dimension = dimension_of(unit)
    said = {"number": "dimensionless", "percent": "percent"}.get(dimension)
    spelt = said or known(unit, dimension)
    return _registry().Unit(f"delta_{spelt}" if spelt in ("degC", "degF") else spelt)


def _factor(one: "PlainUnit", other: "PlainUnit") -> float:
    return clean(float(_registry().Quantity(1, one).to(other).magnitude))


def _unit(term: formula.Term, of: "Mapping[str, PlainUnit]") -> "PlainUnit | None":
    """The unit of a part of a formula; None where a number in it may carry one."""
    match term:
        case formula.Name(name):
            return of[name]
        case formula.Minus(part):
            return _unit(part, of)
        case formula.Both("^", left, formula.Number(text)) if text.isdecimal():
            base = _unit(left, of)
            return None if base is None else base ** int(text)
        case formula.Both(sign, left, right) if sign != "^":
            one, other = _unit(left, of), _unit(right, of)
            if sign in "+-":
                return _sum(one, other)
            if one is not None and other is not None:
                both: PlainUnit = one * other if sign == "*" else one / other
                return both
    return None


def _sum(one: "PlainUnit | None", other: "PlainUnit | None") -> "PlainUnit | None":
    """The unit of a sum; a number in it has the unit of what it is added to."""
    if one is None or other is None:
        return one if other is None else other
    if not one.is_compatible_with(other) or _factor(one, other) != 1:
        raise Unreadable(f"the formula adds {one:~P} to {other:~P}: bring them to one unit")
    return one
