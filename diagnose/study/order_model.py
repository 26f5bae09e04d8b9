"""A run as an ordering problem: what a place in the run costs, in it and in what follows.

The run may be entered with different cautions in force, on different routes. A *state* says, entry
by entry, what is in force and how many lockouts were taken; steps of the same kind (same cautions,
same effect on the machine) change it alike. Costs are minutes of the whole tree: each finding's
minutes weigh as much as the finding is likely.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from diagnose.study.in_force import bits
from diagnose.study.order_routes import locks_out, travel
from diagnose.study.outlook import outlooks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.in_force import CautionTable
    from diagnose.study.order_routes import Travel
    from diagnose.study.plan import Plan
    from diagnose.study.runs import Run

State = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One step of the run.

    `weights`: the probability of the findings behind its other answers, entry by entry; `kind`
    indexes the model's kinds; `heeds` are the cautions that steps behind those answers name.
    """

    step: int
    minutes: float
    kind: int
    weights: tuple[float, ...]
    heeds: int

    @property
    def weight(self) -> float:
        """The probability of the findings behind its other answers, over all entries."""
        return sum(self.weights)

    @property
    def ratio(self) -> float:
        """Probability per minute."""
        return self.weight / self.minutes


class Model:
    """The costs of one run of a plan. `cap` is the largest number of lockouts on a route, if any.

    `kinds` lists (needs, energises), `named` what each kind needs that is not included in another
    of its needs; `jobs` follow the present order.
    """

    def __init__(
        self,
        plan: Plan,
        cautions: CautionTable,
        run: Run,
        travelled: Travel,
        cap: int | None = None,
    ) -> None:
        self.cautions = cautions
        self.run = run
        self.cap = cap
        arrivals = travelled.arrivals[run.steps[0]]
        masks = list(arrivals)
        self.start: State = tuple((m, arrivals[m].most if cap is not None else 0) for m in masks)
        # A plan in which members have only their other answers: what lies behind those.
        ways = list(plan.ways)
        for step in run.steps:
            ways[step] = tuple(t for n, t in enumerate(ways[step]) if n != plan.passing[step])
        self._exits = replace(plan, ways=tuple(ways))
        self._tail = plan
        self._free = replace(cautions, minutes=(0.0,) * len(cautions.minutes))
        self._none = [0.0] * len(plan.findings)
        flows = [
            [
                plan.chances[f] * travelled.share(run.steps[0], mask, f)
                if plan.reach[run.steps[0]] >> f & 1
                else 0.0
                for f in range(len(plan.findings))
            ]
            for mask in masks
        ]
        self._flows = flows
        kinds: dict[tuple[int, bool], int] = {}
        jobs = []
        for step in run.steps:
            behind = 0
            for target in ways[step]:
                behind |= plan.reach[target]
            kind = (plan.needs[step], plan.energises[step])
            jobs.append(
                Job(
                    step=step,
                    minutes=plan.minutes[step],
                    kind=kinds.setdefault(kind, len(kinds)),
                    weights=tuple(math.fsum(flow[f] for f in bits(behind)) for flow in flows),
                    heeds=_heeds(plan, cautions, ways[step]),
                )
            )
        self.jobs = tuple(jobs)
        self.kinds = tuple(kinds)
        self.named = tuple(cautions.called(needs, 0) for needs, _ in self.kinds)
        self.named_in_run = 0
        for needs in self.named:
            self.named_in_run |= needs
        self.tail_heeds = _heeds(plan, cautions, (run.tail,))
        self.tail_weights = tuple(
            math.fsum(flow[f] for f in bits(plan.reach[run.tail])) for flow in flows
        )
        self._moves: dict[tuple[State, int], tuple[tuple[float, ...], State]] = {}
        self._after: dict[tuple[int, int, int], tuple[float, int]] = {}

    def move(self, state: State, kind: int) -> tuple[tuple[float, ...], State]:
        """Return the minutes of cautions at a step of this kind, entry by entry, and what is then.

        Lockouts are counted only where there is a cap.
        """
        found = self._moves.get((state, kind))
        if found is None:
            found = self._moves[state, kind] = self.taking(state, *self.kinds[kind])
        return found

    def taking(self, state: State, needs: int, energises: bool) -> tuple[tuple[float, ...], State]:
        """Return the same for any cautions that are taken, here or by a kind."""
        costs, after = [], []
        for force, count in state:
            cost, now = self.cautions.take(needs, energises, force)
            counted = self.cap is not None
            locked = counted and locks_out(self.cautions, needs, energises, force)
            costs.append(cost)
            after.append((now, count + locked))
        return tuple(costs), tuple(after)

    def behind(self, job: int, state: State) -> float:
        """Return what cautions cost behind a job's other answers; infinite over the cap."""
        return self._beyond(self.jobs[job].step, self.jobs[job].heeds, state)

    def ending(self, state: State) -> float:
        """Return what cautions cost behind the run; infinite over the cap."""
        return self._beyond(self.run.tail, self.tail_heeds, state)

    def cost(self, order: Sequence[int]) -> float:
        """Return the minutes that an order costs, up to what no order changes."""
        return self.cost_from(order, self.start, self.weights(order))

    def weights(self, order: Sequence[int]) -> list[float]:
        """Return the probability that some of the run's jobs and its tail hold, by entry."""
        return [
            tail + math.fsum(self.jobs[job].weights[entry] for job in order)
            for entry, tail in enumerate(self.tail_weights)
        ]

    def cost_from(self, order: Sequence[int], state: State, weights: Sequence[float]) -> float:
        """Return what the rest of an order costs, once this state is come to."""
        left = list(weights)
        total = 0.0
        for number in order:
            job = self.jobs[number]
            costs, state = self.move(state, job.kind)
            for entry, cost in enumerate(costs):
                total += left[entry] * (job.minutes + cost)
                left[entry] -= job.weights[entry]
            if job.heeds or self.cap is not None:
                total += self.behind(number, state)
        return total + self.ending(state)

    def _beyond(self, source: int, heeds: int, state: State) -> float:
        if not heeds and self.cap is None:
            return 0.0
        total = 0.0
        for entry, (force, count) in enumerate(state):
            key = (source, entry, force)
            found = self._after.get(key)
            if found is None:
                found = self._after[key] = self._explored(source, heeds, entry, force)
            minutes, most = found
            if self.cap is not None and count + most > self.cap:
                return math.inf
            total += minutes
        return total

    def _explored(self, source: int, heeds: int, entry: int, force: int) -> tuple[float, int]:
        """Return the minutes of cautions from a step on, weighed, and the most lockouts."""
        if not heeds:
            return 0.0, 0
        inside = source != self.run.tail
        plan = self._exits if inside else self._tail
        closed = {source: None} if inside else {}

        def minutes(cautions: CautionTable) -> float:
            return outlooks(
                plan,
                cautions,
                [source],
                weights=self._flows[entry],
                own=self._none,
                closed=closed,
                in_force=force,
            )[source].minutes

        most = 0
        if self.cap is not None:
            starts = plan.ways[source] if inside else (source,)
            most = max(travel(plan, self.cautions, s, force).most_lockouts for s in starts)
        return minutes(self.cautions) - minutes(self._free), most


def _heeds(plan: Plan, cautions: CautionTable, sources: Sequence[int]) -> int:
    """Return the cautions that checks and readings name, from some steps on."""
    seen = set(sources)
    stack = list(seen)
    heeds = 0
    while stack:
        step = stack.pop()
        if plan.ways[step]:
            heeds |= cautions.called(plan.needs[step], 0)
        for target in plan.ways[step]:
            if target not in seen:
                seen.add(target)
                stack.append(target)
    return heeds
