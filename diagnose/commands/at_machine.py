"""The way to a machine, before a case or a round begins there: which it is, and its state."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.case.screens import RefusedScreen, phrase
from diagnose.commands import options as opt
from diagnose.commands.before_use import met
from diagnose.commands.intake import machine_of
from diagnose.commands.resume import take_up
from diagnose.faces.face import Heading
from diagnose.files import replies
from diagnose.log.machine_state import machine_states
from diagnose.log.protocol import LogBusy, LogError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Mapping

    from diagnose.case.screens import Phrase
    from diagnose.commands.ready_library import ReadyLibrary
    from diagnose.faces.face import Face
    from diagnose.files.rounds import Round
    from diagnose.files.tree import Tree
    from diagnose.log.protocol import CaseLog


class AtMachine(Struct, frozen=True, kw_only=True):
    """Somebody at a machine that they may begin with.

    `log` is the one that there is already; `first`: no screen was shown yet; `notes` are to be
    said at the next one.
    """

    log: CaseLog | None
    first: bool
    notes: tuple[Phrase, ...] = ()


def at_machine(
    library: ReadyLibrary,
    face: Face,
    options: argparse.Namespace,
    what: Tree | Round | None = None,
) -> AtMachine | None:
    """Take the machine that was named, or ask; show its state where it is not simply in use.

    `what` is the symptom or the round it is for, where that is known. Returns None where nothing is
    to be begun: the person left, or went on with the case that holds the machine. Raises
    `WrongUse`, `Unusable` and `LogError`.
    """

    def states() -> Mapping[str | None, str]:
        return {} if options.trial else _states(options)

    named, first = options.machine, True
    while True:
        go_on, asked = machine_of(library, named, face, states, what)
        if not go_on:
            return None
        try:
            # A trial neither keeps nor looks up anything.
            log = None if options.trial else opt.existing_log(options)
            made_of_it = met(library, face, log, opt.person(options), asked=asked)
        except LogBusy:
            if not library.machines:
                raise
            face.show(RefusedScreen(message=phrase("not-looked-up")), Heading())
            # Whoever named it may choose it now.
            named, first = None, False
            continue
        if made_of_it.reply == replies.START_ANEW:
            first = first and not asked and not made_of_it.shown
            return AtMachine(log=log, first=first, notes=made_of_it.notes)
        if made_of_it.reply == replies.GO_ON and log is not None and made_of_it.case is not None:
            take_up(log, made_of_it.case, face, options)
        if made_of_it.reply != replies.BACK:
            return None


def _states(options: argparse.Namespace) -> Mapping[str | None, str]:
    """Return the state of each machine that is not simply in use, as far as the log can say.

    What is wrong with the log is said once a machine is chosen: a danger can be reported before.
    """
    try:
        log = opt.existing_log(options)
        return {} if log is None else machine_states(log)
    except (LogError, opt.Unusable):
        return {}
