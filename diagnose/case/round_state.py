"""Where a round stands: frozen, so that *back* is the state before."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.case.screens import Phrase, Screen
    from diagnose.case.state import Event, State


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundState:
    """A round between two replies.

    `at` is the number of an item from 0; `marks` are the replies to items, by id; `diagnosis` is
    the symptom being walked, and `over` those that ended, each with its outcome. `in_force`,
    `refused` and `taken` are cautions as bits, those of the diagnosis too; `before` is the state
    whose screen took the last reply that can be withdrawn.
    """

    at: int = 0
    marks: Mapping[str, str] = field(default_factory=dict)
    in_force: int = 0
    refused: int = 0
    taken: int = 0
    diagnosis: State | None = None
    over: tuple[tuple[str, str], ...] = ()
    before: RoundState | None = None
    outcome: str | None = None
    notes: tuple[Phrase, ...] = ()

    @property
    def with_service(self) -> frozenset[str]:
        """The symptoms that this round has referred."""
        return frozenset(symptom for symptom, outcome in self.over if outcome == "referred")


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundTurn:
    """What a reply came to; `diagnosis` is the symptom's state after it, where one was walked."""

    state: RoundState
    interludes: tuple[Screen, ...] = ()
    event: Event | None = None
    diagnosis: State | None = None
