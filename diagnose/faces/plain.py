"""Plain lines, made for a screen reader: print and input, and nothing that moves on a screen."""

from __future__ import annotations

import io
import shutil
import sys
import textwrap
from typing import TYPE_CHECKING, Final

from diagnose import interrupts
from diagnose.case.choosing import numbered
from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    ChooseScreen,
    DangerScreen,
    EndScreen,
    ReadingScreen,
)
from diagnose.faces.elements import Element, StatusLine, elements
from diagnose.faces.streams import is_terminal
from diagnose.faces.words import REPLIES
from diagnose.files import replies
from diagnose.files.cautions import EACH
from diagnose.text import printable

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.case.screens import Screen
    from diagnose.faces.face import Heading

NARROWEST: Final = 40

#: More letters of a line than any reply has.
LONGEST_LINE: Final = 1_000_000

#: What a kind of element begins with, where it is not only its text.
_BEFORE: Final = {"notice": "NOTICE: ", "ask": "Question: "}

#: Between a key and its word: no row ends there.
_TOGETHER: Final = "\N{NO-BREAK SPACE}"

#: What confirms one line of a caution.
_CONFIRMS: Final = frozenset({"", replies.DONE, "y"})


class _Values:
    """What was given so far of a reading that asks for several values, and which is asked next."""

    def __init__(self, screen: ReadingScreen) -> None:
        self.screen = screen
        self.texts = [""] * len(screen.needs)
        self.asked = 0


class PlainFace:
    """Lines out, lines in. A person confirms a caution line by line; a pipe says one `done`."""

    def __init__(self) -> None:
        self._place: tuple[str, ...] = ()
        self._status = StatusLine()
        self._interactive = is_terminal(sys.stdin)
        # How many lines of which caution are confirmed, should something be asked in between.
        self._confirmed: tuple[Screen | None, int] = (None, 0)
        self._values: _Values | None = None
        # What is asked, should the program be stopped and go on.
        self._asked: list[Element] = []
        # A letter that the terminal's encoding lacks, or one typed that it cannot read, is shown
        # as a question mark; a crash would cost the case its next answer.
        for stream in (sys.stdin, sys.stdout):
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="replace")

    def show(self, screen: Screen, heading: Heading) -> None:
        """Say a screen that takes no reply."""
        if isinstance(screen, EndScreen):
            self._say("")
        self._say_elements(elements(screen, heading))

    def ask(self, screen: Screen, heading: Heading) -> str | None:
        """Say a screen and return the line typed, a single letter as the reply it stands for."""
        self._say("")
        self._say_status(screen, heading)
        told, self._asked = elements(screen, heading), []
        if isinstance(screen, CautionScreen) and self._interactive:
            return self._caution(screen, told)
        self._say_elements(told)
        self._asked = told
        if isinstance(screen, ReadingScreen) and len(screen.needs) > 1 and self._interactive:
            return self._each_value(screen)
        return self._reply(screen, "Reply: ")

    def waits(self, words: str) -> None:
        """Say that something takes its time."""
        self._say(words)
        if sys.stdout is not None:
            sys.stdout.flush()

    def _caution(self, screen: CautionScreen, told: list[Element]) -> str | None:
        """Say a caution a page at a time, so that nothing is confirmed that ran out of sight."""
        by_line = screen.lines == EACH
        shown = [one for one in told if not (by_line and one.kind == "confirm")]
        left = room = max(4, shutil.get_terminal_size().lines - 3)
        for text in self._worded(shown):
            rows = text.count("\n") + 1
            if rows > left and left < room:
                typed = self._line("Enter: read on. ")
                if typed is None or typed.strip():
                    return None if typed is None else _spelled_out(screen, typed)
                left = room
            print(text)
            left -= rows
        if by_line:
            return self._confirm(screen, [one.text for one in told if one.kind == "confirm"])
        return self._reply(screen, f"{screen.signal}. Reply: ")

    def _confirm(self, screen: CautionScreen, lines: list[str]) -> str | None:
        head = f"{len(lines)} lines to confirm. Enter confirms a line, once it is so. "
        self._say(f"{head}{_others(screen, without=replies.DONE)}")
        known, start = self._confirmed
        for number in range(start if known == screen else 0, len(lines)):
            self._confirmed = (screen, number)
            asked = f"{screen.signal}, {number + 1} of {len(lines)}: {lines[number]} "
            typed = self._line(asked)
            if typed is None:
                return None
            if typed.strip().casefold() not in _CONFIRMS:
                return _spelled_out(screen, typed)
        self._confirmed = (None, 0)
        return replies.DONE

    def _each_value(self, screen: ReadingScreen) -> str | None:
        """Ask for the values of a reading one by one.

        What was given stands in brackets when a reading is asked again, and Enter keeps it.
        """
        self._say(f"Type one value, then Enter. {_others(screen)}")
        values = self._values
        if values is None or values.screen != screen:
            values = self._values = _Values(screen)
        for number in range(values.asked, len(screen.needs)):
            values.asked = number
            need = screen.needs[number]
            kept = values.texts[number]
            unit = f", in {need.unit}" if need.unit else ""
            typed = self._line(f"{number + 1}. {need.title}{unit}{f' [{kept}]' if kept else ''}: ")
            if typed is None:
                return None
            reply = _spelled_out(screen, typed)
            if reply != typed or typed.strip().partition(" ")[0] in screen.replies:
                return reply
            if "=" in typed:  # somebody who names the values gives them all in one line
                values.asked = 0
                return typed
            values.texts[number] = typed.strip() or kept
        values.asked = 0
        named = zip(screen.needs, values.texts, strict=True)
        return " ".join(f"{need.name}={text}" for need, text in named if text)

    def _reply(self, screen: Screen, prompt: str) -> str | None:
        how = _how(screen)
        without = replies.DONE if isinstance(screen, CautionScreen) else ""
        self._say(f"{how}{_others(screen, without, 'Or' if how else 'Give')}")
        typed = self._line(prompt)
        return None if typed is None else _spelled_out(screen, typed)

    def _say_status(self, screen: Screen, heading: Heading) -> None:
        status = self._status.status(screen, heading)
        if not status.told:
            return
        if status.place != self._place:
            self._place = status.place
            if status.place:
                self._say(f"{'. '.join(part.rstrip('.') for part in status.place)}.")
        if status.in_force is None:
            return
        held = ", ".join(status.in_force)
        told = f"In force: {held}." if held else "No caution in force."
        self._say(f"{told} {status.causes}." if status.causes else told)

    def _say_elements(self, told: list[Element]) -> None:
        for text in self._worded(told):
            print(text)

    def _worded(self, told: list[Element]) -> Iterator[str]:
        """Yield what is said, broken into rows."""
        signal = ""
        # Where cautions are numbered, their lines are not.
        several = any(one.kind == "title" and one.number for one in told)
        for one in told:
            if one.kind == "signal":
                signal = f"{one.text}: "  # said in one breath with what it is about
                continue
            before = _BEFORE.get(one.kind, signal)
            if one.kind == "title" and one.number:
                before = f"{signal}{one.number}. "
            elif one.kind == "confirm" and several:
                before = "- "
            elif one.kind in ("answer", "confirm", "field", "line"):
                before = f"{one.number}. "
            yield _filled(f"{before}{one.text}", " " * len(before))
            signal = ""

    def _say(self, text: str) -> None:
        print(_filled(text))

    def _line(self, prompt: str) -> str | None:
        if sys.stdout is not None:
            sys.stdout.flush()

        def ask() -> None:
            print(prompt, end="", flush=True)

        def again() -> None:
            self._say("")
            self._say_elements(self._asked)
            ask()

        try:
            asked = not self._interactive or interrupts.await_line(sys.stdin, ask, again)
            # Each look at a line makes a copy of it.
            return input("" if asked else prompt)[:LONGEST_LINE]
        except BrokenPipeError:
            raise  # nobody reads what we say: that is the caller's, like every broken pipe
        except (EOFError, OSError, ValueError, RuntimeError):
            return None


