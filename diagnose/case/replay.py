"""A case taken up again: its log told anew on today's tree.

The log says not only what was replied but what followed from it, so nothing is decided a second
time. What no longer fits (the step is gone, its words have changed, the answer is not offered any
more) is left out; the first of these is asked again, and later replies that fit are kept.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from diagnose.case.interpret import ANSWER
from diagnose.case.screens import FindingScreen, phrase
from diagnose.case.state import Frame, State, Trace
from diagnose.files import replies
from diagnose.files.tree import Check, Finding, Question, Reading

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from diagnose.case.walk import Walk

#: The kinds of event that move the walk, and that *back* withdraws.
MOVES = frozenset(
    {
        ANSWER,
        replies.UNSURE,
        replies.CANNOT,
        replies.NOT_CURED,
        replies.KEEP_LOOKING,
    }
)

#: The kind of event with which a case is taken up again.
RESUMED = "resumed"

#: What a trail says where a resume left the log's route, since the tree had changed.
PARTED = "parted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Resumed:
    """A case taken up again: how many replies still fit, and how many do not.

    `trail` is what followed by itself: a step may be passed over for another person than before.
    """

    state: State
    fits: int
    misfits: int
    trail: tuple[Trace, ...] = ()


def standing(events: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return the events that moved the walk and were not withdrawn by *back*."""
    moves: list[Mapping[str, Any]] = []
    for event in events:
        if event["kind"] in MOVES:
            moves.append(event)
        elif event["kind"] == replies.BACK and moves:
            moves.pop()
    return moves


def replay(walk: Walk, symptom: str, events: Sequence[Mapping[str, Any]]) -> Resumed:
    """Return the case as its events left it, with nothing in force.

    Raises `KeyError` where the symptom itself is not on the library any more.
    """
    told = _Telling(walk, symptom)
    for event in events[:1]:
        told.follow(event["trail"])
    for event in events:
        if event["kind"] in MOVES:
            told.tell(event)
        elif event["kind"] == replies.BACK:
            told.withdraw(event)
        elif event["kind"] == RESUMED:
            told.take_up(event)
    return told.end()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Known:
    """What the telling knew at one reply."""

    stack: tuple[str, ...]
    frames: Mapping[str, Frame]
    entered: frozenset[str]
    before: State | None
    parting: tuple[str, int] | None
    fits: int
    misfits: int


