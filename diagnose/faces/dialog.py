"""One screen in front of one person: how far they got with it, and what a key does. No terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    ChooseScreen,
    DangerScreen,
    FigureScreen,
    FindingScreen,
    ReadingScreen,
    StateScreen,
    WhyScreen,
)
from diagnose.faces.elements import Element, elements, line_by_line
from diagnose.faces.words import REPLIES
from diagnose.files import replies
from diagnose.text import cut, printable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.case.screens import Screen
    from diagnose.faces.elements import Status
    from diagnose.faces.face import Heading

#: Answers up to this number take one key.
ONE_KEY: Final = 9

#: Danger, the same key on every screen: it is no letter where one types.
ALARM: Final = REPLIES[replies.DANGER].key

#: What a screen without replies is left with.
GO_ON: Final = ""

#: Replies that claim something was done: everything must have been in sight before.
_CLAIMS: Final = frozenset(
    {
        *(replies.DONE, replies.CURED, replies.NOT_CURED, replies.NOT_IT),
        *(replies.GO_ON, replies.START_ANEW, replies.RELEASED),
    }
)

_EDITING: Final = frozenset({"enter", "tab", "s-tab", "backspace", "c-u"})

_KEY_NAMES: Final = {
    " ": "Space",
    "enter": "Enter",
    "tab": "Tab",
    "s-tab": "Tab",
    "backspace": "Backspace",
}


class Viewport(Struct):
    """Which rows of a screen's body are in sight: `room` of `rows`, from `top` on.

    `seen` counts those that have been in sight, from the first, while the layout (its width, its
    rows, what was refused) was what it is; `ends` tells behind which row each line to confirm, or
    field, ends.
    """

    top: int = 0
    room: int = 1
    rows: int = 1
    seen: int = 0
    layout: tuple[int, int, str] = (0, 0, "")
    ends: dict[int, int] = {}


class Dialog:
    """A screen, how far the person got with it, and the part of it that they see.

    `elements` are what it says, `legend` the keys that give a reply here, each with its word;
    `refused` says what was wrong with the last reply, `hint` what with the last key. `ticked` of
    `lines` lines are confirmed, one by one where `by_line`; `which` is true where the next key says
    which caution of several cannot be met. `typed` holds the text of each field, of which number
    `field` takes the next key; `waits` is true where any key goes on, `alarmed` where the key for
    danger was the last one.
    """

    def __init__(self, screen: Screen, heading: Heading, status: Status, refused: str = "") -> None:
        self.screen = screen
        self.status = status
        self.viewport = Viewport()
        # A note is typed, and there is no field for one here yet: no key for what cannot be done.
        self.keys = {
            REPLIES[reply].key: reply
            for reply in screen.replies
            if reply in REPLIES and reply != replies.NOTE
        }
        self.waits = isinstance(screen, FigureScreen | WhyScreen)
        self.by_line = line_by_line(screen)
        guards = screen.cautions if isinstance(screen, CautionScreen) else ()
        self.guards = [guard.id for guard in guards]
        self.lines = sum(len(guard.confirm) for guard in guards)
        self.ticked = 0
        self.which = False
        self.alarmed = False
        self.typed = self._fields()
        self.field = 0
        self._open(heading, refused)
        # Letters are text here, not keys.
        self._words = isinstance(screen, ReadingScreen | ChooseScreen)
        self.legend = self._legend()
        # What comes next is brought into sight when the screen is drawn.
        self._follow = False

    def _fields(self) -> list[str]:
        screen = self.screen
        if isinstance(screen, ReadingScreen):
            return [""] * max(1, len(screen.needs))
        many = isinstance(screen, CheckScreen) and len(screen.answers) > ONE_KEY
        return [""] if many or isinstance(screen, ChooseScreen) else []

    def _open(self, heading: Heading, refused: str) -> None:
        self.refused = refused
        self.hint = ""
        self.elements = elements(self.screen, heading)
        if refused:
            self.elements.insert(0, Element("refused", refused))
        if self.typed and not isinstance(self.screen, ReadingScreen):
            asked = next(at for at, one in enumerate(self.elements) if one.kind == "ask")
            self.elements.insert(asked + 1, Element("field", "", 1))

    def reopen(self, heading: Heading, refused: str) -> None:
        """Show the same screen once more, with how far the person had got."""
        self.viewport.top = self.field = 0
        self.which = False
        self._follow = self.ticked > 0
        if not isinstance(self.screen, ReadingScreen):
            self.typed = self._fields()
        self._open(heading, refused)

    # What can be pressed

    def prompt(self) -> str:
        """Return how this screen is answered, where a key of the legend is not the way."""
        screen = self.screen
        if self.waits:
            return "Any key goes on."
        if self.which:
            return f"Which one? 1-{len(self.guards)}, or c: all of them"
        if self.lines and not self._next_in_sight():
            return "Space: read on"
        if self.by_line:
            return f">> is so: Space or Enter ({self.ticked} of {self.lines})"
        if self.lines:
            return f"y: all {self.lines} lines are done" if self.lines > 1 else "y: it is done"
        if isinstance(screen, ChooseScreen) and 0 < len(screen.options) <= ONE_KEY:
            return "A digit; or type it, then Enter"
        if self._words:
            return "Type it, or a letter; then Enter"
        if isinstance(screen, CheckScreen) and self.typed:
            return f"A number, 1 to {len(screen.answers)}, then Enter"
        return ""

    @property
    def pager(self) -> str:
        """The key that shows the next page."""
        ticks = self.by_line and self._next_in_sight()
        return "PgDn" if self.typed or ticks else _KEY_NAMES[" "]

    def _legend(self) -> list[tuple[str, str]]:
        if self.waits:
            return [(ALARM, REPLIES[replies.DANGER].short)]
        named = [
            (key, REPLIES[reply].short)
            for key, reply in self.keys.items()
            if not (self.lines and reply == replies.DONE)
        ]
        if isinstance(self.screen, CheckScreen | DangerScreen) and not self.typed:
            named.insert(0, (f"1-{len(self.screen.answers)}", "answer"))
        return named

    # What a key does

    def press(self, key: str) -> str | None:
        """Return the reply that a key completes, or None where the screen only changed."""
        self.hint = ""
        if key == ALARM and not isinstance(self.screen, DangerScreen):
            self.alarmed = True
            return replies.DANGER
        if self._scroll(key):
            return None
        if self.which:
            return self._refuse(key)
        if self.waits:
            return self._unless_unread(GO_ON)
        if self._is_typing(key):
            return self._edit(key)
        if self.by_line and key in (" ", "enter"):
            return self._tick()
        if key == " " and not self._all_in_sight():
            self._page_on("")
            return None
        return self._shortcut(key)

    def _refuse(self, key: str) -> str | None:
        """Take the key that says which caution cannot be met; another means what it always does."""
        self.which = False
        if self.keys.get(key.casefold()) == replies.CANNOT:
            return replies.CANNOT
        if key.isdecimal() and 1 <= int(key) <= len(self.guards):
            return f"{replies.CANNOT} {self.guards[int(key) - 1]}"
        return self.press(key)

    def paste(self, text: str) -> None:
        """Take pasted text as typed; without a field it means nothing."""
        if self.typed:
            self.typed[self.field] += " ".join(text.split())

    def _is_typing(self, key: str) -> bool:
        text = len(key) == 1 and (self._words or key.isdigit())
        return bool(self.typed) and (text or key in _EDITING)

    def _answer(self, key: str, answers: int) -> str | None:
        if 1 <= int(key) <= answers:
            return key
        self.hint = f"There is no answer {key}."
        return None

    def _shortcut(self, key: str) -> str | None:
        screen = self.screen
        if isinstance(screen, CheckScreen | DangerScreen) and key.isdecimal() and len(key) == 1:
            return self._answer(key, len(screen.answers))
        reply = self.keys.get(key.casefold())
        if reply is None:
            self.hint = f"{cut(printable(_KEY_NAMES.get(key, key)), 12)} does nothing here."
            return None
        if self.by_line and reply == replies.DONE:
            self.hint = "Each line first, with Space or Enter."
            return None
        if reply == replies.CANNOT and len(self.guards) > 1:
            self.which = True
            return None
        if reply in _CLAIMS and isinstance(screen, CautionScreen | FindingScreen | StateScreen):
            return self._unless_unread(reply)
        return reply

    def _tick(self) -> str | None:
        """Confirm the next line; the last one completes the reply."""
        if not self._next_in_sight():
            self._page_on()
            return None
        self.ticked += 1
        self._follow = True
        return replies.DONE if self.ticked == self.lines else None

    def _edit(self, key: str) -> str | None:
        steps = {"enter": 1, "tab": 1, "s-tab": -1}
        if key == "enter" and self.field == len(self.typed) - 1:
            return self._send()
        if self._completes(key):
            return f"{self.typed[0]}{key}"
        if key in steps:
            self.field = (self.field + steps[key]) % len(self.typed)
        elif key == "backspace":
            self.typed[self.field] = self.typed[self.field][:-1]
        elif key == "c-u":
            self.typed[self.field] = ""
        elif key != " " or self.typed[self.field]:
            self.typed[self.field] += key
        self._follow = True
        return None

    def _completes(self, key: str) -> bool:
        """Whether a digit completes the number of an option that no longer number begins with."""
        screen, number = self.screen, self.typed[0] + key
        if not isinstance(screen, ChooseScreen) or not (number.isascii() and number.isdecimal()):
            return False
        return 1 <= int(number) <= len(screen.options) < int(f"{number}0")

    def _send(self) -> str:
        texts = [text.strip() for text in self.typed]
        alone = "".join(texts)
        # Only one field is filled, with a letter.
        if alone in texts and alone.casefold() in self.keys:
            return self.keys[alone.casefold()]
        if not isinstance(self.screen, ReadingScreen) or len(texts) == 1:
            return texts[0]
        named = zip(self.screen.needs, texts, strict=True)
        # Somebody who types the names too is understood as well.
        return " ".join(
            text if "=" in text else f"{need.name}={text}" for need, text in named if text
        )

    # What is in sight

    def fit(self, width: int, marks: Sequence[int | None], room: int) -> slice:
        """Return which rows of a body to show, and note them as seen.

        `marks` tells of each row to which line to confirm, or field, it belongs.
        """
        port = self.viewport
        layout = (width, 0 if self.typed else len(marks), self.refused)
        if port.layout != layout:
            # Other rows than before: what was seen of those says nothing of these.
            port.top = port.seen = 0
            port.layout = layout
            self._follow = self._follow or self.ticked > 0
        port.room = room
        port.rows = len(marks)
        port.ends = {mark: at for at, mark in enumerate(marks, start=1) if mark}
        end = port.ends.get((self.field if self.typed else self.ticked) + 1, port.rows)
        if self._follow and end > port.top + room:
            # Never past rows that were not in sight.
            port.top = min(end - room, port.seen)
        self._follow = False
        port.top = max(0, min(port.top, port.rows - room))
        if port.top <= port.seen:
            port.seen = max(port.seen, min(port.rows, port.top + room))
        return slice(port.top, port.top + room)

    def _scroll(self, key: str) -> bool:
        port = self.viewport
        page = max(1, port.room - 1)
        steps = {"up": -1, "down": 1, "pageup": -page, "pagedown": page}
        if key not in steps:
            return False
        if key in ("up", "down") and len(self.typed) > 1:
            self._edit("tab" if key == "down" else "s-tab")
        else:
            port.top = max(0, port.top + steps[key])
        return True

    def _unless_unread(self, reply: str) -> str | None:
        """Return the reply where all was in sight; else the next page comes instead."""
        if self._all_in_sight():
            return reply
        self._page_on()
        return None

    def _all_in_sight(self) -> bool:
        """Whether every row has been in sight."""
        return self.viewport.seen >= self.viewport.rows

    def _next_in_sight(self) -> bool:
        """Whether what is confirmed next has been in sight: a line, or all of them."""
        if not self.by_line:
            return self._all_in_sight()
        return self.viewport.ends.get(self.ticked + 1, self.viewport.rows) <= self.viewport.seen

    def _page_on(self, hint: str = "Read on to the end first: Space.") -> None:
        """Go on from the first row that was not in sight, with the one above it for a hold."""
        self.hint = hint
        port = self.viewport
        port.top = max(0, port.seen - 1 if port.room > 1 else port.seen)
