"""Reading between the lines of a published table."""

from bisect import bisect_right

Point = tuple[float, float]


def interpolate(table: tuple[Point, ...], x: float) -> tuple[float, Point, Point]:
    """y at x on straight lines between the points, and the two points it lies between.

    table: (x, y), x rising, two points or more. Outside the table the end lines go on.
    """
    after = min(max(bisect_right(table, (x, float("inf"))), 1), len(table) - 1)
    (x0, y0), (x1, y1) = low, high = table[after - 1], table[after]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0), low, high
