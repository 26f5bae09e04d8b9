"""A run as a problem of single-machine scheduling: its jobs, their set-ups, what an order costs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from diagnose.study.in_force import bits, union
from diagnose.study.order.routes import locks_out, route_costs
from diagnose.study.outlook import outlooks
from diagnose.study.plan import gathered

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from diagnose.study.in_force import CautionTable
    from diagnose.study.order.routes import RouteCosts
    from diagnose.study.plan import Plan
    from diagnose.study.runs import Run

#: Minutes; an order that is better by less is not better.
TOLERANCE = 1e-9

#: A run may be entered on routes with different cautions in force. By *entry*: what is in force, as
#: bits, and how many lockouts were taken (0 where there is no cap on them).
State: TypeAlias = tuple[tuple[int, int], ...]
#: The minutes that cautions take at a job, by entry, and the state after it.
Setup: TypeAlias = tuple[tuple[float, ...], State]


class Job(Struct, frozen=True, kw_only=True):
    """One step of the run. Its *branches* are what its other answers lead to.

    `weights`: the probability of the findings in its branches, by entry. `kind` indexes the model's
    kinds. `branch_cautions`: those that checks and readings in its branches name, as bits.
    """

    step: int
    minutes: float
    kind: int
    weights: tuple[float, ...]
    branch_cautions: int

    @property
    def weight(self) -> float:
        """The probability of the findings in its branches, over all entries."""
        return sum(self.weights)

    @property
    def ratio(self) -> float:
        """Probability per minute: Smith's ratio w / p."""
        return self.weight / self.minutes


