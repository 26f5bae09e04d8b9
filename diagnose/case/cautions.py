"""Cautions at the machine: which is called, what its screen says, what a reply to it does.

The same for the steps of a case and the items of a round. In force follows time, not the path: what
was confirmed stays so whatever is taken back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose.case.screens import CautionScreen, Named, phrase
from diagnose.files import replies
from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.case.screens import Phrase
    from diagnose.study.in_force import CautionTable

#: What a caution's screen is for.
TAKE: Final = "take"
RELEASE: Final = "release"


class CautionState(Struct, frozen=True):
    """Cautions as sets of bits: in force now, refused, and taken at least once in this case."""

    in_force: int = 0
    refused: int = 0
    taken: int = 0


def due(
    table: CautionTable, held: CautionState, needs: int, energises: bool
) -> tuple[str, int] | None:
    """Return the caution whose screen comes before a step, with its phase; None: the step comes.

    What lapses is released first, the last of the file first; then what is called is taken in the
    order of the file.
    """
    lapsing = held.in_force & table.lapsing if energises else 0
    if lapsing:
        return RELEASE, lapsing.bit_length() - 1
    called = table.called(needs, held.in_force)
    return (TAKE, (called & -called).bit_length() - 1) if called else None


def refused(table: CautionTable, held: CautionState, needs: int, energises: bool) -> bool:
    """Whether a step needs a caution that was refused, so that no word of it may be shown."""
    entry = held.in_force & ~table.lapsing if energises else held.in_force
    return bool(table.closed(table.called(needs, entry)) & held.refused)


def replied(
    table: CautionTable, held: CautionState, screen: CautionScreen, kind: str
) -> CautionState:
    """Return the cautions after *done* or *cannot* at a caution's screen.

    A release that cannot be confirmed changes nothing: the step is passed over instead.
    """
    number = table.number[screen.id]
    bit = 1 << number
    if kind == replies.CANNOT:
        return held if screen.phase == RELEASE else replace(held, refused=held.refused | bit)
    if screen.phase == RELEASE:
        return replace(held, in_force=held.in_force & ~bit)
    confirmed = table.closure[number]
    return replace(held, in_force=held.in_force | confirmed, taken=held.taken | confirmed)


def after_back(earlier: CautionState, held: CautionState) -> CautionState:
    """Return the cautions after a reply was taken back: only a refusal is taken back with it."""
    return replace(earlier, in_force=held.in_force, taken=held.taken | earlier.taken)


def tried_out(table: CautionTable, held: CautionState) -> CautionState:
    """Return the cautions after the machine ran: what lapses has ended."""
    return replace(held, in_force=held.in_force & ~table.lapsing)


def caution_screen(
    table: CautionTable,
    held: CautionState,
    called: tuple[str, int],
    hazards: Sequence[str],
    common: Mapping[str, Any],
) -> CautionScreen:
    """Return the screen of a caution before something with these hazards.

    `common` is what every screen carries.
    """
    phase, number = called
    own = table.records[number]
    taking = phase == TAKE
    confirm: list[str] = []
    threats: tuple[Named, ...] = ()
    if taking:
        for included in bits(table.closure[number] & ~held.in_force & ~(1 << number)):
            confirm += table.records[included].confirm
        confirm += own.confirm
        threats = tuple(
            Named(hazard, table.hazards[hazard])
            for hazard in hazards
            if table.cover.get(hazard, 0) & table.closure[number]
        )
    return CautionScreen(
        **common,
        id=table.ids[number],
        phase=phase,
        title=own.title,
        signal=own.signal,
        signs=own.signs,
        text=own.text if taking else "",
        confirm=tuple(confirm) if taking else own.release,
        hazards=threats,
        again=taking and bool(held.taken >> number & 1),
    )


def release_lines(table: CautionTable, in_force: int) -> tuple[str, ...]:
    """Return what is done before the machine runs again, for all that lapses then.

    Cautions that end together may ask for the same: once is enough.
    """
    lines: dict[str, None] = {}
    for number in reversed(list(bits(in_force & table.lapsing))):
        lines |= dict.fromkeys(table.records[number].release)
    return tuple(lines)


def why_caution(screen: CautionScreen) -> tuple[Phrase, ...]:
    """Return why a caution is called, or released."""
    hazards = [phrase("why-hazard", title=hazard.title) for hazard in screen.hazards]
    return (phrase(f"why-{screen.phase}", title=screen.title), *hazards)
