"""Where a drill stands: frozen, so that a drill is a fold over replies."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

if TYPE_CHECKING:
    from diagnose.case.screens import Phrase, Screen
    from diagnose.drill.score import Look, UnsafeMove, WrongReferral

# What the trainee is asked: a check, what goes before it, the cause, whose work that is, what goes
# before its remedy.
PICK: Final = "pick"
GUARD: Final = "guard"
CAUSE: Final = "cause"
HANDS: Final = "hands"
REMEDY: Final = "remedy"
OVER: Final = "over"


class Position(Struct, frozen=True, kw_only=True):
    """A drill between two replies.

    `stage` is what is asked: pick, guard (before a check), cause, hands, remedy (before it), or
    over. `step` is the check that was picked or the finding that was named. `taking`, `ending`
    (cautions as bits) and `others` (who does it instead) were said before it, and count once it
    begins.
    """

    stage: str = PICK
    step: int = -1
    taking: int = 0
    ending: int = 0
    others: str = ""
    in_force: int = 0
    minutes: float = 0.0
    looks: tuple[Look, ...] = ()
    unsafe: tuple[UnsafeMove, ...] = ()
    wrong_referrals: tuple[WrongReferral, ...] = ()
    hands: str = ""
    outcome: str = ""
    notes: tuple[Phrase, ...] = ()


class Turn(Struct, frozen=True, kw_only=True):
    """What a reply came to: the new position, and what is shown before its screen."""

    position: Position
    interludes: tuple[Screen, ...] = ()
