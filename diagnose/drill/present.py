"""From where a drill stands to what is shown: one function a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from msgspec.structs import replace

from diagnose.case.screens import Named
from diagnose.drill import screens
from diagnose.drill.position import CAUSE, GUARD, HANDS, OVER, PICK, REMEDY
from diagnose.drill.score import Look, Score, minutes_of, route_of
from diagnose.drill.screens import Option
from diagnose.files import replies
from diagnose.files.tree import Question
from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from diagnose.case.screens import Screen
    from diagnose.drill.exercise import Exercise
    from diagnose.drill.position import Position
    from diagnose.drill.score import Leg

# What becomes of a caution, or of one who may do a check instead.
TAKE: Final = "take"
IN_FORCE: Final = "in force"
END: Final = "end"
CHOSEN: Final = "chosen"

_ASIDE: Final = (replies.DANGER, replies.LEAVE)

#: The ids of what may be replied at each stage, besides what is offered.
REPLIES: Final = {
    PICK: (replies.DONE, *_ASIDE),
    GUARD: (replies.DONE, replies.BACK, *_ASIDE),
    REMEDY: (replies.DONE, replies.BACK, *_ASIDE),
    CAUSE: (replies.BACK, *_ASIDE),
    HANDS: (replies.BACK, *_ASIDE),
    OVER: (),
}


def screen(drill: Exercise, position: Position) -> Screen:
    """Return the screen of a position."""
    common: dict[str, Any] = {
        "symptom": drill.ready.tree.symptom,
        "in_force": tuple(caution(drill, number) for number in bits(position.in_force)),
        "replies": REPLIES[position.stage],
        "notes": position.notes,
    }
    if position.stage == PICK:
        return _pick(drill, position, common)
    if position.stage in (GUARD, REMEDY):
        return _guard(drill, position, common)
    if position.stage == CAUSE:
        return screens.CauseScreen(**common, causes=tuple(drill.causes))
    if position.stage == HANDS:
        cause = Named(drill.ready.plan.ids[position.step], drill.title(position.step))
        return screens.HandsScreen(**common, cause=cause, hands=tuple(options(drill, position)))
    return screens.ScoreScreen(**common, score=score(drill, position))


def options(drill: Exercise, position: Position) -> list[Named]:
    """Return what may be picked at a position, in the order of its numbers."""
    if position.stage == PICK:
        return [Named(drill.ready.plan.ids[step], title) for step, title in drill.acts.items()]
    if position.stage == CAUSE:
        return drill.causes
    if position.stage == HANDS:
        return [Named(whose, whose) for whose in drill.hands]
    guards = [caution(drill, number) for number in range(len(drill.table.ids))]
    helpers = drill.helpers if position.stage == GUARD else ()
    return guards + [Named(whose, whose) for whose in helpers]


def caution(drill: Exercise, number: int) -> Named:
    """Return a caution by its number."""
    name = drill.table.ids[number]
    return Named(name, drill.table.records[number].title)


def score(drill: Exercise, position: Position) -> Score:
    """Return what a drill came to, whether it was ended or left."""
    plan = drill.ready.plan
    told = bool(position.hands)
    best = None
    if told and drill.best is not None:
        best = minutes_of(route_of(drill.best, drill.table, drill.machine))
    hidden = drill.machine.cause
    return Score(
        seed=drill.machine.seed,
        slips=drill.machine.slips,
        taught=drill.teach,
        outcome=position.outcome,
        cause=Named(plan.ids[hidden], drill.title(hidden)) if told else None,
        case=drill.machine.case if told else "",
        named=Named(plan.ids[position.step], drill.title(position.step)) if told else None,
        hands=position.hands,
        whose=drill.whose if told else "",
        minutes=position.minutes,
        tree_minutes=minutes_of(drill.route) if told else None,
        best_minutes=best,
        unsafe=position.unsafe,
        wrong_referrals=position.wrong_referrals,
        not_parted=_not_parted(drill, position) if told else None,
        route=position.looks,
        tree_route=_tree_route(drill) if told else (),
    )


def _not_parted(drill: Exercise, position: Position) -> Named | None:
    """Return the cause from which nothing seen parts the one that was named."""
    rival = drill.evidence.not_parted(position.step, drill.answers(position.looks))
    return None if rival is None else Named(drill.ready.plan.ids[rival], drill.title(rival))


def _pick(drill: Exercise, position: Position, common: dict[str, Any]) -> Screen:
    given = {look.step: look.answer for look in position.looks}
    return screens.PickScreen(
        **common,
        checks=tuple(
            Option(id=named.id, title=named.title, state=given.get(named.id, ""))
            for named in options(drill, position)
        ),
        open=drill.open_causes(position.looks),
        used=position.minutes,
    )


def _guard(drill: Exercise, position: Position, common: dict[str, Any]) -> Screen:
    taking = drill.table.closed(position.taking)
    kept = position.in_force & ~position.ending
    offered = options(drill, position)
    count = len(drill.table.ids)
    step = drill.ready.steps[position.step]

    def state(number: int) -> str:
        if taking >> number & 1 and not kept >> number & 1:
            return TAKE
        if position.in_force >> number & 1:
            return IN_FORCE if kept >> number & 1 else END
        return ""

    return screens.GuardScreen(
        **common,
        work="check" if position.stage == GUARD else "remedy",
        step=drill.ready.plan.ids[position.step],
        title=drill.title(position.step),
        do=step.do if isinstance(step, Question) else None,
        tool=step.tool if isinstance(step, Question) else None,
        cautions=tuple(
            Option(id=named.id, title=named.title, state=state(number))
            for number, named in enumerate(offered[:count])
        ),
        hands=tuple(
            Option(id=one.id, title=one.title, state=CHOSEN if one.id == position.others else "")
            for one in offered[count:]
        ),
        take_minutes=drill.guarded(position)[0],
        used=position.minutes,
    )


def _tree_route(drill: Exercise) -> tuple[Look, ...]:
    """Return the tree's own route, with what each of its checks rules out."""
    route: tuple[Look, ...] = ()
    left = drill.open_causes(route)
    for leg in drill.route:
        look = _look(drill, leg)
        after = drill.open_causes((*route, look))
        route, left = (*route, replace(look, ruled_out=left - after)), after
    return route


def _look(drill: Exercise, leg: Leg) -> Look:
    question = drill.ready.steps[leg.step]
    assert isinstance(question, Question)
    return Look(
        step=drill.ready.plan.ids[leg.step],
        title=drill.title(leg.step),
        answer=question.exits[leg.answer].answer,
        minutes=leg.minutes,
        caution_minutes=leg.caution_minutes,
        cautions=tuple(caution(drill, number) for number in bits(leg.called)),
    )
