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

#: What people type for it all the same.
SPELLINGS: Final = {
    "not sure": UNSURE,
    "not-cured": NOT_CURED,
    "not-it": NOT_IT,
    "keep-looking": KEEP_LOOKING,
}

REPLY_WORDS: Final = frozenset(
    {
        *(DONE, CANNOT, BACK, WHY, UNSURE, DANGER, LEAVE, CURED, NOT_CURED, NOT_IT),
        *(REFER, KEEP_LOOKING, NOT_RIGHT, NOT_NOW, NONE, *SPELLINGS),
    }
)
