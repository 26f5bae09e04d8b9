"""Figures, shares and ranges in words, the same on a screen, on paper and on the command line."""

from __future__ import annotations

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
