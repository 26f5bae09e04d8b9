"""Ways of tampering with the program, so that whoever watches it has something to notice."""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace

from diagnose.case.cautions import CautionState
from diagnose.files.replies import NOTE


def never_released(due: Any) -> Any:
    """Tamper with what is due before a step: the machine runs under its cautions."""

    def tampered(table: Any, held: Any, needs: int, energises: bool) -> Any:
        return due(table, held, needs, False)

    return tampered


def forgetful(replied: Any) -> Any:
    """Tamper with a reply at a caution: what was refused is forgotten."""

    def tampered(*args: Any) -> CautionState:
        return replace(replied(*args), refused=0)

    return tampered


def one_is_none(refused_by: Any) -> Any:
    """Tamper with a refusal: one of several cautions that is refused is not."""

    def tampered(screen: Any, kind: str, which: str = "") -> Any:
        return () if which else refused_by(screen, kind, which)

    return tampered


def only_the_first(replied: Any) -> Any:
    """Tamper with a confirmation: of several cautions on a screen one comes into force."""

    def tampered(table: Any, held: Any, screen: Any, *how: Any) -> CautionState:
        return replied(table, held, replace(screen, cautions=screen.cautions[:1]), *how)

    return tampered


def another_answer(passing_answer: Any) -> Any:
    """Tamper with what passes: of a step it is any other answer."""

    def tampered(tree: Any, step: Any) -> Any:
        passing = passing_answer(tree, step)
        others = [way.answer for way in step.exits if way.answer != passing and not way.applies_to]
        return passing if passing is None else others[-1]

    return tampered


def every_answer(fitted: Any) -> Any:
    """Tamper with a step: each of its answers is offered on every machine."""

    def tampered(tree: Any, step: Any, card: Any, line: Any) -> Any:
        fits = card.fits(getattr(step, "applies_to", {}))
        return step if fits else fitted(tree, step, card, line)

    return tampered


def alike(answered: Any, instead: Any) -> Any:
    """Tamper with an answer: what looks at the same has another, which `instead` makes of it."""

    def tampered(frame: Any, step: int, answer: int) -> Any:
        plan = frame.tree.plan
        twins = plan.twins.get((step, answer), ())
        closed = {one: instead(plan, one, number) for one, number in twins}
        after = answered(frame, step, answer)
        return replace(after, closed={**after.closed, **closed})

    return tampered


def brought_along(answered: Any) -> Any:
    """Tamper with an answer: the cautions of what looks at the same are in force."""

    def tampered(visit: Any, state: Any, number: int, trail: Any) -> Any:
        frame = state.frames[-1]
        plan, in_force = frame.tree.plan, state.cautions.in_force
        for twin, _ in plan.twins.get((frame.at, number), ()):
            in_force |= plan.needs[twin]
        held = replace(state.cautions, in_force=in_force)
        return answered(visit, replace(state, cautions=held), number, trail)

    return tampered


def unguarded_if_alike(needs: Any) -> Any:
    """Tamper with what a step needs: nothing where it looks at the same as another."""
    return lambda self, step: 0 if getattr(step, "same_as", None) else needs(self, step)


def taken_as_said(understood: Any) -> Any:
    """Tamper with a note: what it says is a reply."""

    def tampered(visit: Any, state: Any, screen: Any, text: str) -> Any:
        head, _, words = text.strip().partition(" ")
        return understood(visit, state, screen, words if head.casefold() == "note" else text)

    return tampered


def after_a_note(reply: Any, change: Any) -> Any:
    """Tamper with a note: it changes the state."""

    def tampered(visit: Any, *args: Any) -> Any:
        turn = reply(visit, *args)
        if turn.exchange is None or turn.exchange.kind != NOTE:
            return turn
        return replace(turn, state=change(visit, turn.state))

    return tampered


def careless(replay: Any) -> Any:
    """Tamper with a resume: every caution is in force."""

    def tampered(*args: Any, **more: Any) -> Any:
        told = replay(*args, **more)
        return replace(told, state=replace(told.state, cautions=everything(args[0].table)))

    return tampered


def everything(table: Any) -> CautionState:
    """Return all cautions of a table in force."""
    return CautionState(in_force=(1 << len(table.ids)) - 1)
