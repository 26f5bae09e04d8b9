"""Which face: JSON lines when asked for, plain lines where no terminal is, else the screen."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

from diagnose.faces.streams import is_terminal

if TYPE_CHECKING:
    from diagnose.faces.face import Face


def face_for(plain: bool = False, json: bool = False) -> Face:
    """Return the face to use. Only the one that is chosen is imported."""
    if json:
        from diagnose.faces.json_lines import JsonLinesFace

        return JsonLinesFace()
    if plain or not can_draw():
        from diagnose.faces.plain import PlainFace

        return PlainFace()
    from diagnose.faces.terminal import TerminalFace

    return TerminalFace()


def can_draw() -> bool:
    """Whether there is a terminal on both sides that can place text."""
    if os.environ.get("TERM", "").strip() in ("", "dumb"):
        return False
    return is_terminal(sys.stdin) and is_terminal(sys.stdout)
