"""The walk: what a reply at a screen means, and what it does.

Replies in, the next state out: no file, no clock, no terminal. A state is frozen, so *back* is an
earlier state, and a resume is the same replies again. Where the case goes next, `onward` says.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from diagnose.case import cautions, onward, view
from diagnose.case.danger import what_it_is
from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    DangerScreen,
    FigureScreen,
    FindingScreen,
    Named,
    ReadingScreen,
    RefusedScreen,
    phrase,
)
from diagnose.case.state import Exchange, Turn
from diagnose.case.why import why
from diagnose.files import replies
from diagnose.files.tree import Question, Reading
from diagnose.measure.registry import MissingLine, Unreadable, compute, parse_reply
from diagnose.text import did_you_mean, folded, printable, shortened

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from diagnose.case.screens import Phrase, Screen
    from diagnose.case.state import State, Trace
    from diagnose.case.visit import Visit

#: The kind of a reply that is an answer.
ANSWER = "answer"

#: As much of a reply is kept in the log.
LONGEST_TYPED = 2000

#: Characters of one note.
LONGEST_NOTE = 500


class Refusal(Struct, frozen=True):
    """A reply that means nothing here, and the sentence that says so."""

    message: Phrase


class Meaning(Struct, frozen=True, kw_only=True):
    """What a reply means: its kind (`answer`, or a reply's id), and the answer.

    `which` is the one caution of a screen that *cannot* is about, empty where it is all of them. A
    reading brings its figure, and its inputs as typed and in SI.
    """

    kind: str
    answer: str = ""
    which: str = ""
    figure: FigureScreen | None = None
    inputs: Mapping[str, str] | None = None
    si: tuple[tuple[str, float, str], ...] = ()


def reply(visit: Visit, state: State, text: str, screen: Screen | None = None) -> Turn:
    """Return what a reply comes to. One that cannot be understood changes nothing.

    `screen` is the state's, where it is at hand already.
    """
    screen = screen or view.screen(visit, state)
    meaning = _understood(visit, state, screen, text)
    if isinstance(meaning, Refusal):
        wrong = RefusedScreen(
            symptom=screen.symptom, in_force=screen.in_force, message=meaning.message
        )
        return Turn(state=state, interludes=(wrong,))
    if meaning.kind == replies.WHY:
        return Turn(state=state, interludes=(why(visit, state, screen),))
    trail: list[Trace] = []
    if meaning.kind in (replies.DANGER, replies.MISTAKE) and not meaning.answer:
        # The screen before stays as it was: whoever pressed it by mistake goes back to it.
        after = replace(state, alarm=meaning.kind == replies.DANGER)
    elif meaning.kind == replies.NOTE:
        told = (*state.notes, phrase("noted", text=meaning.answer))
        after = replace(state, notes=told, noted=True)
    else:
        after = _done(visit, state, screen, meaning, trail)
    frame = state.frames[-1]
    refused: tuple[str, ...] = ()
    if isinstance(screen, CautionScreen):
        refused = cautions.refused_by(screen, meaning.kind, meaning.which)
    exchange = Exchange(
        kind=meaning.kind,
        symptom=frame.tree.symptom,
        step=frame.tree.plan.ids[frame.at],
        screen=screen,
        typed=text[:LONGEST_TYPED],
        frame=frame,
        answer=meaning.answer,
        refused=refused,
        inputs=meaning.inputs,
        si=meaning.si,
        figure=meaning.figure,
        trail=tuple(trail),
    )
    shown = () if meaning.figure is None else (meaning.figure,)
    return Turn(state=after, interludes=shown, exchange=exchange)


# What a reply means


def replied(screen: Screen, text: str) -> Meaning | Refusal:
    """Return what `text` means at a screen that takes replies only."""
    word = word_of(text)
    return _reply_word(screen, word) or _no_such(word, screen.replies)


def word_of(text: str) -> str:
    """Return what was typed as a reply word: folded, odd spaces and spellings tidied."""
    word = folded(text[:400])
    return replies.SPELLINGS.get(word, word)


def picked(options: Sequence[Named], word: str) -> str | None:
    """Return the id of the option that `word` (folded) names, by its words or its number from 1."""
    if word.isascii() and word.isdigit() and len(word) < 6:
        number = int(word)
        return options[number - 1].id if 1 <= number <= len(options) else None
    for option in options:
        if word in (folded(option.id), folded(option.title)):
            return option.id
    return None


def at_danger(text: str) -> Meaning | Refusal:
    """Return what a reply to the danger's question means."""
    told = what_it_is(text)
    if not isinstance(told, str):
        return Refusal(told)
    if told == replies.MISTAKE:
        return Meaning(kind=replies.MISTAKE)
    return Meaning(kind=replies.DANGER, answer=told)


def note_in(text: str) -> Meaning | Refusal | None:
    """Return the note that a reply is, in one line of what can be printed; None: it is none."""
    head, _, words = text.strip().partition(" ")
    if head.casefold() != replies.NOTE:
        return None
    words = " ".join(printable(words).split())
    if not words:
        return Refusal(phrase("note-empty"))
    if len(words) > LONGEST_NOTE:
        return Refusal(phrase("note-long", length=len(words), most=LONGEST_NOTE))
    return Meaning(kind=replies.NOTE, answer=words)


def _understood(visit: Visit, state: State, screen: Screen, text: str) -> Meaning | Refusal:
    if isinstance(screen, DangerScreen):
        return at_danger(text)
    note = note_in(text)
    if note is not None:
        return note
    word = word_of(text)
    meaning = _reply_word(screen, word)
    if meaning is not None:
        return meaning
    if isinstance(screen, CheckScreen):
        chosen = picked(screen.answers, word)
        if chosen is not None:
            return Meaning(kind=ANSWER, answer=chosen)
        return _no_answer(visit, state, screen, word)
    if isinstance(screen, ReadingScreen):
        if word in replies.REPLY_WORDS:
            return _no_such(word, screen.replies)
        return _read(visit, state, screen, text)
    return _no_such(word, screen.replies)


def _reply_word(screen: Screen, word: str) -> Meaning | Refusal | None:
    if word in (replies.DANGER, replies.LEAVE) or word in screen.replies:
        return Meaning(kind=word)
    if word == replies.BACK:
        return Refusal(phrase("no-way-back"))
    if isinstance(screen, CautionScreen) and word.startswith(f"{replies.CANNOT} "):
        return _cannot_one(screen, word.removeprefix(replies.CANNOT).strip())
    return None if word else Refusal(phrase("nothing-typed"))


def _cannot_one(screen: CautionScreen, word: str) -> Meaning | Refusal:
    """Return what *cannot* means with a caution's id, its title or its number on the screen."""
    on_it = [Named(guard.id, guard.title) for guard in screen.cautions]
    brought = [name for guard in screen.cautions for name in guard.includes]
    which = picked(on_it, word) or (word if word in brought else None)
    if which is not None:
        return Meaning(kind=replies.CANNOT, which=which)
    offered = [guard.id for guard in screen.cautions]
    hint = did_you_mean(word, [*offered, *brought])
    return Refusal(
        phrase("no-such-caution", typed=shortened(word), offered=", ".join(offered), hint=hint)
    )


def _no_answer(visit: Visit, state: State, screen: CheckScreen, word: str) -> Refusal:
    frame = state.frames[-1]
    step = frame.tree.steps[frame.at]
    assert isinstance(step, Question)
    for shown, what in view.card_list(visit, step).items():
        if word == folded(shown):
            return Refusal(phrase("card-list", shown=shown, meaning=what))
    offered = [named.id for named in screen.answers]
    hint = _did_you_mean(word, [*offered, *screen.replies])
    return Refusal(
        phrase("no-such-answer", typed=shortened(word), last=len(screen.answers), hint=hint)
    )


def _no_such(word: str, offered: Sequence[str]) -> Refusal:
    hint = _did_you_mean(word, offered)
    return Refusal(
        phrase("no-such-reply", typed=shortened(word), offered=", ".join(offered), hint=hint)
    )


def _did_you_mean(word: str, offered: Iterable[str]) -> str:
    # A slip of the hand is no alarm: nobody is led to that word by a guess.
    return did_you_mean(word, [one for one in offered if one != replies.DANGER])


def _read(visit: Visit, state: State, screen: ReadingScreen, text: str) -> Meaning | Refusal:
    frame = state.frames[-1]
    step = frame.tree.steps[frame.at]
    assert isinstance(step, Reading)
    measurement = frame.tree.measurements[step.read]
    try:
        given = parse_reply(measurement, text)
        figure = compute(measurement, given, visit.line, bare=True)
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
        expected=figure.expected,
        band=band,
        workings=figure.workings,
        good_to=figure.good_to,
    )
    return Meaning(kind=ANSWER, answer=band, figure=shown, inputs=given, si=figure.si)


