"""A case taken up again: its log told anew on today's tree.

The log says not only what was replied but what followed from it, so nothing is decided a second
time. What no longer fits (the step is gone, its words have changed, the answer is not offered any
more) is left out; the first of these is asked again, and later replies that fit are kept.
"""

from __future__ import annotations

from copy import copy
from typing import TYPE_CHECKING, Any, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose.case import onward
from diagnose.case.cautions import CautionState
from diagnose.case.screens import FindingScreen, phrase
from diagnose.case.state import Frame, State, Trace
from diagnose.case.walk import ANSWER
from diagnose.files import replies
from diagnose.files.tree import Check, Finding, Question, Reading
from diagnose.log.events import MOVES, Noted, Opened, Replied, Resumed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from diagnose.case.visit import Visit
    from diagnose.files.tree import Step
    from diagnose.log.events import Event

#: What a trail says where a resume left the log's route, since the tree had changed.
PARTED: Final = "parted"


class ResumedCase(Struct, frozen=True, kw_only=True):
    """A case taken up again: how many replies still fit, and how many do not.

    `trail` is what followed by itself: a step may be passed over for another person than before.
    """

    state: State
    fits: int
    misfits: int
    trail: tuple[Trace, ...] = ()


def replay(
    visit: Visit, symptom: str, events: Iterable[Event], *, returns: bool = False
) -> ResumedCase:
    """Return the case as its events left it, with nothing in force.

    `returns`: *back* at its first screen leads to the round that began it. Raises `KeyError` where
    the symptom itself cannot be started any more.
    """
    told = _Telling(visit, symptom, returns)
    for one in events:
        event = told.as_today(one)
        if isinstance(event, Opened):
            told.seen(event.seen)
            told.follow(event.trail)
        elif isinstance(event, Resumed):
            told.take_up(event)
        elif isinstance(event, Noted):
            told.noted = True
        elif isinstance(event, Replied) and event.reply in (replies.DANGER, replies.MISTAKE):
            told.alarm = event.reply == replies.DANGER
        elif isinstance(event, Replied) and event.reply in MOVES:
            told.tell(event)
        elif isinstance(event, Replied) and event.reply == replies.BACK:
            told.withdraw(event)
    return told.end()


#: What *back* brings again of a telling.
_KNOWN: Final = ("stack", "frames", "entered", "before", "parting", "fits", "misfits")


