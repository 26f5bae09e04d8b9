"""What a person sees of a sitting: header, body, keys, in a terminal of any size."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.case.screens import CheckScreen, ChooseScreen, ReadingScreen
from diagnose.faces.body import Marks, Row, body
from diagnose.faces.content import Block, blocks
from diagnose.faces.edges import footer, header
from diagnose.faces.keys import letters
from diagnose.faces.phrases import place
from diagnose.faces.sitting import ALARM, ONE_KEY
from diagnose.faces.words import SHORT
from diagnose.files import replies
from diagnose.text import cut, printable

if TYPE_CHECKING:
    from diagnose.faces.sitting import Sitting

#: A terminal smaller than this is drawn as if it were so wide and high.
NARROWEST: Final = 16
LOWEST: Final = 5

#: From this many rows on there is air under the header.
ROOMY: Final = 16


def draw(sitting: Sitting, columns: int, rows: int) -> list[Row]:
    """Return exactly `rows` rows, and note what of the body is in sight now."""
    columns, rows = max(columns, NARROWEST), max(rows, LOWEST)
    above = _header(sitting, columns, _header_rows(rows))
    below = footer(_keys(sitting), columns, max(1, rows // 5))
    if _prompt(sitting):
        below.insert(0, Row((("class:prompt", cut(_prompt(sitting), columns)),)))
    room = max(2, rows - len(above) - len(below) - 1)
    shown = _body(sitting, columns, room, airy=rows >= ROOMY)
    # What does not fit gives way: first the cautions' row, never the causes and the keys.
    above = above[: max(1, rows - len(shown) - len(below) - 1)]
    return [*above, *shown, _between(sitting, columns), *below][-rows:]


def _header_rows(rows: int) -> int:
    return 2 if rows < 12 else 4 if rows < 20 else 6


def _header(sitting: Sitting, columns: int, most: int) -> list[Row]:
    if isinstance(sitting.screen, ChooseScreen):
        return header(["A new case"], None, None, columns, most)
    in_force = [printable(caution.title) for caution in sitting.in_force]
    return header(place(sitting.heading), sitting.causes, in_force, columns, most)


def _body(sitting: Sitting, columns: int, room: int, *, airy: bool) -> list[Row]:
    said = blocks(sitting.screen, sitting.heading)
    if sitting.refused:
        said.insert(0, Block("refused", sitting.refused))
    if sitting.typed and not isinstance(sitting.screen, ReadingScreen):
        asked = next(at for at, block in enumerate(said) if block.kind == "ask")
        said.insert(asked + 1, Block("field", "", 1))
    marks = Marks(
        ticked=sitting.ticked,
        by_line=sitting.by_line,
        typed=tuple(printable(text) for text in sitting.typed),
        field=sitting.field if sitting.typed else None,
    )
    # Air under the header, unless that row is just what is lacking.
    air = [Row()] if airy else []
    rows = body(said, columns, room - len(air), marks)
    if air and len(rows) > room - 1 and len(body(said, columns, room, marks)) <= room:
        rows, air = body(said, columns, room, marks), []
    room -= len(air)
    window = sitting.window
    laid = (columns, 0 if sitting.typed else len(rows), sitting.refused)
    if window.laid != laid:
        # Other rows than before: what was seen of those says nothing of these.
        window.top = window.seen = 0
        window.laid = laid
        sitting.follow = sitting.follow or sitting.ticked > 0
    window.room = room
    window.rows = len(rows)
    window.ends = {row.mark: at for at, row in enumerate(rows, start=1) if row.mark}
    end = window.ends.get((sitting.field if sitting.typed else sitting.ticked) + 1, len(rows))
    if sitting.follow and end > window.top + window.room:
        # Never past rows that were not in sight.
        window.top = min(end - window.room, window.seen)
    sitting.follow = False
    window.top = max(0, min(window.top, window.rows - window.room))
    if window.top <= window.seen:
        window.seen = max(window.seen, min(window.rows, window.top + window.room))
    shown = rows[window.top : window.top + window.room]
    return [*air, *shown, *[Row()] * (window.room - len(shown))]


def _between(sitting: Sitting, columns: int) -> Row:
    """Return the row between body and keys: a hint, what is out of sight, or air."""
    if sitting.hint:
        return Row((("class:refused", cut(sitting.hint, columns)),))
    window = sitting.window
    under = window.rows - window.top - window.room
    told = [f"more below ({under}): PgDn"] if under > 0 else []
    told += [f"more above ({window.top}): PgUp"] if window.top else []
    return Row((("class:more", cut(" · ".join(told), columns)),)) if told else Row()


def _prompt(sitting: Sitting) -> str:
    screen = sitting.screen
    if sitting.waits:
        return "Any key goes on."
    if sitting.by_line and sitting.ticked < sitting.lines:
        return f">> is so: Space or Enter ({sitting.ticked} of {sitting.lines})"
    if sitting.lines:
        return f"y: all {sitting.lines} lines are done"
    if isinstance(screen, ChooseScreen) and len(screen.options) <= ONE_KEY:
        return "A digit; or type it, then Enter"
    if isinstance(screen, ChooseScreen | ReadingScreen):
        return "Type it, or a letter; then Enter"
    if isinstance(screen, CheckScreen) and sitting.typed:
        return f"A number, 1 to {len(screen.answers)}, then Enter"
    return ""


def _keys(sitting: Sitting) -> list[tuple[str, str]]:
    if sitting.waits:
        return [("d", "danger")]
    named = [
        (ALARM if sitting.words and reply == replies.DANGER else letter, SHORT.get(reply, reply))
        for letter, reply in letters(sitting.screen).items()
        if not (sitting.lines and reply == replies.DONE)
    ]
    if isinstance(sitting.screen, CheckScreen) and not sitting.typed:
        named.insert(0, (f"1-{len(sitting.screen.answers)}", "answer"))
    return named
