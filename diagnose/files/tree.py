"""What a symptom tree says: checks, readings and findings, joined by answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.problems import Placed

#: Who may do a step; each may also do what those before may.
ROLES = ("operator", "battery-trained", "service")

#: The word of `passes` for a question of which no answer rules anything out.
NO_ANSWER = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Exit:
    """One way out of a question: the answer (or the band's call) and the step it leads to."""

    answer: Placed
    to: Placed


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What a check and a reading have in common. `minutes` above 0; `slip` from 0 to below 0.5."""

    exits: tuple[Exit, ...]
    do: Placed | None = None
    look_for: Placed | None = None
    tool: Placed | None = None
    minutes: float = 1.0
    slip: float = 0.05
    by: str = "operator"
    from_card: Placed | None = None
    hazards: tuple[Placed, ...] = ()
    cautions: tuple[Placed, ...] = ()
    energises: bool = False
    after: tuple[Placed, ...] = ()
    passes: Placed | None = None
    if_unsure: Placed | None = None

    def exit(self, answer: str) -> Exit | None:
        """Return the exit of `answer`, or None where it is not offered."""
        return next((way for way in self.exits if way.answer == answer), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Check(Question):
    """Look or do something, then choose an answer."""

    ask: Placed


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(Question):
    """Measure something; the band that the figure falls in is the answer.

    `limits` are the upper bounds of all bands but the last, rising, in the measurement's unit.
    """

    read: Placed
    limits: tuple[float, ...]

    def band(self, value: float) -> Exit:
        """Return the band that `value` falls in; `below` is strict."""
        for way, limit in zip(self.exits, self.limits, strict=False):
            if value < limit:
                return way
        return self.exits[-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A leaf: the cause, what to do about it and who may. A doorway has `continue_with` instead.

    `chance` counts cases in 100 of this symptom (any positive scale will do); `minutes` is the
    time the remedy takes.
    """

    finding: Placed
    chance: float
    who: str = ""
    remedy: Placed | None = None
    minutes: float = 5.0
    hazards: tuple[Placed, ...] = ()
    cautions: tuple[Placed, ...] = ()
    parts: tuple[Placed, ...] = ()
    leave_safe: Placed | None = None
    ask_service: Placed | None = None
    continue_with: Placed | None = None


Step: TypeAlias = Question | Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkedCase:
    """A case with its known end. `answers` maps a step to an answer, or to a reading's inputs."""

    name: Placed
    answers: Mapping[Placed, Placed | Mapping[Placed, Placed]]
    finding: Placed


@dataclass(frozen=True, slots=True, kw_only=True)
class Tree:
    """One symptom tree, its steps in the order of the file."""

    symptom: Placed
    title: Placed
    start: Placed
    steps: Mapping[Placed, Step]
    also_called: tuple[Placed, ...] = ()
    worked_cases: tuple[WorkedCase, ...] = ()
