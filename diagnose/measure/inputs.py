"""Typed text to the value of one input. Quantities go through `units`, the rest is read here."""

import re
from dataclasses import dataclass
from difflib import get_close_matches
from math import isfinite

from diagnose.measure import units
from diagnose.measure.model import Need, Unreadable

LONGEST = 2000  # characters of one reply; a set of 40 cells takes 300
NEEDS_UNIT = frozenset({"volume", "length", "pressure", "temperature", "speed", "flow", "time"})

KINDS = {
    "gravity": "a specific gravity",
    "percent": "a percentage",
    "number": "a number",
    "count": "a whole number",
    "ratio": "a ratio",
}

# As text: `re` compiles them at the first reading and keeps them, which spares every start 2 ms.
_QUANTITY = (
    r"(?P<number>[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(?P<unit>.*)"
)
_THOUSANDS = r"[+-]?[1-9][0-9]{0,2},[0-9]{3}"
_RATIO = r"([0-9.,]{1,9})\s*:\s*([0-9.,]{1,9})"
_SPACES = dict.fromkeys(map(ord, "\u00a0\u2009\u202f"), " ") | {ord("\u2212"): "-"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """The value of one input in the unit shown.

    typed: its quantities as (magnitude, unit), of one dimension; pure: what has none. Their SI
    magnitudes are worked out when they are asked for, since that takes pint.
    """

    value: float | str | tuple[float, ...]
    pure: tuple[float, ...] = ()
    typed: tuple[tuple[float, str], ...] = ()
    dimension: str = ""

    @property
    def si(self) -> tuple[float, ...]:
        """The magnitudes in SI."""
        quantities = (units.in_si(number, unit, self.dimension) for number, unit in self.typed)
        return self.pure + tuple(float(f"{one:.12g}") for one in quantities)

    @property
    def unit(self) -> str:
        """The SI unit of the magnitudes."""
        return units.SI[self.dimension][2] if self.dimension else "1"


def clean(value: float) -> float:
    """Twelve digits: the same reading in another unit must not land beside a band's edge."""
    return 0.0 if abs(value) < 1e-12 else float(f"{value:.12g}")


def quoted(text: str) -> str:
    """Typed text as a message may show it: short, nothing that moves the cursor."""
    short = text if len(text) <= LONGEST else text[:40]
    short = "".join(c if c.isprintable() else "?" for c in short)
    return f"'{short}'" if len(short) <= 40 else f"'{short[:40]}…'"


def plain(text: str) -> str:
    """The text with its ends and odd spaces tidied; refused where too long or not printable."""
    if len(text) > LONGEST:
        raise Unreadable(f"at most {LONGEST} characters can be read, {len(text)} were given")
    tidy = text.translate(_SPACES).strip(" ")
    if not tidy.isprintable():
        raise Unreadable(f"{quoted(tidy)} has control characters in it")
    return tidy


def wanted(need: Need) -> str:
    """What an input takes, in words: kind, range, example."""
    if need.dimension == "choice":
        return "one of " + ", ".join(need.words)
    kind = units.SI[need.dimension][0] if need.dimension in units.SI else KINDS[need.dimension]
    if need.places:
        least, most = need.places
        number = f"{least}" if least == most else f"{least} to {most}"
        kind = f"a list of {number} values, each {kind}"
    low = "" if need.low is None else f"{need.low:g}"
    high = "" if need.high is None else f"{need.high:g}"
    unit = f" {need.unit}" if need.unit else ""
    if low and high:
        kind += f" above {low} and up to {high}" if need.above_low else f" from {low} to {high}"
        kind += "" if need.dimension == "ratio" else unit
    elif low:
        kind += f" {'above' if need.above_low else 'from'} {low}{unit}"
    return f"{kind}, such as {need.example}"


def read(need: Need, text: str, *, bare: bool) -> Taken:
    """One input from its text.

    bare: a number without a unit takes the unit shown (at a screen); else a volume, length,
    pressure, temperature, speed, flow or time must carry its unit.
    Raises Unreadable, one sentence that says what was expected.
    """
    try:
        tidy = plain(text)
        if not tidy:
            raise Unreadable("nothing was given")
        if need.dimension == "choice":
            return _choice(need, tidy)
        if need.places:
            return _listed(need, tidy, bare)
        return _single(need, tidy, bare)
    except Unreadable as problem:
        raise Unreadable(f"{need.name}: {problem}; expected {wanted(need)}") from None


def _choice(need: Need, text: str) -> Taken:
    word = text.casefold()
    if word in need.words:
        return Taken(value=word)
    near = get_close_matches(word, need.words, n=1)
    raise Unreadable(f"{quoted(text)} is not known" + (f", did you mean {near[0]}" if near else ""))


def _listed(need: Need, text: str, bare: bool) -> Taken:
    """Values parted by semicolons, commas or spaces; a last unit holds for all before it."""
    least, most = need.places or (1, 1)
    for sign in ";,":
        if sign in text:
            parts = [part.strip() for part in text.rstrip(sign + " ").split(sign)]
            break
    else:
        parts = re.split(r"\s+(?=[+-]?[0-9])", text)
    if any("," in part for part in parts):
        raise Unreadable("in a list the decimal sign is a point")
    if not least <= len(parts) <= most:
        raise Unreadable(f"{len(parts)} values were given (the decimal sign is a point)")
    last = re.fullmatch(_QUANTITY, parts[-1])
    unit = last["unit"] if last else ""
    spelt = [f"{part} {unit}" if re.fullmatch(r"[+-]?[0-9.]+", part) else part for part in parts]
    taken = [_single(need, part, bare) for part in spelt]
    values = tuple(one.value for one in taken if isinstance(one.value, float))
    return Taken(
        value=values,
        pure=tuple(pure for one in taken for pure in one.pure),
        typed=tuple(typed for one in taken for typed in one.typed),
        dimension=taken[0].dimension,
    )


def _single(need: Need, text: str, bare: bool) -> Taken:
    if need.dimension == "ratio":
        return _ratio(need, text)
    match = re.fullmatch(_QUANTITY, text)
    if not match:
        raise Unreadable(f"{quoted(text)} is no number")
    number, unit = match["number"], match["unit"].strip()
    if re.fullmatch(_THOUSANDS, number) and need.dimension != "gravity":
        raise Unreadable(f"{quoted(number)} can be read two ways, use a point or no comma")
    magnitude = float(number.replace(",", "."))
    if not isfinite(magnitude):
        raise Unreadable(f"{quoted(text)} is no finite number")
    if need.dimension in units.SI:
        if not unit and not bare and need.dimension in NEEDS_UNIT:
            raise Unreadable(f"{quoted(text)} has no unit")
        unit = unit or need.unit
        converted = units.convert(magnitude, unit, need.dimension, need.unit)
        value = _within(need, clean(converted), text)
        return Taken(value=value, typed=((magnitude, unit),), dimension=need.dimension)
    return _pure(need, magnitude, unit, text)


def _pure(need: Need, magnitude: float, unit: str, text: str) -> Taken:
    """What has no dimension: gravities, percentages, counts, plain numbers."""
    allowed = {"percent": ("", "%", "percent"), "gravity": ("", "sg", "sp.gr.", "sp gr")}
    if unit.casefold() not in allowed.get(need.dimension, ("",)):
        raise Unreadable(f"{quoted(text)} has a unit that does not belong here")
    if need.dimension == "gravity" and 1000 <= magnitude < 2000:
        magnitude /= 1000  # a hydrometer's scale reads 1265 for 1.265
    if need.dimension == "count" and not re.fullmatch(r"\+?[0-9]+", text):
        raise Unreadable(f"{quoted(text)} is no whole number")
    value = _within(need, clean(magnitude), text)
    return Taken(value=value, pure=(value / 100 if need.dimension == "percent" else value,))


def _ratio(need: Need, text: str) -> Taken:
    """`1:40`, one part and forty parts: the value is the forty."""
    match = re.fullmatch(_RATIO, text)
    try:
        one, parts = (float(part.replace(",", ".")) for part in match.groups()) if match else (0, 0)
    except ValueError:
        one = parts = 0
    if not one or not parts:
        raise Unreadable(f"{quoted(text)} is no ratio")
    value = _within(need, clean(parts / one), text)
    return Taken(value=value, pure=(1 / value,))


def _within(need: Need, value: float, text: str) -> float:
    low, high = need.low, need.high
    if (
        not isfinite(value)
        or (low is not None and (value < low or (need.above_low and value == low)))
        or (high is not None and value > high)
    ):
        raise Unreadable(f"{quoted(text)} is out of range")
    return value
