"""The rows of one dialog in a terminal of any size: status, body, prompt, legend. Pure.

A row is a list of (style, text); styles are class names that the terminal gives a look.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeAlias

from msgspec import Struct

from diagnose.case.screens import DangerScreen
from diagnose.faces.words import REPLIES, STOP_SMALL, TOO_SMALL
from diagnose.files import replies
from diagnose.text import cells, cut, head, printable, tail, widths, wrap, wrap_each

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.faces.dialog import Dialog, Foot
    from diagnose.faces.elements import Element
    from diagnose.faces.sight import Part

Piece: TypeAlias = tuple[str, str]

#: Where the terminal's own cursor goes.
CURSOR: Final[Piece] = ("[SetCursorPosition]", "")

#: A terminal smaller than this shows nothing but that it is too small.
NARROWEST: Final = 20
LOWEST: Final = 8

#: Below this width nothing is indented; below this height no air is kept under the status.
ROOMY_WIDTH: Final = 40
ROOMY_HEIGHT: Final = 16

#: Between two places of the status, and between two keys of the legend.
_DOT: Final = " · "
_GAP: Final = "   "
_LITTLE_GAP: Final = "  "

_NOTICE: Final = " NOTICE "

#: Kinds of elements that belong together, as groups 1 to 7.
_KINDS: Final = (
    "notice|note refused|signal title text aside|ask|answer option field|heading line|confirm"
)
_GROUPS: Final = {kind: at for at, few in enumerate(_KINDS.split("|"), 1) for kind in few.split()}

#: Around which groups there is air where there is room for it: all, or only the most needed. What
#: has to be scrolled in any case keeps the air above the lines to confirm.
_ALL: Final = frozenset(range(1, 8))
_MOST_NEEDED: Final = frozenset({1, 2, 4})
_SCROLLED: Final = frozenset({7})


class ScreenRow(Struct, frozen=True):
    """One row. `part` tells which element of the body it belongs to, and which row of it it is."""

    pieces: tuple[Piece, ...] = ()
    part: Part = None


class _Text(Struct, frozen=True):
    """An element, how many cells its rows hang behind a head, and the rows that it takes."""

    element: Element
    hang: int
    rows: list[str]


class Arrangement(Struct, frozen=True):
    """What of a drawing depends on the screen and the terminal's size alone, and no key changes."""

    columns: int
    rows: int
    noting: bool
    said: list[Element]
    status: list[ScreenRow]
    signal: list[ScreenRow]
    texts: list[_Text]
    legend: list[ScreenRow]


def draw(
    dialog: Dialog, columns: int, rows: int, known: Arrangement | None = None
) -> tuple[list[ScreenRow], Arrangement | None]:
    """Return exactly `rows` rows, and how they were arranged; what is in sight is noted.

    `known` is how this dialog was arranged when it was drawn last, since it was opened. In a
    terminal too small for it nothing of it is drawn, and nothing arranged.
    """
    if columns < NARROWEST or rows < LOWEST:
        return _too_small(dialog, columns, rows), None
    asked = (columns, rows, dialog.note is not None)
    fits = known is not None and (known.columns, known.rows, known.noting) == asked
    # What is typed can narrow a list.
    if known is None or not fits or known.said is not dialog.elements:
        known = _arranged(dialog, *asked)
    prompts = dialog.prompts or dialog.note is not None
    fixed = len(known.signal) + prompts + len(known.legend) + 1
    least = 1 if known.signal else 2
    body, foot = _body(dialog, known, max(least, rows - len(known.status) - fixed))
    # Where not all fits, the status gives way, the cautions' row first: never the signal word, the
    # keys.
    above = known.status[: rows - len(body) - fixed]
    below = [_between(foot, columns), *_prompt(dialog, foot.prompt, columns), *known.legend]
    return [*above, *known.signal, *body, *below], known


def _too_small(dialog: Dialog, columns: int, rows: int) -> list[ScreenRow]:
    """Return one sentence, the longest for which there is room; at a danger it says the stop."""
    for sentence in STOP_SMALL if isinstance(dialog.screen, DangerScreen) else TOO_SMALL:
        shown = wrap(sentence, columns)
        if len(shown) <= rows and all(cells(word) <= columns for word in sentence.split()):
            break
    else:
        shown = [head(sentence, columns)]
    drawn = [ScreenRow((("", row),)) for row in shown]
    return [*drawn, *[ScreenRow()] * (rows - len(drawn))]


