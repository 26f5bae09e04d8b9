"""A drill at any of the three faces.

To people its screens are shown as questions with numbered answers, which every face knows; to other
programs as JSON lines of their own, described in docs/drill.md.
"""

from __future__ import annotations

import math
import shutil
import textwrap
from typing import TYPE_CHECKING, Any, Final

from msgspec.structs import replace

from diagnose.case.screens import CheckScreen, EndScreen, Named, Phrase, as_data
from diagnose.drill import screens
from diagnose.faces import drill_words
from diagnose.faces.json_lines import JsonLinesFace, framed, write
from diagnose.faces.selection import face_for
from diagnose.faces.words import NOTICE
from diagnose.text import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from diagnose.case.screens import Screen
    from diagnose.faces.face import Face, Heading

#: What each screen of a drill says besides what all of them say. A contract, as in `json_lines`.
FIELDS: Final[dict[str, tuple[str, ...]]] = {
    "pick": ("checks", "open", "used"),
    "guard": tuple("work step title do tool cautions hands take_minutes used".split()),
    "seen": ("look", "unsafe", "used"),
    "cause": ("causes",),
    "hands": ("cause", "hands"),
    "score": ("score",),
}


def drill_face(*, plain: bool, json: bool) -> Face:
    """Return the face of a drill, chosen as for a case."""
    return DrillJsonLines() if json else DrillSpoken(face_for(plain=plain))


class DrillJsonLines(JsonLinesFace):
    """JSON lines: each object one screen, each line of standard input one reply."""

    def show(self, screen: Screen, heading: Heading) -> None:
        """Write the screen as one line. Raises `BrokenPipeError` where nobody reads any more."""
        if screen.screen in FIELDS:
            write(as_object(screen, heading))
        else:
            super().show(screen, heading)


def as_object(screen: Screen, heading: Heading) -> dict[str, Any]:
    """Return a screen of a drill as the JSON object that stands for it."""
    own: dict[str, Any] = {}
    for name in FIELDS[screen.screen]:
        value = as_data(getattr(screen, name))
        if name in ("look", "score"):
            own |= value
        elif name == "hands":
            own[name] = [{**one, "title": drill_words.HANDS[one["id"]]} for one in value]
        else:
            own[name] = value
    return framed(screen, heading, f"{NOTICE} {drill_words.INTRO}", own)


class DrillSpoken:
    """For people, at the terminal or in plain lines: the face that a case would have."""

    def __init__(self, face: Face) -> None:
        self._face = face
        self._said: list[Phrase] = []
        self._open = 0

    def show(self, screen: Screen, heading: Heading) -> None:
        """Show a screen that takes no reply; what a check gave stands above the next one."""
        if isinstance(screen, screens.SeenScreen):
            self._said += [Phrase(drill_words.at_once(move)) for move in screen.unsafe]
            self._said.append(Phrase(drill_words.seen(screen.look)))
        elif isinstance(screen, screens.ScoreScreen):
            over = EndScreen(outcome=drill_words.OVER, ranking=(), notes=screen.notes)
            self._face.show(over, heading)
            tell(drill_words.sheet(screen.score))
        else:
            self._face.show(screen, heading)

    def ask(self, screen: Screen, heading: Heading) -> str | None:
        """Show a screen and return the reply as typed, or None at the end of the input."""
        if isinstance(screen, screens.PickScreen):
            self._open = screen.open
        if screen.screen in FIELDS:
            intro = [Phrase(drill_words.INTRO)] if heading.first else []
            notes = (*intro, *self._said, *screen.notes)
            screen = replace(_QUESTIONS[type(screen)](screen), notes=notes, open=self._open)
            self._said = []
        return self._face.ask(screen, heading)

    def waits(self, words: str) -> None:
        """Say that something takes its time."""
        self._face.waits(words)


def _question(
    screen: Screen,
    ask: str,
    answers: list[str],
    do: str | None = None,
    look_for: str | None = None,
    tool: str | None = None,
) -> CheckScreen:
    """Return a screen of a drill as a question with numbered answers."""
    return CheckScreen(
        symptom=screen.symptom,
        in_force=screen.in_force,
        replies=screen.replies,
        step="",
        do=do,
        ask=ask,
        look_for=look_for,
        tool=tool,
        answers=tuple(Named(answer, answer) for answer in answers),
        open=0,
        minutes_left=math.nan,
    )


def _pick(screen: screens.PickScreen) -> CheckScreen:
    return _question(
        screen,
        "What do you check? Reply done once you know the cause.",
        [f"{one.title} You saw: {one.state}" if one.state else one.title for one in screen.checks],
        look_for=f"Used so far: {drill_words.minutes(screen.used)}." if screen.used else None,
    )


def _guard(screen: screens.GuardScreen) -> CheckScreen:
    take, do = screen.take_minutes, screen.title
    if screen.do and screen.do not in do:
        do = f"{do}: {screen.do}"
    ask = "You put it right. What do you put in force, or end, before? Then done."
    if screen.work == "check":
        ask = "What do you put in force, or end, before it? Then done: you begin."
    hands = map(drill_words.hands_title, screen.hands)
    return _question(
        screen,
        ask,
        [*map(drill_words.guard_title, screen.cautions), *hands],
        do=do,
        look_for=f"The cautions you take cost {drill_words.minutes(take)}." if take else None,
        tool=screen.tool,
    )


def _cause(screen: screens.CauseScreen) -> CheckScreen:
    return _question(screen, "What is the cause?", [cause.title for cause in screen.causes])


def _hands(screen: screens.HandsScreen) -> CheckScreen:
    hands = [drill_words.HANDS[one.id] for one in screen.hands]
    return _question(screen, "Who puts it right?", hands, do=screen.cause.title)


_QUESTIONS: Final[dict[type, Callable[..., CheckScreen]]] = {
    screens.PickScreen: _pick,
    screens.GuardScreen: _guard,
    screens.CauseScreen: _cause,
    screens.HandsScreen: _hands,
}


def tell(lines: Iterable[str]) -> None:
    """Print lines below the last screen, a long one hanging under its beginning.

    None is left to the terminal to break: after a full screen some do not.
    """
    width = max(40, shutil.get_terminal_size().columns)
    for line in lines:
        text = printable(line)
        indent = " " * _hang(text)
        print(textwrap.fill(text, width, subsequent_indent=indent, break_on_hyphens=False))


def _hang(line: str) -> int:
    """Return how far what follows of a long line stands in: under a route's step, or a number."""
    if line.startswith("    ") or line[:8].endswith("min"):
        return 10
    return 5 if line[:4].strip().removesuffix(".").isdigit() else 0
