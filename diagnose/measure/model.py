"""The words of a measurement: what it needs, what it gives, how it can fail."""

from collections.abc import Callable

from msgspec import Struct
from msgspec.structs import force_setattr

PRACTICE = "common practice, no published source"

# What is measured in each unit that a screen shows; without one it is a bare number.
DIMENSIONS = {
    "": "number",
    **{"V": "voltage", "A": "current", "Ah": "charge", "°C": "temperature", "kPa": "pressure"},
    **dict.fromkeys(("s", "min", "h"), "time"),
    **dict.fromkeys(("mm", "cm", "m"), "length"),
    **{"L": "volume", "L/min": "flow", "km/h": "speed", "%": "percent"},
}


class Unreadable(Exception):
    """What was typed, or what a card says, cannot be used; the message is one plain sentence."""


class MissingLine(Exception):
    """The machine card does not say what a measurement needs.

    `path` is the dotted path on the card, the message names the line to add.
    """

    def __init__(self, path: str, message: str) -> None:
        super().__init__(message)
        self.path = path


class Need(Struct, frozen=True):
    """One input of a measurement.

    unit: the unit shown, in which the measurement's function takes it ('' for a bare number).
    dimension: a kind of quantity (a key of `units.SI`), or gravity, percent, number, count, ratio,
        choice; left out, it is what `DIMENSIONS` says of the unit.
    card: dotted path on the machine card that can supply it.
    asked: a person reads it at the machine; else only the card or a typed key gives it.
    low, high: the range taken, in `unit`; with `above_low` the low end itself is refused.
    words: the words of a choice.
    places: for a list, the least and the most values.
    replaces: another input that is not looked for when this one is given.
    """

    name: str
    title: str
    unit: str
    example: str
    low: float | None = None
    high: float | None = None
    dimension: str = ""
    card: str | None = None
    asked: bool = False
    optional: bool = False
    above_low: bool = False
    words: tuple[str, ...] = ()
    places: tuple[int, int] | None = None
    replaces: str | None = None

    def __post_init__(self) -> None:
        """Fill in the dimension of the unit. Raises KeyError where there is none."""
        if not self.dimension:
            force_setattr(self, "dimension", DIMENSIONS[self.unit])


class Expected(Struct, frozen=True, kw_only=True):
    """What is expected, in the measurement's unit; None is an open end."""

    low: float | None
    high: float | None
    source: str


class Outcome(Struct, frozen=True, kw_only=True):
    """What a measurement's function gives back: value, expected value, the lines on paper."""

    value: float
    workings: tuple[str, ...]
    expected: Expected | None = None


class Uncertainty(Struct, frozen=True, kw_only=True):
    """How far off a method can be: the larger of two.

    absolute: in the measurement's unit. share: of the figure. source: where that is from, or that
    nobody has published it.
    """

    source: str
    absolute: float = 0.0
    share: float = 0.0

    def of(self, value: float) -> float:
        """How far off a figure can be, in its unit."""
        return max(self.absolute, self.share * abs(value))


class Figure(Struct, frozen=True, kw_only=True):
    """A measurement that was taken. `si` holds its inputs as (name, magnitude, unit) in SI.

    `value` is not rounded; `good_to` is how far off it can be, None where nobody knows.
    """

    read: str
    value: float
    unit: str
    expected: Expected | None
    workings: tuple[str, ...]
    si: tuple[tuple[str, float, str], ...]
    good_to: float | None = None


class Measurement(Struct, frozen=True, kw_only=True):
    """A measurement, as trees name it.

    how: how it is taken, in a line or two. source: where formula and bands come from.
    uncertainty: how far off the method can be; None: nothing is known of it.
    low, high: what the figure can be, the ends included, in `unit`; None is an open end.
    compute: the pure function; its keywords are the names of the needs, in their units, and a
    need that is optional and not known is None.
    """

    name: str
    title: str
    unit: str = ""
    how: str
    source: str
    needs: tuple[Need, ...]
    compute: Callable[..., Outcome]
    uncertainty: Uncertainty | None = None
    low: float | None = None
    high: float | None = None
