"""The measurements by name, and the way from typed text to a figure."""

from collections.abc import Callable, Mapping

from .model import Expected, Figure, Measurement, MissingLine, Need, Outcome, Unreadable

__all__ = [
    "MEASUREMENTS",
    "Expected",
    "Figure",
    "Measurement",
    "MissingLine",
    "Need",
    "Outcome",
    "Unreadable",
    "compute",
    "find",
    "parse_reply",
]

MEASUREMENTS: dict[str, Measurement] = {}


def find(name: str) -> Measurement:
    """The measurement of that name; KeyError where there is none."""
    return MEASUREMENTS[name]


def compute(
    measurement: Measurement,
    given: Mapping[str, str],
    card: Callable[[str], str | None],
    bare: bool,
) -> Figure:
    """A figure from typed inputs, filled up from the card (being written)."""
    raise Unreadable("this measurement is not written yet")


def parse_reply(measurement: Measurement, text: str) -> dict[str, str]:
    """The inputs in one typed reply (being written)."""
    raise Unreadable("this measurement is not written yet")
