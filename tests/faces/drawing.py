"""Dialogs made for a screen, and what is drawn of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handmade import HEADING

from diagnose.faces import layout
from diagnose.faces.dialog import Dialog
from diagnose.faces.elements import StatusLine

if TYPE_CHECKING:
    from diagnose.case.screens import Screen
    from diagnose.faces.face import Heading
    from diagnose.faces.layout import ScreenRow


def dialog_of(screen: Screen, heading: Heading = HEADING) -> Dialog:
    return Dialog(screen, heading, StatusLine().status(screen, heading))


def draw(dialog: Dialog, columns: int = 80, rows: int = 24) -> list[ScreenRow]:
    return layout.draw(dialog, columns, rows)[0]


def text_of(row: ScreenRow) -> str:
    return "".join(text for _, text in row.pieces)


def marked(row: ScreenRow) -> int | None:
    """Return the number of the line to confirm, or of the field, that a row belongs to."""
    element = row.part[0] if row.part else None
    return element.number if element and element.kind in ("confirm", "field") else None


def texts(dialog: Dialog, columns: int = 80, rows: int = 24) -> list[str]:
    return [text_of(row) for row in draw(dialog, columns, rows)]


def body_of(dialog: Dialog, columns: int = 60, rows: int = 99) -> list[str]:
    """Return the rows between status and prompt; the air above and below them is not in it."""
    drawn, arranged = layout.draw(dialog, columns, rows)
    below = len(arranged.legend) + bool(dialog.prompt()) + 1
    body = [text_of(row) for row in drawn[len(arranged.status) : -below]]
    while body and not body[0]:
        body.pop(0)
    while body and not body[-1]:
        body.pop()
    return body