@dataclass(slots=True)
class _Telling:
    walk: Walk
    symptom: str
    stack: list[str] = field(default_factory=list)
    frames: dict[str, Frame] = field(default_factory=dict)
    entered: set[str] = field(default_factory=set)
    before: State | None = None
    fits: int = 0
    misfits: int = 0
    # Where the walk goes on once today's tree and the log part ways: symptom, step.
    parting: tuple[str, int] | None = None
    # What was known before each reply that *back* may still withdraw, and whether the reply fits.
    earlier: list[tuple[_Known, bool]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.frames[self.symptom] = self.walk.frame(self.symptom)
        self.stack.append(self.symptom)
        self.entered.add(self.symptom)

    def tell(self, event: Mapping[str, Any]) -> None:
        """Take over a reply that moved the walk."""
        known = self._known()
        symptom, name = event["symptom"], event["step"]
        step = self._step(symptom, name)
        fits = step is not None and self._fits(event, step)
        self.earlier.append((known, fits))
        if step is None or not fits:
            self.misfits += 1
            if step is not None and symptom in self.stack:
                self._part(symptom, self._number(symptom, name))
            return
        self.fits += 1
        if self.parting is None:
            self.before = self._snapshot()
        place = self._number(symptom, name)
        frame = self.frames[symptom]
        if isinstance(step, Finding):
            if event["kind"] == replies.NOT_CURED and place not in frame.gone:
                frame = self.walk.with_failure(frame, place)
            self.frames[symptom] = frame.without(place)
        elif event["kind"] == ANSWER and place not in frame.closed:
            way = [exit_.answer for exit_ in step.exits].index(event["answer"])
            self.frames[symptom] = self.walk.with_answer(frame, place, way)
            target = self.walk.ready(symptom).plan.ways[place][way]
            if (event["more"] or {}).get("to") != self._name(symptom, target):
                self._part(symptom, target)
        self.follow(event["trail"])

    def withdraw(self, event: Mapping[str, Any]) -> None:
        """Forget the last reply, as *back* did."""
        if self.earlier:
            known, _ = self.earlier.pop()
            self.stack, self.frames, self.entered = (
                list(known.stack),
                dict(known.frames),
                set(known.entered),
            )
            self.before, self.parting = known.before, known.parting
            self.fits, self.misfits = known.fits, known.misfits
            self.follow(event["trail"])

    def take_up(self, event: Mapping[str, Any]) -> None:
        """Go on as an earlier resume did: what did not fit was asked anew from there on."""
        trail = event["trail"]
        # From then on *back* came to replies that fitted only.
        self.earlier = [(known, fits) for known, fits in self.earlier if fits]
        parted = [(t["symptom"], t["step"]) for t in trail if t["what"] == PARTED]
        if self.parting is not None and parted:
            symptom, place = self.parting
            if parted == [(symptom, self._name(symptom, place))]:
                self._turn_off(self.parting)
                self.parting = None
                self.earlier.clear()
        # What did not fit then was said then.
        self.misfits = max(0, self.misfits - (event["more"] or {}).get("misfits", 0))
        self.follow(trail)

    def follow(self, trail: Sequence[Mapping[str, str]]) -> None:
        """Take over what followed from a reply."""
        for trace in trail:
            symptom, name, what = trace["symptom"], trace["step"], trace["what"]
            step = self._step(symptom, name) if name else None
            if step is None:
                continue
            place = self._number(symptom, name)
            frame = self.frames[symptom]
            if what == "passed" and isinstance(step, Question):
                if place not in frame.closed:
                    frame = frame.closing(place, None)
                self.frames[symptom] = replace(frame, visited=frame.visited | {place})
            elif what == "passed":
                self.frames[symptom] = frame.without(place)
            elif what == "returned":
                self._return(symptom, place, step)
            elif what == "entered" and self.parting is None:
                self._enter(symptom, place, trace["why"])
            elif what == "through":
                self.frames[symptom] = replace(frame, visited=frame.visited | {place})
            elif what in ("chose", "rests"):
                self.frames[symptom] = replace(
                    frame,
                    at=place,
                    checked=trace["why"] != "unchecked",
                    visited=frame.visited | {place},
                )

    def end(self) -> Resumed:
        """Return where the case stands."""
        trail: list[Trace] = []
        if self.parting is not None:
            symptom, place = self.parting
            name = self._name(symptom, place)
            trail.append(Trace(what=PARTED, symptom=symptom, step=name))
            self._turn_off(self.parting)
        state = self._snapshot()
        frame = state.top
        note = phrase("resumed", fits=self.fits, misfits=self.misfits)
        state = replace(state, notes=(note,))
        state = self.walk.settle(state, frame.at, frame.checked, trail)
        return Resumed(state=state, fits=self.fits, misfits=self.misfits, trail=tuple(trail))

    def _fits(self, event: Mapping[str, Any], step: Question | Finding) -> bool:
        shown = event["shown"] or {}
        if isinstance(step, Finding):
            same = event["caution"] or shown.get("screen") == FindingScreen.screen
            return bool(same) and step.continue_with is None
        same = event["caution"] or (
            (isinstance(step, Check) and shown.get("ask") == step.ask)
            or (isinstance(step, Reading) and shown.get("read") == step.read)
        )
        offered = event["kind"] != ANSWER or step.exit(event["answer"]) is not None
        return bool(same) and offered

    def _part(self, symptom: str, place: int) -> None:
        if self.parting is None:
            self.parting = (symptom, place)

    def _turn_off(self, parting: tuple[str, int]) -> None:
        """Leave the log's route for where it parted from today's tree."""
        symptom, at = parting
        while self.stack[-1] != symptom:
            self.entered.discard(self.stack.pop())
        self.frames[symptom] = replace(self.frames[symptom], at=at, checked=True)
        self.before = None

    def _known(self) -> _Known:
        return _Known(
            stack=tuple(self.stack),
            frames=dict(self.frames),
            entered=frozenset(self.entered),
            before=self.before,
            parting=self.parting,
            fits=self.fits,
            misfits=self.misfits,
        )

    def _enter(self, symptom: str, place: int, below: str) -> None:
        step = self.walk.ready(symptom).steps[place]
        leads = isinstance(step, Finding) and step.continue_with == below
        if not leads or self.walk.library(below) is None or below in self.entered:
            self._part(symptom, place)
            return
        # A cure below counts for the doorway too, so the frame above has to stand at it.
        self.frames[symptom] = replace(self.frames[symptom], at=place)
        frame = self.frames.get(below) or self.walk.frame(below)
        self.frames[below] = replace(frame, door=place)
        self.stack.append(below)
        self.entered.add(below)

    def _return(self, symptom: str, place: int, step: Question | Finding) -> None:
        frame = self.frames[symptom]
        if isinstance(step, Finding) and place not in frame.gone:
            self.frames[symptom] = self.walk.with_failure(frame, place).without(place)
        # A doorway into what had been entered before was tried on the spot.
        if self.parting is None and symptom in self.stack:
            del self.stack[self.stack.index(symptom) + 1 :]

    def _snapshot(self) -> State:
        held = (frame for name, frame in self.frames.items() if name not in self.entered)
        return State(
            frames=tuple(self.frames[name] for name in self.stack),
            entered=frozenset(self.entered),
            held=tuple(held),
            before=self.before,
        )

    def _step(self, symptom: str, name: str) -> Question | Finding | None:
        if self.walk.library(symptom) is None:
            return None
        if symptom not in self.frames:
            self.frames[symptom] = self.walk.frame(symptom)
        return self.walk.ready(symptom).tree.steps.get(name)

    def _number(self, symptom: str, name: str) -> int:
        return self.walk.ready(symptom).plan.number[name]

    def _name(self, symptom: str, place: int) -> str:
        return self.walk.ready(symptom).plan.ids[place]
