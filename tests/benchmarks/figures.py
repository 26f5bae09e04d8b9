"""What the benchmarks share: the best of several runs, and figures beside their limits."""

from __future__ import annotations

import math
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

#: What was measured, its value, the limit that it is held to, and a word on it.
Figure = tuple[str, float, float, str]


def best(action: Callable[[], object], times: int = 5) -> float:
    """Return the shortest of several runs in seconds: what the machine can do when left alone."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        action()
        taken.append(time.perf_counter() - began)
    return min(taken)


def report(*groups: Callable[[], Iterable[Figure]]) -> int:
    """Print the figures, each group as it is done; return 1 where one is over its limit."""
    missed = 0
    for figures in groups:
        for what, value, limit, shown in figures():
            over = value > limit
            missed += over
            mark = ", MISSED" if over else ""
            held = f"(at most {limit:g}{mark})" if limit < math.inf else "(for comparison)"
            print(f"{value:8.2f}  {held}  {what}  {shown}", flush=True)
    return 1 if missed else 0
