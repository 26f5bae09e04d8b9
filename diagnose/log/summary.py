"""What lists say of a case, kept beside it, so that a list reads no event.

The types alone; `summing` makes them of a case's events.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from msgspec import Struct

from diagnose.files.tree import OUT_OF_USE
from diagnose.log.events import Mark

WITH_CARE: Final = "use with care"
IN_USE: Final = "in use"

WORST_FIRST: Final = (OUT_OF_USE, WITH_CARE, IN_USE)


class MachineState(Struct, frozen=True, kw_only=True):
    """How a machine may be used, and what in the log says so.

    `since` is when it came so (ISO 8601, UTC; None while it is in use); `tag` is whose tag
    hangs there by the log, as name and role, None where the log knows of no lockout.
    """

    state: str
    why: str
    since: str | None = None
    tag: str | None = None


class Note(Struct, frozen=True, array_like=True):
    """Something that was written down, and when."""

    at: str
    words: str


class NotRight(Struct, frozen=True, array_like=True):
    """An item of a round that was not right and for which no case was begun, and when."""

    item: str
    at: str
    do: str


class Summary(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What lists say of a case or a round.

    `is_` is its machine's state by this case alone; `holds` whether
    it keeps the machine from being simply in use. `what` is what became of it in words, with what
    service is asked for and the parts of its end. `cures` are what cured it or what service
    reported, `closing` the probabilities at its end, `other` what it was in the words of service,
    where no finding of the trees is it.

    Of a round: `left` are its items that were not done, as it was ended or left last, at `left_at`
    ("" where it never was); `going_on`, it was taken up again since; `not_right` are those that
    stay noted. `damaged` is the number of the first event that could not be read, None where all
    could.
    """

    is_: MachineState
    holds: bool = False
    what: str = ""
    ask_service: str | None = None
    parts: tuple[str, ...] = ()
    noted: tuple[Note, ...] = ()
    cures: tuple[tuple[str, str], ...] = ()
    closing: Mapping[str, float] = {}
    other: str = ""
    left_at: str = ""
    left: tuple[Mark, ...] = ()
    going_on: bool = False
    not_right: tuple[NotRight, ...] = ()
    damaged: int | None = None


class Cure(Struct, frozen=True, kw_only=True):
    """A finding that was cured, or that service reported, on which machine, when, in which case.

    `words` and `parts` are the finding's as they were shown where this very one was cured: a cure
    behind doorways is one of what led there too. `words` is None there, and at a report.
    """

    machine: str | None
    finding: tuple[str, str]
    at: str
    case: bytes
    words: str | None = None
    parts: tuple[str, ...] = ()
