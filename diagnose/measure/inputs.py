"""Typed text to the value of one input. Quantities go through `units`, the rest is read here."""

import re
from math import inf, isfinite

from msgspec import Struct

from diagnose.measure import units
from diagnose.measure.arithmetic import clean
from diagnose.measure.model import Need, Unreadable
from diagnose.text import nearest

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
# `1/16 in`, `1 1/2 in`, `1-1/2 in`: as on an inch ruler.
_FRACTION = (
    r"(?P<sign>[+-]?)(?:(?P<whole>[0-9]{1,6})(?:\s+|-))?(?P<over>[0-9]{1,6})/(?P<under>[0-9]{1,6})"
    r"\s*(?P<unit>.*)"
)
_CLOCK = r"(?P<long>[0-9]{1,6}):(?P<short>[0-9]{2})\s*(?P<unit>[^\s0-9:]*)"
# What stands before and behind the colon, by the unit of the input or by one that was typed.
_MINUTES, _HOURS = ("minutes:seconds", "s"), ("hours:minutes", "min")
_CLOCKS = {"s": _MINUTES, "min": _MINUTES, "h": _HOURS}
_RATIO = r"([0-9.,]{1,9})\s*:\s*([0-9.,]{1,9})"
_SPACES = dict.fromkeys(map(ord, "\u00a0\u2009\u202f"), " ") | {ord("\u2212"): "-"}


class InputValue(Struct, frozen=True, kw_only=True):
    """One input as it was understood.

    value: in the unit shown; a word for a choice, several numbers for a list.
    typed: its quantities as they were typed, (magnitude, unit), all of one dimension.
    pure: its numbers without a dimension; a percentage as a share of 1, a ratio as one number.
    dimension: a key of `units.SI`, '' for pure numbers and words.
    """

    value: float | str | tuple[float, ...]
    pure: tuple[float, ...] = ()
    typed: tuple[tuple[float, str], ...] = ()
    dimension: str = ""

    @property
    def si(self) -> tuple[float, ...]:
        """The magnitudes in SI, to twelve digits; only worked out when asked for: it takes pint."""
        quantities = (units.in_si(number, unit, self.dimension) for number, unit in self.typed)
        return self.pure + tuple(float(f"{one:.12g}") for one in quantities)

    @property
    def unit(self) -> str:
        """The SI unit of the magnitudes."""
        return units.SI[self.dimension][2] if self.dimension else "1"


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
    return f"{kind}{_range(need)}, such as {need.example}"


def _range(need: Need) -> str:
    """The range of an input in words, with its unit; empty where it has none."""
    if need.low is None or need.high is None:
        return ""
    span = f" above {need.low:g} and up to" if need.above_low else f" from {need.low:g} to"
    return f"{span} {need.high:g} {need.unit}".rstrip()


def read(need: Need, text: str, *, bare: bool) -> InputValue:
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
            return _listed(need, _parted(tidy, *need.places), bare)
        return _single(need, tidy, bare)
    except Unreadable as problem:
        raise Unreadable(f"{need.name}: {problem}; expected {wanted(need)}") from None


def lacks_unit(need: Need, text: str) -> bool:
    """Whether a text can be read at a screen, and nowhere else, since it has no unit."""
    try:
        read(need, text, bare=True)
    except Unreadable:
        return False
    try:
        read(need, text, bare=False)
    except Unreadable:
        return True
    return False


def belongs(text: str, dimension: str) -> None:
    """Say nothing where a text is a quantity of a dimension, such as ``110 L`` a volume.

    dimension: a key of `units.SI`. For what a machine card says and no measurement reads.
    Raises Unreadable, half a sentence, for another dimension, no unit, or less than nothing.
    """
    tidy = plain(text)
    match = re.fullmatch(_QUANTITY, tidy)
    if not match or not match["unit"].strip():
        raise Unreadable(f"{quoted(tidy)} is no number with a unit")
    units.known(match["unit"].strip(), dimension)
    need = Need(dimension, dimension, "", "", dimension=dimension, low=0)
    _within(need, _magnitude(need, match["number"]), tidy)


def _choice(need: Need, text: str) -> InputValue:
    word = text.casefold()
    if word in need.words:
        return InputValue(value=word)
    near = nearest(word, need.words)
    raise Unreadable(f"{quoted(text)} is not known" + (f", did you mean {near}" if near else ""))


def _listed(need: Need, parts: list[str], bare: bool) -> InputValue:
    """Several values in one text; a unit after the last holds for all before it that have none."""
    values = [_single(need, part, bare) for part in _with_last_unit(parts)]
    return InputValue(
        value=tuple(one.value for one in values if isinstance(one.value, float)),
        pure=tuple(number for one in values for number in one.pure),
        typed=tuple(quantity for one in values for quantity in one.typed),
        dimension=values[0].dimension,
    )


def _with_last_unit(parts: list[str]) -> list[str]:
    last = re.fullmatch(_QUANTITY, parts[-1])
    unit = last["unit"] if last else ""
    if (fraction := re.fullmatch(_FRACTION, parts[-1])) is not None:
        unit = fraction["unit"]
    bare = r"[+-]?[0-9.]+(?:(?:(?:\s+|-)[0-9]+)?/[0-9]+)?"
    return [f"{part} {unit}" if re.fullmatch(bare, part) else part for part in parts]


