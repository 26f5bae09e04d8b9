"""What `cautions.yaml` says: the hazards of a library and the cautions that cover them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.problems import Placed

#: The value of `lapses` for a caution that ends when the machine runs again.
WHEN_ENERGISED = "when energised"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """What can hurt someone. What is `service_only` is covered by no caution: service does it."""

    title: Placed
    service_only: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """What is shown and confirmed before a step that one of the hazards it `covers` threatens.

    `minutes` is what taking it costs, those of all it includes among them.
    """

    title: Placed
    signal: str
    text: Placed
    lapses: str
    confirm: tuple[Placed, ...]
    signs: tuple[Placed, ...] = ()
    covers: tuple[Placed, ...] = ()
    includes: tuple[Placed, ...] = ()
    minutes: float = 1.0
    release: tuple[Placed, ...] = ()

    @property
    def lapsing(self) -> bool:
        """Whether it ends when the machine is energised."""
        return self.lapses == WHEN_ENERGISED


@dataclass(frozen=True, slots=True, kw_only=True)
class Cautions:
    """All of `cautions.yaml`, in the order of the file. An empty one knows no hazard."""

    hazards: Mapping[Placed, Hazard]
    cautions: Mapping[Placed, Caution]
