"""One screen in front of one person: how far they got with it, and what a key does. No terminal."""

from __future__ import annotations

from itertools import takewhile
from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose.case import choosing
from diagnose.case.choosing import numbered
from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    ChooseScreen,
    DangerScreen,
    FigureScreen,
    ReadingScreen,
    WhyScreen,
)
from diagnose.faces.elements import Element, elements
from diagnose.faces.sight import Sight
from diagnose.faces.words import (
    NONE_FITS,
    NOTE_ASKS,
    NOTE_KEYS,
    READ_FIRST,
    READ_NOW,
    READ_ON,
    REPLIES,
    TYPE_A_PART,
    TYPE_IT,
)
from diagnose.files import replies
from diagnose.files.cautions import EACH
from diagnose.text import cut, printable

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from diagnose.case.screens import Screen
    from diagnose.faces.elements import Status
    from diagnose.faces.face import Heading
    from diagnose.faces.sight import Part

#: Answers up to this number take one key.
ONE_KEY: Final = 9

#: Danger, the same key on every screen: it is no letter where one types.
ALARM: Final = REPLIES[replies.DANGER].key

#: What a screen without replies is left with.
GO_ON: Final = ""

#: Replies that answer nothing: they work whatever was in sight.
_FREE: Final = frozenset({replies.BACK, replies.WHY, replies.DANGER, replies.LEAVE})

#: Kinds of elements that something is chosen from.
_LISTED: Final = frozenset({"answer", "option"})

_EDITING: Final = frozenset({"enter", "tab", "s-tab", "backspace", "c-u"})

_KEY_NAMES: Final = {
    " ": "Space",
    "enter": "Enter",
    "tab": "Tab",
    "s-tab": "Tab",
    "backspace": "Backspace",
    "escape": "Esc",
}


class Foot(Struct, frozen=True, kw_only=True):
    """What stands between the body and the keys: the prompt, and above it one row.

    That row says that the last key was of no use, or what is out of sight, the weightiest first.
    """

    prompt: str
    refused: str = ""
    out_of_sight: Sequence[str] = ()


