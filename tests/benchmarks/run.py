"""All figures, one script after the other, and the machine that they were taken on.

`python tests/benchmarks/run.py`; exit code 1 if a figure was missed.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
from pathlib import Path


def main() -> int:
    """Run every `bench_*.py` of this folder."""
    print(f"{platform.machine()}, {os.cpu_count()} cores, {platform.platform()}")
    print(f"Python {platform.python_version()}, load {os.getloadavg()[0]:.1f}")
    worst = 0
    for script in sorted(Path(__file__).parent.glob("bench_*.py")):
        print(f"\n{script.name}", flush=True)
        worst = max(worst, subprocess.run([sys.executable, str(script)], check=False).returncode)
    return worst


if __name__ == "__main__":
    sys.exit(main())
