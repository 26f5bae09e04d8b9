"""What of a screen is in sight, and what of it has been: the window on its body. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from diagnose.faces.elements import Element

#: What a row of the body shows: an element, and which of its rows, from 0. Air is None.
Part: TypeAlias = "tuple[Element, int] | None"


class Sight:
    """A window of `room` rows on the rows of a body, from `top` on.

    An element has been `read` once each of its rows was in the window, all at one width; it stays
    read when the screen comes again, at another size too. An element is known by what it says.
    When it was looked at last, `ended` are the elements whose end was in the window, and `below` is
    how many rows were below it.
    """

    def __init__(self) -> None:
        self.top = 0
        self.room = 1
        self.below = 0
        self.read: set[Element] = set()
        self.ended: set[Element] = set()
        self._width = 0
        self._parts: Sequence[Part] = ()
        self._shown: set[Part] = {None}

    def look(
        self, width: int, parts: Sequence[Part], room: int, wanted: Element | None = None
    ) -> slice:
        """Return which rows are in the window, and note them as shown.

        `wanted` is brought into the window, never past rows that were not in it yet.
        """
        if (width, len(parts)) != (self._width, len(self._parts)):
            self._keep_place(width, parts)
        self._width, self._parts, self.room = width, parts, room
        if wanted is not None:
            self._turn_to(wanted)
        self.top = max(0, min(self.top, len(parts) - room))
        window = slice(self.top, self.top + room)
        self._shown.update(parts[window])
        unread = {part[0] for part in parts if part is not None and part not in self._shown}
        self.read.update(part[0] for part in parts[window] if part and part[0] not in unread)
        self.below = max(0, len(parts) - self.top - room)
        last = {part[0]: at for at, part in enumerate(parts) if part is not None}
        self.ended = {one for one, at in last.items() if window.start <= at < window.stop}
        return window

    def _keep_place(self, width: int, parts: Sequence[Part]) -> None:
        """Keep what stands first in the window where it is, among other rows than before."""
        first = next(filter(None, self._parts[self.top :]), None)
        if width != self._width:
            # Broken otherwise, half an element says nothing of the other half.
            self._shown = {None}
            first = first and (first[0], 0)
        if self.top:
            self.top = parts.index(first) if first is not None and first in parts else 0

    def _turn_to(self, wanted: Element) -> None:
        start, end = self._place(wanted)
        if not self.top < end <= self.top + self.room:
            self.top = min(end - self.room if end > self.top else start, self.unread)

    def _place(self, element: Element) -> tuple[int, int]:
        """Return the first row of an element, and the one behind its last."""
        rows = [at for at, part in enumerate(self._parts) if part and part[0] == element]
        return (rows[0], rows[-1] + 1) if rows else (0, 0)

    @property
    def unread(self) -> int:
        """The first row that was not in sight; behind the last one where all were."""
        rows = enumerate(self._parts)
        new = (at for at, part in rows if part not in self._shown and not self._known(part))
        return next(new, len(self._parts))

    def _known(self, part: Part) -> bool:
        return part is None or part[0] in self.read

    def spare(self, elements: Collection[Element]) -> None:
        """Count elements as read: nobody has to."""
        self.read.update(elements)

    def read_on(self) -> None:
        """Go on from the first row that was not in sight, with the one above it for a hold.

        Where all were, a page down.
        """
        unread = self.unread
        if unread < len(self._parts):
            self.top = max(0, unread - 1 if self.room > 1 else unread)
        else:
            self.scroll(1, pages=True)

    def scroll(self, steps: int, *, pages: bool = False) -> None:
        """Move the window by rows, or by pages."""
        self.top = max(0, self.top + steps * (max(1, self.room - 1) if pages else 1))
