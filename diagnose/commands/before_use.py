"""How a machine may be used, which everybody meets first who begins a case or a round on it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.case.screens import ChooseScreen, EndScreen, RefusedScreen, StateScreen, phrase
from diagnose.case.view import contacts
from diagnose.case.walk import Refusal, replied, word_of
from diagnose.commands.danger import ask
from diagnose.commands.options import LONGEST_NAME
from diagnose.commands.session import said
from diagnose.faces.face import Heading
from diagnose.files import replies
from diagnose.log import clock
from diagnose.log.machine_state import held, release, since
from diagnose.log.protocol import LogBusy
from diagnose.text import printable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.case.screens import Phrase
    from diagnose.commands.ready_library import ReadyLibrary
    from diagnose.faces.face import Face
    from diagnose.files.card import Card
    from diagnose.log.machine_state import Held
    from diagnose.log.protocol import CaseLog, CaseRecord

#: Further cases that hold a machine, and notes, that are told one by one; a list has the others.
_TOLD: Final = 2

_ASIDE: Final = (replies.DANGER, replies.LEAVE)


class Met(Struct, frozen=True, kw_only=True):
    """What somebody makes of a machine's state: `reply` is go on, start anew, back or leave.

    `case` is the one to go on with; `notes` are to be said at the next screen; `shown`: there was
    something to see.
    """

    reply: str
    shown: bool = True
    case: CaseRecord | None = None
    notes: tuple[Phrase, ...] = ()


def met(library: ReadyLibrary, face: Face, log: CaseLog | None, name: str, *, asked: bool) -> Met:
    """Show the state of a machine that is not simply in use, and take what is said to it.

    `name` is who stands there, empty where not given; it is asked for where the machine is said to
    be released. `asked`: the machine was chosen at a screen, to which *back* leads. Nothing is
    shown without a log, or without a card: which machine it is, nobody knows then. Raises
    `LogError`.
    """
    card = library.card
    holding = held(log, card.machine) if log is not None and card is not None else []
    if log is None or card is None or not holding:
        return Met(reply=replies.START_ANEW, shown=False)
    screen = _screen(library, card, holding, asked=asked)
    heading = Heading(machine=card.title, first=not asked)
    while True:
        meaning = replied(screen, said(face, screen, heading))
        heading = Heading(machine=card.title)
        if isinstance(meaning, Refusal):
            face.show(RefusedScreen(message=meaning.message), heading)
        elif meaning.kind == replies.RELEASED:
            who = name or _name(library, face, heading)
            if who == replies.LEAVE:
                return _left(face, heading)
            if who != replies.BACK and _released(log, holding, who, face, heading):
                return Met(reply=replies.START_ANEW, notes=(phrase("state-released", name=who),))
        elif meaning.kind == replies.DANGER:
            ask(library, face, heading)
        elif meaning.kind == replies.LEAVE:
            return _left(face, heading)
        else:
            return Met(reply=meaning.kind, case=holding[0].case)


def _released(
    log: CaseLog, holding: Sequence[Held], who: str, face: Face, heading: Heading
) -> bool:
    """Write that a machine was released; where others write all the time, say so."""
    try:
        release(log, holding, who)
    except LogBusy:
        what = f"the release by {who}"
        face.show(RefusedScreen(message=phrase("not-kept", what=what)), heading)
        return False
    return True


def _left(face: Face, heading: Heading) -> Met:
    face.show(EndScreen(outcome="left", ranking=()), heading)
    return Met(reply=replies.LEAVE)


def notes_on(holding: Sequence[Held]) -> tuple[Phrase, ...]:
    """Return a line for each case that holds a machine, or for the first and the number of more."""
    more = len(holding) - _TOLD
    return tuple(
        phrase(
            "state-also",
            state=one.is_.state,
            since=clock.local(one.is_.since or one.case.changed),
            why=one.is_.why,
            case=one.case.name,
        )
        for one in holding[:_TOLD]
    ) + ((phrase("state-more", count=more),) if more > 0 else ())


def _screen(
    library: ReadyLibrary, card: Card, holding: Sequence[Held], *, asked: bool
) -> StateScreen:
    """Return the screen of a machine that is held: of the last that happened, the worst first."""
    first = holding[0]
    go_on = (replies.GO_ON,) if first.case.outcome == "open" else ()
    back = (replies.BACK,) if asked else ()
    return StateScreen(
        replies=(*go_on, replies.START_ANEW, replies.RELEASED, *back, *_ASIDE),
        notes=(
            *[phrase("state-noted", words=words) for words in first.noted[-_TOLD:]],
            *notes_on(holding[1:]),
        ),
        machine=card.machine,
        state=first.is_.state,
        since=since(holding),
        why=first.is_.why,
        tag=first.is_.tag,
        case=first.case.name,
        call=contacts(card, library.content.site),
    )


def _name(library: ReadyLibrary, face: Face, heading: Heading) -> str:
    """Ask who says that a machine was released: a release without a name is nobody's word.

    Returns the name, or back or leave. Raises `DangerMet`.
    """
    screen = ChooseScreen(what="name", options=(), replies=(replies.BACK, *_ASIDE))
    while True:
        typed = " ".join(printable(said(face, screen, heading)[:LONGEST_NAME]).split())
        word = word_of(typed)
        if word == replies.DANGER:
            ask(library, face, heading)
            continue
        if word in screen.replies:
            return word
        if typed:
            return typed
        face.show(RefusedScreen(message=phrase("no-name")), heading)
