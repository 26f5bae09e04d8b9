"""The walk: replies in, the next screen out.

It reads trees and their plans, and nothing else: no file, no clock, no terminal. Where it stands is
a frozen `State`, so that *back* is an earlier state and a resume is the same replies again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeAlias

from diagnose.case import present
from diagnose.case.branches import TOO_LITTLE, open_branches
from diagnose.case.interpret import ANSWER, Meaning, Refusal, understood
from diagnose.case.screens import CautionScreen, FindingScreen, RefusedScreen, phrase
from diagnose.case.state import Event, Frame, State, Trace
from diagnose.files import replies
from diagnose.files.tree import ROLES, Finding, Question, Reading
from diagnose.measure.registry import MEASUREMENTS, missing_line
from diagnose.study.beliefs import LEAST_SLIP, after_failed_remedy, likelihood, prior, updated

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from diagnose.case.screens import Phrase, Screen
    from diagnose.files.card import Card
    from diagnose.files.cautions import Cautions
    from diagnose.study.in_force import CautionTable
    from diagnose.study.ready import ReadyTree


#: A state, and the step that is entered next (with whether an answer points to it), or None.
_Move: TypeAlias = "tuple[State, tuple[int, bool] | None]"


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """What a reply came to: the new state, what is shown before its screen, and what is logged."""

    state: State
    interludes: tuple[Screen, ...] = ()
    event: Event | None = None


class Walk:
    """The rules of one case: who stands at the machine, its card, the library.

    `library` gives the ready tree of a symptom, or None where it has none. `cured_before` counts
    the recent cures of this machine by symptom and finding; `undone` says, by symptom, what the
    rounds left undone that speaks for it.
    """

    def __init__(
        self,
        library: Callable[[str], ReadyTree | None],
        cautions: Cautions,
        table: CautionTable,
        *,
        role: str = "operator",
        card: Card | None = None,
        cured_before: Mapping[tuple[str, str], int] | None = None,
        undone: Mapping[str, tuple[Phrase, ...]] | None = None,
    ) -> None:
        self.library = library
        self.cautions = cautions
        self.table = table
        self.role = role
        self.card = card
        self.cured_before = cured_before or {}
        self.undone = undone or {}
        # The screen of a state is asked for by whoever shows it, and again when the reply comes.
        self._shown: tuple[State, Screen] | None = None

    # Opening, and what is on the screen

    def open(self, symptom: str) -> State:
        """Return the state of a case that has just been opened. Raises `KeyError` for a symptom
        that the library does not have."""
        state, _ = self.opened(symptom)
        return state

    def opened(
        self, symptom: str, *, in_force: int = 0, refused: int = 0, taken: int = 0
    ) -> tuple[State, tuple[Trace, ...]]:
        """Return the state of a case just opened, and what followed by itself.

        A symptom that a round starts finds the round's cautions as they are.
        """
        frame = self.frame(symptom)
        trail: list[Trace] = []
        state = State(
            frames=(frame,),
            in_force=in_force,
            refused=refused,
            taken=taken,
            entered=frozenset({symptom}),
            notes=self._card_notes(frame),
        )
        return self.settle(state, frame.at, True, trail), tuple(trail)

    def ready(self, symptom: str) -> ReadyTree:
        """Return the ready tree of a symptom that was entered."""
        ready = self.library(symptom)
        if ready is None:
            raise KeyError(symptom)
        return ready

    def frame(self, symptom: str, door: int | None = None) -> Frame:
        """Return a symptom at its start, with what the machine card answers taken."""
        ready = self.ready(symptom)
        rows = (
            likelihood(ready.plan, step, answer, LEAST_SLIP)
            for step, answer in ready.from_card.items()
        )
        return Frame(
            symptom=symptom,
            closed=dict(ready.from_card),
            logs=updated(prior(ready.plan), *rows),
            at=ready.plan.start,
            door=door,
        )

    def title(self, state: State) -> str:
        """Return what the symptom that is being walked is called."""
        return str(self.ready(state.top.symptom).tree.title)

    def screen(self, state: State) -> Screen:
        """Return the screen of a state: an end, a release, a caution, or the step itself."""
        if self._shown is None or self._shown[0] is not state:
            self._shown = (state, self._screen(state))
        return self._shown[1]

    def _screen(self, state: State) -> Screen:
        if state.outcome is not None:
            return present.end(self, state)
        step = self.step(state)
        lapsing = self.lapsing_now(state)
        if lapsing:
            return present.caution(self, state, lapsing.bit_length() - 1, "release")
        called = self.table.called(self.table.needs(step), state.in_force)
        if called:
            return present.caution(self, state, (called & -called).bit_length() - 1, "take")
        if isinstance(step, Finding):
            return present.finding(self, state, step)
        return present.question(self, state, step)

    def step(self, state: State) -> Question | Finding:
        """Return the step at which the walk is."""
        return self.ready(state.top.symptom).steps[state.top.at]

    def card_list(self, step: Question) -> Mapping[str, str]:
        """Return what the machine card lists for a question: lamps or codes and their meanings."""
        if self.card is None or step.from_card is None:
            return {}
        return self.card.listed(step.from_card)

    def lapsing_now(self, state: State) -> int:
        """Return the cautions that are to be released before the step may be shown."""
        step = self.step(state)
        energises = isinstance(step, Question) and step.energises
        return state.in_force & self.table.lapsing if energises else 0

    def can_go_back(self, state: State) -> bool:
        """Whether there is a reply to withdraw."""
        return state.before is not None

    # Replies

    def reply(self, state: State, text: str) -> Turn:
        """Return what a reply comes to. One that cannot be understood changes nothing."""
        screen = self.screen(state)
        meaning = understood(self, state, screen, text)
        if isinstance(meaning, Refusal):
            refused = RefusedScreen(
                symptom=state.top.symptom, in_force=screen.in_force, message=meaning.message
            )
            return Turn(state=state, interludes=(refused,))
        if meaning.kind == replies.WHY:
            return Turn(state=state, interludes=(present.why(self, state),))
        trail: list[Trace] = []
        after = self.apply(state, meaning, trail)
        more = dict(meaning.more or {})
        if meaning.kind == ANSWER:
            more["to"] = self._target(state, meaning.answer)
        if after.outcome == "cured":
            # A cure behind a doorway counts for the doorway too.
            cured = [(frame.symptom, frame.at) for frame in after.frames]
            more["cures"] = [[s, self.ready(s).plan.ids[at]] for s, at in cured]
        if after.outcome in ("cured", "referred"):
            closing = present.ranking(self, after.frames[0])
            more["closing"] = {cause.step: cause.probability for cause in closing}
        event = Event(
            kind=meaning.kind,
            symptom=state.top.symptom,
            step=self.ready(state.top.symptom).plan.ids[state.top.at],
            caution=screen.id if isinstance(screen, CautionScreen) else "",
            typed=text[:2000],
            answer=meaning.answer,
            shown=present.logged(self, state, screen),
            trail=tuple(trail),
            more=more or None,
        )
        return Turn(state=after, interludes=meaning.interludes, event=event)

    def apply(
        self,
        state: State,
        meaning: Meaning,
        trail: list[Trace],
    ) -> State:
        """Return the state after a reply that was understood; what followed goes on the trail."""
        kind = meaning.kind
        fresh = replace(state, doorway=None, notes=(), answered=False)
        if kind == replies.DANGER:
            return self._ended(fresh, "referred", trail, replies.DANGER)
        if kind == replies.LEAVE:
            return self._ended(fresh, "left", trail)
        if kind == replies.BACK:
            return self._back(fresh, trail)
        screen = self.screen(state)
        if isinstance(screen, CautionScreen):
            return self._at_caution(fresh, screen, kind, trail)
        moved = replace(fresh, before=state)
        if isinstance(screen, FindingScreen):
            return self._at_finding(moved, kind, trail)
        if kind in (replies.UNSURE, replies.CANNOT):
            return self._go_on(self._pass_over(moved, kind, trail), trail)
        return self._answered(moved, meaning.answer, trail)

    def _answered(self, state: State, answer: str, trail: list[Trace]) -> State:
        frame = state.top
        ready = self.ready(frame.symptom)
        step = ready.steps[frame.at]
        assert isinstance(step, Question)
        number = [way.answer for way in step.exits].index(answer)
        after = self.with_answer(frame, frame.at, number)
        target = ready.plan.ways[frame.at][number]
        answered = replace(state.on_top(after), answered=True)
        return self.settle(answered, target, True, trail)

    def with_answer(self, frame: Frame, step: int, answer: int) -> Frame:
        """Return the frame with a question answered and the answer believed."""
        plan = self.ready(frame.symptom).plan
        logs = updated(frame.logs, likelihood(plan, step, answer, plan.slip[step]))
        return replace(frame.closing(step, answer), logs=logs, visited=frame.visited | {step})

    def _at_caution(
        self,
        state: State,
        screen: CautionScreen,
        kind: str,
        trail: list[Trace],
    ) -> State:
        bit = 1 << self.table.number[screen.id]
        if kind == replies.DONE and screen.phase == "release":
            return replace(state, in_force=state.in_force & ~bit)
        if kind == replies.DONE:
            taken = self.table.closed(bit)
            return replace(state, in_force=state.in_force | taken, taken=state.taken | taken)
        moved = replace(state, before=state)
        if screen.phase == "release":
            return self._go_on(self._pass_over(moved, "tag", trail), trail)
        refused = replace(moved, refused=moved.refused | bit)
        return self.settle(refused, state.top.at, state.top.checked, trail)

    def _at_finding(self, state: State, kind: str, trail: list[Trace]) -> State:
        frame = state.top
        if kind == replies.REFER:
            return self._ended(state, "referred", trail)
        tried_out = kind in (replies.CURED, replies.NOT_CURED)
        if tried_out:
            # Nobody tries a remedy on a dead machine: what lapses has been released by now.
            state = replace(state, in_force=state.in_force & ~self.table.lapsing)
        if kind == replies.CURED:
            return self._ended(state, "cured", trail)
        if kind == replies.NOT_CURED:
            frame = self.with_failure(frame, frame.at)
        chosen = self._choose(state.on_top(frame.without(frame.at)), None, trail)
        return self._go_on(chosen, trail)

    def with_failure(self, frame: Frame, finding: int) -> Frame:
        """Return the frame with what a failed remedy says believed."""
        which = self.ready(frame.symptom).plan.bit[finding]
        return replace(frame, logs=after_failed_remedy(frame.logs, which))

    def _back(self, state: State, trail: list[Trace]) -> State:
        earlier = state.before
        assert earlier is not None
        in_force = state.in_force
        # An operator's finding may have been tried out before anybody thought of going back.
        if isinstance(self.screen(state), FindingScreen):
            step = self.step(state)
            if isinstance(step, Finding) and step.who != "service":
                in_force &= ~self.table.lapsing
        earlier = replace(
            earlier, in_force=in_force, taken=state.taken | earlier.taken, notes=(), doorway=None
        )
        # The step may be nothing for whoever has taken the case up since it was shown.
        return self.settle(earlier, earlier.top.at, earlier.top.checked, trail)

    # Moving on

    def settle(
        self,
        state: State,
        to: int,
        checked: bool,
        trail: list[Trace],
    ) -> State:
        """Enter a step of the top frame, and go on until one is to be shown or the case ends."""
        return self._go_on((state, (to, checked)), trail)

    def _go_on(self, move: _Move, trail: list[Trace]) -> State:
        # A loop and no recursion: a refused caution may pass over a thousand steps in a row.
        state, entry = move
        while entry is not None:
            state, entry = self._enter(state, *entry, trail)
        return state

    def _enter(self, state: State, to: int, checked: bool, trail: list[Trace]) -> _Move:
        frame = state.top
        ready = self.ready(frame.symptom)
        while True:
            step = ready.steps[to]
            frame = replace(state.top, at=to, checked=checked)
            if to in frame.gone:
                return self._choose(state.on_top(frame), None, trail)
            frame = replace(frame, visited=frame.visited | {to})
            state = state.on_top(frame)
            if to not in frame.closed:
                break
            answer = frame.closed[to]
            if answer is None:
                return self._choose(state, to, trail)
            trail.append(Trace(what="through", symptom=frame.symptom, step=self._name(state)))
            to, checked = ready.plan.ways[to][answer], True
        if isinstance(step, Finding) and step.continue_with is not None:
            return self._through(state, step.continue_with, trail)
        why, note = self._hindrance(state, step)
        if why:
            if note is not None and note not in state.notes:
                state = replace(state, notes=(*state.notes, note))
            if isinstance(step, Question):
                return self._pass_over(state, why, trail)
            trail.append(
                Trace(what="passed", symptom=frame.symptom, step=self._name(state), why=why)
            )
            return self._choose(state.on_top(frame.without(to)), None, trail)
        how = "" if checked else "unchecked"
        trail.append(Trace(what="rests", symptom=frame.symptom, step=self._name(state), why=how))
        return state, None

    def _hindrance(self, state: State, step: Question | Finding) -> tuple[str, Phrase | None]:
        """Return why a step is passed over without a word of it, or an empty string."""
        who = step.by if isinstance(step, Question) else step.who
        for_service = isinstance(step, Finding) and who == "service"
        if not for_service and ROLES.index(who) > ROLES.index(self.role):
            return "by", phrase("passed-by", who=who)
        entry = state.in_force & ~self.lapsing_now(state)
        called = self.table.called(self.table.needs(step), entry)
        if self.table.closed(called) & state.refused:
            return "caution", phrase("passed-caution")
        if isinstance(step, Reading):
            line = self.card.line if self.card is not None else (lambda path: None)
            lacking = missing_line(MEASUREMENTS[step.read], line)
            if lacking is not None:
                return "card", phrase("passed-card", message=lacking)
        return "", None

    def _pass_over(self, state: State, why: str, trail: list[Trace]) -> _Move:
        frame = state.top
        trail.append(Trace(what="passed", symptom=frame.symptom, step=self._name(state), why=why))
        ready = self.ready(frame.symptom)
        step = ready.steps[frame.at]
        assert isinstance(step, Question)
        after = state.on_top(frame.closing(frame.at, None))
        if step.if_unsure is not None:
            answers = [way.answer for way in step.exits]
            target = ready.plan.ways[frame.at][answers.index(step.if_unsure)]
            return after, (target, False)
        return self._choose(after, frame.at, trail)

    def _choose(self, state: State, near: int | None, trail: list[Trace]) -> _Move:
        """Choose the open branch worth most, one of the step `near` first; or refer the case."""
        while True:
            frame = state.top
            ready = self.ready(frame.symptom)
            plan = ready.plan
            branches = open_branches(ready, frame, self.table, state.in_force)
            least = 0.0 if state.answered else TOO_LITTLE
            if branches.worth and branches.operators_share >= least:
                target = branches.best(plan.ways[near]) if near is not None else None
                if target is None:
                    target = branches.best()
                assert target is not None
                trail.append(Trace(what="chose", symptom=frame.symptom, step=plan.ids[target]))
                return state, (target, False)
            if frame.door is None:
                return self._ended(state, "referred", trail, "nothing-left"), None
            # Behind a doorway nothing is left: it counts as tried, and the first tree goes on.
            state = replace(state, frames=state.frames[:-1])
            state, near = self._door_tried(state, frame.door, trail), None

    def _through(self, state: State, symptom: str, trail: list[Trace]) -> _Move:
        frame = state.top
        door = frame.at
        step = self.step(state)
        assert isinstance(step, Finding)
        if symptom in state.entered or self.library(symptom) is None:
            if symptom not in state.entered:
                note = phrase("doorway-shut", symptom=symptom)
                state = replace(state, notes=(*state.notes, note))
            state = self._door_tried(state, door, trail)
            return self._choose(state, None, trail)
        trail.append(
            Trace(what="entered", symptom=frame.symptom, step=self._name(state), why=symptom)
        )
        known = next((held for held in state.held if held.symptom == symptom), None)
        below = known if known is not None else self.frame(symptom)
        below = replace(below, door=door, at=self.ready(symptom).plan.start)
        state = replace(
            state,
            frames=(*state.frames, below),
            entered=state.entered | {symptom},
            held=tuple(held for held in state.held if held.symptom != symptom),
            doorway=str(step.finding),
            notes=(*state.notes, *self._card_notes(below)),
        )
        return state, (below.at, True)

    def _door_tried(self, state: State, door: int, trail: list[Trace]) -> State:
        frame = state.top
        name = self.ready(frame.symptom).plan.ids[door]
        trail.append(Trace(what="returned", symptom=frame.symptom, step=name))
        # A resume on an edited tree may lead behind a doorway that has counted as tried before.
        if door not in frame.gone:
            frame = self.with_failure(frame, door).without(door)
        return state.on_top(frame)

    def _ended(self, state: State, outcome: str, trail: list[Trace], why: str = "") -> State:
        trail.append(Trace(what="ended", symptom=state.top.symptom, step="", why=why or outcome))
        notes = (phrase(f"end-{why}"),) if why else ()
        return replace(state, outcome=outcome, notes=(*state.notes, *notes))

    def _target(self, state: State, answer: str) -> str:
        step = self.step(state)
        assert isinstance(step, Question)
        way = step.exit(answer)
        assert way is not None
        return str(way.to)

    def _name(self, state: State) -> str:
        return self.ready(state.top.symptom).plan.ids[state.top.at]

    def _card_notes(self, frame: Frame) -> tuple[Phrase, ...]:
        ready = self.ready(frame.symptom)
        notes = []
        for step, answer in ready.from_card.items():
            question = ready.steps[step]
            assert isinstance(question, Question)
            notes.append(
                phrase("from-card", line=question.from_card, answer=question.exits[answer].answer)
            )
        return tuple(notes)
