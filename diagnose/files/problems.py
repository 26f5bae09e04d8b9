"""What can be wrong with a file, as data: a place, a code and one sentence."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

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


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return `` Did you mean "…"?`` for the closest known word, or nothing."""
    # A megabyte of nonsense is not a typing mistake, and difflib would chew on it for minutes.
    if len(word) > 80:
        return ""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f' Did you mean "{close[0]}"?' if close else ""


def shortened(text: str, limit: int = 40) -> str:
    """Return `text` cut to `limit` characters, printable, for use inside a message."""
    shown = "".join(
        c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text[: limit + 1]
    )
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"
