"""What can be wrong with a file, as data: a place, a code and one sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

from msgspec import Struct

from diagnose.text import shortened

if TYPE_CHECKING:
    from collections.abc import Callable

    from diagnose.files.refusals import Refusal

Severity = Literal["error", "warning"]

#: A longer message is cut: it holds a text that somebody left unquoted.
LONGEST_MESSAGE: Final = 500


class Problem(Struct, frozen=True, order=True):
    """One thing to mend in one file. Line and column count from 1; `code` is for machines.

    `following` counts the problems that are gone once it is mended, which are not said.
    """

    file: str
    line: int
    column: int
    code: str
    severity: Severity
    message: str
    following: int = 0

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}"
        follow = "follows" if self.following == 1 else "follow"
        more = f" And {self.following} that {follow} from it." if self.following else ""
        return f"{place}: {self.severity}: {self.message}{more} [{self.code}]"


def refused(
    file: str,
    refusal: Refusal,
    line: int,
    column: int,
    severity: Severity = "error",
    following: int = 0,
) -> Problem:
    """Return what the reader refuses as a problem at a place of a file, line and column from 1."""
    message = shortened(refusal.message, LONGEST_MESSAGE)
    return Problem(file, line, column, refusal.code, severity, message, following)


def code_of(function: Callable[..., object]) -> str:
    """Return the code of the rule or refusal that a function stands for: its name, hyphenated."""
    return function.__name__.replace("_", "-")
