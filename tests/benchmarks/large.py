"""The large numbers, one after the other or some by name: what was tried, and what failed.

`python tests/benchmarks/large.py [NAME …] [--part 0.01]` runs, each as the script that is named
beside it here, with all processors:

    damaged  100,000 damaged library files         damaged_files.py   an hour on one core
    walks     50,000 judged walks                  judged_walks.py    4 minutes on one core
    kills      2,000 kills                         kills.py           3 minutes on one core
    cases    100,000 cases in one log, 50 people   large_log.py       some minutes, 1.5 GB of disk
    orders     2,000 seeds a yard                  large_orders.py    some minutes

`--part` takes so much of each number; `taskset` and `nice` in front hold it to fewer processors.
Exit code 1 if anything failed. A script can also be run by itself: it says how one seed is tried
again.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from pathlib import Path
from typing import Final, NamedTuple


class Large(NamedTuple):
    """A script, its full number, and the option that takes the number, if it is no plain one."""

    script: str
    count: int
    option: str = "--count"

    def command(self, part: float) -> list[str]:
        """Return the command line for a part of the number, one at least."""
        count = f"{max(1, round(self.count * part))}"
        script = str(Path(__file__).with_name(self.script))
        return [sys.executable, script, *([self.option] if self.option else []), count]


ALL: Final = {
    "damaged": Large("damaged_files.py", 100_000),
    "walks": Large("judged_walks.py", 50_000),
    "kills": Large("kills.py", 2_000),
    "cases": Large("large_log.py", 100_000, ""),
    "orders": Large("large_orders.py", 2_000, ""),
}


def main(args: list[str] | None = None) -> int:
    """Run them; return 1 where anything failed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("name", nargs="*", help=f"{', '.join(ALL)}; all where left out")
    parser.add_argument("--part", type=float, default=1.0, help="how much of each number (1)")
    options = parser.parse_args(args)
    unknown = [name for name in options.name if name not in ALL]
    if unknown:
        parser.error(f"{', '.join(unknown)}: none of {', '.join(ALL)}")
    failed = []
    for name in options.name or ALL:
        began = time.perf_counter()
        print(f"{name}: {' '.join(ALL[name].command(options.part)[1:])}", flush=True)
        code = subprocess.run(ALL[name].command(options.part), check=False).returncode
        failed += [name] if code else []
        told = f"failed, exit code {code}" if code else "nothing failed"
        print(f"{name}: {told}, {time.perf_counter() - began:.0f} s\n", flush=True)
    print(f"failed: {', '.join(failed)}" if failed else "nothing failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
