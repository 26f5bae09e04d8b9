"""The large numbers: random cases on random libraries, each watched by the safety observer.

`python tests/benchmarks/judged_walks.py [--count 50000] [--first 0]` walks until so many differ (of
two that went alike one counts) and prints what was tried, each walk that failed by its seed, and
how the walks ended; exit code 1 if one failed. A walk fails where the observer sees a word of a
step before its cautions, where it does not end, or with any exception. A seed makes 10 libraries
and walks 40 cases on each; `--first SEED --count 1` walks one again. Some 50 walks a second on each
core; uses all cores.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from hashlib import blake2b
from pathlib import Path
from random import Random
from typing import NamedTuple

from hypothesis import HealthCheck, Phase, given, seed, settings

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from strategies.libraries import READINGS, libraries
from strategies.observer import files_in
from strategies.walking import watched
from strategies.written import Written, read

LIBRARIES, WALKS = 10, 40
#: After so many cases in a row that went as others did, a small library has been walked through.
ALIKE = 8


class Tried(NamedTuple):
    """What came of one seed: failures, walks, marks of those that differ, how they ended."""

    failures: list[str]
    walks: int
    marks: set[bytes]
    outcomes: Counter[str]


def tried(which: int) -> Tried:
    """Walk the cases of one seed."""
    result = Tried([], 0, set(), Counter())
    for number, written in enumerate(written_by(which)):
        walks = _walk_through(written, f"seed {which}, library {number}", which, result)
        result = result._replace(walks=result.walks + walks)
    return result


def written_by(which: int) -> list[Written]:
    """Return the libraries of one seed: any, some that read a figure, some with much on the card."""
    kind = which % 4
    strategy = (
        libraries(told=True)
        if kind == 1
        else libraries(read=[*READINGS][which // 4 % len(READINGS)])
        if kind == 2
        else libraries()
    )
    found: list[Written] = []

    @seed(which)
    @settings(
        # The first that it makes is the smallest there is.
        max_examples=LIBRARIES + 1,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy)
    def keep(written: Written) -> None:
        found.append(written)

    keep()
    return found[1:]


def _walk_through(written: Written, where: str, which: int, result: Tried) -> int:
    """Walk cases on one library into the result; return how many."""
    random, text, alike, walks = Random(f"{where}"), f"{written}", 0, 0
    try:
        library, files = read(written), files_in(written)
    except Exception as error:
        result.failures.append(f"{where}: {type(error).__name__}: {error}")
        return 0
    for walks in range(1, WALKS + 1):
        try:
            case = watched(files, library, random)
        except Exception as error:
            said = " ".join(f"{error}".split())[:300]
            result.failures.append(f"{where}, walk {walks}: {type(error).__name__}: {said}")
            continue
        told = repr((text, case.role, case.told)).encode()
        mark = blake2b(told, digest_size=12).digest()
        alike = alike + 1 if mark in result.marks else 0
        if alike == ALIKE:
            break
        result.outcomes[f"{case.state.outcome}"] += mark not in result.marks
        result.marks.add(mark)
    return walks


def main() -> int:
    """Walk until enough differ; return 1 where anything failed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--count", type=int, default=50_000, help="how many that differ (50,000)")
    parser.add_argument("--first", type=int, default=0, help="the first seed (0)")
    options = parser.parse_args()
    began, at, walks = time.perf_counter(), options.first, 0
    failures: list[str] = []
    marks: set[bytes] = set()
    outcomes: Counter[str] = Counter()
    cores = os.cpu_count() or 1
    with ProcessPoolExecutor(cores) as pool:
        while len(marks) < options.count:
            seeds = range(at, at + 2 * cores)
            for one in pool.map(tried, seeds):
                failures += one.failures
                marks |= one.marks
                outcomes += one.outcomes
                walks += one.walks
            at = seeds.stop
    ended = ", ".join(f"{outcomes[how]} {how}" for how in sorted(outcomes))
    print(
        f"seeds {options.first} to {at - 1}: {len(marks)} walks that differ of {walks} judged "
        f"({ended}), {len(failures)} failed, {time.perf_counter() - began:.0f} s",
        *failures,
        sep="\n  ",
    )
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