# What it does


def _done(
    visit: Visit, state: State, screen: Screen, meaning: Meaning, trail: list[Trace]
) -> State:
    """Return the state after a reply that was understood; what followed goes on the trail."""
    kind = meaning.kind
    fresh = replace(state, doorway=None, notes=(), answered=False, alarm=False)
    if kind == replies.DANGER:
        end = onward.ended(fresh, "referred", trail, replies.DANGER)
        return replace(end, notes=(*end.notes, *view.call_notes(visit.call)))
    if kind == replies.LEAVE:
        # Nobody looks for a case in which nothing was said; a round comes back to its own.
        empty = not state.returns and view.leaves_nothing(visit, state)
        return onward.ended(fresh, "left", trail, onward.WITHDRAWN if empty else "")
    if kind == replies.BACK:
        return _back(visit, fresh, screen, trail)
    if isinstance(screen, CautionScreen):
        return _at_caution(visit, fresh, screen, meaning, trail)
    moved = replace(fresh, before=state)
    if isinstance(screen, FindingScreen):
        return _at_finding(visit, moved, kind, trail)
    if kind in (replies.UNSURE, replies.CANNOT):
        return onward.go_on(visit, onward.pass_over(visit, moved, kind, trail), trail)
    frame = state.frames[-1]
    step = frame.tree.steps[frame.at]
    assert isinstance(step, Question)
    number = [way.answer for way in step.exits].index(meaning.answer)
    return answered(visit, state, number, trail)


