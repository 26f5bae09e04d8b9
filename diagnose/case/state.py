"""Where a case stands: frozen, so that *back* is the state before and a replay is a fold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from array import array
    from collections.abc import Mapping

    from diagnose.case.screens import Phrase


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One symptom that is being walked. Steps are the numbers of its plan.

    `closed`: an answered step with its answer's number, one that was passed over with None;
    `gone`: findings tried or set aside; `visited`: steps that were shown or passed over; `logs`:
    the logarithm of each finding's weight; `door`: the finding of the frame below that led here;
    `checked`: whether an answer pointed to the step at which the walk is.
    """

    symptom: str
    closed: Mapping[int, int | None]
    logs: array[float]
    at: int
    gone: frozenset[int] = frozenset()
    visited: frozenset[int] = frozenset()
    door: int | None = None
    checked: bool = True

    def closing(self, step: int, answer: int | None) -> Frame:
        """Return the frame with a question answered, or passed over."""
        return replace(self, closed={**self.closed, step: answer})

    def without(self, finding: int) -> Frame:
        """Return the frame with a finding tried or set aside."""
        return replace(self, gone=self.gone | {finding})


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A case between two replies.

    `in_force`, `refused` and `taken` (at least once in this case) are cautions as bits. `before` is
    the state whose screen took the last reply that moved the walk. `held` are symptoms about which
    a replay knows something before their doorway is passed. `answered`: the last reply was a plain
    answer, after which no case is referred for little hope.
    """

    frames: tuple[Frame, ...]
    in_force: int = 0
    refused: int = 0
    taken: int = 0
    entered: frozenset[str] = frozenset()
    held: tuple[Frame, ...] = ()
    before: State | None = None
    outcome: str | None = None
    answered: bool = False
    doorway: str | None = None
    notes: tuple[Phrase, ...] = ()

    @property
    def top(self) -> Frame:
        """The frame that is being walked."""
        return self.frames[-1]

    def on_top(self, frame: Frame) -> State:
        """Return the state with its top frame replaced."""
        return replace(self, frames=(*self.frames[:-1], frame))


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """What followed from a reply without being asked, for the log.

    `what`: passed (a step, with `why`: cannot, by, caution, card), through (a step that had been
    answered), chose (a branch), entered (a doorway, with the symptom), returned (a doorway that
    counts as tried), parted (where a resume left the log's route), rests (the step shown next) or
    ended (with the outcome as `why`).
    """

    what: str
    symptom: str
    step: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One event of a case: what was shown, what was replied, what it meant and what followed.

    `kind` is ``opened``, ``answer`` or a reply's id; `step` is a step of `symptom`, and `caution`
    the caution that was on the screen. `more` holds what only this kind has.
    """

    kind: str
    symptom: str
    step: str
    caution: str = ""
    typed: str = ""
    answer: str = ""
    shown: Mapping[str, Any] | None = None
    trail: tuple[Trace, ...] = ()
    more: Mapping[str, Any] | None = None
