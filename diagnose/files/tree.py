"""What a symptom tree says: checks, readings and findings, joined by answers."""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING, ClassVar, TypeAlias

from msgspec import Struct

from diagnose.files.places import KEY

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.places import Path

#: Who may do a step; each may also do what those before may.
ROLES = ("operator", "battery-trained", "service")

#: The word of `passes` for a question of which no answer rules anything out.
NO_ANSWER = "none"


#: `until_mended` of a finding after which nobody uses the machine.
OUT_OF_USE = "out of use"

#: Lines of the machine card with the words that fit: where the card says otherwise, what has them
#: does not apply.
Condition: TypeAlias = "Mapping[str, tuple[str, ...]]"
ALWAYS: Condition = MappingProxyType({})

#: By field, what it is in a file of format 1, which has no such key: no part of the content hash.
Later: TypeAlias = "Mapping[str, tuple[object, ...]]"


class ChanceFrom(Struct, frozen=True, kw_only=True):
    """What a chance was worked out from: the author's own `estimate`, and `cases` of this cause.

    Estimates of a tree are on one scale; a case whose cause nobody knows surely counts in parts.
    """

    estimate: float
    cases: float


class Exit(Struct, frozen=True, kw_only=True):
    """One way out of a question: the answer (or the band's call) and the step it leads to."""

    answer: str
    to: str
    applies_to: Condition = ALWAYS

    LATER: ClassVar[Later] = {"applies_to": (ALWAYS,)}


class Question(Struct, frozen=True, kw_only=True):
    """What a check and a reading have in common. `minutes` above 0; `slip` from 0 to below 0.5."""

    exits: tuple[Exit, ...]
    do: str | None = None
    look_for: str | None = None
    tool: str | None = None
    minutes: float = 1.0
    slip: float = 0.05
    by: str = "operator"
    from_card: str | None = None
    show_card: tuple[str, ...] = ()
    applies_to: Condition = ALWAYS
    same_as: str | None = None
    note_down: str | None = None
    hazards: tuple[str, ...] = ()
    not_here: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    energises: bool = False
    after: tuple[str, ...] = ()
    passes: str | None = None
    if_unsure: str | None = None
    was: tuple[str, ...] = ()

    LATER: ClassVar[Later] = {
        "was": ((),),
        "show_card": ((),),
        "applies_to": (ALWAYS,),
        "same_as": (None,),
        "note_down": (None,),
        "not_here": ((),),
    }

    def exit(self, answer: str) -> Exit | None:
        """Return the exit of `answer`, or None where it is not offered."""
        return next((way for way in self.exits if way.answer == answer), None)

    def answer_at(self, number: int) -> Path:
        """Return where, within the step, the answer of one of the exits stands."""
        return ("answers", self.exits[number].answer, KEY)

    def arrow_at(self, number: int) -> Path:
        """Return where, within the step, it stands what one of the exits leads to."""
        at = self.answer_at(number)[:-1]
        return (*at, "go") if self.exits[number].applies_to else at


class Check(Question, frozen=True, kw_only=True):
    """Look or do something, then choose an answer."""

    ask: str


class Reading(Question, frozen=True, kw_only=True):
    """Measure something; the band that the figure falls in is the answer.

    `limits` are the upper bounds of all bands but the last, rising, in the measurement's unit; in a
    reading that breaks the rule on bands an `otherwise` before the last has infinity, and a last
    band with a bound has it here too.
    """

    read: str
    limits: tuple[float, ...]

    def band(self, value: float) -> Exit:
        """Return the band that `value` falls in; `below` is strict."""
        for way, limit in zip(self.exits, self.limits, strict=False):
            if value < limit:
                return way
        return self.exits[-1]

    def answer_at(self, number: int) -> Path:
        """Return where, within the step, the name of a band stands."""
        bounded = number < len(self.limits) and math.isfinite(self.limits[number])
        return ("bands", number, "call" if bounded else "otherwise")

    def arrow_at(self, number: int) -> Path:
        """Return where, within the step, it stands what a band leads to."""
        return ("bands", number, "go")


class Finding(Struct, frozen=True, kw_only=True):
    """A leaf: the cause, what to do about it and who may. A doorway has `continue_with` instead.

    `chance` counts cases in 100 of this symptom (any positive scale will do); `minutes` is the
    time the remedy takes.
    """

    finding: str
    chance: float
    who: str = ""
    remedy: str | None = None
    minutes: float = 5.0
    hazards: tuple[str, ...] = ()
    not_here: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    leave_safe: str | None = None
    ask_service: str | None = None
    until_mended: str | None = None
    show_card: tuple[str, ...] = ()
    continue_with: str | None = None
    chance_from: ChanceFrom | None = None
    was: tuple[str, ...] = ()

    LATER: ClassVar[Later] = {
        "until_mended": (None, OUT_OF_USE),
        "show_card": ((),),
        "not_here": ((),),
        "chance_from": (None,),
        "was": ((),),
    }

    @property
    def estimate(self) -> float:
        """The author's own estimate of the chance, before any case spoke."""
        return self.chance if self.chance_from is None else self.chance_from.estimate


Step: TypeAlias = Check | Reading | Finding


class WorkedCase(Struct, frozen=True, kw_only=True):
    """A case with its known end. `answers` maps a step to an answer, or to a reading's inputs."""

    name: str
    answers: Mapping[str, str | Mapping[str, str]]
    finding: str


class Tree(Struct, frozen=True, kw_only=True):
    """One symptom tree, its steps in the order of the file.

    `kinds` are the kinds of machine that it is for; none: all.
    """

    symptom: str
    title: str
    start: str
    steps: Mapping[str, Step]
    also_called: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    applies_to: Condition = ALWAYS
    worked_cases: tuple[WorkedCase, ...] = ()

    LATER: ClassVar[Later] = {"kinds": ((),), "applies_to": (ALWAYS,)}

    @property
    def today(self) -> dict[str, str]:
        """By an id that a step had once, the id that it has now."""
        return {old: name for name, step in self.steps.items() for old in step.was}
