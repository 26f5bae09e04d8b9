"""A case or a round as a test walks it: a state in hand, a reply in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from diagnose.case import onward, view, walk
from diagnose.case.visit import Visit
from diagnose.round import view as round_view
from diagnose.round import walk as round_walk

if TYPE_CHECKING:
    from diagnose.case.screens import Screen
    from diagnose.case.state import State, Trace, Turn
    from diagnose.commands.ready_library import ReadyLibrary
    from diagnose.files.tree import Step
    from diagnose.round.state import ReadyRound, RoundState, RoundTurn
    from diagnose.study.ready import ReadyTree


def visit_to(library: ReadyLibrary, **more: Any) -> Visit:
    """Return a visit to the machine of an opened library."""
    return Visit(**{"tree": library, "table": library.table, "card": library.card, **more})


@dataclass
class Walker:
    """Cases under one visit."""

    visit: Visit

    def opened(self, symptom: str, *held: Any, **more: Any) -> tuple[State, tuple[Trace, ...]]:
        return onward.opened(self.visit, symptom, *held, **more)

    def open(self, symptom: str) -> State:
        return self.opened(symptom)[0]

    def screen(self, state: State) -> Screen:
        return view.screen(self.visit, state)

    def reply(self, state: State, text: str, screen: Screen | None = None) -> Turn:
        return walk.reply(self.visit, state, text, screen)

    def step(self, state: State) -> Step:
        frame = state.frames[-1]
        return frame.tree.steps[frame.at]

    def answer(self, state: State, number: int) -> State:
        """Answer by number, a reading too, for which a figure would have to be found."""
        return walk.answered(self.visit, state, number, [])

    def tree(self, symptom: str) -> ReadyTree:
        tree = self.visit.tree(symptom)
        assert tree is not None
        return tree


@dataclass
class RoundWalker:
    """One round under one visit."""

    visit: Visit
    round: ReadyRound

    def opened(self) -> tuple[RoundState, tuple[Trace, ...]]:
        return round_walk.opened(self.visit, self.round)

    def screen(self, state: RoundState) -> Screen:
        return round_view.screen(self.visit, state)

    def reply(self, state: RoundState, text: str) -> RoundTurn:
        return round_walk.reply(self.visit, state, text)