class _Telling(Struct):
    visit: Visit
    symptom: str
    returns: bool
    stack: list[str] = []
    frames: dict[str, Frame] = {}
    entered: set[str] = set()
    before: State | None = None
    fits: int = 0
    misfits: int = 0
    # A danger was reported, and nobody said yet what it is.
    alarm: bool = False
    noted: bool = False
    # Where the walk goes on once today's tree and the log part ways: symptom, step.
    parting: tuple[str, int] | None = None
    # What was known before each reply that *back* may still withdraw, and whether the reply fits.
    earlier: list[tuple[dict[str, Any], bool]] = []

    def __post_init__(self) -> None:
        if self._frame(self.symptom) is None:
            raise KeyError(self.symptom)
        self.stack.append(self.symptom)
        self.entered.add(self.symptom)

    def as_today(self, event: Event) -> Event:
        """Return an event with the steps by the ids that they have now."""
        if not isinstance(event, Opened | Resumed | Replied):
            return event
        trail = tuple(
            replace(trace, step=self._today(trace.symptom, trace.step)) for trace in event.trail
        )
        if isinstance(event, Replied):
            step, to = (self._today(event.symptom, one) for one in (event.step, event.to))
            return replace(event, trail=trail, step=step, to=to)
        if isinstance(event, Opened):
            seen = {self._today(event.symptom, one): said for one, said in event.seen.items()}
            return replace(event, trail=trail, seen=seen)
        return replace(event, trail=trail)

    def _today(self, symptom: str, step: str) -> str:
        tree = self.visit.tree(symptom) if step else None
        return step if tree is None else tree.today(step)

    def seen(self, answers: Mapping[str, str]) -> None:
        """Take over what was seen before the case began."""
        frame = self._frame(self.symptom)
        if frame is not None:
            self.frames[self.symptom] = onward.with_seen(frame, answers)

    def tell(self, event: Replied) -> None:
        """Take over a reply that moved the walk."""
        known = self._known()
        frame = self._frame(event.symptom)
        step = None if frame is None else frame.tree.named(event.step)
        fits = step is not None and _fits(event, step)
        self.earlier.append((known, fits))
        if frame is None or step is None or not fits:
            self.misfits += 1
            if frame is not None and step is not None and event.symptom in self.stack:
                self._part(event.symptom, frame.tree.plan.number[event.step])
            return
        self.fits += 1
        if self.parting is None:
            self.before = self._snapshot()
        self._replied(event, frame, step)
        self.follow(event.trail)

    def _replied(self, event: Replied, frame: Frame, step: Step) -> None:
        plan = frame.tree.plan
        place = plan.number[event.step]
        if isinstance(step, Finding):
            spoke = event.reply in (replies.NOT_CURED, replies.NOT_IT)
            if spoke and place not in frame.gone:
                frame = onward.failed(frame, place)
            self.frames[event.symptom] = onward.without(frame, place)
        elif event.reply == ANSWER and place not in frame.closed:
            way = [exit_.answer for exit_ in step.exits].index(event.answer)
            self.frames[event.symptom] = onward.answered(frame, place, way)
            target = plan.ways[place][way]
            if event.to != plan.ids[target]:
                self._part(event.symptom, target)

    def withdraw(self, event: Replied) -> None:
        """Forget the last reply, as *back* did."""
        if self.earlier:
            known, _ = self.earlier.pop()
            for name, value in known.items():
                setattr(self, name, value)
            self.follow(event.trail)

    def take_up(self, event: Resumed) -> None:
        """Go on as an earlier resume did: what did not fit was asked anew from there on."""
        # From then on *back* came to replies that fitted only.
        self.earlier = [(known, fits) for known, fits in self.earlier if fits]
        parted = [(trace.symptom, trace.step) for trace in event.trail if trace.what == PARTED]
        if self.parting is not None and parted:
            symptom, place = self.parting
            if parted == [(symptom, self.frames[symptom].tree.plan.ids[place])]:
                self._turn_off(self.parting)
                self.parting = None
        # What did not fit then was said then.
        self.misfits = max(0, self.misfits - event.misfits)
        self.follow(event.trail)

    def follow(self, trail: Sequence[Trace]) -> None:
        """Take over what followed from a reply."""
        for trace in trail:
            frame = self._frame(trace.symptom) if trace.step else None
            step = None if frame is None else frame.tree.named(trace.step)
            if frame is not None and step is not None:
                self._follow(trace, frame, step)

    def _follow(self, trace: Trace, frame: Frame, step: Step) -> None:
        place = frame.tree.plan.number[trace.step]
        visited = frame.visited | {place}
        if trace.what == "passed" and isinstance(step, Question):
            closed = {place: None, **frame.closed}
            self.frames[trace.symptom] = replace(frame, closed=closed, visited=visited)
        elif trace.what == "passed":
            self.frames[trace.symptom] = onward.without(frame, place)
        elif trace.what == "returned":
            self._return(trace.symptom, place, step)
        elif trace.what == "entered" and self.parting is None:
            self._enter(trace.symptom, place, trace.why)
        elif trace.what == "through":
            self.frames[trace.symptom] = replace(frame, visited=visited)
        elif trace.what in ("chose", "rests"):
            self.frames[trace.symptom] = replace(
                frame, at=place, checked=trace.why != "unchecked", visited=visited
            )

    def end(self) -> ResumedCase:
        """Return where the case stands."""
        trail: list[Trace] = []
        if self.parting is not None:
            symptom, place = self.parting
            name = self.frames[symptom].tree.plan.ids[place]
            trail.append(Trace(what=PARTED, symptom=symptom, step=name))
            self._turn_off(self.parting)
        note = phrase("resumed", fits=self.fits, misfits=self.misfits)
        state = replace(self._snapshot(), notes=(note,))
        frame = state.frames[-1]
        state = onward.settle(self.visit, state, frame.at, frame.checked, trail)
        alarm = self.alarm and state.outcome is None
        state = replace(state, alarm=alarm, noted=self.noted)
        return ResumedCase(state=state, fits=self.fits, misfits=self.misfits, trail=tuple(trail))

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

    def _known(self) -> dict[str, Any]:
        return {name: copy(getattr(self, name)) for name in _KNOWN}

    def _enter(self, symptom: str, place: int, below: str) -> None:
        step = self.frames[symptom].tree.steps[place]
        leads = isinstance(step, Finding) and step.continue_with == below
        frame = self._frame(below) if leads and below not in self.entered else None
        if frame is None:
            self._part(symptom, place)
            return
        # A cure below counts for the doorway too, so the frame above has to stand at it.
        self.frames[symptom] = replace(self.frames[symptom], at=place)
        self.frames[below] = replace(frame, door=place)
        self.stack.append(below)
        self.entered.add(below)

    def _return(self, symptom: str, place: int, step: Step) -> None:
        frame = self.frames[symptom]
        if isinstance(step, Finding) and place not in frame.gone:
            self.frames[symptom] = onward.without(onward.failed(frame, place), place)
        # A doorway into what had been entered before was tried on the spot.
        if self.parting is None and symptom in self.stack:
            del self.stack[self.stack.index(symptom) + 1 :]

    def _snapshot(self) -> State:
        held = (frame for name, frame in self.frames.items() if name not in self.entered)
        return State(
            frames=tuple(self.frames[name] for name in self.stack),
            cautions=CautionState(),
            entered=frozenset(self.entered),
            held=tuple(held),
            before=self.before,
            returns=self.returns,
        )

    def _frame(self, symptom: str) -> Frame | None:
        """Return what is known of a symptom; None where it cannot be started any more."""
        if symptom not in self.frames:
            tree = self.visit.tree(symptom)
            if tree is None:
                return None
            self.frames[symptom] = onward.at_start(tree)
        return self.frames[symptom]


def _fits(event: Replied, step: Step) -> bool:
    """Whether a reply still means something: the same question, and the answer still offered."""
    shown = event.shown
    if isinstance(step, Finding):
        same = bool(event.caution) or shown.screen == FindingScreen.screen
        return same and step.continue_with is None
    same = (
        bool(event.caution)
        or (isinstance(step, Check) and shown.ask == step.ask)
        or (isinstance(step, Reading) and shown.read == step.read)
    )
    return same and (event.reply != ANSWER or step.exit(event.answer) is not None)
