"""One letter a reply, the same on every screen and in both faces for people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.files import replies

if TYPE_CHECKING:
    from diagnose.case.screens import Screen

#: Where two replies share a letter, no screen has both.
LETTERS: Final[dict[str, str]] = {
    replies.DONE: "y",
    replies.CURED: "y",
    replies.NOT_CURED: "n",
    replies.NOT_RIGHT: "n",
    replies.NONE: "n",
    replies.REFER: "r",
    replies.KEEP_LOOKING: "k",
    replies.UNSURE: "u",
    replies.CANNOT: "c",
    replies.NOT_NOW: "c",
    replies.BACK: "b",
    replies.WHY: "w",
    replies.DANGER: "d",
    replies.LEAVE: "l",
}


def letters(screen: Screen) -> dict[str, str]:
    """Return the letters of a screen, each with its reply, in the screen's order."""
    found: dict[str, str] = {}
    for reply in screen.replies:
        letter = LETTERS.get(reply)
        if letter is not None:
            found.setdefault(letter, reply)
    return found


def spelled_out(screen: Screen, typed: str) -> str:
    """Return the reply that a single letter stands for here, or what was typed as it is."""
    return letters(screen).get(typed.strip().casefold(), typed)
