"""What can be wrong with a file, as data: a place, a code and one sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Callable

    from diagnose.files.refusals import Refusal

Severity = Literal["error", "warning"]


class Problem(Struct, frozen=True, order=True):
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


def refused(
    file: str, refusal: Refusal, line: int, column: int, severity: Severity = "error"
) -> Problem:
    """Return what the reader refuses as a problem at a place of a file, line and column from 1."""
    return Problem(file, line, column, refusal.code, severity, refusal.message)


def code_of(function: Callable[..., object]) -> str:
    """Return the code of the rule or refusal that a function stands for: its name, hyphenated."""
    return function.__name__.replace("_", "-")