class RunModel:
    """The jobs of one run, in the present order, and what orders of them cost.

    Costs are minutes of the whole tree: each finding's minutes count as much as it is likely. Jobs
    are named by their number in the present order. Jobs of the same *kind* (needs, energises)
    change a state alike; `kinds` lists them, and `named[kind]` what a kind needs without what is
    included in another of its needs. `cap` is the largest number of lockouts that a route may
    take; None where it does not matter.
    """

    def __init__(
        self,
        plan: Plan,
        cautions: CautionTable,
        run: Run,
        routes: RouteCosts,
        cap: int | None = None,
    ) -> None:
        self.cautions = cautions
        self.run = run
        self.cap = cap
        first = run.steps[0]
        arrivals = routes.arrivals[first]
        self.start: State = tuple(
            (force, 0 if cap is None else arrival.most_lockouts)
            for force, arrival in arrivals.items()
        )
        self._plan = plan
        # The probability of each finding on the way in, entry by entry.
        self._flows = [
            [
                chance * routes.share(first, force, f) if plan.reach[first] >> f & 1 else 0.0
                for f, chance in enumerate(plan.chances)
            ]
            for force in arrivals
        ]
        # The plan without the run's own arrows: what is left of a member are its branches.
        ways = list(plan.ways)
        for step in run.steps:
            ways[step] = tuple(t for n, t in enumerate(ways[step]) if n != plan.passing[step])
        self._branches = replace(plan, ways=tuple(ways))
        self._costless = cautions.costless()
        kinds: dict[tuple[int, bool], int] = {}
        # The cautions that checks and readings name from each step on; those of findings are not.
        own = {n: cautions.called(plan.needs[n], 0) for n in plan.order if n not in plan.bit}
        ahead = gathered(plan.order, plan.ways, own)
        self.jobs = tuple(
            Job(
                step=step,
                minutes=plan.minutes[step],
                kind=kinds.setdefault((plan.needs[step], plan.energises[step]), len(kinds)),
                weights=self._weights(ways[step]),
                branch_cautions=union(ahead[target] for target in ways[step]),
            )
            for step in run.steps
        )
        self.kinds = tuple(kinds)
        self.named = tuple(cautions.called(needs, 0) for needs, _ in kinds)
        self.named_in_run = union(self.named)
        self.tail_cautions = ahead[run.tail]
        self.tail_weights = self._weights((run.tail,))
        self._setups: dict[tuple[State, int], Setup] = {}
        self._later: dict[tuple[int, int, int], tuple[float, int]] = {}

    def _weights(self, targets: Iterable[int]) -> tuple[float, ...]:
        """Return the probability of all findings from some steps on, by entry."""
        reach = union(self._plan.reach[target] for target in targets)
        return tuple(math.fsum(flow[f] for f in bits(reach)) for flow in self._flows)

    def setup(self, state: State, kind: int) -> Setup:
        """Return what cautions take at a job of this kind, and the state after it."""
        found = self._setups.get((state, kind))
        if found is None:
            found = self._setups[state, kind] = self.setup_for(state, *self.kinds[kind])
        return found

    def setup_for(self, state: State, needs: int, energises: bool) -> Setup:
        """Return the same where `needs` (bits, with all they include) are taken."""
        minutes, after = [], []
        for force, lockouts in state:
            taken, now = self.cautions.take(needs, energises, force)
            more = self.cap is not None and locks_out(self.cautions, needs, force)
            minutes.append(taken)
            after.append((now, lockouts + more))
        return tuple(minutes), tuple(after)

    def branch_cost(self, job: int, state: State) -> float:
        """Return the weighted minutes of cautions in a job's branches; infinite over the cap."""
        return self._later_cost(self.jobs[job].step, self.jobs[job].branch_cautions, state)

    def tail_cost(self, state: State) -> float:
        """Return the weighted minutes of cautions behind the run; infinite over the cap."""
        return self._later_cost(self.run.tail, self.tail_cautions, state)

    def cost(self, order: Sequence[int]) -> float:
        """Return the minutes that an order costs, less what no order changes."""
        return self.cost_from(order, self.start, self.waiting(order))

    def waiting(self, order: Sequence[int]) -> list[float]:
        """Return the probability that some jobs and the tail hold together, by entry."""
        return [
            tail + math.fsum(self.jobs[job].weights[entry] for job in order)
            for entry, tail in enumerate(self.tail_weights)
        ]

    def cost_from(self, rest: Sequence[int], state: State, waiting: Sequence[float]) -> float:
        """Return what the rest of an order costs from a state on, while this probability waits."""
        left = list(waiting)
        total = 0.0
        for number in rest:
            job = self.jobs[number]
            setups, state = self.setup(state, job.kind)
            for entry, setup in enumerate(setups):
                total += left[entry] * (job.minutes + setup)
                left[entry] -= job.weights[entry]
            total += self.branch_cost(number, state)
        return total + self.tail_cost(state)

    def _later_cost(self, source: int, named: int, state: State) -> float:
        if not named and self.cap is None:
            return 0.0
        total = 0.0
        for entry, (force, lockouts) in enumerate(state):
            found = self._later.get((source, entry, force))
            if found is None:
                found = (0.0, 0) if not named else self._explored(source, entry, force)
                self._later[source, entry, force] = found
            minutes, most = found
            if self.cap is not None and lockouts + most > self.cap:
                return math.inf
            total += minutes
        return total

    def _explored(self, source: int, entry: int, force: int) -> tuple[float, int]:
        """Return the weighted minutes of cautions from a step on, and the most lockouts.

        From the tail on, or, where `source` is a member of the run, in its branches.
        """
        branches = source != self.run.tail
        plan = self._branches if branches else self._plan
        minutes = [
            outlooks(
                plan,
                cautions,
                [source],
                weights=self._flows[entry],
                own=[0.0] * len(plan.findings),
                closed={source: None} if branches else {},
                in_force=force,
            )[source].minutes
            for cautions in (self.cautions, self._costless)
        ]
        most = 0
        if self.cap is not None:
            starts = plan.ways[source] if branches else (source,)
            most = max(route_costs(plan, self.cautions, s, force).most_lockouts for s in starts)
        return minutes[0] - minutes[1], most
