"""One screen in front of one person, and what a key does to it. No terminal here."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    ChooseScreen,
    FigureScreen,
    FindingScreen,
    ReadingScreen,
    WhyScreen,
)
from diagnose.faces.keys import letters, spelled_out
from diagnose.files import replies
from diagnose.text import cut, printable

if TYPE_CHECKING:
    from diagnose.case.screens import Screen
    from diagnose.faces.face import Heading

#: Answers up to this number take one key.
ONE_KEY: Final = 9

#: Danger where letters are text; it works on every screen.
ALARM: Final = "!"

#: What a screen without replies is left with.
GO_ON: Final = ""

#: Replies that claim something was done: everything must have been in sight before.
_CLAIMS: Final = frozenset({replies.DONE, replies.CURED, replies.NOT_CURED})


@dataclass(slots=True)
class Window:
    """Which rows of the body are in sight: `room` of `rows`, from `top` on.

    `seen` counts those that have been in sight, from the first, while the layout (`laid`) was what
    it is; `ends` tells where each line to confirm, or field, ends.
    """

    top: int = 0
    room: int = 1
    rows: int = 1
    seen: int = 0
    laid: tuple[int, int, str] = (0, 0, "")
    ends: dict[int, int] = field(default_factory=dict)


class Sitting:
    """A screen, how far the person got with it, and the window through which they see it.

    `ticked` of `lines` lines are confirmed, one by one where `by_line`; `typed` are the fields, of
    which `field` takes the next key; `follow` asks the page to bring what is next into sight.
    """

    def __init__(
        self, screen: Screen, heading: Heading, causes: str | None = None, refused: str = ""
    ) -> None:
        self.screen = screen
        self.in_force = screen.in_force
        self.heading = heading
        self.causes = causes
        self.refused = refused
        self.hint = ""
        self.window = Window()
        self.waits = isinstance(screen, FigureScreen | WhyScreen)
        self.by_line = (
            isinstance(screen, CautionScreen) and screen.phase == "take" and not screen.again
        )
        self.lines = len(screen.confirm) if isinstance(screen, CautionScreen) else 0
        self.ticked = 0
        self.typed = self._fields()
        self.field = 0
        self.follow = False

    def _fields(self) -> list[str]:
        screen = self.screen
        if isinstance(screen, ReadingScreen):
            return [""] * max(1, len(screen.needs))
        many = isinstance(screen, CheckScreen) and len(screen.answers) > ONE_KEY
        return [""] if many or isinstance(screen, ChooseScreen) else []

    @property
    def words(self) -> bool:
        """Whether letters are text here, not keys."""
        return isinstance(self.screen, ReadingScreen | ChooseScreen)

    def again(self, heading: Heading, refused: str) -> Sitting:
        """Return the same screen shown once more, with how far the person had got."""
        self.heading = heading
        self.refused = refused
        self.hint = ""
        self.window.top = self.field = 0
        self.follow = self.ticked > 0
        if not isinstance(self.screen, ReadingScreen):
            self.typed = self._fields()
        return self

    def press(self, key: str) -> str | None:
        """Return the reply that a key completes, or None where the screen only changed."""
        self.hint = ""
        if key == ALARM or (self.waits and key.casefold() == "d"):
            return replies.DANGER
        if self._scrolled(key):
            return None
        if self.waits:
            return self._unless_unread(GO_ON)
        if self.typed and (key in _EDITING or self._is_text(key)):
            return self._edit(key)
        if self.by_line and key in (" ", "enter"):
            return self._tick()
        return self._letter(key)

    def paste(self, text: str) -> None:
        """Take pasted text as typed; without a field it means nothing."""
        if self.typed:
            self.typed[self.field] += " ".join(text.split())

    def _is_text(self, key: str) -> bool:
        return len(key) == 1 and (self.words or key.isdigit())

    def _letter(self, key: str) -> str | None:
        screen = self.screen
        if isinstance(screen, CheckScreen) and key.isdecimal() and len(key) == 1:
            if 1 <= int(key) <= len(screen.answers):
                return key
            self.hint = f"There is no answer {key}."
            return None
        reply = letters(screen).get(key.casefold())
        if reply is None:
            self.hint = f"{cut(printable(_NAMES.get(key, key)), 12)} does nothing here."
            return None
        if self.by_line and reply == replies.DONE and self.ticked < self.lines:
            self.hint = "Each line first, with Space or Enter."
            return None
        if reply in _CLAIMS and isinstance(screen, CautionScreen | FindingScreen):
            return self._unless_unread(reply)
        return reply

    def _tick(self) -> str | None:
        if self.ticked == self.lines:
            return None
        if self.window.ends[self.ticked + 1] > self.window.seen:
            self._page_on()
            return None
        self.ticked += 1
        self.follow = True
        return None

    def _edit(self, key: str) -> str | None:
        last = len(self.typed) - 1
        if key == "enter" and self.field == last:
            return self._send()
        if key in ("enter", "tab"):
            self.field = (
                min(self.field + 1, last) if key == "enter" else (self.field + 1) % (last + 1)
            )
        elif key == "s-tab":
            self.field = (self.field - 1) % (last + 1)
        elif key == "backspace":
            self.typed[self.field] = self.typed[self.field][:-1]
        elif key == "c-u":
            self.typed[self.field] = ""
        elif self._one_digit(key):
            return key
        elif key != " " or self.typed[self.field]:
            self.typed[self.field] += key
        self.follow = True
        return None

    def _one_digit(self, key: str) -> bool:
        screen = self.screen
        if not isinstance(screen, ChooseScreen) or len(screen.options) > ONE_KEY:
            return False
        return key.isdecimal() and not self.typed[0] and 1 <= int(key) <= len(screen.options)

    def _send(self) -> str | None:
        texts = [text.strip() for text in self.typed]
        if isinstance(self.screen, ReadingScreen) and len(texts) > 1:
            alone = [text for text in texts if text]
            if len(alone) == 1 and alone[0].casefold() in letters(self.screen):
                return spelled_out(self.screen, alone[0])
            named = zip(self.screen.needs, texts, strict=True)
            # Somebody who types the names too is understood as well.
            return " ".join(
                text if "=" in text else f"{need.name}={text}" for need, text in named if text
            )
        return spelled_out(self.screen, texts[0])

    # Scrolling

    def _scrolled(self, key: str) -> bool:
        window = self.window
        page = max(1, window.room - 1)
        steps = {"up": -1, "down": 1, "pageup": -page, "pagedown": page}
        if key not in steps:
            return False
        if key in ("up", "down") and len(self.typed) > 1:
            self._edit("tab" if key == "down" else "s-tab")
        else:
            window.top = max(0, window.top + steps[key])
        return True

    def _unless_unread(self, reply: str) -> str | None:
        """Return the reply where all was in sight; else the next page comes instead."""
        if self.window.seen >= self.window.rows:
            return reply
        self._page_on()
        return None

    def _page_on(self) -> None:
        self.hint = "Read on to the end first."
        self.window.top = max(0, self.window.seen - 1)


_EDITING: Final = frozenset({"enter", "tab", "s-tab", "backspace", "c-u"})

_NAMES: Final = {
    " ": "Space",
    "enter": "Enter",
    "tab": "Tab",
    "s-tab": "Tab",
    "backspace": "Backspace",
}
