"""JSON lines: each object one screen, each line of standard input one reply."""

from __future__ import annotations

import json
import math
import sys
from typing import TYPE_CHECKING, Any, Final

from diagnose.case.screens import (
    CautionScreen,
    DangerScreen,
    RefusedScreen,
    WhyScreen,
    as_data,
)
from diagnose.faces.streams import read_line
from diagnose.faces.words import DANGERS, NOTICE, STOP, render, reply_title

if TYPE_CHECKING:
    from diagnose.case.screens import Screen
    from diagnose.faces.face import Heading

#: What each caution of a screen says.
GUARD_FIELDS: Final = ("id", "title", "signal", "signs", "text", "confirm", "hazards")

#: What each screen says besides what all of them say. A contract: others drive us by it.
FIELDS: Final[dict[str, tuple[str, ...]]] = {
    "choose": ("what", "options"),
    "danger": (),
    "state": ("machine", "state", "since", "why", "tag", "case", "call"),
    "caution": ("id", "title", "phase", "lines"),
    "check": (
        *("step", "ask", "do", "look_for", "tool", "answers", "open", "minutes_left"),
        *("card", "note_down"),
    ),
    "reading": (
        *("step", "read", "do", "look_for", "tool", "needs", "open", "minutes_left"),
        *("card", "note_down"),
    ),
    "figure": ("step", "read", "value", "unit", "good_to", "expected", "band", "workings"),
    "finding": (
        *("step", "finding", "who", "checked", "remedy", "before_trying", "leave_safe"),
        *("until_mended", "probability", "likelier", "minutes", "parts", "card"),
    ),
    "item": ("round", "item", "number", "total", "do", "look_for", "card", "note_down"),
    "why": ("ranking",),
    "refused": (),
    "end": ("outcome", "ranking"),
}


class JsonLinesFace:
    """For a kiosk, another front end, a test."""

    def show(self, screen: Screen, heading: Heading) -> None:
        """Write the screen as one line. Raises `BrokenPipeError` where nobody reads any more."""
        write(as_object(screen, heading))

    def ask(self, screen: Screen, heading: Heading) -> str | None:
        """Write the screen as one line and return the next line of standard input."""
        self.show(screen, heading)
        return read_line()

    def waits(self, words: str) -> None:
        """Say it on standard error: it is no screen, and nothing is to be replied to it."""
        if sys.stderr is not None:
            print(words, file=sys.stderr, flush=True)


def write(shown: dict[str, Any]) -> None:
    """Write one object as a line. Raises `BrokenPipeError` where nobody reads any more."""
    # Escaped to ASCII, so that no locale can spoil it; NaN is no JSON.
    line = json.dumps(_finite(shown), allow_nan=False)
    if sys.stdout is not None:
        sys.stdout.write(line + "\n")
        sys.stdout.flush()


def as_object(screen: Screen, heading: Heading) -> dict[str, Any]:
    """Return a screen as the JSON object that stands for it."""
    own: dict[str, Any] = {}
    if isinstance(screen, WhyScreen):
        own["text"] = " ".join(render(piece) for piece in screen.text)
    if isinstance(screen, DangerScreen):
        answers = [{"id": one, "title": DANGERS[one]} for one in screen.answers]
        own = {"text": STOP, "call": as_data(screen.call), "answers": answers}
    if isinstance(screen, RefusedScreen):
        own["message"] = render(screen.message)
    own |= {name: as_data(getattr(screen, name)) for name in FIELDS[screen.screen]}
    if isinstance(screen, CautionScreen):
        own["cautions"] = [
            {name: as_data(getattr(guard, name)) for name in GUARD_FIELDS}
            for guard in screen.cautions
        ]
    return framed(screen, heading, NOTICE, own)


def framed(screen: Screen, heading: Heading, notice: str, own: dict[str, Any]) -> dict[str, Any]:
    """Return a screen's own fields between those that every screen has."""
    shown: dict[str, Any] = {"screen": screen.screen}
    if heading.first:
        shown["notice"] = notice
    if heading.case is not None:
        shown["case"] = heading.case
    shown["symptom"] = screen.symptom
    shown["in_force"] = as_data(screen.in_force)
    if screen.doorway is not None:
        shown["doorway"] = screen.doorway
    if screen.notes:
        shown["notes"] = [render(note) for note in screen.notes]
    titles = [{"id": reply, "title": reply_title(reply)} for reply in screen.replies]
    return {**shown, **own, "replies": titles}


def _finite(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {name: _finite(item) for name, item in value.items()}
    if isinstance(value, list):
        return [_finite(item) for item in value]
    return value
