"""What a round says: a routine checklist without branches."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Mapping


class Item(Struct, frozen=True, kw_only=True):
    """One action of a round; `starts` is the symptom that "not right" begins.

    `stops`: "not right" ends the round, and the machine is out of use.
    """

    do: str
    look_for: str | None = None
    minutes: float = 1.0
    hazards: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    energises: bool = False
    starts: str | None = None
    stops: bool = False


class Round(Struct, frozen=True, kw_only=True):
    """One checklist, its items in the order of the file."""

    round: str
    title: str
    every: str
    items: Mapping[str, Item]