class Dialog:
    """A screen, how far the person got with it, and the part of it that they see.

    `elements` are what it says, `legend` the keys that give a reply here, each with its word;
    `refused` says what was wrong with the last reply, `hint` what with the last key. `ticked` of
    `lines` lines are confirmed, one by one where `by_line`; `which` is true where the next key says
    which caution of several cannot be met. `prompts`: a row says how it is answered, whatever is in
    sight; `asks_for_note`: the screen says what to note down, so that key has to be in sight.
    `typed` holds the text of each field, of which number
    `field` takes the next key; `note` is the text of a note while one is typed, else None. `waits`
    is true where any key goes on, `alarmed` where the key for danger was the last one.
    """

    def __init__(self, screen: Screen, heading: Heading, status: Status, refused: str = "") -> None:
        self.screen = screen
        self.status = status
        self.sight = Sight()
        self.keys = {REPLIES[reply].key: reply for reply in screen.replies if reply in REPLIES}
        self.waits = isinstance(screen, FigureScreen | WhyScreen)
        self.by_line = isinstance(screen, CautionScreen) and screen.lines == EACH
        guards = screen.cautions if isinstance(screen, CautionScreen) else ()
        self.guards = [guard.id for guard in guards]
        self.lines = sum(len(guard.confirm) for guard in guards)
        self.ticked = 0
        self.which = False
        self.alarmed = False
        self.typed = self._fields()
        self.field = 0
        self.prompts = bool(self.waits or self.lines or self.typed)
        self.note: str | None = None
        self.asks_for_note = bool(getattr(screen, "note_down", None))
        self._open(heading, refused)
        # Letters are text here, not keys.
        self._words = isinstance(screen, ReadingScreen | ChooseScreen)
        # What comes next is brought into sight when the screen is drawn.
        self._follow = False
        # What an answer that came too early waits for.
        self._wanted: list[Element] = []

    def _fields(self) -> list[str]:
        screen = self.screen
        if isinstance(screen, ReadingScreen):
            return [""] * max(1, len(screen.needs))
        many = isinstance(screen, CheckScreen) and len(screen.answers) > ONE_KEY
        return [""] if many or isinstance(screen, ChooseScreen) else []

    def _open(self, heading: Heading, refused: str) -> None:
        self.refused = refused
        self.hint = ""
        self.elements = self._whole = elements(self.screen, heading)
        if refused:
            self.elements.insert(0, Element("refused", refused))
        if self.typed and not isinstance(self.screen, ReadingScreen):
            asked = next(at for at, one in enumerate(self.elements) if one.kind == "ask")
            self.elements.insert(asked + 1, Element("field", "", 1))
        self._narrow()

    def comes_again(self, screen: Screen) -> bool:
        """Whether a screen is this one; what was noted stands on it in addition."""
        same = screen if self.note is None else replace(screen, notes=self.screen.notes)
        return same == self.screen

    def reopen(self, screen: Screen, heading: Heading, refused: str) -> None:
        """Show the same screen once more, with how far the person had got.

        A note that was refused is still there to be mended.
        """
        before = set(self.elements)
        self.screen = screen
        self.sight.top = self.field = 0
        self.which = False
        self._follow = self.ticked > 0
        if self.note is None and not isinstance(screen, ReadingScreen):
            self.typed = self._fields()
        if not refused:
            self.note = None
        self._open(heading, refused)
        # What was refused or noted is no part of the question.
        self.sight.spare(set(self.elements) - before)

    # What can be pressed

    def prompt(self) -> str:
        """Return how this screen is answered, where a key of the legend is not the way."""
        if self.note is not None:
            return NOTE_ASKS
        if self.waits:
            return "Any key goes on."
        if self.which:
            return f"Which one? 1-{len(self.guards)}, or c: all of them"
        if not self.prompts:
            return ""
        if not self._question_in_sight():
            return READ_ON.format(key=self.pager)
        return self._how_to_confirm() if self.lines else self._how_to_type()

    def _how_to_confirm(self) -> str:
        if self.by_line:
            return f">> is so: Space or Enter ({self.ticked} of {self.lines})"
        return f"y: all {self.lines} lines are done" if self.lines > 1 else "y: it is done"

    def _how_to_type(self) -> str:
        screen = self.screen
        if isinstance(screen, CheckScreen):
            return f"A number, 1 to {len(screen.answers)}, then Enter"
        if isinstance(screen, ChooseScreen) and screen.machines:
            meant = choosing.taken(screen.machines, self.typed[0])
            if meant is not None and self.elements is not self._whole:
                return f"Enter: {meant.title}"
            few = numbered(screen.machines)
            return "A digit; or part of its name, then Enter" if few else TYPE_A_PART
        return TYPE_IT

    def _foot(self) -> Foot:
        """Return what stands between the body and the keys, as far as it has been read by now."""
        prompt, refused = self.prompt(), self._no_use()
        if refused:
            return Foot(prompt=prompt, refused=refused)
        unread = self._unread(prompt)
        above, below = self.sight.top, self.sight.below
        told = [unread] if unread else []
        if below:
            told.append(f"more below ({below})" + ("" if unread else f": {self.pager}"))
        if above:
            told.append(f"more above ({above}): PgUp")
        return Foot(prompt=prompt, out_of_sight=told)

    def _unread(self, prompt: str) -> str:
        """Return what reads on, where an answer still waits for it and the prompt says it not."""
        read_on = READ_ON.format(key=self.pager)
        told = self.by_line or self.waits or self.note is not None or prompt == read_on
        return "" if told or self._has_read(self.elements) else read_on

    def _no_use(self) -> str:
        """Return what to say of the last key, where it did nothing: it may have come too early."""
        if not self._wanted:
            return self.hint
        early = READ_NOW if self._has_read(self._wanted) else READ_FIRST
        return early.format(key=self.pager)

    @property
    def pager(self) -> str:
        """The key that shows the next page."""
        ticks = self.by_line and self._question_in_sight()
        return "PgDn" if self._takes_space or ticks else _KEY_NAMES[" "]

    @property
    def _takes_space(self) -> bool:
        """Whether Space is text: behind what was typed already."""
        return self.note is not None or bool(self.typed and self.typed[self.field])

    @property
    def legend(self) -> list[tuple[str, str]]:
        """The keys that do something here, each with its word."""
        danger = (ALARM, REPLIES[replies.DANGER].short)
        if self.note is not None:
            return [*NOTE_KEYS, danger]
        if self.waits:
            return [danger]
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
        self.hint, self._wanted = "", []
        if key == ALARM and not isinstance(self.screen, DangerScreen):
            self.alarmed = True
            return replies.DANGER
        if self._scroll(key):
            return None
        if self.note is not None:
            return self._write_note(key)
        if self.which:
            return self._refuse(key)
        if self.waits:
            if self._has_read(self.elements):
                return GO_ON
            self._read_on()
            return None
        if self.by_line and key in (" ", "enter"):
            return self._tick()
        if key == " " and self._pages_on():
            return None
        if self._is_typing(key):
            return self._edit(key)
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
        """Take pasted text as typed, in one line; without a field it means nothing."""
        line = " ".join(text.split())
        if self.note is not None:
            self.note += line
        elif self.typed:
            self.typed[self.field] += line
            self._narrow()

    def _is_typing(self, key: str) -> bool:
        text = len(key) == 1 and (self._words or key.isdigit())
        return bool(self.typed) and (text or key in _EDITING)

    def _answer(self, number: int) -> str | None:
        """Return the answer of a number, once what it answers and itself were in sight."""
        answer = self._numbered("answer", number)
        if answer is not None:
            return self._once_read(f"{number}", [*self._question(), answer])
        self.hint = f"There is no answer {number}."
        return None

    def _shortcut(self, key: str) -> str | None:
        screen = self.screen
        if isinstance(screen, CheckScreen | DangerScreen) and key.isdecimal() and len(key) == 1:
            return self._answer(int(key))
        reply = self.keys.get(key.casefold())
        if reply is None:
            self.hint = f"{cut(printable(_KEY_NAMES.get(key, key)), 12)} does nothing here."
            return None
        return self._reply(reply)

    def _reply(self, reply: str) -> str | None:
        """Return a reply that is not an answer of the screen's own, once it may be given."""
        if reply == replies.NOTE:
            self.note = ""
            return None
        if reply in _FREE:
            return reply
        if self.by_line and reply == replies.DONE:
            self.hint = "Each line first, with Space or Enter."
            return None
        # Nobody reads a list to the end to say that nothing of it is meant.
        few = self.by_line or isinstance(self.screen, ChooseScreen)
        given = self._once_read(reply, self._question() if few else self.elements)
        if given == replies.CANNOT and len(self.guards) > 1:
            self.which = True
            return None
        return given

    def _tick(self) -> str | None:
        """Confirm the next line; the last one completes the reply."""
        if self._question_in_sight():
            self.ticked += 1
            self._follow = True
            return replies.DONE if self.ticked == self.lines else None
        if self._has_read(self._question()):
            self._follow = True
            return None
        self._read_on()
        return None

    def _write_note(self, key: str) -> str | None:
        """Take a key for the note; one that says nothing is none."""
        assert self.note is not None
        if key == "escape" or (key == "enter" and not self.note.strip()):
            self.note = None
        elif key == "enter":
            return f"{replies.NOTE} {self.note.strip()}"
        else:
            self.note = _edited(self.note, key)
        return None

    def _edit(self, key: str) -> str | None:
        steps = {"enter": 1, "tab": 1, "s-tab": -1}
        if key == "enter" and self.field == len(self.typed) - 1:
            return self._send()
        self._follow = True
        if key in steps:
            self.field = (self.field + steps[key]) % len(self.typed)
            return None
        self.typed[self.field] = _edited(self.typed[self.field], key)
        self._narrow()
        return self._send() if key.isdecimal() and self._completes() else None

    def _narrow(self) -> None:
        """Show of a list of machines those of which what is typed is a part, and say if none is."""
        machines = self.screen.machines if isinstance(self.screen, ChooseScreen) else ()
        typed = self.typed[0].strip() if machines else ""
        # A letter alone can be a reply: then the list stays, until more is typed.
        if not typed or typed.casefold() in self.keys:
            self.elements = self._whole
            return
        fitting = choosing.fitting(machines, typed)
        if not fitting:
            self.hint = NONE_FITS
        listed = [one for one in self._whole if one.kind in _LISTED]
        told = dict(zip(machines, listed, strict=True))
        rest = [one for one in self._whole if one.kind not in _LISTED]
        self.elements = [*rest, *(told[one] for one in fitting)]

    def _completes(self) -> bool:
        """Whether what is typed is the number of an option, and picks it without Enter.

        Neither a longer number nor words may begin with it. Own words for a symptom do so with one
        digit ("2 wheels spin"), hardly with the numbers of two.
        """
        screen, number = self.screen, self.typed[0]
        if not isinstance(screen, ChooseScreen):
            return False
        if screen.machines:
            return choosing.at_once(screen.machines, number)
        if len(number) < 2:
            return False
        words = [text for option in screen.options for text in (option.id, option.title)]
        if any(text.startswith(number) and text != number for text in words):
            return False
        return 1 <= _number(number) <= len(screen.options) < _number(f"{number}0")

    def _send(self) -> str | None:
        texts = [text.strip() for text in self.typed]
        alone = "".join(texts)
        # Only one field is filled, with a letter.
        if alone in texts and alone.casefold() in self.keys:
            given = self._reply(self.keys[alone.casefold()])
            if given is not None or self.note is not None:
                self.typed = self._fields()
                self.field = 0
            return given
        if isinstance(self.screen, ReadingScreen):
            return self._once_read(self._values(texts), self.elements)
        picked = self._numbered("answer", _number(alone))
        left = [one for one in self.elements if one.kind in _LISTED]
        if isinstance(self.screen, ChooseScreen) and self.screen.machines:
            picked = left[0] if choosing.taken(self.screen.machines, alone) and left else None
        return self._once_read(alone, [*self._question(), *([picked] if picked else [])])

    def _values(self, texts: list[str]) -> str:
        assert isinstance(self.screen, ReadingScreen)
        if len(texts) == 1:
            return texts[0]
        named = zip(self.screen.needs, texts, strict=True)
        # Somebody who types the names too is understood as well.
        return " ".join(
            text if "=" in text else f"{need.name}={text}" for need, text in named if text
        )

    # What is in sight

    def fit(self, width: int, parts: Sequence[Part], room: int) -> tuple[slice, Foot]:
        """Return which rows of a body to show, noted as seen, and what stands under them then."""
        wanted = self._next() if self._follow else None
        self._follow = False
        return self.sight.look(width, parts, room, wanted), self._foot()

    def _numbered(self, kind: str, number: int) -> Element | None:
        return next((e for e in self.elements if e.kind == kind and e.number == number), None)

    def _next(self) -> Element | None:
        """Return the line to confirm next, or the field that takes the next key."""
        if self.typed:
            return self._numbered("field", self.field + 1)
        return self._numbered("confirm", self.ticked + 1)

    def _question(self) -> list[Element]:
        """Return what has to be read before anything is answered.

        That is all above the answers, or down to the line to confirm next, or else everything.
        """
        last = self._next() if self.by_line else None
        if last is not None:
            return self.elements[: self.elements.index(last) + 1]
        above = takewhile(lambda one: one.kind not in _LISTED, self.elements)
        return list(above)

    def _question_in_sight(self) -> bool:
        """Whether the question has been read; the line that is confirmed next is in sight now."""
        last = self._next() if self.by_line else None
        return self._has_read(self._question()) and (last is None or last in self.sight.ended)

    def _has_read(self, elements: Iterable[Element]) -> bool:
        # The signal word is in sight whatever is read.
        return self.sight.read.issuperset([one for one in elements if one.kind != "signal"])

    def _once_read(self, reply: str, elements: Iterable[Element]) -> str | None:
        """Return the reply where these have been in sight; else the next page comes instead."""
        if self._has_read(elements):
            return reply
        self._wanted = [*elements]
        self._read_on()
        return None

    def _read_on(self) -> None:
        """Show the next page; what is typed or ticked next may be on another."""
        self.sight.read_on()
        self._follow = False

    def _pages_on(self) -> bool:
        """Read on where there is more to read and Space is no text; false where it is not so."""
        more = self.sight.below or not self._has_read(self.elements)
        if self._takes_space or not more:
            return False
        self.sight.read_on()
        return True

    def _scroll(self, key: str) -> bool:
        steps = {"up": -1, "down": 1, "pageup": -1, "pagedown": 1}
        if key not in steps:
            return False
        if self.note is None and key in ("up", "down") and len(self.typed) > 1:
            self._edit("tab" if key == "down" else "s-tab")
        else:
            self.sight.scroll(steps[key], pages=key.startswith("page"))
        return True


def _edited(text: str, key: str) -> str:
    """Return the text of a field after a key; no text begins with a space."""
    if key == "backspace":
        return text[:-1]
    if key == "c-u":
        return ""
    return text + key if len(key) == 1 and (text or key != " ") else text


def _number(text: str) -> int:
    """Return the number that a text is, or 0: no list here has more than five digits."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 6 else 0
