"""Handovers on one printed page: how many of the built-in worked cases, ended by a referral.

Prints the share, and each case that takes more lines, with how many. Exit code 1 where fewer than
nine of ten fit on one page (60 lines of 100 columns).
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from strategies.referrals import ONE_PAGE, referrals

GOAL = 0.9


def main() -> int:
    cases = list(referrals())
    longer = [case for case in cases if case.lines > ONE_PAGE]
    share = 1 - len(longer) / len(cases)
    lines = sorted(case.lines for case in cases)
    print(
        f"{share:.1%} of {len(cases)} handovers fit on one page ({ONE_PAGE} lines; at least 90 %)"
    )
    print(f"median {lines[len(lines) // 2]} lines, longest {lines[-1]}")
    for case in sorted(longer, key=lambda case: -case.lines):
        print(f"  {case.lines:3} lines  {case.symptom}: {case.name}")
    return 0 if share >= GOAL else 1


if __name__ == "__main__":
    sys.exit(main())
