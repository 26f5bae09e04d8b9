"""The large numbers: the order search against all permutations, 2,000 seeds a yard.

`python tests/benchmarks/large_orders.py [SEEDS] [FIRST]` prints what was tried and each seed that
failed; exit code 1 if one did. A best order has to be allowed and cost what the best of all
permutations costs; another one has to cost no more above it than its gap says. Every tenth seed is
tried under caps of 0, 1 and 2 lockouts too. Takes some minutes; uses all cores.
"""

from __future__ import annotations

import math
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from strategies.ordering import YARDS, least_of_all, seeded

from diagnose.study.order.search import BestOrder, best_order

EXACT = 1e-9


def tried(name: str, seed: int) -> list[str]:
    """Return what came of one seed's run, with no cap and, for some, with three: "" is right."""
    caps = [None, 0, 1, 2] if seed % 10 == 0 else [None]
    models = [model for cap in caps if (model := seeded(seed, name, cap)) is not None]
    results = []
    for model in models:
        found, least = best_order(model), least_of_all(model)
        where = f"{name}, seed {seed}, cap {model.cap}"
        if not isinstance(found, BestOrder):
            wrong = least < math.inf or not found.proved
            results.append(f"{where}: no order found" if wrong else "")
            continue
        more = model.cost(found.order) - least
        if not model.run.allows(found.order):
            results.append(f"{where}: not allowed")
        elif not -EXACT <= more <= found.gap + EXACT:
            results.append(f"{where}: {more:.6f} min above the best, gap {found.gap:.6f}")
        else:
            results.append("" if found.exact else f"{where}: right, but not proved")
    return results


def main(seeds: int = 2_000, first: int = 0) -> int:
    """Try all yards; return 1 where anything failed."""
    failed = 0
    with ProcessPoolExecutor() as pool:
        for name in YARDS:
            began = time.perf_counter()
            each = pool.map(partial(tried, name), range(first, first + seeds), chunksize=50)
            results = [result for one in each for result in one]
            wrong = [result for result in results if result]
            failed += len(wrong)
            print(
                f"{name}: seeds {first} to {first + seeds - 1}, {len(results)} runs against all "
                f"permutations, {len(wrong)} failed, {time.perf_counter() - began:.0f} s",
                *wrong,
                sep="\n  ",
                flush=True,
            )
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
