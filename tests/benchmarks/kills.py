"""The large numbers: the program killed at any moment, by SIGKILL, and the log looked through.

`python tests/benchmarks/kills.py [--count 2000] [--first 0]` starts real processes of `start`,
`resume`, `round`, `cases found` and `release` on a log, says something at random to them, and kills
them: before the first screen, within a reply, or while they wait. It prints how many kills there
were, how many of them within a commit (SQLite's journal was left), and what was wrong, with the
seed; exit code 1 if anything was. After each kill the log has to be sound by SQLite's own check and
by its summaries, to have all that was acknowledged and at most the one thing that was not yet, and
what was left is taken up again with nothing to be asked anew. A seed is a log of 20 kills; when
exactly a kill falls is chance. Some 8 kills a second on each core; uses all cores.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from random import Random
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from strategies.killing import Shop, warm

KILLS = 20


class Tried(NamedTuple):
    """What came of one seed."""

    wrong: list[str]
    kills: int
    torn: int
    replies: int
    resumes: int


def tried(seed: int) -> Tried:
    """Kill processes at one log."""
    with tempfile.TemporaryDirectory() as folder:
        shop = Shop(Path(folder), Random(seed), built_in=seed % 2 == 1)
        try:
            while shop.kills < KILLS and not shop.wrong:
                shop.one_process()
        except Exception as error:
            shop.wrong.append(f"{type(error).__name__}: {error}")
    wrong = [f"seed {seed}, kill {shop.kills}: {said}" for said in shop.wrong]
    return Tried(wrong, shop.kills, shop.torn, shop.replies, shop.resumes)


def main() -> int:
    """Kill them all; return 1 where anything was wrong."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--count", type=int, default=2_000, help="how many kills (2,000)")
    parser.add_argument("--first", type=int, default=0, help="the first seed (0)")
    options = parser.parse_args()
    seeds = range(options.first, options.first + -(-options.count // KILLS))
    began = time.perf_counter()
    with (
        tempfile.TemporaryDirectory() as home,
        ProcessPoolExecutor(os.cpu_count(), initializer=warm, initargs=(home,)) as pool,
    ):
        each = list(pool.map(tried, seeds))
    wrong = [said for one in each for said in one.wrong]
    print(
        f"seeds {seeds[0]} to {seeds[-1]}: {sum(one.kills for one in each)} kills, "
        f"{sum(one.torn for one in each)} of them within a commit, {len(wrong)} failed; "
        f"{sum(one.replies for one in each)} replies acknowledged, taken up again "
        f"{sum(one.resumes for one in each)} times, {time.perf_counter() - began:.0f} s",
        *wrong,
        sep="\n  ",
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
