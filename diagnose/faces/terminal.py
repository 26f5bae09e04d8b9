"""The face at a terminal: a whole screen for each question, one key for an answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.case.screens import EndScreen, RefusedScreen
from diagnose.faces.phrases import OpenCauses
from diagnose.faces.plain import PlainFace
from diagnose.faces.sitting import GO_ON, Sitting
from diagnose.faces.stage import Stage
from diagnose.faces.words import render

if TYPE_CHECKING:
    from diagnose.case.screens import Screen
    from diagnose.faces.face import Heading


class TerminalFace:
    """Whole screens. The end is printed below them, where it stays."""

    def __init__(self, stage: Stage | None = None) -> None:
        self._stage = stage or Stage()
        self._causes = OpenCauses()
        self._refused = ""
        self._ahead: list[str | KeyboardInterrupt | None] = []
        self._last: Sitting | None = None
        self._aside = False

    def show(self, screen: Screen, heading: Heading) -> None:
        """Show a screen that takes no reply: until a key, at the end for good."""
        self._aside = True
        if isinstance(screen, RefusedScreen):
            # It stands above the next screen, which is the same one again.
            self._refused = render(screen.message)
        elif isinstance(screen, EndScreen):
            self._stage.leave()
            PlainFace().show(screen, heading)
        else:
            # Danger, a break or the end of the input holds for the screen that follows.
            try:
                reply = self._stage.play(self._interlude(screen, heading))
                self._ahead = [] if reply == GO_ON else [reply]
            except KeyboardInterrupt as broken:
                self._ahead = [broken]

    def _interlude(self, screen: Screen, heading: Heading) -> Sitting:
        sitting = Sitting(screen, heading, self._causes.line(screen))
        if not sitting.in_force and self._last is not None:
            # Looking at a figure or a reason changes nothing at the machine.
            sitting.in_force = self._last.in_force
        return sitting

    def ask(self, screen: Screen, heading: Heading) -> str | None:
        """Show a screen until it is replied to; None at the end of the input.

        Raises `KeyboardInterrupt`, the terminal restored, where the person broke off.
        """
        if self._ahead:
            ahead = self._ahead.pop()
            if isinstance(ahead, KeyboardInterrupt):
                raise ahead
            return ahead
        refused, self._refused = self._refused, ""
        causes = self._causes.line(screen)
        last = self._last
        # After `why` and after a refused reply the person goes on where they were.
        if self._aside and last is not None and last.screen == screen:
            sitting = last.again(heading, refused)
        else:
            sitting = Sitting(screen, heading, causes, refused)
        self._last, self._aside = sitting, False
        return self._stage.play(sitting)
