"""The walk of a round: replies in, the next item out.

Items come in the order of the file, under the same cautions as the steps of a tree: what lapses is
released before an item that runs the machine, and what an item needs is confirmed before a word of
it is shown. *Not right* starts the symptom that the item names, in the same case.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from diagnose.case import present, round_present
from diagnose.case.interpret import Refusal, replied, word_of
from diagnose.case.round_state import RoundState, RoundTurn
from diagnose.case.screens import CautionScreen, FindingScreen, RefusedScreen, WhyScreen, phrase
from diagnose.case.state import Event, Trace
from diagnose.files import replies

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.case.interpret import Meaning
    from diagnose.case.screens import Screen
    from diagnose.case.state import State
    from diagnose.case.walk import Walk
    from diagnose.files.rounds import Item, Round

#: How a round ends that was walked to its last item.
WALKED = "walked"


class RoundWalk:
    """One round on one machine; `walk` holds who stands there, the card and the library."""

    def __init__(self, walk: Walk, round_: Round) -> None:
        self.walk = walk
        self.round = round_
        self.names = tuple(str(name) for name in round_.items)
        self.items = tuple(round_.items.values())

    # Opening, and what is on the screen

    def opened(self) -> tuple[RoundState, tuple[Trace, ...]]:
        """Return the state of a round just opened, and what followed by itself."""
        trail: list[Trace] = []
        return self.settle(RoundState(), trail), tuple(trail)

    def title(self, state: RoundState) -> str:
        """Return what the round, or the symptom that is being walked, is called."""
        if state.diagnosis is not None:
            return self.walk.title(state.diagnosis)
        return str(self.round.title)

    def screen(self, state: RoundState) -> Screen:
        """Return the screen of a state: the end, a diagnosis, a release, a caution, or the item."""
        if state.outcome is not None:
            return round_present.end(self, state)
        if state.diagnosis is not None:
            screen = self.walk.screen(state.diagnosis)
            first = state.before is not None and not self.walk.can_go_back(state.diagnosis)
            return round_present.with_back(screen) if first else screen
        item = self.items[state.at]
        lapsing = self.lapsing(state, item)
        if lapsing:
            return round_present.caution(self, state, lapsing.bit_length() - 1, "release")
        called = self.walk.table.called(self.walk.table.needs(item), state.in_force)
        if called:
            return round_present.caution(self, state, (called & -called).bit_length() - 1, "take")
        return round_present.item(self, state)

    def lapsing(self, state: RoundState, item: Item) -> int:
        """Return the cautions that are to be released before the item may be shown."""
        return state.in_force & self.walk.table.lapsing if item.energises else 0

    # Replies

    def reply(self, state: RoundState, text: str) -> RoundTurn:
        """Return what a reply comes to. One that cannot be understood changes nothing."""
        below = state.diagnosis
        if below is not None and not self._withdraws_it(state, below, text):
            return self._in_diagnosis(state, below, text)
        screen = self.screen(state)
        meaning = replied(screen, text, back=state.before is not None)
        if isinstance(meaning, Refusal):
            message = meaning.message
            if message.id == "no-way-back" and state.over:
                message = phrase("round-no-way-back")
            return RoundTurn(
                state=state, interludes=(RefusedScreen(in_force=screen.in_force, message=message),)
            )
        if meaning.kind == replies.WHY and isinstance(screen, CautionScreen):
            text_ = tuple(present.why_caution(screen))
            return RoundTurn(
                state=state,
                interludes=(WhyScreen(in_force=screen.in_force, text=text_, ranking=()),),
            )
        trail: list[Trace] = []
        after = self._apply(state, screen, meaning, trail)
        more: dict[str, Any] = {}
        if meaning.kind == replies.NOT_RIGHT and any(trace.symptom for trace in trail):
            more["starts"] = str(self.items[state.at].starts)
        event = Event(
            kind=meaning.kind,
            symptom="",
            step=self.names[state.at],
            caution=screen.id if isinstance(screen, CautionScreen) and below is None else "",
            typed=text[:2000],
            shown=round_present.logged(screen) if below is None else None,
        )
        return RoundTurn(
            state=after,
            event=self.told(event, after, trail, more),
            diagnosis=after.diagnosis,
        )

    def _in_diagnosis(self, state: RoundState, below: State, text: str) -> RoundTurn:
        turn = self.walk.reply(below, text)
        if turn.event is None:
            return RoundTurn(state=state, interludes=turn.interludes)
        trail: list[Trace] = []
        after = self._carrying(replace(state, notes=()), turn.state)
        if turn.event.kind == replies.DANGER:
            after = self._ended(after, "referred", replies.DANGER, trail)
        elif turn.event.kind == replies.LEAVE:
            after = self._ended(after, "left", "left", trail)
        elif turn.state.outcome is not None:
            after = self._over(after, turn.state, trail)
        return RoundTurn(
            state=after,
            interludes=turn.interludes,
            event=self.told(turn.event, after, trail, {}),
            diagnosis=turn.state,
        )

    def _withdraws_it(self, state: RoundState, below: State, text: str) -> bool:
        """Whether *back* at the first screen of a diagnosis goes to the item that started it."""
        first = state.before is not None and not self.walk.can_go_back(below)
        return first and word_of(text) == replies.BACK

    def _apply(
        self, state: RoundState, screen: Screen, meaning: Meaning, trail: list[Trace]
    ) -> RoundState:
        kind = meaning.kind
        fresh = replace(state, notes=())
        if kind == replies.DANGER:
            return self._ended(fresh, "referred", replies.DANGER, trail)
        if kind == replies.LEAVE:
            return self._ended(fresh, "left", "left", trail)
        if kind == replies.BACK:
            return self._back(state)
        if isinstance(screen, CautionScreen):
            return self._at_caution(fresh, screen, kind, trail)
        moved = replace(fresh, before=state, marks={**state.marks, self.names[state.at]: kind})
        if kind == replies.NOT_RIGHT:
            return self._start(moved, trail)
        return self.settle(moved, trail)

    def _at_caution(
        self, state: RoundState, screen: CautionScreen, kind: str, trail: list[Trace]
    ) -> RoundState:
        bit = 1 << self.walk.table.number[screen.id]
        if kind == replies.DONE and screen.phase == "release":
            return replace(state, in_force=state.in_force & ~bit)
        if kind == replies.DONE:
            taken = self.walk.table.closed(bit)
            return replace(state, in_force=state.in_force | taken, taken=state.taken | taken)
        moved = replace(state, before=state)
        if screen.phase == "take":
            return self.settle(replace(moved, refused=moved.refused | bit), trail)
        # Somebody else's tag: what was not released yet stays in force.
        return self.settle(self._passed(moved, state.at, "tag", trail), trail)

    def _back(self, state: RoundState) -> RoundState:
        earlier = state.before
        assert earlier is not None
        in_force = state.in_force
        below = state.diagnosis
        if below is not None:
            shown = self.walk.screen(below)
            # An operator's remedy may have been tried out before anybody thought of going back.
            if isinstance(shown, FindingScreen) and shown.who != "service":
                in_force &= ~self.walk.table.lapsing
        return replace(earlier, in_force=in_force, taken=state.taken, notes=())

    # Moving on

    def settle(self, state: RoundState, trail: list[Trace]) -> RoundState:
        """Go to the first item that has no mark yet and may be shown, or end the round."""
        reasons: list[str] = []
        for at, item in enumerate(self.items):
            if self.names[at] in state.marks:
                continue
            why = self._hindrance(state, item)
            if not why:
                trail.append(Trace(what="rests", symptom="", step=self.names[at]))
                return replace(state, at=at, notes=(*state.notes, *round_present.passing(reasons)))
            reasons.append(why)
            state = self._passed(state, at, why, trail)
        marks = list(state.marks.values())
        counts = phrase(
            "round-counts",
            done=marks.count(replies.DONE),
            not_right=marks.count(replies.NOT_RIGHT),
            not_now=marks.count(replies.NOT_NOW),
        )
        state = replace(state, notes=(*state.notes, *round_present.passing(reasons), counts))
        return self._ended(state, WALKED, WALKED, trail)

    def _hindrance(self, state: RoundState, item: Item) -> str:
        """Return why an item is left for now without a word of it, or an empty string."""
        if item.energises and state.with_service:
            # What was handed to service was left safe, and is not started again for a checklist.
            return "referred"
        table = self.walk.table
        entry = state.in_force & ~self.lapsing(state, item)
        called = table.called(table.needs(item), entry)
        return "caution" if table.closed(called) & state.refused else ""

    def _passed(self, state: RoundState, at: int, why: str, trail: list[Trace]) -> RoundState:
        trail.append(Trace(what="passed", symptom="", step=self.names[at], why=why))
        return replace(state, marks={**state.marks, self.names[at]: replies.NOT_NOW})

    def _start(self, state: RoundState, trail: list[Trace]) -> RoundState:
        """Start the symptom that the item names, where it has one that can be started."""
        item = self.items[state.at]
        if item.starts is None:
            return self.settle(replace(state, notes=(phrase("round-noted"),)), trail)
        symptom = str(item.starts)
        if symptom in state.with_service:
            return self.settle(replace(state, notes=(phrase("round-with-service"),)), trail)
        if self.walk.library(symptom) is None:
            note = phrase("doorway-shut", symptom=symptom)
            return self.settle(replace(state, notes=(note,)), trail)
        below, followed = self.walk.opened(
            symptom, in_force=state.in_force, refused=state.refused, taken=state.taken
        )
        trail += followed
        return self.within(state, below, trail)

    def within(self, state: RoundState, below: State, trail: list[Trace]) -> RoundState:
        """Return the round in a diagnosis, or after it where nothing is left to ask in it."""
        state = self._carrying(state, below)
        return state if below.outcome is None else self._over(state, below, trail)

    def _over(self, state: RoundState, below: State, trail: list[Trace]) -> RoundState:
        """Go on with the round after a diagnosis. As at the end of any case, no way leads back."""
        assert below.outcome is not None
        symptom = below.frames[0].symptom
        title = self.walk.ready(symptom).tree.title
        state = replace(
            state,
            diagnosis=None,
            before=None,
            over=(*state.over, (symptom, below.outcome)),
            notes=(phrase(f"round-after-{below.outcome}", title=title),),
        )
        return self.settle(state, trail)

    def _carrying(self, state: RoundState, below: State) -> RoundState:
        """Return the round with its diagnosis, whose cautions are its own."""
        return replace(
            state,
            diagnosis=below,
            in_force=below.in_force,
            refused=below.refused,
            taken=below.taken,
        )

    def _ended(self, state: RoundState, outcome: str, why: str, trail: list[Trace]) -> RoundState:
        trail.append(Trace(what="ended", symptom="", step="", why=why))
        danger = (phrase("end-danger"),) if why == replies.DANGER else ()
        return replace(state, outcome=outcome, notes=(*state.notes, *danger))

    def told(
        self, event: Event, after: RoundState, trail: list[Trace], more: Mapping[str, Any]
    ) -> Event:
        """Return the event with what followed in the round; its last one says what was not done."""
        kept = {**(event.more or {}), **more}
        if after.outcome is not None:
            kept["round"] = round_present.summary(self, after)
        return replace(event, trail=(*event.trail, *trail), more=kept or None)