def _parted(text: str, least: int, most: int) -> list[str]:
    """The parts of a list: at its semicolons, else its commas, else the blanks before numbers."""
    sign = next((sign for sign in ";," if sign in text), None)
    if sign:
        parts = [part.strip() for part in text.rstrip(sign + " ").split(sign)]
    else:
        if re.search(r"[0-9]/[0-9]", text):
            raise Unreadable("between values with fractions a comma is needed")
        parts = re.split(r"\s+(?=[+-]?[0-9])", text)
    if any("," in part for part in parts):
        raise Unreadable("in a list the decimal sign is a point")
    if not least <= len(parts) <= most:
        raise Unreadable(f"{len(parts)} values were given (the decimal sign is a point)")
    return parts


def _single(need: Need, text: str, bare: bool) -> InputValue:
    if need.dimension == "ratio":
        return _ratio(need, text)
    if need.dimension == "time" and ":" in text:
        return _clock(need, text)
    match = re.fullmatch(_QUANTITY, text)
    if (fraction := re.fullmatch(_FRACTION, text)) is not None:
        magnitude, unit = _fraction(need, fraction, text), fraction["unit"].strip()
    elif match is not None:
        magnitude, unit = _magnitude(need, match["number"]), match["unit"].strip()
    else:
        raise Unreadable(f"{quoted(text)} is no number")
    if not isfinite(magnitude):
        raise Unreadable(f"{quoted(text)} is no finite number")
    if need.dimension not in units.SI:
        return _pure(need, magnitude, unit, text)
    if not unit and not bare and need.dimension in NEEDS_UNIT:
        raise Unreadable(f"{quoted(text)} has no unit")
    return _quantity(need, magnitude, unit or need.unit, text)


def _clock(need: Need, text: str) -> InputValue:
    """`0:48` off a watch: minutes and seconds, of what is in hours hours and minutes."""
    match = re.fullmatch(_CLOCK, text)
    said = (match["unit"] if match else "") or need.unit
    parts, unit = _CLOCKS.get(said, _MINUTES)
    if match is None or int(match["short"]) > 59 or said not in _CLOCKS:
        raise Unreadable(f"{quoted(text)} is no time in {parts}, such as 0:48")
    try:
        return _quantity(need, 60 * int(match["long"]) + int(match["short"]), unit, text)
    except Unreadable as problem:
        raise Unreadable(f"{problem} in {parts}") from None


def _fraction(need: Need, match: re.Match[str], text: str) -> float:
    """`1 1/2` as a number; not where only whole numbers or the scale of a hydrometer are read."""
    if need.dimension in ("count", "gravity") or not int(match["under"]):
        raise Unreadable(f"{quoted(text)} is no number that can stand here")
    size = int(match["whole"] or 0) + int(match["over"]) / int(match["under"])
    return -size if match["sign"] == "-" else size


def _magnitude(need: Need, number: str) -> float:
    """The number; a comma is the decimal sign, refused where it could part thousands."""
    if re.fullmatch(_THOUSANDS, number) and need.dimension != "gravity":
        raise Unreadable(f"{quoted(number)} can be read two ways, use a point or no comma")
    return float(number.replace(",", "."))


def _quantity(need: Need, magnitude: float, unit: str, text: str) -> InputValue:
    converted = units.convert(magnitude, unit, need.dimension, need.unit)
    value = _within(need, clean(converted), text)
    return InputValue(value=value, typed=((magnitude, unit),), dimension=need.dimension)


def _pure(need: Need, magnitude: float, unit: str, text: str) -> InputValue:
    """What has no dimension: gravities, percentages, counts, plain numbers."""
    allowed = {"percent": ("", "%", "percent"), "gravity": ("", "sg", "sp.gr.", "sp gr")}
    share = need.dimension == "number" and need.high is not None and need.high <= 1
    if share and unit.casefold() in ("%", "percent"):
        magnitude, unit = magnitude / 100, ""
    if unit.casefold() not in allowed.get(need.dimension, ("",)):
        raise Unreadable(f"{quoted(text)} has a unit that does not belong here")
    if need.dimension == "gravity" and 1000 <= magnitude < 2000:
        magnitude /= 1000  # a hydrometer's scale reads 1265 for 1.265
    if need.dimension == "count" and not re.fullmatch(r"\+?[0-9]+", text):
        raise Unreadable(f"{quoted(text)} is no whole number")
    value = _within(need, clean(magnitude), text)
    return InputValue(value=value, pure=(value / 100 if need.dimension == "percent" else value,))


def _ratio(need: Need, text: str) -> InputValue:
    """`1:40`, one part and forty parts: the value is the forty."""
    match = re.fullmatch(_RATIO, text)
    try:
        one, parts = (float(part.replace(",", ".")) for part in match.groups()) if match else (0, 0)
    except ValueError:
        one = parts = 0
    if not one or not parts:
        raise Unreadable(f"{quoted(text)} is no ratio")
    value = _within(need, clean(parts / one), text)
    return InputValue(value=value, pure=(1 / value,))


def _within(need: Need, value: float, text: str) -> float:
    low = -inf if need.low is None else need.low
    high = inf if need.high is None else need.high
    if not isfinite(value) or not low <= value <= high or (need.above_low and value == low):
        raise Unreadable(f"{quoted(text)} is out of range")
    return value
