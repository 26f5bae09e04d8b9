"""Arithmetic that measurements share: no last digits of a float, and lines between points."""

from bisect import bisect_right

Point = tuple[float, float]


def clean(value: float) -> float:
    """A figure to twelve digits, 0 where it is smaller than 1e-12.

    The last digits of a float may not decide on which side of a limit a reading falls: neither a
    conversion's (134.6 °F is 57 °C) nor a difference's (12.3 - 9.3 is 3).
    """
    return 0.0 if abs(value) < 1e-12 else float(f"{value:.12g}")


def interpolate(table: tuple[Point, ...], x: float) -> tuple[float, Point, Point]:
    """y at x on straight lines between the points, and the two points it lies between.

    table: (x, y), x rising, two points or more. Outside the table the end lines go on.
    """
    after = min(max(bisect_right(table, (x, float("inf"))), 1), len(table) - 1)
    (x0, y0), (x1, y1) = low, high = table[after - 1], table[after]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0), low, high
