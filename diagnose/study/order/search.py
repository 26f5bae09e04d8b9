"""The best order of a run: a best-first search over how much of each family is done.

First the relaxation is solved, in which cautions may be taken early and families keep their order
(see `families`): its optimum is a lower bound. If the order that it finds costs no more in the real
run, it is proved best. If it does, a short run is searched again job by job; for a long one the
best order found is kept, and the gap says how much less another could cost.
"""

from __future__ import annotations

import heapq
import itertools
import math
from typing import TYPE_CHECKING, TypeAlias

from msgspec import Struct

from diagnose.files.library import collector_at_rest
from diagnose.study.order.bound import LowerBound, smith_cost
from diagnose.study.order.dominance import next_families, next_of_alike
from diagnose.study.order.families import families
from diagnose.study.order.model import TOLERANCE
from diagnose.study.order.moves import improved, settled
from diagnose.study.order.setups import Setups, StateSetups

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.study.order.bound import Counts
    from diagnose.study.order.families import Family
    from diagnose.study.order.model import RunModel, State

#: Orders kept side by side in a beam search, where the search for the best was cut short.
BEAM_WIDTHS = (40, 200)
#: Nodes (counts, state) that a search may come to before it is cut short.
MOST_NODES = 60_000
#: Longer runs are not searched job by job: that would be cut short anyway.
LONGEST_BY_JOB = 40

# The jobs so far, the last one first, as a chain of pairs.
_Chain: TypeAlias = "tuple[int, _Chain] | None"
_Node: TypeAlias = tuple["Counts", "State"]


class BestOrder(Struct, frozen=True, kw_only=True):
    """The best order of a run's jobs; another can save at most `gap` minutes over it.

    A gap of 0: it is proved best.
    """

    order: tuple[int, ...]
    gap: float

    @property
    def exact(self) -> bool:
        """Whether it is proved that no other order is better."""
        return self.gap <= TOLERANCE


class NoOrder(Struct, frozen=True, kw_only=True):
    """No order was found; `proved` where there is none under the cap."""

    proved: bool


class _Found(Struct, frozen=True, kw_only=True):
    """What a search found: an order, if any, and a lower bound on the excess of every order."""

    order: list[int] | None
    bound: float


@collector_at_rest()
def best_order(
    model: RunModel, beam_widths: Sequence[int] = BEAM_WIDTHS, most_nodes: int = MOST_NODES
) -> BestOrder | NoOrder:
    """Return the best order under the `after` constraints and the cap, or why there is none."""
    groups = families(model)
    base = smith_cost(model)
    best: list[int] | None = None
    excess = math.inf

    def consider(order: Sequence[int] | None) -> None:
        nonlocal best, excess
        if order is not None and (cost := model.cost(order) - base) < excess:
            best, excess = list(order), cost

    relaxed = Search(model, groups, relaxed=True)
    found = relaxed.best_first(math.inf, most_nodes)
    consider(found.order)
    bound = found.bound if relaxed.setups.complete else 0.0
    if best is None and bound < math.inf:
        real = Search(model, groups)
        for width in beam_widths:
            consider(real.beam(width, excess))
    if excess > bound + TOLERANCE and len(model.jobs) <= LONGEST_BY_JOB:
        by_job = Search(model, families(model, single=True), alike=groups)
        found = by_job.best_first(excess + TOLERANCE, most_nodes)
        consider(found.order)
        bound = max(bound, found.bound)
    if best is None:
        return NoOrder(proved=bound == math.inf)
    if excess > bound + TOLERANCE:
        consider(improved(model, best))
    return BestOrder(order=tuple(settled(model, best)), gap=max(0.0, excess - bound))


class _Left(Struct, frozen=True):
    """What is left at some counts: families with members left, those that `after` lets go on.

    `waiting` is the weight of all that is left, by entry; `delays` are filled in as they are asked.
    """

    heads: list[int]
    ready: list[int]
    waiting: list[float]
    delays: dict[int, float]


