"""What stands above and below a screen's body, at any width."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.faces.body import Row
from diagnose.text import cells, cut, wrap

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from diagnose.faces.body import Piece


def header(
    places: Sequence[str], causes: str | None, in_force: Sequence[str] | None, width: int, most: int
) -> list[Row]:
    """Return where the case stands, how many causes are open, and the cautions in force.

    At most `most` rows, 2 or more. The number of causes is never cut away. Cautions of None: there
    is no case yet, and nothing to say of them.
    """
    right = causes or ""
    left = _place(places, width - cells(right) - 3) if right else _place(places, width)
    whole = " · ".join(places)
    rows: list[Row] = []
    if left == whole or most < 3:
        gap = " " * max(1, width - cells(left) - cells(right))
        pieces = (("class:place", left), ("", gap if left and right else ""))
        rows.append(Row((*pieces, ("class:causes", cut(right, width)))))
    else:
        rows.append(Row((("class:place", _place(places, width)),)))
        rows.append(Row((("class:causes", cut(right, width)),)))
    return rows + _in_force(in_force, width, most - len(rows))


def _place(places: Sequence[str], width: int) -> str:
    """Return the place in one row: first the symptom is shortened, then the machine goes."""
    kept = list(places)
    while len(kept) > 1:
        others = " · ".join(kept[1:])
        room = width - cells(others) - 3
        if room >= min(20, cells(kept[0])):
            return f"{cut(kept[0], room)} · {others}"
        kept.pop(1 if len(kept) > 2 else 0)
    return cut(kept[0], width) if kept and width > 3 else ""


def _in_force(titles: Sequence[str] | None, width: int, most: int) -> list[Row]:
    if titles is None:
        return []
    if not titles:
        return [Row((("", cut("No caution in force", width)),))]
    shown = list(titles)
    while True:
        left_out = len(titles) - len(shown)
        more = f" and {left_out} more" if left_out else ""
        rows = wrap(f"In force: {', '.join(shown)}{more}", width)
        if len(rows) <= most or not shown[1:]:
            return [Row((("class:in-force", row),)) for row in rows[: max(1, most)]]
        shown.pop()


def footer(keys: Iterable[tuple[str, str]], width: int, most: int) -> list[Row]:
    """Return the keys with their words, as many a row as fit; the words go where rows are few."""
    pairs = list(keys)
    rows = _flow([[("class:key", key), ("", f" {words}")] for key, words in pairs], width)
    if len(rows) <= most:
        return rows
    # The letters alone; danger first, with its word: it must never be cut or need explaining.
    pairs.sort(key=lambda pair: pair[1] != "danger")
    spare = [
        [("class:key", key), ("", " danger" if words == "danger" else "")] for key, words in pairs
    ]
    return _flow(spare, width)[:most]


def _flow(chunks: list[list[Piece]], width: int) -> list[Row]:
    rows: list[list[Piece]] = [[]]
    used = 0
    for chunk in chunks:
        size = sum(cells(text) for _, text in chunk)
        if rows[-1] and used + 3 + size > width:
            rows.append([])
            used = 0
        if rows[-1]:
            rows[-1].append(("", "   "))
            used += 3
        rows[-1] += chunk
        used += size
    return [Row(tuple(row)) for row in rows]
