"""What can be wrong with a file, as data: a place, a code and one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "warning"]


class Placed(str):
    """A piece of text that knows where in its file it stands (line and column from 1)."""

    __slots__ = ("column", "line")

    line: int
    column: int

    @classmethod
    def at(cls, text: str, line: int, column: int) -> Placed:
        """Return `text` as standing at the given line and column, both from 1."""
        placed = str.__new__(cls, text)
        placed.line = line
        placed.column = column
        return placed


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Problem:
    """One thing to mend in one file. Line and column count from 1; `code` is for machines."""

    file: str
    line: int
    column: int
    code: str
    severity: Severity
    message: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}"
        return f"{place}: {self.severity}: {self.message} [{self.code}]"
