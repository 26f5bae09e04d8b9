"""What a trainee is shown, as data. What was refused is said by the screen that cases have."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from msgspec import Struct

from diagnose.case.screens import Screen

if TYPE_CHECKING:
    from diagnose.case.screens import Named
    from diagnose.drill.score import Look, Score, UnsafeMove


class Option(Struct, frozen=True, kw_only=True):
    """One thing that may be picked. `state` says what became of it so far, "" for nothing."""

    id: str
    title: str
    state: str = ""


class PickScreen(Screen, frozen=True, kw_only=True):
    """Pick any check, in whatever order. The `state` of an option is what it gave last.

    `open` is how many causes nothing that was seen speaks against; `used` are the minutes so far.
    """

    screen: ClassVar[str] = "pick"

    checks: tuple[Option, ...]
    open: int
    used: float


class GuardScreen(Screen, frozen=True, kw_only=True):
    """Say what is put in force or ended before a check, or before a remedy (its words untold).

    The `state` of a caution is "", take, in force or end; that of one of the `hands`, who may do
    the check instead, "" or chosen. `take_minutes` is what the cautions to be taken cost, `used`
    are the minutes so far.
    """

    screen: ClassVar[str] = "guard"

    work: str
    step: str
    title: str
    do: str | None
    tool: str | None
    cautions: tuple[Option, ...]
    hands: tuple[Option, ...]
    take_minutes: float
    used: float


class SeenScreen(Screen, frozen=True, kw_only=True):
    """What a check gave; `used` are the minutes so far. Nothing is replied.

    `unsafe` is what was unsafe at it, where that is told at once.
    """

    screen: ClassVar[str] = "seen"

    look: Look
    unsafe: tuple[UnsafeMove, ...]
    used: float


class CauseScreen(Screen, frozen=True, kw_only=True):
    """Name the cause."""

    screen: ClassVar[str] = "cause"

    causes: tuple[Named, ...]


class HandsScreen(Screen, frozen=True, kw_only=True):
    """Say who puts right the cause that was named."""

    screen: ClassVar[str] = "hands"

    cause: Named
    hands: tuple[Named, ...]


class ScoreScreen(Screen, frozen=True, kw_only=True):
    """How the drill ended."""

    screen: ClassVar[str] = "score"

    score: Score
