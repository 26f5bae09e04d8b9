"""What a drill comes to: minutes beside the tree's, unsafe moves, wrong referrals, routes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.case.screens import Named  # noqa: TC001 - scores are read back from a log

if TYPE_CHECKING:
    from diagnose.drill.machine import Machine
    from diagnose.study.in_force import CautionTable
    from diagnose.study.plan import Plan

#: What can be unsafe: a caution that was not in force, one that was not ended before the machine
#: ran, work of somebody else.
NOT_IN_FORCE: Final = "not-in-force"
NOT_ENDED: Final = "not-ended"
NOT_YOURS: Final = "not-yours"

#: Whose a cause is that goes on as another symptom.
ELSEWHERE: Final = "elsewhere"

PASSED: Final = "passed"
FAILED: Final = "failed"
LEFT: Final = "left"


class Look(Struct, frozen=True, kw_only=True):
    """One check that was made, and what it gave; a reading also has a `value` in a `unit`,
    which can be off by as much as `good_to`.

    `inputs` are what the value was computed from: the name of each, and what was read, in words.
    `minutes` are all that it took, `caution_minutes` among them those of the `cautions` that were
    taken for it. `ruled_out` counts the causes, open until then, that it spoke against.
    """

    step: str
    title: str
    answer: str
    minutes: float
    caution_minutes: float
    value: float | None = None
    unit: str = ""
    good_to: float | None = None
    inputs: tuple[Named, ...] = ()
    cautions: tuple[Named, ...] = ()
    ruled_out: int = 0


class UnsafeMove(Struct, frozen=True, kw_only=True):
    """One thing that could have hurt somebody, at a step.

    `kind` is not-in-force or not-ended (of the `caution`), or not-yours (`whose` it is). `hazards`
    are those of the step that nothing kept away.
    """

    kind: str
    step: str
    title: str
    caution: Named | None = None
    whose: str = ""
    hazards: tuple[Named, ...] = ()


class WrongReferral(Struct, frozen=True, kw_only=True):
    """Work that was handed to the wrong people, though nobody could be hurt by that."""

    step: str
    title: str
    to: str
    whose: str


class Score(Struct, frozen=True, kw_only=True):
    """The result of a drill. `outcome` is passed, failed or left.

    The same `seed` is the same drill again, on the same library, card and with the same `slips`.
    Minutes are those of the checks and their cautions, to the cause: `minutes` that were used,
    `tree_minutes` on the tree's own route on this machine, `best_minutes` on the same tree with its
    checks in the best order (None: not known). A drill that was left keeps its secret: `cause` and
    `tree_route` tell nothing. `hands` are whose work the trainee said it is, `whose` it truly is.
    `not_parted` is the likeliest of the other causes, where nothing that was seen speaks for the
    one that was named and against that. `taught`: what was unsafe was told at once. `case` names
    the worked case that the machine was, "" for none: its answers, with this machine's own figures.
    """

    seed: int
    slips: bool
    taught: bool
    outcome: str
    cause: Named | None
    case: str
    named: Named | None
    hands: str
    whose: str
    minutes: float
    tree_minutes: float | None
    best_minutes: float | None
    unsafe: tuple[UnsafeMove, ...]
    wrong_referrals: tuple[WrongReferral, ...]
    not_parted: Named | None
    route: tuple[Look, ...]
    tree_route: tuple[Look, ...]

    @property
    def slow(self) -> tuple[Look, ...]:
        """The checks that told nothing of what was still open, and that the tree does without."""
        needed = {look.step for look in self.tree_route}
        return tuple(look for look in self.route if not look.ruled_out and look.step not in needed)


class Leg(Struct, frozen=True):
    """One step of a route: its number in the plan, the answer's, minutes, the cautions taken."""

    step: int
    answer: int
    minutes: float
    caution_minutes: float
    called: int


def route_of(plan: Plan, cautions: CautionTable, machine: Machine) -> list[Leg]:
    """Return the way that right answers and all cautions take through `plan` on this machine.

    `plan` holds the steps of the machine's tree by their ids, in whatever order. What the machine
    card answers takes no time, nor what looks at the same as a step before it.
    """
    ids = machine.ready.plan.ids
    truths = dict(zip(ids, machine.truths, strict=True))
    from_card = {ids[step] for step in machine.ready.from_card}
    legs = []
    step, in_force = plan.start, 0
    seen: set[int] = set()
    while plan.ways[step]:
        name = plan.ids[step]
        answer = truths[name]
        if name not in from_card and step not in seen:
            seen.update(twin for twin, _ in plan.twins.get((step, answer), ()))
            if plan.energises[step]:
                in_force &= ~cautions.lapsing
            called = cautions.called(plan.needs[step], in_force)
            cost, in_force = cautions.take(plan.needs[step], plan.energises[step], in_force)
            legs.append(Leg(step, answer, plan.minutes[step] + cost, cost, called))
        step = plan.ways[step][answer]
    return legs


def minutes_of(legs: list[Leg]) -> float:
    """Return the minutes of a route."""
    return sum(leg.minutes for leg in legs)
