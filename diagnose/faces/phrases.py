"""Numbers, shares and short lines, as both faces for people say them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from diagnose.text import printable

if TYPE_CHECKING:
    from diagnose.case.screens import Screen
    from diagnose.faces.face import Heading


def causes_left(causes: int, minutes: float) -> str:
    """Return such as ``9 causes open, about 6 min``; the minutes only where there are any."""
    said = f"{_causes(causes)} open"
    if causes and math.isfinite(minutes):
        said += f", about {max(1, round(minutes))} min"
    return said


class OpenCauses:
    """How many causes are open, from the last screen of this symptom that said so."""

    def __init__(self) -> None:
        self._last: tuple[str | None, int] | None = None

    def line(self, screen: Screen) -> str | None:
        """Return the line for a screen; one that does not say is told what the last one said."""
        causes: int | None = getattr(screen, "open", None)
        if causes is not None:
            self._last = (screen.symptom, causes)
            return causes_left(causes, getattr(screen, "minutes_left", math.nan))
        if self._last is None or self._last[0] != screen.symptom:
            return None
        return f"{_causes(self._last[1])} open before this"


def place(heading: Heading) -> list[str]:
    """Return where the case stands: the symptom in words, the machine, the case."""
    case = f"case {heading.case}" if heading.case else None
    return [printable(part) for part in (heading.title, heading.machine, case) if part]


def _causes(causes: int) -> str:
    return f"{causes} cause" if causes == 1 else f"{causes} causes"