class Search:
    """A search over the families of a run, or of its relaxation.

    Where families are single jobs, `alike` are those that the relaxation does not tell apart.
    """

    def __init__(
        self,
        model: RunModel,
        groups: Sequence[Family],
        *,
        relaxed: bool = False,
        alike: Sequence[Family] = (),
    ) -> None:
        self.model = model
        self.families = groups
        self.setups = Setups(model, relaxed=relaxed)
        self.bound = LowerBound(model, groups)
        number = {family.jobs[0]: f for f, family in enumerate(groups)}
        self._alike = [[number[job] for job in family.jobs] for family in alike]
        self._entries = range(len(model.tail_weights))
        self._start: _Node = ((0,) * len(groups), model.start)
        self._state_setups: dict[State, StateSetups] = {}
        self._left: dict[Counts, _Left] = {}

    def best_first(self, limit: float, most_nodes: int) -> _Found:
        """Return the order with the least excess, none above the limit.

        Nodes come by the least excess of an order through them, so the first that is a whole order
        is the best. Beyond `most_nodes` there is no order, but still a bound.
        """
        number = itertools.count()
        known: dict[_Node, float] = {self._start: 0.0}
        # By least excess, then the farther nodes first.
        heap: list[tuple[float, int, int, float, _Node, _Chain]] = [
            (self.bound.to_come(*self._start), 0, next(number), 0.0, self._start, None)
        ]
        length = len(self.model.jobs)
        while heap:
            least, depth, _, excess, node, chain = heapq.heappop(heap)
            if -depth > length:
                return _Found(order=_jobs(chain), bound=least)
            if excess > known[node]:
                continue
            if -depth == length:
                total = excess + self.setups.tail_cost(node[1])
                if total <= limit:
                    heapq.heappush(heap, (total, depth - 1, next(number), total, node, chain))
                continue
            if len(known) > most_nodes:
                return _Found(order=None, bound=least)
            for total, job, after in self._successors(node, excess, limit):
                if total < known.get(after, math.inf):
                    least = total + self.bound.to_come(*after)
                    if least <= limit:
                        known[after] = total
                        entry = (least, depth - 1, next(number), total, after, (job, chain))
                        heapq.heappush(heap, entry)
        # Whatever there is has more excess than the limit, or there is nothing.
        return _Found(order=None, bound=limit)

    def beam(self, width: int, limit: float) -> list[int] | None:
        """Return a good order, if one is found: job by job, the `width` most promising are kept."""
        layer: dict[_Node, tuple[float, float, _Chain]] = {self._start: (0.0, 0.0, None)}
        for _ in self.model.jobs:
            following: dict[_Node, tuple[float, float, _Chain]] = {}
            for node, (_, excess, chain) in layer.items():
                for total, job, after in self._successors(node, excess, limit):
                    if after not in following or total < following[after][1]:
                        least = total + self.bound.to_come(*after)
                        if least <= limit:
                            following[after] = (least, total, (job, chain))
            layer = dict(heapq.nsmallest(width, following.items(), key=lambda item: item[1][0]))
        ends = [
            (excess + self.setups.tail_cost(state), chain)
            for (_, state), (_, excess, chain) in layer.items()
        ]
        excess, chain = min(ends, key=lambda end: end[0], default=(math.inf, None))
        return None if excess == math.inf else _jobs(chain)

    def _successors(
        self, node: _Node, excess: float, limit: float
    ) -> Iterator[tuple[float, int, _Node]]:
        """Yield (excess, job, node) of every job that may come next."""
        counts, state = node
        left = self._left.get(counts) or self._look(counts)
        setups = self._state_setups.get(state)
        if setups is None:
            setups = self._state_setups[state] = StateSetups(self.setups, state, self.families)
        waiting, capped = left.waiting, self.model.cap is not None
        for f in self._choices(counts, setups, left):
            family = self.families[f]
            job = family.jobs[counts[f]]
            done = (*counts[:f], counts[f] + 1, *counts[f + 1 :])
            delay = left.delays.get(f)
            if delay is None:
                delay = left.delays[f] = self.bound.delay(counts, f)
            named = self.model.jobs[job].branch_cautions
            for minutes, after in setups.options(family.kind, named):
                total = excess + delay
                for e in self._entries:
                    total += waiting[e] * minutes[e]
                if named or capped:
                    total += self.model.branch_cost(job, after)
                if total <= limit and total < math.inf:
                    yield total, job, (done, after)

    def _choices(
        self, counts: Counts, setups: StateSetups, left: _Left
    ) -> Sequence[int] | Iterator[int]:
        if self._alike:
            return next_of_alike(self.bound, counts, setups, self._alike, left.ready)
        return next_families(self.bound, counts, setups, left.heads, left.ready)

    def _look(self, counts: Counts) -> _Left:
        groups = self.families
        heads = [f for f, family in enumerate(groups) if counts[f] < len(family.jobs)]
        unfinished = set(heads)
        ready = [f for f in heads if unfinished.isdisjoint(groups[f].before)]
        waiting = [
            tail + sum([groups[f].waiting[counts[f]][e] for f in heads])
            for e, tail in enumerate(self.model.tail_weights)
        ]
        found = self._left[counts] = _Left(heads, ready, waiting, {})
        return found


def _jobs(chain: _Chain) -> list[int]:
    order = []
    while chain is not None:
        job, chain = chain
        order.append(job)
    return order[::-1]
