"""A drill at any of the three faces.

To people its screens are shown as questions with numbered answers, which every face knows; to other
programs as JSON lines of their own, described in docs/drill.md.
"""

from __future__ import annotations

import json
import math
import shutil
import sys
import textwrap
from typing import TYPE_CHECKING, Any, Final

from diagnose.case.screens import CheckScreen, EndScreen, Named, Phrase, as_data
from diagnose.drill.screens import (
    CauseScreen,
    GuardScreen,
    HandsScreen,
    PickScreen,
    ScoreScreen,
    SeenScreen,
)
from diagnose.faces.choose import face_for
from diagnose.faces.drill_words import (
    HANDS,
    INTRO,
    OUTCOMES,
    guard_title,
    hands_title,
    minutes,
    seen,
    sheet,
)
from diagnose.faces.lines import LinesFace
from diagnose.faces.typed import read_line
from diagnose.faces.words import NOTICE, render, reply_title
from diagnose.text import printable

if TYPE_CHECKING:
    from diagnose.case.screens import Screen
    from diagnose.faces.face import Face, Heading

#: What each screen of a drill says besides what all of them say. A contract, as in `lines`.
FIELDS: Final[dict[str, tuple[str, ...]]] = {
    "pick": ("checks", "used"),
    "guard": (
        *("work", "step", "title", "do", "tool"),
        *("cautions", "hands", "take_minutes", "used"),
    ),
    "seen": ("look", "used"),
    "cause": ("causes",),
    "hands": ("cause", "hands"),
    "score": ("score",),
}


def drill_face(*, plain: bool, json: bool) -> Face:
    """Return the face of a drill, chosen as for a case."""
    return DrillLines() if json else DrillSpoken(face_for(plain=plain))


class DrillLines:
    """JSON lines: each object one screen, each line of standard input one reply."""

    def __init__(self) -> None:
        self._cases = LinesFace()

    def show(self, screen: Screen, heading: Heading) -> None:
        """Write the screen as one line. Raises `BrokenPipeError` where nobody reads any more."""
        if screen.screen not in FIELDS:
            self._cases.show(screen, heading)
        elif sys.stdout is not None:
            sys.stdout.write(json.dumps(as_object(screen, heading), allow_nan=False) + "\n")
            sys.stdout.flush()

    def ask(self, screen: Screen, heading: Heading) -> str | None:
        """Write the screen as one line and return the next line of standard input."""
        self.show(screen, heading)
        return read_line()


def as_object(screen: Screen, heading: Heading) -> dict[str, Any]:
    """Return a screen of a drill as the JSON object that stands for it."""
    shown: dict[str, Any] = {"screen": screen.screen}
    if heading.first:
        shown["notice"] = f"{NOTICE} {INTRO}"
    shown["symptom"] = screen.symptom
    shown["in_force"] = as_data(screen.in_force)
    if screen.notes:
        shown["notes"] = [render(note) for note in screen.notes]
    for name in FIELDS[screen.screen]:
        value = as_data(getattr(screen, name))
        if name in ("look", "score"):
            shown |= value
        elif name == "hands":
            shown[name] = [{**one, "title": HANDS[one["id"]]} for one in value]
        else:
            shown[name] = value
    shown["replies"] = [{"id": reply, "title": reply_title(reply)} for reply in screen.replies]
    return shown


class DrillSpoken:
    """For people, at the terminal or in plain lines: the face that a case would have."""

    def __init__(self, face: Face) -> None:
        self._face = face
        self._said: list[Phrase] = []
        self._causes = 0

    def show(self, screen: Screen, heading: Heading) -> None:
        """Show a screen that takes no reply; what a check gave stands above the next one."""
        if isinstance(screen, SeenScreen):
            self._said.append(Phrase(seen(screen.look)))
        elif isinstance(screen, ScoreScreen):
            outcome = OUTCOMES[screen.score.outcome]
            self._face.show(EndScreen(outcome=outcome, ranking=(), notes=screen.notes), heading)
            _print(sheet(screen.score))
        else:
            self._face.show(screen, heading)

    def ask(self, screen: Screen, heading: Heading) -> str | None:
        """Show a screen and return the reply as typed, or None at the end of the input."""
        if isinstance(screen, PickScreen):
            self._causes = screen.causes
        if screen.screen in FIELDS:
            intro = [Phrase(INTRO)] if heading.first else []
            screen = self._question(screen, (*intro, *self._said, *screen.notes))
            self._said = []
        return self._face.ask(screen, heading)

    def _question(self, screen: Screen, notes: tuple[Phrase, ...]) -> CheckScreen:
        """Return a screen of a drill as a question with numbered answers."""
        do, look_for, tool = None, None, None
        answers: list[str] = []
        if isinstance(screen, PickScreen):
            ask = "What do you check? Reply done once you know the cause."
            look_for = f"Used so far: {minutes(screen.used)}."
            for check in screen.checks:
                given = f" You saw: {check.state}" if check.state else ""
                answers.append(f"{check.title}{given}")
        elif isinstance(screen, GuardScreen):
            do = screen.title
            if screen.do and screen.do not in do:
                do = f"{do}: {screen.do}"
            tool = screen.tool
            if screen.work == "check":
                ask = "What do you put in force, or end, before it? Then done: you begin."
            else:
                ask = "You put it right. What do you put in force, or end, before? Then done."
            if screen.take_minutes:
                look_for = f"The cautions you take cost {minutes(screen.take_minutes)}."
            answers += [guard_title(one) for one in screen.cautions]
            answers += [hands_title(one) for one in screen.hands]
        elif isinstance(screen, CauseScreen):
            ask = "What is the cause?"
            answers += [cause.title for cause in screen.causes]
        else:
            assert isinstance(screen, HandsScreen)
            do = screen.cause.title
            ask = "Who puts it right?"
            answers += [HANDS[one.id] for one in screen.hands]
        return CheckScreen(
            symptom=screen.symptom,
            in_force=screen.in_force,
            replies=screen.replies,
            notes=notes,
            step="",
            do=do,
            ask=ask,
            look_for=look_for,
            tool=tool,
            answers=tuple(Named(answer, answer) for answer in answers),
            open=self._causes,
            minutes_left=math.nan,
        )


def _print(lines: Any) -> None:
    """Print lines below the last screen, a long one hanging under its beginning."""
    width = max(40, shutil.get_terminal_size().columns)
    for line in lines:
        text = printable(line)
        indent = " " * (10 if text.startswith("    ") or text[:8].endswith("min") else 0)
        print(textwrap.fill(text, width, subsequent_indent=indent, break_on_hyphens=False))
