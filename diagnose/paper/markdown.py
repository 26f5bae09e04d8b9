"""Text as Markdown (CommonMark) that shows it as it is, and reads well before it is rendered."""

from __future__ import annotations

import re
from typing import Final

#: The columns of a page. A longer word stands on a line of its own.
WIDTH: Final = 100

_MARKUP: Final = re.compile(r"[\\`*_\[\]<|~#]|&(?=[#A-Za-z])")
# At the start of a line: quotes, lists, underlined headings, the rule under a table's head.
_STARTS: Final = re.compile(r"[-+=>:]")
_NUMBERS: Final = re.compile(r"(\d{1,9})([.)])")
# Joiners of letters and of emoji; every other unprintable character could redraw a terminal.
_JOINERS: Final = "\u200c\u200d"


def plain(text: object) -> str:
    """Return the text on one line, whatever could move a cursor replaced by U+FFFD."""
    words = " ".join(f"{text}".split())
    return "".join(
        c if c.isprintable() or c in _JOINERS else "\N{REPLACEMENT CHARACTER}" for c in words
    )


def inline(text: object) -> str:
    """Return the text for the middle of a line, with what could be taken for markup escaped."""
    return _MARKUP.sub(lambda found: f"\\{found[0]}", plain(text))


def strong(text: object) -> str:
    """Return the text in bold. Spaces or the ends of its paragraph belong on both sides."""
    inside = inline(text)
    return f"**{inside}**" if inside else ""


def heading(level: int, text: object) -> str:
    """Return a heading, 1 to 6, with its text escaped."""
    return f"{'#' * level} {inline(text)}"


def wrapped(line: str, *, first: str = "", width: int = WIDTH) -> list[str]:
    """Return a paragraph, already escaped, on lines of `width` columns.

    `first` stands before the first line, such as ``"- "``; the others are indented by as much.
    """
    lines: list[str] = []
    row = ""
    room = width - len(first)
    for word in line.split():
        if row and len(row) + 1 + len(word) > room:
            lines.append(row)
            row = ""
        row = f"{row} {word}" if row else _at_start(word)
    lines.append(row)
    return [(" " * len(first) if place else first) + text for place, text in enumerate(lines)]


def _at_start(word: str) -> str:
    """Return a word so that it begins no list, quote, heading or table at the start of a line."""
    if _STARTS.match(word):
        return f"\\{word}"
    number = _NUMBERS.fullmatch(word)
    return f"{number[1]}\\{number[2]}" if number else word
