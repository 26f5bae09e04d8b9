"""What the log keeps of a drill: its result. No case knows of it."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


class DrillRecord(Struct, frozen=True, kw_only=True):
    """One drill that was ended. `trainee` is "" where nobody gave a name; `at` is ISO 8601, UTC.

    `minutes` is what the trainee took, `tree_minutes` what the tree would have; `unsafe` counts the
    unsafe moves; `body` is the whole score as plain data, kept as it came.
    """

    trainee: str
    symptom: str
    machine: str | None
    seed: int
    slips: bool
    passed: bool
    body: Mapping[str, Any]
    at: str = ""

    @property
    def minutes(self) -> float:
        """What the trainee took, in minutes."""
        return float(self.body["minutes"])

    @property
    def tree_minutes(self) -> float | None:
        """What the tree's own order would have taken, in minutes; None where no cause was named."""
        minutes = self.body["tree_minutes"]
        return None if minutes is None else float(minutes)

    @property
    def unsafe(self) -> int:
        """How many moves were unsafe."""
        return len(self.body["unsafe"])

    @property
    def key(self) -> tuple[str, str, int] | None:
        """Whose machine it was, the same for each try of it; None where nobody gave a name.

        Capitals do not count. Slips and card do not either: the machine was seen.
        """
        return (self.trainee.casefold(), self.symptom, self.seed) if self.trainee else None


def tries(drills: Iterable[DrillRecord]) -> list[tuple[int, DrillRecord]]:
    """Return drills, in the order in which they were made, each with the number of its try."""
    seen: Counter[tuple[str, str, int]] = Counter()
    found = []
    for one in drills:
        if one.key is not None:
            seen[one.key] += 1
        found.append((seen[one.key] if one.key is not None else 1, one))
    return found
