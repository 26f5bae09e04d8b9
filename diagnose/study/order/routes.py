"""What a case takes on its way to each finding: minutes, minutes of cautions, lockouts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.in_force import CautionTable
    from diagnose.study.plan import Plan


class FindingCosts(Struct, frozen=True):
    """Means over the routes to one finding, with right answers.

    `minutes` up to the finding, of which `cautions` are spent on cautions; `lockouts`, how often
    the machine was made dead. The remedy is not in them: it takes `remedy` minutes, its cautions
    included, and `remedy_lockouts`.
    """

    minutes: float
    cautions: float
    lockouts: float
    remedy: float
    remedy_lockouts: float


class Arrival(Struct):
    """The routes that reach a step with the same cautions in force.

    `minutes`, `cautions` and `lockouts` are those of any one of these routes: they are read only
    for findings that a single route leads to. `shares` holds, for each finding that several routes
    lead to, the share (0 to 1) of its cases that comes this way. `most_lockouts` is the largest
    number on any of the routes.
    """

    minutes: float = 0.0
    cautions: float = 0.0
    lockouts: int = 0
    most_lockouts: int = 0
    shares: dict[int, float] = {}


class RouteCosts(Struct, frozen=True, kw_only=True):
    """All routes through a tree.

    `findings`, in the order of the plan's; `arrivals[step]` by the cautions in force there, as
    bits; `most_lockouts` on any route to a finding.
    """

    findings: tuple[FindingCosts, ...]
    arrivals: tuple[dict[int, Arrival], ...]
    most_lockouts: int

    def share(self, step: int, in_force: int, finding: int) -> float:
        """Return the share of a finding's cases that reaches a step with these cautions.

        The finding has to be one that the step leads to.
        """
        return self.arrivals[step][in_force].shares.get(finding, 1.0)


def locks_out(cautions: CautionTable, needs: int, in_force: int) -> bool:
    """Whether a step has the machine made dead, that was not dead yet.

    A second caution of this kind, taken while the first is in force, is no second lockout. A step
    that runs the machine has it made dead by nothing: the checker refuses a lockout there.
    """
    lockouts = cautions.lockouts
    return not in_force & lockouts and bool(cautions.closed(needs & ~in_force) & lockouts)


def route_costs(
    plan: Plan, cautions: CautionTable, start: int | None = None, in_force: int = 0
) -> RouteCosts:
    """Return what the routes from `start` (the tree's own where left out) take.

    `in_force` are the cautions in force at the start, as bits. Where several answers of a step lead
    to a finding, each is equally likely. Linear in the arrows where one route leads to each
    finding.
    """
    first = plan.start if start is None else start
    shared = bits(_of_several_routes(plan) & plan.reach[first])
    arrivals: list[dict[int, Arrival]] = [{} for _ in plan.ways]
    arrivals[first][in_force] = Arrival(shares=dict.fromkeys(shared, 1.0))
    # By finding, in the order of the fields of FindingCosts.
    sums = [[0.0] * 5 for _ in plan.findings]
    for step in plan.order:
        needs, energises = plan.needs[step], plan.energises[step]
        for force, here in arrivals[step].items():
            cost, after = cautions.take(needs, energises, force)
            locked = locks_out(cautions, needs, force)
            spent = (plan.minutes[step] + cost, cost, locked)
            if step not in plan.bit:
                for which, share in here.shares.items():
                    for column, amount in enumerate(spent):
                        sums[which][column] += share * amount
                _pass_on(plan, step, here, arrivals, after, spent)
                continue
            row = sums[plan.bit[step]]
            share = here.shares.get(plan.bit[step], 1.0)
            if plan.bit[step] not in here.shares:
                row[:3] = here.minutes, here.cautions, here.lockouts
            row[3] += share * spent[0]
            row[4] += share * locked
    ends = (here for step in plan.findings for here in arrivals[step].values())
    return RouteCosts(
        findings=tuple(FindingCosts(*row) for row in sums),
        arrivals=tuple(arrivals),
        most_lockouts=max(here.most_lockouts for here in ends),
    )


def _pass_on(
    plan: Plan,
    step: int,
    here: Arrival,
    arrivals: Sequence[dict[int, Arrival]],
    after: int,
    spent: tuple[float, float, bool],
) -> None:
    """Add those who leave a step, with `after` in force, to the arrivals where its answers lead."""
    minutes, cautions, locked = spent
    ways = plan.ways[step]
    for target in ways:
        there = arrivals[target].get(after)
        if there is None:
            there = arrivals[target][after] = Arrival(
                minutes=here.minutes + minutes,
                cautions=here.cautions + cautions,
                lockouts=here.lockouts + locked,
            )
        there.most_lockouts = max(there.most_lockouts, here.most_lockouts + locked)
    for which, share in here.shares.items():
        towards = [target for target in ways if plan.reach[target] >> which & 1]
        for target in towards:
            there = arrivals[target][after]
            there.shares[which] = there.shares.get(which, 0.0) + share / len(towards)


def _of_several_routes(plan: Plan) -> int:
    """Return the findings that more than one route leads to, as bits."""
    shared = 0
    for ways in plan.ways:
        met = 0
        for target in ways:
            shared |= met & plan.reach[target]
            met |= plan.reach[target]
    return shared
