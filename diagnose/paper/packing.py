"""Layouts spread over sheets: two-dimensional packing by shelves, first fit."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from diagnose.paper.layout import Placement

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.paper.layout import Layout

#: What lies between two layouts on one sheet, in points at the drawing's type size.
_BETWEEN = 22.0


@dataclass(slots=True)
class _Shelf:
    """A strip across a sheet: its top, its height, and how much of its width is used."""

    top: float
    height: float
    used: float


@dataclass(slots=True)
class _Shelves:
    """One sheet with its shelves from the top down; only the last may still grow in height."""

    wide: float
    high: float
    shelves: list[_Shelf] = field(default_factory=list)
    placements: list[Placement] = field(default_factory=list)

    def put(self, layout: Layout) -> bool:
        """Put a layout on the first shelf with room, or on a new one; return whether it had any."""
        for shelf in self.shelves:
            highest = self.high - shelf.top if shelf is self.shelves[-1] else shelf.height
            left = shelf.used + _BETWEEN
            if left + layout.width <= self.wide and layout.height <= highest:
                self.placements.append(Placement(layout, left, shelf.top))
                shelf.height = max(shelf.height, layout.height)
                shelf.used = left + layout.width
                return True
        top = 0.0
        if self.shelves:
            top = self.shelves[-1].top + self.shelves[-1].height + _BETWEEN
            if top + layout.height > self.high or layout.width > self.wide:
                return False
        # What is larger than an empty sheet has it to itself.
        self.placements.append(Placement(layout, 0.0, top))
        self.shelves.append(_Shelf(top, layout.height, layout.width))
        return True


def packed(layouts: Sequence[Layout], wide: float, high: float) -> list[list[Placement]]:
    """Return the layouts spread over sheets of this size, each on the first with room.

    What is larger than a sheet gets one of its own.
    """
    sheets: list[_Shelves] = []
    for layout in layouts:
        if not any(sheet.put(layout) for sheet in sheets):
            sheets.append(_Shelves(wide, high))
            sheets[-1].put(layout)
    return [sheet.placements for sheet in sheets]
