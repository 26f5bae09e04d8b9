"""Open branches of a symptom, and which of them is worth most."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.study.in_force import bits, union
from diagnose.study.outlook import normalised, outlooks

if TYPE_CHECKING:
    from diagnose.case.state import Frame
    from diagnose.study.in_force import CautionTable

#: Worths that differ by less than this part are a tie; the first in the file wins.
TIE = 1e-9

#: Below this share of what an operator may still find, a case is service's.
TOO_LITTLE = 0.02


class Branches(Struct, frozen=True):
    """The steps that open branches lead to, in the order of the file, each with its worth."""

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
    """Return the open branches that lead to a finding which was neither tried nor set aside."""
    tree = frame.tree
    targets: dict[int, None] = {}
    for step in sorted(frame.visited):
        for target in tree.plan.ways[step]:
            # What the machine card has answered and nobody came to yet is a way on, not a wall.
            passed_over = target in frame.closed and frame.closed[target] is None
            if not (target in frame.visited or passed_over or target in frame.gone):
                targets[target] = None
    weights = normalised(frame.logs)
    found = outlooks(
        tree.plan,
        table,
        targets,
        weights=weights,
        own=tree.own,
        closed=frame.closed,
        gone=frame.gone,
        in_force=in_force,
    )
    worth = {step: found[step].worth for step in targets if found[step].worth > 0}
    reach = union(found[step].reach for step in worth)
    share = sum(weights[which] for which in bits(reach & ~tree.service))
    return Branches(worth, share)
