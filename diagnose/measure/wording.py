"""Figures, shares and ranges in words, the same on a screen, on paper and on the command line."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from diagnose.measure.model import Expected


def percent(share: float) -> str:
    """Return a share from 0 to 1 in whole per cent."""
    return "under 1 %" if share <= 0.005 else f"{share * 100:.0f} %"


def with_unit(value: float, unit: str) -> str:
    """Return a figure with its unit, to four figures or to the unit where there are more."""
    digits = f"{value:.4g}" if abs(value) < 1000 else f"{value:.0f}"
    return f"{digits} {unit}".rstrip()


def about(value: float, unit: str, good_to: float | None) -> str:
    """Return a figure rounded to what the method can know, with how far off it can be.

    That is given to one digit, and the figure to the largest of 1 and 5 of a decimal place that is
    no more than half of it, so that rounding adds little (after JCGM 100:2008, 7.2.6, from memory).
    Where nobody knows how far off it can be, it is shown to four digits.
    """
    if not good_to:
        return with_unit(value, unit)
    place = math.floor(math.log10(good_to))
    # To one digit 9.6 is 10, a place further up.
    digit = round(good_to / 10.0**place)
    place, digit = (place + 1, 1) if digit == 10 else (place, digit)
    off = _decimal(digit * 10.0**place, place)
    step, place = (5 * 10.0 ** (place - 1), place - 1) if digit == 1 else (10.0**place, place)
    rounded = _decimal(round(value / step) * step, place).removesuffix(".0" if digit == 1 else "")
    return f"about {' '.join(filter(None, (rounded, unit)))}, ± {off}"


def _decimal(value: float, place: int) -> str:
    """Return a number to a decimal place (-1: tenths), nought without a sign."""
    return f"{value:z.{max(0, -place)}f}"


def verdict(value: float, expected: Expected | None, good_to: float | None = None) -> str:
    """Return where a figure lies to what is expected: too low, right or too high; "" if unknown.

    Where a single figure is expected, one that may be it is right.
    """
    if expected is None or (expected.low is None and expected.high is None):
        return ""
    room = (good_to or 0.0) if expected.low == expected.high else 0.0
    if expected.low is not None and value < expected.low - room:
        return "too low"
    if expected.high is not None and value > expected.high + room:
        return "too high"
    return "right"


def expected_range(expected: Expected, unit: str) -> str:
    """Return an expected range in words."""
    low, high = expected.low, expected.high
    if low is None:
        return "no range is known" if high is None else f"at most {with_unit(high, unit)}"
    if high is None:
        return f"at least {with_unit(low, unit)}"
    if low == high:
        return with_unit(low, unit)
    return f"{with_unit(low, '')} to {with_unit(high, unit)}"
