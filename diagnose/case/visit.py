"""Who stands at which machine, under which cautions, and what is known of its past: one value."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.files.site import CALL_OUT

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from diagnose.case.screens import Contact, Phrase
    from diagnose.files.card import Card
    from diagnose.files.site import Site
    from diagnose.study.in_force import CautionTable
    from diagnose.study.ready import ReadyTree


class Visit(Struct, frozen=True, kw_only=True):
    """All that a case or a round needs beside its own state; it stays the same from reply to reply.

    `tree` gives the ready tree of a symptom, or None where it cannot be started. `cured_before`
    counts the recent cures of this machine by (symptom, finding); `undone` says, by symptom, what
    the rounds left undone that speaks for it. `call_out_minutes` are what a call of service costs,
    against which another look is weighed. `call` is whom to call, in an emergency first.
    """

    tree: Callable[[str], ReadyTree | None]
    table: CautionTable
    role: str = "operator"
    call_out_minutes: float = CALL_OUT
    card: Card | None = None
    call: tuple[Contact, ...] = ()
    cured_before: Mapping[tuple[str, str], int] = {}
    undone: Mapping[str, tuple[Phrase, ...]] = {}
    site: Site | None = None

    def line(self, path: str) -> str | None:
        """Return what the machine card says at a dotted path; None where nothing does."""
        return None if self.card is None else self.card.line(path)
