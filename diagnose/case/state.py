"""Where a case stands: frozen, so that *back* is the state before and a replay is a fold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from array import array
    from collections.abc import Mapping

    from diagnose.case.cautions import CautionState
    from diagnose.case.screens import FigureScreen, Phrase, Screen
    from diagnose.study.ready import ReadyTree


class Frame(Struct, frozen=True, kw_only=True):
    """One symptom that is being walked. Steps are the numbers of its tree's plan.

    `closed`: an answered step with its answer's number, one that was passed over with None;
    `gone`: findings tried or set aside; `visited`: steps that were shown or passed over; `logs`:
    the logarithm of each finding's weight; `door`: the finding of the frame below that led here;
    `checked`: whether an answer pointed to the step at which the walk is.
    """

    tree: ReadyTree
    closed: Mapping[int, int | None]
    logs: array[float]
    at: int
    gone: frozenset[int] = frozenset()
    visited: frozenset[int] = frozenset()
    door: int | None = None
    checked: bool = True


class State(Struct, frozen=True, kw_only=True):
    """A case between two replies; the last of `frames` is the symptom that is being walked.

    `before` is the state whose screen took the last reply that moved the walk. `held` are symptoms
    about which a replay knows something before their doorway is passed. `answered`: the last reply
    was a plain answer, after which no case is referred for little hope. `returns`: *back* at the
    first screen leads out of the case, to the round that began it; `chosen`: to the choice of a
    symptom. `noted`: something was noted down, for which a case is kept. `alarm`: a danger was
    reported, and it is asked what it is; `danger`: one ended the case.
    """

    frames: tuple[Frame, ...]
    cautions: CautionState
    entered: frozenset[str] = frozenset()
    held: tuple[Frame, ...] = ()
    before: State | None = None
    outcome: str | None = None
    alarm: bool = False
    noted: bool = False
    danger: bool = False
    answered: bool = False
    returns: bool = False
    chosen: bool = False
    doorway: str | None = None
    notes: tuple[Phrase, ...] = ()


class Trace(Struct, frozen=True, kw_only=True):
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


class Exchange(Struct, frozen=True, kw_only=True):
    """A screen and the reply to it that meant something, with what followed.

    `kind` is ``answer`` or a reply's id (of a note, its words are the `answer`); `step` is a step
    of `symptom`, or an item of a round; `frame` is the symptom as it was then, None in a round.
    `inputs` are a reading's, as typed, by name; `si` the same as (name, magnitude, unit) in SI.
    `refused` are cautions that it was about.
    """

    kind: str
    symptom: str
    step: str
    screen: Screen
    typed: str
    frame: Frame | None = None
    answer: str = ""
    refused: tuple[str, ...] = ()
    inputs: Mapping[str, str] | None = None
    si: tuple[tuple[str, float, str], ...] = ()
    figure: FigureScreen | None = None
    trail: tuple[Trace, ...] = ()


class Turn(Struct, frozen=True, kw_only=True):
    """What a reply came to: the new state, what is shown before its screen, and what happened.

    A reply that could not be understood, and *why*, change nothing: `exchange` is None then.
    """

    state: State
    interludes: tuple[Screen, ...] = ()
    exchange: Exchange | None = None
