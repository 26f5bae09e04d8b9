"""A visit: who stands there, with what the log knows of the machine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.screens import phrase
from diagnose.case.view import contacts
from diagnose.case.visit import Visit
from diagnose.commands import options as opt
from diagnose.commands.session import Desk
from diagnose.faces.words import render
from diagnose.files.site import CALL_OUT
from diagnose.log import clock
from diagnose.log.history import cured_before, since, undone
from diagnose.study.tailored import is_for

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from diagnose.commands.ready_library import ReadyLibrary
    from diagnose.faces.face import Face
    from diagnose.log.events import Mark
    from diagnose.log.protocol import CaseLog


def desk_of(
    library: ReadyLibrary,
    log: CaseLog | None,
    face: Face,
    options: argparse.Namespace,
) -> Desk:
    """Return who stands at the machine, and what the log knows of it. Raises `LogError`."""
    visit = Visit(
        tree=library,
        table=library.table,
        site=library.content.site,
        role=options.role,
        card=library.card,
        call=contacts(library.card, library.content.site),
        call_out_minutes=_call_out(library),
        **_past(library, log),
    )
    name = opt.person(options)
    if log is not None:
        log.busy = lambda: face.waits(render(phrase("log-waits")))
    return Desk(visit=visit, face=face, log=log, where=opt.where(options), name=name)


def _call_out(library: ReadyLibrary) -> float:
    """Return the minutes that a call of service costs: by the card, else by the site."""
    said = None if library.card is None else library.card.line("call_out_minutes")
    site = library.content.site
    if said is not None:
        return float(said)
    return CALL_OUT if site is None else site.call_out_minutes


def _past(library: ReadyLibrary, log: CaseLog | None) -> dict[str, Any]:
    """Return recent cures of this machine, and what its rounds left undone.

    Nothing without a machine card: which machine it is, nobody knows then.
    """
    if log is None or library.card is None:
        return {}
    machine, at = library.card.machine, clock.now()
    begun = log.begun(machine)
    # Where no round was ever begun on the machine, none is read.
    known = library.rounds if begun else {}
    rounds = {name: one for name, one in known.items() if is_for(library.card, one)}

    def left(name: str) -> Sequence[Mark]:
        last = log.last_left(machine, name)
        return () if last is None else last.summary.left

    return {
        "cured_before": cured_before(log.cures(machine, since(at)), at),
        "undone": undone(rounds, machine, begun, left, at),
    }