def _arranged(dialog: Dialog, columns: int, rows: int, noting: bool) -> Arrangement:
    status, legend = dialog.status, dialog.legend
    said = [one for one in dialog.elements if one.kind != "signal"]
    hangs, to_break = _to_break(dialog, said, columns)
    held = f"In force: {', '.join(status.in_force or ())}"
    # All at once: each is a call into another module.
    *texts, in_force = wrap_each([*to_break, (held, columns, 0)])
    new = status.in_force is None
    place = (status.place or ("A new case",)) if new else status.place
    causes = "" if new else status.causes or ""
    sizes = widths([*place, causes, *(f"{key} {word}" for key, word in legend)])
    most = 2 if rows < 12 else 4 if rows < 20 else 6
    above = _where(place, causes, sizes[: len(place) + 1], columns, most)
    if status.in_force is not None:
        above += _in_force(status.in_force, in_force, columns, most - len(above))
    return Arrangement(
        columns,
        rows,
        noting,
        dialog.elements,
        above if status.told else [],
        _signals(dialog, columns),
        [_Text(*each) for each in zip(said, hangs, texts, strict=True)],
        _legend(dialog, legend, sizes[len(place) + 1 :], columns, max(1, rows // 5)),
    )


def _signals(dialog: Dialog, columns: int) -> list[ScreenRow]:
    return [_signal(one.text, columns) for one in dialog.elements if one.kind == "signal"]


# Above the body: where the case stands, how many causes are open, the cautions in force


def _where(
    place: Sequence[str], causes: str, sizes: list[int], width: int, most: int
) -> list[ScreenRow]:
    """Return place and causes in one row, or in two; the causes are never cut away."""
    *parts, right = sizes
    left, size = _DOT.join(place), sum(parts) + len(_DOT) * max(0, len(parts) - 1)
    beside = width - right - len(_GAP) if causes else width
    right_piece = ("class:causes", causes if right <= width else cut(causes, width))
    if place and size > beside and most > 2:
        left = left if size <= width else _shortened(place, width)
        return [ScreenRow((("class:place", left),)), ScreenRow((right_piece,))]
    if size > beside:
        left = _shortened(place, beside)
        size = cells(left)
    gap = " " * max(1, width - size - right) if left and causes else ""
    return [ScreenRow((("class:place", left), ("", gap), right_piece))]


def _shortened(place: Sequence[str], width: int) -> str:
    """Return the place in one row: first the symptom is shortened, then the machine goes."""
    kept = list(place)
    while len(kept) > 1:
        others = _DOT.join(kept[1:])
        room = width - cells(others) - len(_DOT)
        if room >= min(20, cells(kept[0])):
            return f"{cut(kept[0], room)}{_DOT}{others}"
        kept.pop(1 if len(kept) > 2 else 0)
    return cut(kept[0], width) if kept and width > 3 else ""


def _in_force(titles: Sequence[str], rows: list[str], width: int, most: int) -> list[ScreenRow]:
    """Return the cautions in at most `most` rows, one at least; those left out are counted."""
    if not titles:
        return [ScreenRow((("", _cut("No caution in force", width)),))]
    shown = len(titles)
    while len(rows) > most and shown > 1:
        shown -= 1
        more = f"{', '.join(titles[:shown])} and {len(titles) - shown} more"
        (rows,) = wrap_each([(f"In force: {more}", width, 0)])
    return [ScreenRow((("class:in-force", row),)) for row in rows[: max(1, most)]]


def _signal(word: str, width: int) -> ScreenRow:
    """Return the signal word's panel with a barrier tape behind it, in sight whatever is read."""
    margin = "  " if width >= ROOMY_WIDTH else ""
    panel = f" {word} "
    tape = "/" * max(0, width - 2 * len(margin) - len(panel) - 1)
    return ScreenRow(
        (
            ("", margin),
            (f"class:signal.{word.lower()}", panel),
            ("", " "),
            ("class:tape", tape),
        )
    )


# Below the body: what is out of sight, the keys


def _between(foot: Foot, columns: int) -> ScreenRow:
    """Return the row between body and keys: a hint, what is out of sight, or air."""
    if foot.refused:
        return ScreenRow((("class:refused", _cut(foot.refused, columns)),))
    told = [*foot.out_of_sight]
    while len(told) > 1 and cells(_DOT.join(told)) > columns:
        told.pop()
    return ScreenRow((("class:more", _cut(_DOT.join(told), columns)),) if told else ())


def _prompt(dialog: Dialog, prompt: str, columns: int) -> list[ScreenRow]:
    """Return how the screen is answered, or the field in which a note is typed."""
    if not prompt:
        return []
    asked = ("class:prompt", _cut(prompt, columns))
    if dialog.note is None:
        return [ScreenRow((asked,))]
    typed = _end_of(printable(dialog.note), columns - cells(prompt) - 2)
    return [ScreenRow((asked, ("", " "), ("class:typed", typed), CURSOR))]


def _legend(
    dialog: Dialog, keys: list[tuple[str, str]], sizes: Sequence[int], width: int, most: int
) -> list[ScreenRow]:
    """Return the keys with their words, as many a row as fit; the words go where rows are few."""
    rows = _fewest(keys, sizes, width)
    note, asked = REPLIES[replies.NOTE], dialog.asks_for_note
    if not asked:
        # Nobody waits for a note here: its key takes no row from what is to be read.
        kept = [pair for pair in zip(keys, sizes, strict=True) if pair[0][0] != note.key]
        fewer = _fewest([key for key, _ in kept], [size for _, size in kept], width)
        rows = min(rows, fewer, key=len)
    if len(rows) <= most:
        return rows
    # The letters alone; danger first, with its word: it must never be cut or need explaining.
    words = {"danger", note.short} if asked else {"danger"}
    spare = [(key, word if word in words else "") for key, word in keys]
    spare.sort(key=lambda pair: (pair[1] != "danger", not pair[1]))
    return _flow(spare, widths(" ".join(pair).rstrip() for pair in spare), width, _GAP)[:most]


def _fewest(keys: list[tuple[str, str]], sizes: Sequence[int], width: int) -> list[ScreenRow]:
    """Return the keys in the fewest rows, with less between them where that saves one."""
    return min((_flow(keys, sizes, width, gap) for gap in (_GAP, _LITTLE_GAP)), key=len)


def _flow(
    keys: list[tuple[str, str]], sizes: Sequence[int], width: int, between: str
) -> list[ScreenRow]:
    rows: list[list[Piece]] = [[]]
    used = 0
    for (key, word), size in zip(keys, sizes, strict=True):
        if rows[-1] and used + len(between) + size > width:
            rows.append([])
            used = 0
        if rows[-1]:
            rows[-1].append(("", between))
            used += len(between)
        rows[-1] += [("class:key", key), ("", f" {word}" if word else "")]
        used += size
    return [ScreenRow(tuple(row)) for row in rows]


# The body


def _body(dialog: Dialog, known: Arrangement, room: int) -> tuple[list[ScreenRow], Foot]:
    """Return `room` rows, with as much air between the parts as there is room for.

    And what stands under them: what is to be pressed depends on what is in sight now.
    """
    parts = [(text.element.kind, _rows(text, known.columns, dialog)) for text in known.texts]
    air = 1 if known.rows >= ROOMY_HEIGHT else 0
    rows = _spaced(parts, room - air)
    if air and len(rows) > room - 1:
        # No air under the status where that row is just what is lacking.
        tight = _spaced(parts, room)
        if len(tight) <= room:
            rows, air = tight, 0
    room -= air
    window, foot = dialog.fit(known.columns, [row.part for row in rows], room)
    shown = rows[window]
    return [*[ScreenRow()] * air, *shown, *[ScreenRow()] * (room - len(shown))], foot


def _spaced(parts: Sequence[tuple[str, list[ScreenRow]]], room: int) -> list[ScreenRow]:
    for airy in (_ALL, _MOST_NEEDED, frozenset[int](), _SCROLLED):
        rows: list[ScreenRow] = []
        group = 0
        for kind, own in parts:
            before, group = group, _GROUPS.get(kind, group)
            if rows and group != before and (before in airy or group in airy):
                rows.append(ScreenRow())
            rows += own
        if len(rows) <= room:
            break
    return rows


def _to_break(
    dialog: Dialog, said: Sequence[Element], columns: int
) -> tuple[list[int], list[tuple[str, int, int]]]:
    """Return of each element how far its rows hang, and what is to be broken into them.

    That is a text, the width of its rows, and what the first one has less.
    """
    # Numbers stand right-aligned where there are ten or more.
    numbers = [f"{one.number}" for one in said if one.kind == "answer"]
    digits = max(map(len, numbers), default=1)
    heads = {"answer": digits, "confirm": 2 if dialog.by_line else 1}
    heads |= dict.fromkeys(("refused", "line", "option"), 1)
    margin, gap = (2, 2) if columns >= ROOMY_WIDTH else (0, 1)
    inner = columns - 2 * margin
    # A title has a number where it is one of several.
    sizes = [1 if one.kind == "title" and one.number else heads.get(one.kind, -gap) for one in said]
    hangs = [size + gap for size in sizes]
    pairs = zip(said, hangs, strict=True)
    return hangs, [_text_of(one, inner, hang) for one, hang in pairs]


def _text_of(element: Element, inner: int, hang: int) -> tuple[str, int, int]:
    if element.kind == "field":
        return f"{element.text}:" if element.text else "", inner - 3, 0
    if element.kind == "notice":
        return element.text, inner, len(_NOTICE) + 1
    return element.text, inner - hang, 0


def _rows(text: _Text, columns: int, dialog: Dialog) -> list[ScreenRow]:
    element = text.element
    margin = "  " if columns >= ROOMY_WIDTH else ""
    if element.kind == "field":
        return _field(text, columns - 2 * len(margin) - 3, ("", margin), dialog)
    head, head_style, style = _head(element, dialog)
    if element.kind == "answer":
        head = head.rjust(text.hang - (len(margin) or 1))
    gap = " " * (text.hang - len(head) if text.hang or not head else 1)
    front = (("", margin), (head_style, head), ("", gap))
    under = (("", margin + " " * text.hang),)
    return [
        ScreenRow((*(under if at else front), (style, row)), (element, at))
        for at, row in enumerate(text.rows)
    ]


def _head(element: Element, dialog: Dialog) -> tuple[str, str, str]:
    """Return what an element begins with, its style, and the style of the text."""
    kind, number = element.kind, element.number or 1
    if kind == "title" and element.number:
        return f"{number}", "class:key", "class:title"
    if kind == "confirm" and dialog.by_line:
        if number == dialog.ticked + 1:
            return ">>", "class:key", "class:next"
        return "ok" if number <= dialog.ticked else "", "class:key", ""
    heads = {
        "notice": (_NOTICE, "class:notice", ""),
        "refused": ("!", "class:refused", "class:refused"),
        "answer": (f"{number}", "class:key", ""),
        "confirm": ("-", "class:key", ""),
        "line": ("-", "", ""),
        "option": ("-", "", ""),
    }
    return heads.get(kind, ("", "", f"class:{kind}"))


def _field(text: _Text, inner: int, indent: Piece, dialog: Dialog) -> list[ScreenRow]:
    """Return a field: its title, what was typed (the end of it, where it is long), the cursor."""
    which = (text.element.number or 1) - 1
    here = dialog.field == which and dialog.note is None
    typed = printable(dialog.typed[which])
    titles = text.rows
    before, size = widths([titles[-1], typed])
    behind = " " if text.element.text else ""
    if before + len(behind) + size > inner:
        titles, behind = [*titles, ""], ""
        typed = _end_of(typed, inner)
    style = "class:next" if here else ""
    value = (("", behind), ("class:typed", typed), *((CURSOR,) if here else ()))
    rows = []
    for at, title in enumerate(titles):
        head = ("", "  ") if at else ("class:key", "> " if here else "  ")
        told = value if at == len(titles) - 1 else ()
        rows.append(ScreenRow((indent, head, (style, title), *told), (text.element, at)))
    return rows


def _end_of(typed: str, width: int) -> str:
    """Return what was typed, or the end of it where it is long."""
    return typed if cells(typed) <= width else f"...{tail(typed, max(1, width - 3))}"


def _cut(text: str, width: int) -> str:
    # Nearly all rows fit; seen here, it is one call less for each.
    return text if text.isascii() and len(text) <= width else cut(text, width)
