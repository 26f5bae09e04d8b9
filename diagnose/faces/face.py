"""What a face is. It knows no rule of the walk: it shows a screen and brings back a reply."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

if TYPE_CHECKING:
    from diagnose.case.screens import Screen


class Heading(Struct, frozen=True, kw_only=True):
    """What stands above a screen: the case's short name, the symptom in words, the machine.

    `first` is true for the first screen of a case, which carries the NOTICE line.
    """

    case: str | None = None
    title: str | None = None
    machine: str | None = None
    first: bool = False


class Face(Protocol):
    """One way of talking to a person, or to another program."""

    def show(self, screen: Screen, heading: Heading) -> None:
        """Show a screen that takes no reply (figure, why, refused, end)."""
        ...

    def ask(self, screen: Screen, heading: Heading) -> str | None:
        """Show a screen and return the reply as typed, or None at the end of the input.

        Raises `KeyboardInterrupt` where the person broke off.
        """
        ...

    def waits(self, words: str) -> None:
        """Say that something takes its time; what is on the screen stays there."""
        ...
