"""Words as such: printable or not, near to which other word, how wide on a terminal.

The ground floor: every room may use it, it uses none.
"""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import islice
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

#: A longer word is no typing mistake, and comparing it with every known one takes minutes.
LONGEST_GUESS: Final = 80

#: With as many known words one is compared; each takes some 20 µs.
MOST_GUESSES: Final = 20_000

# What chooses between two looks of the character before it (Unicode: variation selectors).
_LOOKS: Final = re.compile("[\ufe00-\ufe0f\U000e0100-\U000e01ef]")


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return `` Did you mean "…"?`` for the closest known word, or nothing.

    >>> did_you_mean("streeking", ["streaking", "leak"])
    ' Did you mean "streaking"?'
    """
    close = nearest(word, known)
    return f' Did you mean "{close}"?' if close else ""


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the known word that was most likely meant, "" where none is near.

    >>> nearest("streeking", ["streaking", "leak"])
    'streaking'
    """
    return "" if len(word) > LONGEST_GUESS else _nearest(word, tuple(islice(known, MOST_GUESSES)))


# One slip of a name often stands in a hundred files.
@lru_cache(maxsize=256)
def _nearest(word: str, known: tuple[str, ...]) -> str:
    # Most starts meet no slip.
    import difflib

    return next(iter(difflib.get_close_matches(word, known, n=1)), "")


def folded(text: str) -> str:
    """Return `text` as words are compared: without capitals, with single spaces.

    >>> folded("  Not  SURE ")
    'not sure'
    """
    return " ".join(text.casefold().split())


def as_seen(text: str) -> str:
    """Return the same for texts that look alike: `folded`, in one spelling, with one look.

    >>> as_seen("Cafe\\N{COMBINING ACUTE ACCENT}") == as_seen("CAFÉ")
    True
    """
    if text.isascii():
        return folded(text)
    # Most trees are asked nothing of the kind.
    from unicodedata import normalize

    return folded(_LOOKS.sub("", normalize("NFKC", text)))


def shortened(text: str, limit: int = 40) -> str:
    """Return `text` cut to `limit` characters, printable, for use inside a message.

    >>> shortened("a very long name", 9)
    'a very l…'
    """
    if len(text) <= limit and text.isprintable():
        return text
    shown = "".join(
        c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text[: limit + 1]
    )
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"


def printable(text: str) -> str:
    """Return the text without anything that could move a cursor or change a colour.

    >>> printable("two\\nlines")
    'two lines'
    """
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() else " " if c.isspace() else "\N{REPLACEMENT CHARACTER}" for c in text
    )


def cells(text: str) -> int:
    """Return how many cells of a terminal a text takes: a letter may take one, two or none.

    >>> cells("ab"), cells("泡")
    (2, 2)
    """
    if text.isascii() and text.isprintable():
        return len(text)
    # Only screens need the tables, and they are large.
    from wcwidth import wcswidth

    width: int = wcswidth(printable(text))
    return width


def widths(texts: Iterable[str]) -> list[int]:
    """Return how many cells each text takes."""
    return [cells(text) for text in texts]


def wrap(text: str, width: int, first: int = 0) -> list[str]:
    """Break a text into rows at most `width` cells wide; the first has `first` cells less.

    >>> wrap("Look along the blade.", 10)
    ['Look along', 'the blade.']
    """
    rows: list[str] = []
    row, room = "", max(1, width - first)
    for word in text.split():
        joined = f"{row} {word}" if row else word
        if cells(joined) <= room:
            row = joined
            continue
        if row:
            rows.append(row)
            room = width
        row = word
        while cells(row) > room:
            front = head(row, room)
            rows.append(front)
            row, room = row[len(front) :], width
    return [*rows, row]


def wrap_each(texts: Iterable[tuple[str, int, int]]) -> list[list[str]]:
    """Break several texts, each given with its width and what its first row has less.

    >>> wrap_each([("Look along it.", 10, 0), ("ok", 10, 0)])
    [['Look along', 'it.'], ['ok']]
    """
    return [wrap(*each) for each in texts]


def cut(text: str, width: int) -> str:
    """Return the text cut to `width` cells, with dots where something is missing.

    >>> cut("Look along the blade.", 12)
    'Look alon...'
    """
    if cells(text) <= width:
        return text
    return f"{head(text, width - 3).rstrip()}..." if width > 4 else head(text, width)


def head(text: str, width: int) -> str:
    """Return as much of the front as fits into `width` cells, one character at least."""
    used = 0
    for place, character in enumerate(text):
        used += cells(character)
        if used > width and place:
            return text[:place]
    return text


def tail(text: str, width: int) -> str:
    """Return as much of the end as fits into `width` cells."""
    return head(text[::-1], width)[::-1]
