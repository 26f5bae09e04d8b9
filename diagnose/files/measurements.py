"""What `measurements.yaml` says: measurements that a library declares beside the program's own."""

from __future__ import annotations

from msgspec import Struct


class Input(Struct, frozen=True, kw_only=True):
    """One thing that a person reads, in `unit` ("" for a bare number), from `least` to `most`."""

    title: str
    least: float
    most: float
    unit: str = ""


class Range(Struct, frozen=True, kw_only=True):
    """What is expected, in the measurement's unit; an end that is None is open."""

    least: float | None = None
    most: float | None = None


class Declared(Struct, frozen=True, kw_only=True):
    """A measurement: its `inputs` by name, and the formula over them, in school arithmetic.

    `good_to` is how far off the method may be, in the measurement's unit; None: nobody knows.
    """

    title: str
    how: str
    inputs: tuple[tuple[str, Input], ...]
    formula: str
    source: str
    unit: str = ""
    expected: Range | None = None
    good_to: float | None = None
