"""The figures for readings: `python tests/benchmarks/bench_measure.py`, exit code 1 if missed.

- a measurement from parsed numbers: at most 20 µs;
- the first reading of a fresh process: at most 1.3 times pint's own import and registry.
"""

from __future__ import annotations

import os
import platform
import statistics
import subprocess
import sys
import time
import timeit
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from diagnose.measure import inputs, registry  # noqa: E402

MICROSECONDS = 20.0
RATIO = 1.3
PAIRS = 15

PINT = "import pint; pint.UnitRegistry()"
READING = (
    "from diagnose.measure import registry as r; m = r.find('rest-voltage');"
    "r.compute(m, r.parse_reply(m, '24.4 V'),"
    " {'battery.cells': '12', 'battery.kind': 'flooded'}.get, True)"
)
OTHER_READING = (
    "from diagnose.measure import registry as r; m = r.find('suction');"
    "r.compute(m, r.parse_reply(m, '28 inH2O'),"
    " {'suction.rated': '45 inH2O', 'site.altitude': '320 m'}.get, True)"
)
TABLE = "import diagnose.measure.registry"


def from_numbers(measurement: registry.Measurement) -> float:
    """Best time of one computation from parsed numbers, workings included, in µs."""
    values: dict[str, object] = {}
    replaced = {need.replaces for need in measurement.needs}
    for need in measurement.needs:
        example = need.example
        if need.places and need.places[1] > 3:
            example = ", ".join(["1.275"] * 12)
        if need.name == "cells":
            example = "12"
        taken = inputs.read(need, example, bare=False)
        values[need.name] = None if need.name in replaced else taken.value
    timer = timeit.Timer(lambda: measurement.compute(**values))
    return min(timer.repeat(repeat=7, number=2000)) / 2000 * 1e6


def seconds(code: str) -> float:
    """Wall time of one fresh process."""
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)
    return time.perf_counter() - start


def main() -> int:
    """Print the figures; 1 if one is missed."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed program has its byte code
    print(f"{platform.platform()}, Python {platform.python_version()}, {os.cpu_count()} cores")
    times = {name: from_numbers(one) for name, one in registry.MEASUREMENTS.items()}
    for name, each in sorted(times.items(), key=lambda pair: -pair[1]):
        print(f"  {name:22}{each:8.2f} µs")
    slowest = max(times.values())
    print(f"slowest from parsed numbers: {slowest:.2f} µs, at most {MICROSECONDS} µs")
    good = slowest <= MICROSECONDS

    codes = {"pint alone": PINT, "rest-voltage": READING, "suction": OTHER_READING, "table": TABLE}
    codes["nothing"] = "pass"
    for code in codes.values():
        seconds(code)
    # Alternating, so that a busy moment hits all alike.
    runs = [{name: seconds(code) for name, code in codes.items()} for _ in range(PAIRS)]
    medians = {name: statistics.median(run[name] for run in runs) for name in codes}
    for name, each in medians.items():
        print(f"  fresh process, {name:14}{each * 1000:8.1f} ms (median of {PAIRS})")
    for name in ("rest-voltage", "suction"):
        ratio = medians[name] / medians["pint alone"]
        print(f"first reading, {name}: {ratio:.3f} of pint alone, at most {RATIO}")
        good = good and ratio <= RATIO
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
