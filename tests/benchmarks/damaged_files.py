"""The large numbers: damaged library files, each read or refused by its places.

`python tests/benchmarks/damaged_files.py [--count 100000] [--first 0]` prints what was tried, each
seed that failed, the slowest file and the most memory that a process came to; exit code 1 if one
failed. A file fails with an exception, with a problem that has no place in it or no readable line,
or with more than 5 s of the processor. Some 30 files a second on each core; uses all cores.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from strategies.damage import LIBRARY, damaged
from strategies.reread import Reread, unclear

LONGEST, MOST_MEMORY = 5.0, 300


class Tried(NamedTuple):
    """What came of some seeds: failures, files refused, the slowest (seconds, seed), MiB."""

    failures: list[str]
    refused: int
    slowest: tuple[float, int]
    memory: int


def tried(seeds: range) -> Tried:
    """Read the files of some seeds in a folder of their own."""
    failures, refused, slowest = [], 0, (0.0, -1)
    with tempfile.TemporaryDirectory() as folder:
        library = Path(folder, "library")
        shutil.copytree(LIBRARY, library)
        reread = Reread(library)
        for seed in seeds:
            parts, raw = damaged(seed)
            began = time.process_time()
            try:
                problems = reread.problems(parts, raw)
                name = reread.whole.file(*parts)
                wrong = {unclear(one, raw) for one in problems if one.file == name} - {""}
            except Exception as error:
                problems, wrong = [], {f"{type(error).__name__}: {error}"}
            took = time.process_time() - began
            slowest = max(slowest, (took, seed))
            refused += any(problem.severity == "error" for problem in problems)
            wrong |= {f"{took:.1f} s"} if took > LONGEST else set()
            failures += [f"seed {seed}, {'/'.join(parts)}: {'; '.join(sorted(wrong))}"] * bool(
                wrong
            )
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    return Tried(failures, refused, slowest, memory)


def main() -> int:
    """Try them all; return 1 where anything failed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--count", type=int, default=100_000, help="how many files (100,000)")
    parser.add_argument("--first", type=int, default=0, help="the first seed (0)")
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.count)
    began = time.perf_counter()
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        each = list(pool.map(tried, (seeds[at : at + 500] for at in range(0, len(seeds), 500))))
    failures = [failure for one in each for failure in one.failures]
    seconds, seed = max(one.slowest for one in each)
    memory = max(one.memory for one in each)
    print(
        f"seeds {seeds[0]} to {seeds[-1]}: {len(seeds)} damaged files, "
        f"{sum(one.refused for one in each)} refused, {len(failures)} failed, "
        f"{time.perf_counter() - began:.0f} s",
        f"slowest: seed {seed}, {seconds:.2f} s of the processor; most memory: {memory} MiB",
        *failures,
        sep="\n  ",
    )
    return 1 if failures or memory > MOST_MEMORY else 0


if __name__ == "__main__":
    sys.exit(main())
