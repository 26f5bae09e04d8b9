"""A danger that is reported before a case or a round was begun: it opens a case of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.case.danger import danger_screen, what_it_is
from diagnose.case.screens import EndScreen, RefusedScreen, phrase
from diagnose.case.view import call_notes, contacts
from diagnose.commands import options as opt
from diagnose.commands.session import URGENT, Record, said, show_end
from diagnose.commands.visits import desk_of
from diagnose.files import replies
from diagnose.log.protocol import LogError
from diagnose.log.record import danger_opened, danger_replied

if TYPE_CHECKING:
    import argparse

    from diagnose.case.screens import Named
    from diagnose.commands.ready_library import ReadyLibrary
    from diagnose.commands.session import Desk
    from diagnose.faces.face import Face, Heading


class DangerMet(Exception):
    """A danger was reported where no case was open yet.

    `kind` says which, `words` are those that told of it, `in_force` the cautions of a case that was
    taken back.
    """

    def __init__(self, kind: str, words: str, in_force: tuple[Named, ...]) -> None:
        super().__init__(kind)
        self.kind = kind
        self.words = words
        self.in_force = in_force


def ask(
    library: ReadyLibrary,
    face: Face,
    heading: Heading,
    *,
    words: str = "",
    in_force: tuple[Named, ...] = (),
) -> None:
    """Show the stop and ask what it is. Raises `DangerMet`; returns where it was a mistake."""
    heading = replace(heading, first=False)
    screen = danger_screen(contacts(library.card, library.content.site), in_force=in_force)
    while True:
        told = what_it_is(said(face, screen, heading))
        if told == replies.MISTAKE:
            return
        if isinstance(told, str):
            raise DangerMet(told, words, in_force)
        face.show(RefusedScreen(message=told, in_force=in_force), heading)


def keep(library: ReadyLibrary, face: Face, options: argparse.Namespace, met: DangerMet) -> int:
    """Open a case for a danger that was met before one, and show its end. Raises `LogError`."""
    # What the log knows of the machine is not asked for here: nobody is held up by it.
    desk = desk_of(library, None, face, options)
    end = end_of(library, met)
    try:
        record = None if options.trial else _kept(desk, options, met, URGENT)
    except LogError:
        notes = (*end.notes, phrase("not-kept-yet"))
        try:
            show_end(desk, None, "", replace(end, notes=notes))
        finally:
            # Also where nobody sees the end any more.
            _kept(desk, options, met)
        return opt.OK
    show_end(desk, record, "", end)
    return opt.OK


def _kept(
    desk: Desk, options: argparse.Namespace, met: DangerMet, wait: float | None = None
) -> Record:
    """Open a case for the danger. Raises `LogError`, after so many seconds while others write."""
    log = opt.open_log(options, wait=wait)
    opened = danger_opened(desk.visit, desk.name, met.words)
    # At once: a danger half kept would be an open case that holds no machine.
    case = log.open_case(desk.machine, opened, danger_replied(met.kind))
    return Record(log, case)


def end_of(library: ReadyLibrary, met: DangerMet) -> EndScreen:
    """Return the end that a danger before any case comes to."""
    call = contacts(library.card, library.content.site)
    notes = (phrase("end-danger"), *call_notes(call))
    return EndScreen(outcome="referred", ranking=(), notes=notes, in_force=met.in_force)