def answered(visit: Visit, state: State, number: int, trail: list[Trace]) -> State:
    """Return the state after the answer of that number to the question where the walk is."""
    frame = state.frames[-1]
    after = onward.on_top(
        replace(state, doorway=None, notes=(), answered=True, before=state),
        onward.answered(frame, frame.at, number),
    )
    return onward.settle(visit, after, frame.tree.plan.ways[frame.at][number], True, trail)


def _at_caution(
    visit: Visit, state: State, screen: CautionScreen, meaning: Meaning, trail: list[Trace]
) -> State:
    held = cautions.replied(visit.table, state.cautions, screen, meaning.kind, meaning.which)
    if meaning.kind == replies.DONE:
        return replace(state, cautions=held)
    moved = replace(state, before=state, cautions=held)
    if screen.phase == cautions.RELEASE:
        return onward.go_on(visit, onward.pass_over(visit, moved, "tag", trail), trail)
    frame = state.frames[-1]
    return onward.settle(visit, moved, frame.at, frame.checked, trail)


def _at_finding(visit: Visit, state: State, kind: str, trail: list[Trace]) -> State:
    frame = state.frames[-1]
    if kind == replies.REFER:
        return onward.ended(state, "referred", trail)
    if kind in (replies.CURED, replies.NOT_CURED):
        # Nobody tries a remedy on a dead machine: what lapses has been released by now.
        state = replace(state, cautions=cautions.tried_out(visit.table, state.cautions))
    if kind == replies.CURED:
        return onward.ended(state, "cured", trail)
    # Whoever looked and saw that it is not the cause has started nothing: all stays in force.
    if kind in (replies.NOT_CURED, replies.NOT_IT):
        frame = onward.failed(frame, frame.at)
    aside = onward.on_top(state, onward.without(frame, frame.at))
    return onward.go_on(visit, onward.choose(visit, aside, None, trail), trail)


def _back(visit: Visit, state: State, screen: Screen, trail: list[Trace]) -> State:
    """Withdraw the last reply that moved the walk; what happened to the machine stays."""
    held = state.cautions
    # An operator's remedy may have been tried out before anybody thought of going back.
    if isinstance(screen, FindingScreen) and screen.who != "service":
        held = cautions.tried_out(visit.table, held)
    earlier = state.before
    if earlier is None:
        return onward.ended(replace(state, cautions=held), onward.WITHDRAWN, trail)
    kept = cautions.after_back(earlier.cautions, held)
    earlier = replace(earlier, cautions=kept, notes=(), doorway=None, noted=state.noted)
    frame = earlier.frames[-1]
    # The step may be nothing for whoever has taken the case up since it was shown.
    return onward.settle(visit, earlier, frame.at, frame.checked, trail)
