"""Open branches of a symptom, and which of them is worth most."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from msgspec import Struct

from diagnose.study.outlook import normalised, outlooks, together

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from diagnose.case.state import Frame
    from diagnose.study.in_force import CautionTable

#: Worths that differ by less than this part are a tie; the first in the file wins.
TIE = 1e-9

#: Below this share of what an operator may still find, a case is service's.
TOO_LITTLE = 0.02

Seen = TypeVar("Seen")


class Branches(Struct, frozen=True):
    """The steps that open branches lead to, in the order of the file, each with its worth.

    `operators_share` is the probability of the findings behind them that are not service's.
    """

    worth: dict[int, float]
    operators_share: float

    def best(self, among: tuple[int, ...] | None = None) -> int | None:
        """Return the branch worth most, of all or of those `among` which it has to be."""
        steps = [step for step in self.worth if among is None or step in among]
        if not steps:
            return None
        most = max(self.worth[step] for step in steps)
        return next(step for step in steps if self.worth[step] >= most * (1 - TIE))


def open_branches(frame: Frame, table: CautionTable, in_force: int) -> Branches:
    """Return the open branches that lead to a finding which was neither tried nor set aside.

    One that leads straight to a finding for service is none while a likelier cause that is not
    service's is open: nobody is sent to service before what is likelier was looked at.
    """
    tree = frame.tree
    weights = normalised(frame.logs)
    found = _ahead(outlooks, frame, table, in_force, weights)
    worth = {step: outlook.worth for step, outlook in found.items() if outlook.worth > 0}
    reach = 0
    for step in worth:
        reach |= found[step].reach
    reach &= ~tree.service
    behind = [weight for which, weight in enumerate(weights) if reach >> which & 1]
    likeliest = max(behind, default=0.0)
    for step in list(worth):
        which = tree.plan.bit.get(_landing(frame, step))
        if which is not None and tree.service >> which & 1 and weights[which] < likeliest:
            del worth[step]
    return Branches(worth, sum(behind))


def open_causes(frame: Frame) -> list[int]:
    """Return the findings, not service's, that all open branches together reach.

    By their numbers among the findings, as the file has them.
    """
    plan = frame.tree.plan
    reach, met = [], set(targets := _targets(frame))
    while targets:
        step = targets.pop()
        if step in plan.bit:
            if step not in frame.gone and not frame.tree.service >> plan.bit[step] & 1:
                reach.append(plan.bit[step])
            continue
        answer = frame.closed.get(step)
        ways = plan.ways[step] if answer is None else (plan.ways[step][answer],)
        fresh = set(ways) - met
        met.update(fresh)
        targets += fresh
    return sorted(reach)


def minutes_to_open_causes(frame: Frame, table: CautionTable, in_force: int) -> float:
    """Return the minutes to the causes of `open_causes`, each times its probability, summed."""
    weights = [
        0.0 if frame.tree.service >> which & 1 else weight
        for which, weight in enumerate(normalised(frame.logs))
    ]
    return _ahead(together, frame, table, in_force, weights).minutes


def _ahead(
    look: Callable[..., Seen],
    frame: Frame,
    table: CautionTable,
    in_force: int,
    weights: Sequence[float],
) -> Seen:
    """Return what a look at all that lies behind the open branches sees."""
    return look(
        frame.tree.plan,
        table,
        _targets(frame),
        weights=weights,
        own=frame.tree.own,
        closed=frame.closed,
        gone=frame.gone,
        in_force=in_force,
    )


def _targets(frame: Frame) -> list[int]:
    """Return the open steps that answers of visited steps lead to, in the order of the file."""
    targets: dict[int, None] = {}
    for step in sorted(frame.visited):
        for target in frame.tree.plan.ways[step]:
            # What the machine card has answered and nobody came to yet is a way on, not a wall.
            passed_over = target in frame.closed and frame.closed[target] is None
            if not (target in frame.visited or passed_over or target in frame.gone):
                targets[target] = None
    return list(targets)


def _landing(frame: Frame, step: int) -> int:
    """Return the step that is come to where one is entered: what was answered sends on."""
    while (answer := frame.closed.get(step)) is not None:
        step = frame.tree.plan.ways[step][answer]
    return step
