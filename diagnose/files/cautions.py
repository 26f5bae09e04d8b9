"""What `cautions.yaml` says: the hazards of a library and the cautions that cover them."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Final

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Mapping

#: The value of `lapses` for a caution that ends when the machine runs again.
WHEN_ENERGISED = "when energised"

#: The signal words as ANSI Z535.6 uses them, the gravest first.
SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")

#: The values of `confirm_lines`: one confirmation a line, or one for all of the screen.
EACH = "each"
TOGETHER = "together"


#: ISO 7010 signs for what a person puts on, from ears to apron. The numbers are from memory.
WORN: Final = frozenset(
    {"M003", "M004", "M007", "M008", "M009", "M010", "M013", "M014"}
    | {"M015", "M016", "M017", "M018", "M019", "M026"}
)


class Hazard(Struct, frozen=True, kw_only=True):
    """What can hurt someone. What is `service_only` is covered by no caution: service does it."""

    title: str
    service_only: bool = False


class Caution(Struct, frozen=True, kw_only=True):
    """What is shown and confirmed before a step that one of the hazards it `covers` threatens.

    `minutes` is what taking it costs, those of all it includes among them. A `lockout` is the one
    that isolates the machine.
    """

    title: str
    signal: str
    text: str
    lapses: str
    confirm: tuple[str, ...]
    signs: tuple[str, ...] = ()
    covers: tuple[str, ...] = ()
    includes: tuple[str, ...] = ()
    minutes: float = 1.0
    confirm_lines: str = TOGETHER
    lockout: bool = False
    release: tuple[str, ...] = ()

    LATER: ClassVar[Mapping[str, tuple[object, ...]]] = {
        "confirm_lines": (EACH,),
        "lockout": (False,),
    }

    @property
    def lapsing(self) -> bool:
        """Whether it ends when the machine is energised."""
        return self.lapses == WHEN_ENERGISED

    @property
    def worn(self) -> bool:
        """Whether it is about what a person puts on, which goes away with the person."""
        return not self.lockout and not WORN.isdisjoint(self.signs)


class Cautions(Struct, frozen=True, kw_only=True):
    """All of `cautions.yaml`, in the order of the file. An empty one knows no hazard."""

    hazards: Mapping[str, Hazard]
    cautions: Mapping[str, Caution]