def _filled(text: str, indent: str = "") -> str:
    width = max(NARROWEST, shutil.get_terminal_size().columns)
    hanging = indent if len(indent) <= 4 else ""
    shown = _TOGETHER.join(map(printable, text.split(_TOGETHER)))
    filled = textwrap.fill(shown, width, subsequent_indent=hanging, break_on_hyphens=False)
    return filled.replace(_TOGETHER, " ")


def _spelled_out(screen: Screen, typed: str) -> str:
    """Return the reply that a single letter, or the word beside it, stands for here.

    What is neither is returned as it is. At a caution a number may follow, of the one that cannot
    be met.
    """
    offered = [reply for reply in screen.replies if reply in REPLIES]
    keys = {word: reply for reply in offered for word in (REPLIES[reply].key, REPLIES[reply].short)}
    letter, _, more = typed.strip().partition(" ")
    if isinstance(screen, CautionScreen) and more and keys.get(letter.casefold()) == replies.CANNOT:
        return f"{replies.CANNOT} {more}"
    return keys.get(typed.strip().casefold(), typed)


def _how(screen: Screen) -> str:
    """Return how this screen is answered, where a letter is not the way."""
    if isinstance(screen, CheckScreen | DangerScreen):
        return f"Give a number, 1 to {len(screen.answers)}. "
    if isinstance(screen, ReadingScreen) and len(screen.needs) > 1:
        return f"Type them as {' '.join(f'{need.name}=...' for need in screen.needs)}. "
    if isinstance(screen, ReadingScreen):
        return "Type the value. "
    if isinstance(screen, ChooseScreen) and screen.machines:
        number = "Give its number, or type" if numbered(screen.machines) else "Type"
        return f"{number} part of its id, name or serial. "
    if isinstance(screen, ChooseScreen):
        return "Type it. " if not screen.options else "Give its number, or type it. "
    if isinstance(screen, CautionScreen):
        several = len(screen.cautions) > 1
        which = "Name one that cannot be met by its number: c 1. " if several else ""
        return f"Reply y once all lines are so. {which}"
    return ""


def _others(screen: Screen, without: str = "", lead: str = "Or") -> str:
    """Return the letters and their replies in one line, behind a word that leads to them."""
    named = [
        f"{REPLIES[reply].key}{_TOGETHER}{REPLIES[reply].short}"
        for reply in screen.replies
        if reply in REPLIES and reply != without
    ]
    return f"{lead}: {', '.join(named)}." if named else ""
