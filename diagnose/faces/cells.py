"""Text in the cells of a terminal: a letter may take one, two or none."""

from __future__ import annotations

from prompt_toolkit.utils import get_cwidth


def wrap(text: str, width: int, first: int = 0) -> list[str]:
    """Break a text into rows at most `width` cells wide; the first has `first` cells less."""
    rows: list[str] = []
    row, room = "", max(1, width - first)
    for word in text.split():
        joined = f"{row} {word}" if row else word
        if get_cwidth(joined) <= room:
            row = joined
            continue
        if row:
            rows.append(row)
            room = width
        row = word
        while get_cwidth(row) > room:
            front = head(row, room)
            rows.append(front)
            row, room = row[len(front) :], width
    return [*rows, row]


def shorten(text: str, width: int) -> str:
    """Return the text cut to `width` cells, with dots where something is missing."""
    if get_cwidth(text) <= width:
        return text
    return f"{head(text, width - 3).rstrip()}..." if width > 4 else head(text, max(width, 1))


def head(text: str, width: int) -> str:
    """Return as much of the front as fits, one character at least."""
    used = 0
    for place, character in enumerate(text):
        used += get_cwidth(character)
        if used > width and place:
            return text[:place]
    return text


def tail(text: str, width: int) -> str:
    """Return as much of the end as fits."""
    return head(text[::-1], width)[::-1]
