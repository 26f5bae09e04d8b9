"""What a reply means at a screen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from diagnose.case.screens import (
    CheckScreen,
    FigureScreen,
    Phrase,
    ReadingScreen,
    as_data,
    phrase,
)
from diagnose.files import replies
from diagnose.files.tree import Question, Reading
from diagnose.measure.registry import MEASUREMENTS, MissingLine, Unreadable, compute, parse_reply
from diagnose.text import did_you_mean, shortened

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.case.screens import Named, Screen
    from diagnose.case.state import State
    from diagnose.case.walk import Walk

ANSWER = "answer"


@dataclass(frozen=True, slots=True)
class Refusal:
    """A reply that means nothing here, and the sentence that says so."""

    message: Phrase


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """What a reply means: its kind (`answer`, or a reply's id), and the answer."""

    kind: str
    answer: str = ""
    interludes: tuple[Screen, ...] = ()
    more: Mapping[str, Any] | None = None


def understood(walk: Walk, state: State, screen: Screen, text: str) -> Meaning | Refusal:
    """Return what `text` means at this screen, or why it means nothing."""
    word = word_of(text)
    meaning = _reply(screen, word, walk.can_go_back(state))
    if meaning is not None:
        return meaning
    if isinstance(screen, CheckScreen):
        chosen = picked(screen.answers, word)
        if chosen is not None:
            return Meaning(kind=ANSWER, answer=chosen)
        step = walk.step(state)
        assert isinstance(step, Question)
        for shown, what in walk.card_list(step).items():
            if word == " ".join(shown.casefold().split()):
                return Refusal(phrase("card-list", shown=shown, meaning=what))
        offered = [named.id for named in screen.answers]
        return _no_such(word, [*offered, *screen.replies], len(screen.answers))
    if isinstance(screen, ReadingScreen):
        if word in replies.REPLY_WORDS:
            return _no_such(word, screen.replies)
        return _read(walk, state, screen, text)
    return _no_such(word, screen.replies)


def replied(screen: Screen, text: str, *, back: bool) -> Meaning | Refusal:
    """Return what `text` means at a screen that takes replies only; `back`: there is a way back."""
    word = word_of(text)
    return _reply(screen, word, back) or _no_such(word, screen.replies)


def word_of(text: str) -> str:
    """Return what was typed as a reply word: folded, odd spaces and spellings tidied."""
    word = " ".join(text[:400].casefold().split())
    return replies.SPELLINGS.get(word, word)


def picked(options: Sequence[Named], word: str) -> str | None:
    """Return the id of the option that `word` (folded) names, by its words or its number from 1."""
    if word.isascii() and word.isdigit() and len(word) < 6:
        number = int(word)
        return options[number - 1].id if 1 <= number <= len(options) else None
    for option in options:
        if word in (" ".join(name.casefold().split()) for name in (option.id, option.title)):
            return option.id
    return None


def _reply(screen: Screen, word: str, back: bool) -> Meaning | Refusal | None:
    if word in (replies.DANGER, replies.LEAVE):
        return Meaning(kind=word)
    if word == replies.BACK and not back:
        return Refusal(phrase("no-way-back"))
    if word in screen.replies:
        return Meaning(kind=word)
    return None if word else Refusal(phrase("nothing-typed"))


def _no_such(word: str, offered: Sequence[str], numbers: int = 0) -> Refusal:
    typed = shortened(word)
    hint = did_you_mean(word, offered)
    if numbers:
        return Refusal(phrase("no-such-answer", typed=typed, last=numbers, hint=hint))
    return Refusal(phrase("no-such-reply", typed=typed, offered=", ".join(offered), hint=hint))


def _read(walk: Walk, state: State, screen: ReadingScreen, text: str) -> Meaning | Refusal:
    step = walk.step(state)
    assert isinstance(step, Reading)
    measurement = MEASUREMENTS[step.read]
    line = walk.card.line if walk.card is not None else (lambda path: None)
    try:
        given = parse_reply(measurement, text)
        figure = compute(measurement, given, line, bare=True)
    except (Unreadable, MissingLine) as error:
        return Refusal(phrase("cannot-read", message=f"{error}"))
    band = step.band(figure.value).answer
    shown = FigureScreen(
        symptom=screen.symptom,
        in_force=screen.in_force,
        step=screen.step,
        read=figure.read,
        value=figure.value,
        unit=figure.unit,
        expected=as_data(figure.expected),
        band=band,
        workings=figure.workings,
    )
    more = {"inputs": given, "si": as_data(figure.si), "figure": as_data(shown)}
    return Meaning(kind=ANSWER, answer=band, interludes=(shown,), more=more)
