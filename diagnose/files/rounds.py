"""What a round says: a routine checklist without branches."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from msgspec import Struct

from diagnose.files.tree import ALWAYS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.tree import Condition, Later


class Item(Struct, frozen=True, kw_only=True):
    """One action of a round; `starts` is the symptom that "not right" begins.

    `seen` are the answers, by step, that go along then. Where it `stops`, "not right" ends the
    round, and the machine is out of use from then on.
    """

    do: str
    look_for: str | None = None
    minutes: float = 1.0
    hazards: tuple[str, ...] = ()
    not_here: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    energises: bool = False
    by: str = "operator"
    applies_to: Condition = ALWAYS
    show_card: tuple[str, ...] = ()
    note_down: str | None = None
    starts: str | None = None
    seen: Mapping[str, str] = {}
    stops: bool = False

    LATER: ClassVar[Later] = {
        "by": ("operator",),
        "applies_to": (ALWAYS,),
        "show_card": ((),),
        "note_down": (None,),
        "seen": ({},),
        "stops": (False,),
        "not_here": ((),),
    }


class Round(Struct, frozen=True, kw_only=True):
    """One checklist, its items in the order of the file.

    `kinds` are the kinds of machine that it is for; none: all.
    """

    round: str
    title: str
    every: str
    items: Mapping[str, Item]
    kinds: tuple[str, ...] = ()
    applies_to: Condition = ALWAYS

    LATER: ClassVar[Later] = {"kinds": ((),), "applies_to": (ALWAYS,)}
