"""The measurements that a library's readings may name: the program's own, and those it declares."""

from __future__ import annotations

from contextlib import suppress
from functools import lru_cache
from typing import TYPE_CHECKING

from diagnose.measure import declared
from diagnose.measure.model import Expected, Unreadable
from diagnose.measure.registry import MEASUREMENTS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.library import Library
    from diagnose.files.measurements import Declared
    from diagnose.measure.model import Measurement


def measurements_of(library: Library) -> Mapping[str, Measurement]:
    """Return all measurements by name; one of the library's that cannot be used is not there."""
    if not library.measurements:
        return MEASUREMENTS
    made = dict(MEASUREMENTS)
    for name, one in library.measurements.items():
        with suppress(Unreadable):  # `check` says so at its place.
            made.setdefault(name, made_of(name, one))
    return made


@lru_cache(maxsize=1000)
def made_of(name: str, one: Declared) -> Measurement:
    """Return a measurement that a library declares as the program takes it.

    Raises `Unreadable` for units, ranges or a formula that cannot be used.
    """
    expected = None
    if one.expected is not None:
        expected = Expected(low=one.expected.least, high=one.expected.most, source=one.source)
    return declared.measurement(
        name=name,
        title=one.title,
        unit=one.unit,
        how=one.how,
        source=one.source,
        needs=tuple(
            declared.need(name, need.title, need.unit, need.least, need.most)
            for name, need in one.inputs
        ),
        text=one.formula,
        expected=expected,
        good_to=one.good_to,
    )
