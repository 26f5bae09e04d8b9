"""What `--minutes` adds to each step: how likely it is, and how long it takes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.study.beliefs import prior
from diagnose.study.in_force import always_in_force, bits
from diagnose.study.outlook import normalised, outlooks

if TYPE_CHECKING:
    from diagnose.study.in_force import CautionTable
    from diagnose.study.ready import ReadyTree


#: What the lines mean, for the sheet's head.
MEANING = (
    "at a question: how likely the cause lies behind it, and the minutes to it;"
    " at a cause: how likely it is, and the minutes of its remedy"
)


def estimate_lines(ready: ReadyTree, table: CautionTable) -> dict[int, str]:
    """Return a line for every step, by number.

    A finding: its chance, and the minutes of its remedy. A question: the chance that the cause is
    among those it leads to, and the minutes from there to the cause on average, under the cautions
    that every route to it has in force.
    """
    plan = ready.plan
    shares = normalised(prior(plan))
    before = always_in_force(plan.order, plan.ways, plan.needs, plan.energises, table)
    none = [0.0] * len(plan.findings)
    lines = {
        place: f"{share:.0%} · {own:g} min"
        for place, share, own in zip(plan.findings, shares, ready.own, strict=True)
    }
    together: dict[int, list[int]] = {}
    for place, ways in enumerate(plan.ways):
        if ways:
            together.setdefault(before[place], []).append(place)
    for in_force, places in together.items():
        found = outlooks(
            plan, table, places, weights=shares, own=none, closed={}, in_force=in_force
        )
        for place in places:
            share = sum(shares[which] for which in bits(plan.reach[place]))
            lines[place] = f"{share:.0%} · {found[place].mean:.0f} min"
    return lines
