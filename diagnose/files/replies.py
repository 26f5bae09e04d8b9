"""The replies that the program itself understands; no answer of a tree may be one of them."""

from __future__ import annotations

from typing import Final

DONE: Final = "done"
CANNOT: Final = "cannot"
BACK: Final = "back"
WHY: Final = "why"
UNSURE: Final = "unsure"
DANGER: Final = "danger"
LEAVE: Final = "leave"
CURED: Final = "cured"
NOT_CURED: Final = "not cured"
NOT_IT: Final = "not it"
REFER: Final = "refer"
KEEP_LOOKING: Final = "keep looking"
NOT_RIGHT: Final = "not right"
NOT_NOW: Final = "not now"
NONE: Final = "none"
GO_ON: Final = "go on"
START_ANEW: Final = "start anew"
RELEASED: Final = "released"
#: What a danger may be, and the word that takes it back: answers to the one question that follows.
OTHER: Final = "other"
DANGERS: Final = ("smoke", "heat", "battery", "hurt", OTHER)
MISTAKE: Final = "mistake"
#: With words behind it: they are written down, and nothing moves.
NOTE: Final = "note"

#: What people type for it all the same.
SPELLINGS: Final = {
    "not sure": UNSURE,
    "not-cured": NOT_CURED,
    "not-it": NOT_IT,
    "keep-looking": KEEP_LOOKING,
    "go-on": GO_ON,
    "start-anew": START_ANEW,
}

REPLY_WORDS: Final = frozenset(
    {
        *(DONE, CANNOT, BACK, WHY, UNSURE, DANGER, LEAVE, CURED, NOT_CURED, NOT_IT, REFER),
        *(KEEP_LOOKING, NOT_RIGHT, NOT_NOW, NONE, NOTE, GO_ON, START_ANEW, RELEASED),
        *SPELLINGS,
    }
)
