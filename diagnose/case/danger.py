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


def danger_screen(call: tuple[Contact, ...], **common: Any) -> DangerScreen:
    """Return the screen: the stop, the numbers to call, and the one question."""
    return DangerScreen(call=call, **common)


def what_it_is(text: str) -> str | Phrase:
    """Return which danger it is, or `mistake`; what cannot be understood is asked again.

    Whoever leaves, or says nothing any more, has reported a danger all the same.
    """
    word = folded(text[:400])
    answers = (*replies.DANGERS, replies.MISTAKE)
    if word.isascii() and word.isdigit() and 1 <= int(word[:3]) <= len(answers):
        return answers[int(word) - 1]
    if word in answers:
        return word
    if word == replies.BACK:
        return replies.MISTAKE
    return replies.DANGERS[-1] if word == replies.LEAVE else phrase("danger-which")


def in_words(typed: str, also: tuple[str, ...] = ()) -> bool:
    """Return whether the words for a symptom tell of a danger; `also` are the site's own."""
    word = folded(typed)
    known = WORDS | {folded(one) for one in also if " " not in one.strip()}
    if known & set("".join(c if c.isalnum() else " " for c in word).split()):
        return True
    return any(folded(one) in word for one in also if " " in one.strip())
