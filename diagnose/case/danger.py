"""A danger that somebody reports: one screen that stops everything, and what the reply to it means.

The same in a case, in a round and before either.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.screens import DangerScreen, phrase
from diagnose.files import replies
from diagnose.text import folded

if TYPE_CHECKING:
    from diagnose.case.screens import Contact, Phrase

#: Words at the choice of a symptom that lead here first. Common practice, no published source.
WORDS = frozenset(
    {
        *("smoke", "smokes", "smoking", "fire", "flame", "flames", "burning", "burnt", "burns"),
        *("spark", "sparks", "sparking", "swollen", "bulging", "hissing", "hisses", "explosion"),
        *("exploded", "hurt", "injured", "bleeding", "trapped", "crushed", "shock"),
    }
)


#: Its answers are numbered from 1.
_NUMBERS = frozenset(f"{at}" for at in range(1, len(replies.DANGERS) + 2))


def danger_screen(call: tuple[Contact, ...], **common: Any) -> DangerScreen:
    """Return the screen: the stop, the numbers to call, and the one question."""
    return DangerScreen(call=call, **common)


def what_it_is(text: str) -> str | Phrase:
    """Return which danger it is, or `mistake`; what cannot be understood is asked again.

    Whoever leaves, or says nothing any more, has reported a danger all the same.
    """
    word = folded(text[:400])
    answers = (*replies.DANGERS, replies.MISTAKE)
    if word in answers:
        return word
    if word in _NUMBERS:
        return answers[int(word) - 1]
    if word == replies.BACK:
        return replies.MISTAKE
    if word == replies.LEAVE:
        return replies.OTHER
    return phrase("danger-which", last=len(answers))


def in_words(typed: str, also: tuple[str, ...] = ()) -> bool:
    """Return whether the words for a symptom tell of a danger; `also` are the site's own."""
    said = _words(typed)
    return any(_words(known) in said for known in (*WORDS, *also))


def _words(text: str) -> str:
    """Return the words of a text alone, each between two spaces."""
    apart = "".join(letter if letter.isalnum() else " " for letter in folded(text))
    return f" {' '.join(apart.split())} "
