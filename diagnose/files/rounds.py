"""What a round says: a routine checklist without branches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.problems import Placed


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One action of a round; `starts` is the symptom that "not right" begins."""

    do: Placed
    look_for: Placed | None = None
    minutes: float = 1.0
    hazards: tuple[Placed, ...] = ()
    cautions: tuple[Placed, ...] = ()
    energises: bool = False
    starts: Placed | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """One checklist, its items in the order of the file."""

    round: Placed
    title: Placed
    every: str
    items: Mapping[Placed, Item]
