"""Cautions at the machine: which is called, what its screen says, what a reply to it does.

The same for the steps of a case and the items of a round. In force follows time, not the path: what
was confirmed stays so whatever is taken back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose.case.screens import CautionScreen, Guard, Named, phrase
from diagnose.files import replies
from diagnose.files.cautions import EACH, SIGNALS, TOGETHER
from diagnose.study.in_force import bits, union

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.case.screens import Phrase, Screen
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
) -> tuple[str, tuple[int, ...]] | None:
    """Return the cautions whose screen comes before a step, with its phase; None: the step comes.

    What lapses is released first, one a screen, the last of the file first; then what is called is
    taken in the order of the file. Those whose lines are confirmed together share one screen where
    they follow one another.
    """
    lapsing = held.in_force & table.lapsing if energises else 0
    if lapsing:
        return RELEASE, (lapsing.bit_length() - 1,)
    called = list(bits(table.called(needs, held.in_force)))
    if not called:
        return None
    together: list[int] = []
    for number in called:
        if _stands_alone(table, held.in_force, number):
            break
        together.append(number)
    return TAKE, tuple(together or called[:1])


def _stands_alone(table: CautionTable, in_force: int, number: int) -> bool:
    """Whether a caution has a screen of its own: for its own lines, or those of what it brings."""
    fresh = table.closure[number] & ~in_force
    return any(table.records[one].confirm_lines == EACH for one in bits(fresh))


def _by_line(table: CautionTable, held: CautionState, number: int) -> bool:
    """Whether its lines are confirmed one by one: not those that were so in this case before."""
    fresh = table.closure[number] & ~held.in_force & ~held.taken
    return any(table.records[one].confirm_lines == EACH for one in bits(fresh))


def refused(table: CautionTable, held: CautionState, needs: int, energises: bool) -> bool:
    """Whether a step needs a caution that was refused, so that no word of it may be shown."""
    entry = held.in_force & ~table.lapsing if energises else held.in_force
    return bool(table.closed(table.called(needs, entry)) & held.refused)


def replied(
    table: CautionTable, held: CautionState, screen: CautionScreen, kind: str, which: str = ""
) -> CautionState:
    """Return the cautions after *done* or *cannot* at a caution's screen.

    *Cannot* refuses all that stand on it, or the one that it names (`which`). A release that cannot
    be confirmed changes nothing: the step is passed over instead.
    """
    if kind == replies.CANNOT:
        names = refused_by(screen, kind, which)
        return replace(held, refused=held.refused | union(1 << table.number[n] for n in names))
    shown = confirmed = 0
    for guard in screen.cautions:
        number = table.number[guard.id]
        shown |= 1 << number
        confirmed |= table.closure[number]
    if screen.phase == RELEASE:
        return replace(held, in_force=held.in_force & ~shown)
    return replace(held, in_force=held.in_force | confirmed, taken=held.taken | confirmed)


def refused_by(screen: Screen, kind: str, which: str = "") -> tuple[str, ...]:
    """Return the cautions that a reply refuses: the one that it names, else all of the screen's."""
    if not isinstance(screen, CautionScreen) or kind != replies.CANNOT or screen.phase == RELEASE:
        return ()
    return (which,) if which else tuple(guard.id for guard in screen.cautions)


def after_back(earlier: CautionState, held: CautionState) -> CautionState:
    """Return the cautions after a reply was taken back: only a refusal is taken back with it."""
    return replace(earlier, in_force=held.in_force, taken=held.taken | earlier.taken)


def tried_out(table: CautionTable, held: CautionState) -> CautionState:
    """Return the cautions after the machine ran: what lapses has ended."""
    return replace(held, in_force=held.in_force & ~table.lapsing)


def caution_screen(
    table: CautionTable,
    held: CautionState,
    called: tuple[str, tuple[int, ...]],
    hazards: Sequence[str],
    common: Mapping[str, Any],
) -> CautionScreen:
    """Return the screen of the cautions called before something with these hazards.

    `common` is what every screen carries.
    """
    phase, numbers = called
    guards: list[Guard] = []
    signals: list[str] = []
    in_force = held.in_force
    for number in numbers:
        fresh = table.closure[number] & ~in_force if phase == TAKE else 1 << number
        guards.append(_guard(table, held, phase, number, fresh, hazards))
        signals += [table.records[one].signal for one in bits(fresh)]
        # What two of them include is confirmed once, with the first.
        in_force |= fresh
    by_line = phase == TAKE and any(_by_line(table, held, number) for number in numbers)
    return CautionScreen(
        **common,
        id=guards[0].id,
        title=guards[0].title,
        phase=phase,
        lines=EACH if by_line else TOGETHER,
        signal=min(signals, key=SIGNALS.index),
        cautions=tuple(guards),
    )


def _guard(
    table: CautionTable,
    held: CautionState,
    phase: str,
    number: int,
    fresh: int,
    hazards: Sequence[str],
) -> Guard:
    """Return one caution of a screen; `fresh` is what comes into force with it."""
    own, taking = table.records[number], phase == TAKE
    included = list(bits(fresh & ~(1 << number)))
    lines = [line for one in included for line in table.records[one].confirm]
    return Guard(
        id=table.ids[number],
        title=own.title,
        signal=own.signal,
        signs=own.signs,
        text=own.text if taking else "",
        confirm=(*lines, *own.confirm) if taking else own.release,
        hazards=tuple(
            Named(hazard, table.hazards[hazard])
            for hazard in hazards
            if taking and table.cover.get(hazard, 0) & fresh
        ),
        includes=tuple(table.ids[one] for one in included),
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
    """Return why cautions are called, or why one is released."""
    why: list[Phrase] = []
    for guard in screen.cautions:
        why.append(phrase(f"why-{screen.phase}", title=guard.title))
        why += [phrase("why-hazard", title=hazard.title) for hazard in guard.hazards]
    return tuple(why)
