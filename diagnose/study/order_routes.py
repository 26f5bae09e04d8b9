"""What a case costs on its way to each finding: minutes, cautions, lockouts."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.in_force import CautionTable
    from diagnose.study.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """The mean over the routes to one finding, with right answers.

    `cautions` are the minutes spent on cautions, part of `minutes`; `lockouts` the times that the
    machine was made dead. What the remedy itself takes is not in them: it is in `remedy`, in
    minutes with its cautions, and in `remedy_lockouts`.
    """

    minutes: float
    cautions: float
    lockouts: float
    remedy: float
    remedy_lockouts: float


@dataclass(slots=True)
class Arrival:
    """How one comes to a step with certain cautions in force.

    The three sums hold for the findings that one route leads to; `shares` hold, for those that
    several lead to, the part that comes this way. `most` is the largest number of lockouts.
    """

    minutes: float = 0.0
    cautions: float = 0.0
    lockouts: int = 0
    most: int = 0
    shares: dict[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """All ways through a tree: `ways` by finding, `arrivals` by step and cautions in force.

    `most_lockouts` is the largest number on any route to a finding.
    """

    ways: tuple[Way, ...]
    arrivals: tuple[dict[int, Arrival], ...]
    most_lockouts: int

    def share(self, step: int, in_force: int, finding: int) -> float:
        """Return the part of a finding's cases that reaches a step with these cautions."""
        return self.arrivals[step][in_force].shares.get(finding, 1.0)


def locks_out(cautions: CautionTable, needs: int, energises: bool, in_force: int) -> bool:
    """Whether a step makes the machine dead.

    What is added while a lockout is in force is no second one: the machine is dead already.
    """
    lockouts = cautions.lockouts
    if energises:
        in_force &= ~cautions.lapsing
    return not in_force & lockouts and bool(cautions.closed(needs & ~in_force) & lockouts)


def travel(
    plan: Plan, cautions: CautionTable, start: int | None = None, in_force: int = 0
) -> Travel:
    """Return all ways from `start` (the tree's own where left out) with `in_force`.

    Where several answers of a step lead to a finding, each is equally likely. Linear in the arrows
    where one route leads to each finding.
    """
    arrivals: list[dict[int, Arrival]] = [{} for _ in plan.ways]
    count = len(plan.findings)
    shared = _shared(plan)
    first = plan.start if start is None else start
    shares = dict.fromkeys(bits(shared & plan.reach[first]), 1.0)
    arrivals[first][in_force] = Arrival(shares=shares)
    minutes, taken, lockouts = [0.0] * count, [0.0] * count, [0.0] * count
    remedy, remedy_lockouts = [0.0] * count, [0.0] * count
    most = 0
    for step in plan.order:
        needs, energises = plan.needs[step], plan.energises[step]
        for force, here in arrivals[step].items():
            cost, after = cautions.take(needs, energises, force)
            locked = cost > 0 and locks_out(cautions, needs, energises, force)
            if step in plan.bit:
                which = plan.bit[step]
                if which in here.shares:
                    share = here.shares[which]
                else:
                    share = 1.0
                    minutes[which] = here.minutes
                    taken[which] = here.cautions
                    lockouts[which] = here.lockouts
                remedy[which] += share * (plan.minutes[step] + cost)
                remedy_lockouts[which] += share * locked
                most = max(most, here.most)
                continue
            for which, share in here.shares.items():
                minutes[which] += share * (plan.minutes[step] + cost)
                taken[which] += share * cost
                lockouts[which] += share * locked
            _go_on(plan, step, here, arrivals, after, (cost, locked))
    ways = zip(minutes, taken, lockouts, remedy, remedy_lockouts, strict=True)
    return Travel(
        ways=tuple(
            Way(minutes=m, cautions=c, lockouts=n, remedy=r, remedy_lockouts=rn)
            for m, c, n, r, rn in ways
        ),
        arrivals=tuple(arrivals),
        most_lockouts=most,
    )


def _go_on(
    plan: Plan,
    step: int,
    here: Arrival,
    arrivals: Sequence[dict[int, Arrival]],
    after: int,
    spent: tuple[float, bool],
) -> None:
    cost, locked = spent
    ways = plan.ways[step]
    for target in ways:
        there = arrivals[target].get(after)
        if there is None:
            there = arrivals[target][after] = Arrival(
                minutes=here.minutes + plan.minutes[step] + cost,
                cautions=here.cautions + cost,
                lockouts=here.lockouts + locked,
            )
        there.most = max(there.most, here.most + locked)
    for which, share in here.shares.items():
        on = [target for target in ways if plan.reach[target] >> which & 1]
        for target in on:
            there = arrivals[target][after]
            there.shares[which] = there.shares.get(which, 0.0) + share / len(on)


def _shared(plan: Plan) -> int:
    """Return the findings that several routes lead to, as bits."""
    shared = 0
    for ways in plan.ways:
        met = 0
        for target in ways:
            shared |= met & plan.reach[target]
            met |= plan.reach[target]
    return shared
