"""The standard streams, whatever state they are in: a terminal or not, and a line of input."""

from __future__ import annotations

import sys
from typing import Final

#: A longer line is cut here: no reply is that long, and memory is finite.
LONGEST: Final = 2_000_000


def read_line() -> str | None:
    """Return the next line without its end, read as UTF-8 whatever the locale; None at the end.

    A standard input that was never there, is closed or cannot be read counts as its end.
    """
    stream = sys.stdin
    if stream is None:
        return None
    source = getattr(stream, "buffer", stream)
    try:
        line = piece = source.readline(LONGEST)
        while len(piece) == LONGEST and piece[-1:] not in (b"\n", "\n"):
            piece = source.readline(LONGEST)  # the rest of a line that was cut
    except (OSError, ValueError):
        return None
    if not line:
        return None
    text = line.decode("utf-8", "replace") if isinstance(line, bytes) else line
    return text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}").rstrip("\r\n")


def is_terminal(stream: object) -> bool:
    """Whether a standard stream is a terminal; one that is missing or closed is none."""
    try:
        return bool(stream is not None and stream.isatty())  # type: ignore[attr-defined]
    except ValueError:
        return False
