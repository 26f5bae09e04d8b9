"""The blocks of a screen as rows so and so wide: pure, no terminal in sight.

A row is a list of (style, text); styles are class names that the stage gives a look.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from diagnose.text import cells, tail, wrap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.faces.content import Block

Piece: TypeAlias = tuple[str, str]

#: Where the terminal's own cursor goes.
CURSOR: Final[Piece] = ("[SetCursorPosition]", "")

#: Below this width nothing is indented.
ROOMY: Final = 40


@dataclass(frozen=True, slots=True)
class Row:
    """One row. `mark` is the number of the line to confirm, or the field, that it belongs to."""

    pieces: tuple[Piece, ...] = ()
    mark: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """What the person has done so far on this screen.

    `ticked` lines of a caution are confirmed, one by one where `by_line`; `typed` stands in the
    fields, of which number `field` takes the next key (None: nothing is typed here).
    """

    ticked: int = 0
    by_line: bool = False
    typed: tuple[str, ...] = ()
    field: int | None = None


#: Parts that belong together.
_GROUPS: Final = {
    **dict.fromkeys(("notice",), 1),
    **dict.fromkeys(("note", "refused"), 2),
    **dict.fromkeys(("signal", "title", "text", "aside"), 3),
    **dict.fromkeys(("ask",), 4),
    **dict.fromkeys(("answer", "field"), 5),
    **dict.fromkeys(("heading", "line"), 6),
    **dict.fromkeys(("confirm",), 7),
}

#: Around which groups there is air where there is room for it: all, or only the most needed.
_ALL: Final = frozenset(range(1, 8))
_MOST_NEEDED: Final = frozenset({1, 2, 4})
_NONE: Final = frozenset[int]()
_SCROLLED: Final = frozenset({7})


def body(said: Sequence[Block], width: int, room: int, marks: Marks) -> list[Row]:
    """Return the rows of a screen's body, with as much air between its parts as there is room.

    What has to be scrolled in any case keeps the air above the lines to confirm.
    """
    # Numbers stand right-aligned where there are ten or more.
    digits = max((len(f"{block.number}") for block in said if block.kind == "answer"), default=1)
    parts = [(block.kind, _rows(block, width, marks, digits)) for block in said]
    for airy in (_ALL, _MOST_NEEDED, _NONE):
        rows = _spaced(parts, airy)
        if len(rows) <= room:
            return rows
    return _spaced(parts, _SCROLLED)


def _spaced(parts: Sequence[tuple[str, list[Row]]], airy: frozenset[int]) -> list[Row]:
    rows: list[Row] = []
    group = 0
    for kind, own in parts:
        before, group = group, _GROUPS.get(kind, group)
        if rows and group != before and (before in airy or group in airy):
            rows.append(Row())
        rows += own
    return rows


def _rows(block: Block, width: int, marks: Marks, digits: int) -> list[Row]:
    margin = 2 if width >= ROOMY else 0
    if block.kind == "signal":
        return [_panel(block.text, width, margin)]
    if block.kind == "notice":
        return _after(" NOTICE ", "class:notice", block.text, width, margin)
    if block.kind == "refused":
        return _hanging("!", "class:refused", block.text, "class:refused", width, margin)
    if block.kind == "answer":
        return _hanging(f"{block.number:>{digits}}", "class:key", block.text, "", width, margin)
    if block.kind == "line":
        return _hanging("-", "", block.text, "", width, margin)
    if block.kind == "confirm":
        return _confirm(block, width, margin, marks)
    if block.kind == "field":
        return _field(block.text, (block.number or 1) - 1, width, margin, marks)
    style = f"class:{block.kind}"
    return [
        Row(((("", " " * margin)), (style, text))) for text in wrap(block.text, width - 2 * margin)
    ]


def _panel(signal: str, width: int, margin: int) -> Row:
    """Return a signal word in its panel, and a barrier tape for the rest of the row."""
    word = f" {signal} "
    tape = "/" * max(0, width - 2 * margin - len(word) - 1)
    style = f"class:signal.{signal.lower()}"
    return Row((("", " " * margin), (style, word), ("", " "), ("class:tape", tape)))


def _after(head: str, head_style: str, text: str, width: int, margin: int) -> list[Row]:
    first, *others = wrap(text, width - 2 * margin, first=len(head) + 1)
    indent = ("", " " * margin)
    rows = [Row((indent, (head_style, head), ("", f" {first}")))]
    return rows + [Row((indent, ("", text))) for text in others]


def _hanging(
    head: str, head_style: str, text: str, style: str, width: int, margin: int, wide: int = 1
) -> list[Row]:
    wide = max(wide, len(head))
    gap = wide + (2 if margin else 1)
    first, *others = wrap(text, width - 2 * margin - gap)
    filled = " " * (gap - len(head))
    rows = [Row((("", " " * margin), (head_style, head), ("", filled), (style, first)))]
    return rows + [Row((("", " " * (margin + gap)), (style, text))) for text in others]


def _confirm(block: Block, width: int, margin: int, marks: Marks) -> list[Row]:
    number = block.number or 1
    head, style = "-", ""
    if marks.by_line:
        head = "ok" if number <= marks.ticked else ">>" if number == marks.ticked + 1 else ""
        style = "class:next" if head == ">>" else ""
    wide = 2 if marks.by_line else 1
    rows = _hanging(head, "class:key", block.text, style, width, margin, wide)
    return [Row(row.pieces, number) for row in rows]


def _field(title: str, which: int, width: int, margin: int, marks: Marks) -> list[Row]:
    """Return a field: its title, what was typed (the end of it, where it is long), the cursor."""
    here = marks.field == which
    indent = ("", " " * margin)
    head = ("class:key", "> " if here else "  ")
    typed = marks.typed[which]
    inner = width - 2 * margin - 3
    titles = wrap(f"{title}:", inner) if title else [""]
    used = cells(titles[-1]) + 1 if title else 0
    if used + cells(typed) > inner:
        titles, used = [*titles, ""], 0
        typed = typed if cells(typed) <= inner else f"...{tail(typed, max(1, inner - 3))}"
    style = "class:next" if here else ""
    heads = [head] + [("", "  ")] * (len(titles) - 1)
    rows = [
        Row((indent, front, (style, text)), which + 1)
        for front, text in zip(heads, titles, strict=True)
    ]
    value = (("", " " if used else ""), ("class:typed", typed), *((CURSOR,) if here else ()))
    return [*rows[:-1], Row((*rows[-1].pieces, *value), which + 1)]
