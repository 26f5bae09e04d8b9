"""What the log keeps of a drill: its result, in a table of its own. No case knows of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

#: The table, beside those of the cases.
DRILLS_SCHEMA: Final = """
CREATE TABLE drills (
    number INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    trainee TEXT NOT NULL,
    symptom TEXT NOT NULL,
    machine TEXT,
    seed INTEGER NOT NULL,
    slips INTEGER NOT NULL CHECK (slips IN (0, 1)),
    passed INTEGER NOT NULL CHECK (passed IN (0, 1)),
    body TEXT NOT NULL
);
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillRecord:
    """One drill that was ended. `trainee` is "" where nobody gave a name; `at` is ISO 8601, UTC.

    `body` is the whole score as plain data.
    """

    trainee: str
    symptom: str
    machine: str | None
    seed: int
    slips: bool
    passed: bool
    body: Mapping[str, Any]
    at: str = ""
