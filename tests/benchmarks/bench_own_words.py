"""The operator's own words: how many of the invented sentences find their symptom.

One row for the half that may be looked at for tuning, one for the half held back. `--lines` names
the sentences of the tuning half that were not understood, `--tuning` leaves the other half alone:
whoever tunes has no use for its figure.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "case"))

from sentences import halves, told, understood

from diagnose.case.own_words import fitting
from diagnose.files.library import built_in, load

GOAL = 0.9


def main() -> int:
    trees = load(built_in()).trees
    good = True
    for name, half in halves().items():
        if name != "tuning" and "--tuning" in sys.argv:
            continue
        counts, lines = told(half, lambda words: fitting(trees, words))
        good &= understood(counts) >= GOAL and not counts["wrong"]
        rest = ", ".join(f"{how} {number}" for how, number in counts.most_common())
        print(f"{name:<10} {len(half):>4} sentences, understood {understood(counts):.0%} ({rest})")
        if name == "tuning" and "--lines" in sys.argv:
            print("\n".join(lines))
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
