"""The best order of a run: a search over how many of each family are done and what is in force.

The search may take a caution at any time, not only when a step calls for it. So eased, the order
within a family is known (see `order_families`), and no real order costs less than the best such
one. Where the steps that were found cost no more in the real run, they are the best of all. Where
they do, a short run is searched anew step by step, and for a long one it is said how much less
another order could cost at most.
"""

from __future__ import annotations

import heapq
import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from diagnose.files.library import collector_at_rest
from diagnose.study.in_force import bits
from diagnose.study.order_bound import Bound, classical
from diagnose.study.order_families import families
from diagnose.study.order_moves import best_move, settled

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.study.order_bound import Counts
    from diagnose.study.order_families import Family
    from diagnose.study.order_model import Model, State

#: Orders kept side by side, to have a good one where the search for the best was cut short.
WIDTHS = (40, 200)
#: Places that a search may come to before it is cut short.
ROOM = 60_000
#: With more steps, each on its own, a search would be cut short anyway.
ALONE = 40
#: Cautions that may be taken ahead of time at one step; all sets of them are tried.
MOST_AHEAD = 4
#: Single moves that an order is given to get better, where it may not be the best.
MOVES = 5
#: Minutes; an order that is better by less is not better.
LEAST = 1e-9

# The steps so far, the last one first, as a chain of pairs.
_Chain: TypeAlias = "tuple[int, _Chain] | None"
_Way: TypeAlias = tuple[tuple[float, ...], "State"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Best:
    """The best order of a run's jobs.

    `within`: the minutes that another order can save over it at most; 0 where it is the best of
    all.
    """

    order: tuple[int, ...]
    within: float

    @property
    def exact(self) -> bool:
        """Whether no other order can be better."""
        return self.within <= LEAST


@dataclass(frozen=True, slots=True, kw_only=True)
class Nothing:
    """No order was found; `sure` where there is none."""

    sure: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """What a search found: an order, if any; `least`: no order of its kind has less excess."""

    order: list[int] | None
    least: float


@collector_at_rest()
def best_order(model: Model, widths: Sequence[int] = WIDTHS, room: int = ROOM) -> Best | Nothing:
    """Return the best order under the `after` constraints and the cap, or why there is none."""
    kin = families(model)
    base = classical(model)
    best: list[int] | None = None
    excess = math.inf

    def consider(order: Sequence[int] | None) -> None:
        nonlocal best, excess
        if order is not None and (cost := model.cost(order) - base) < excess:
            best, excess = list(order), cost

    eased = _Search(model, kin, eased=True)
    found = eased.best_first(math.inf, room)
    consider(found.order)
    least = found.least if eased.all_tried else 0.0
    if found.order is None and least < math.inf:
        real = _Search(model, kin, eased=False)
        for width in widths:
            consider(real.side_by_side(width, excess))
    if excess > least + LEAST and len(model.jobs) <= ALONE:
        alone = _Search(model, families(model, alone=True), eased=False, alike=kin)
        found = alone.best_first(excess + LEAST, room)
        consider(found.order)
        least = max(least, found.least)
    if best is None:
        return Nothing(sure=least == math.inf)
    if excess > least + LEAST:
        starts = [best] if found.order in (None, best) else [best, found.order]
        for order in starts:
            consider(_improved(model, order))
    return Best(order=tuple(settled(model, best)), within=max(0.0, excess - least))


def _improved(model: Model, order: list[int]) -> list[int]:
    """Return the order with single moves made, as long as one helps."""
    for _ in range(MOVES):
        found = best_move(model, order)
        if found is None or found[0] > model.cost(order) - LEAST:
            break
        order = found[1]
    return order


class _Standing:
    """What a state says of each family: who costs no caution and changes nothing, and prices.

    A price is what has to be paid at least, by this step or before it, in any entry.
    """

    __slots__ = ("free", "prices", "ways")

    def __init__(self, search: _Search, state: State) -> None:
        nothing = ((0.0,) * len(state), state)
        self.ways: dict[tuple[int, int], list[_Way]] = {}
        kinds = [family.kind for family in search.kin]
        self.free = [search.model.move(state, kind) == nothing for kind in kinds]
        self.prices = [
            min(min(costs) for costs, _ in search.ways_to(state, kind, 0)) for kind in kinds
        ]


class _Search:
    """A search over families. `eased`: cautions may be taken before a step calls for them.

    Of families of one, `alike` are those that would be one family if cautions were eased.
    """

    def __init__(
        self,
        model: Model,
        kin: Sequence[Family],
        *,
        eased: bool,
        alike: Sequence[Family] = (),
    ) -> None:
        self.model = model
        self.kin = kin
        self.eased = eased
        place = {family.jobs[0]: f for f, family in enumerate(kin)}
        self.alike = [[place[job] for job in family.jobs] for family in alike]
        self.bound = Bound(model, kin)
        self.entries = range(len(model.tail_weights))
        self.sizes = [len(family.jobs) for family in kin]
        self.constrained = any(family.before for family in kin)
        self.all_tried = True
        self.start: Counts = (0,) * len(kin)
        self._standings: dict[State, _Standing] = {}
        self._seen: dict[Counts, tuple[list[int], list[int], list[float], dict[int, float]]] = {}

    def best_first(self, limit: float, room: int) -> _Found:
        """Return the order with the least excess, none above the limit; cut short out of room.

        The places come by what an order through them costs at least, so that the first one at the
        end is the best.
        """
        number = itertools.count()
        start = (self.start, self.model.start)
        known: dict[tuple[Counts, State], float] = {start: 0.0}
        # By cost at least, then the farther ones first.
        least = self.bound.at_least(*start)
        heap: list[tuple[float, int, int, float, Counts, State, _Chain]] = [
            (least, 0, next(number), 0.0, *start, None)
        ]
        length = len(self.model.jobs)
        while heap:
            least, depth, _, excess, counts, state, chain = heapq.heappop(heap)
            if -depth > length:
                return _Found(order=_steps(chain), least=least)
            if excess > known[counts, state]:
                continue
            if -depth == length:
                total = excess + self._ending(state)
                if total <= limit:
                    heapq.heappush(
                        heap, (total, depth - 1, next(number), total, counts, state, chain)
                    )
                continue
            if len(known) > room:
                return _Found(order=None, least=least)
            for total, job, done, after in self._onward(counts, state, excess, limit):
                if total < known.get((done, after), math.inf):
                    at_least = total + self.bound.at_least(done, after)
                    if at_least <= limit:
                        known[done, after] = total
                        heapq.heappush(
                            heap,
                            (at_least, depth - 1, next(number), total, done, after, (job, chain)),
                        )
        # Whatever there is has more excess than the limit, or there is nothing.
        return _Found(order=None, least=limit)

    def side_by_side(self, width: int, limit: float) -> list[int] | None:
        """Return a good order: all are followed one step a layer, the best `width` of them kept."""
        layer: dict[tuple[Counts, State], tuple[float, float, _Chain]] = {
            (self.start, self.model.start): (0.0, 0.0, None)
        }
        for _ in self.model.jobs:
            following: dict[tuple[Counts, State], tuple[float, float, _Chain]] = {}
            for (counts, state), (_, excess, chain) in layer.items():
                for total, job, done, after in self._onward(counts, state, excess, limit):
                    old = following.get((done, after))
                    if old is None or total < old[1]:
                        at_least = total + self.bound.at_least(done, after)
                        if at_least <= limit:
                            following[done, after] = (at_least, total, (job, chain))
            kept = heapq.nsmallest(width, following.items(), key=lambda item: item[1][0])
            layer = dict(kept)
        ends = [(excess + self._ending(at[1]), chain) for at, (_, excess, chain) in layer.items()]
        excess, chain = min(ends, key=lambda end: end[0], default=(math.inf, None))
        return None if excess == math.inf else _steps(chain)

    def _onward(
        self, counts: Counts, state: State, excess: float, limit: float
    ) -> Iterator[tuple[float, int, Counts, State]]:
        """Yield (excess, job, counts, state) of every step that may come next."""
        model = self.model
        heads, ready, left, delays = self._seen.get(counts) or self._look(counts)
        standing = self._standings.get(state)
        if standing is None:
            standing = self._standings[state] = _Standing(self, state)
        ways = standing.ways
        for f in (
            self._of_alike(counts, standing, ready)
            if self.alike
            else self._choices(counts, standing, heads, ready)
        ):
            family = self.kin[f]
            job = family.jobs[counts[f]]
            heeds = model.jobs[job].heeds
            done = (*counts[:f], counts[f] + 1, *counts[f + 1 :])
            delay = delays.get(f)
            if delay is None:
                delay = delays[f] = self.bound.delay(counts, f)
            kept = ways.get((family.kind, heeds))
            if kept is None:
                kept = ways[family.kind, heeds] = self.ways_to(state, family.kind, heeds)
            for costs, after in kept:
                total = excess + delay
                for e in self.entries:
                    total += left[e] * costs[e]
                if heeds or model.cap is not None:
                    total += model.behind(job, after)
                if total <= limit and total < math.inf:
                    yield total, job, done, after

    def _look(self, counts: Counts) -> tuple[list[int], list[int], list[float], dict[int, float]]:
        """Return the families left, those that may go on, what waits, and room for delays."""
        kin = self.kin
        heads = [f for f, size in enumerate(self.sizes) if counts[f] < size]
        ready = heads
        if self.constrained:
            ready = [f for f in heads if all(counts[g] == self.sizes[g] for g in kin[f].before)]
        left = [
            tail + sum([kin[f].rest[counts[f]][e] for f in heads])
            for e, tail in enumerate(self.model.tail_weights)
        ]
        found = self._seen[counts] = (heads, ready, left, {})
        return found

    def ways_to(self, state: State, kind: int, heeds: int) -> list[_Way]:
        """Return what may be paid at a step of a kind, entry by entry, and what is then in force.

        The first way takes what the step calls for. Eased, what includes some of that may be taken
        in its stead, and ahead of it what is heeded behind the step's other answers.
        """
        found = [self.model.move(state, kind)]
        if self.eased:
            needs, energises = self.model.kinds[kind]
            ahead = self._ahead(state, needs, needs | heeds, energises)
            found += [self.model.taking(state, needs | more, energises) for more in ahead]
        return found

    def _ahead(self, state: State, needs: int, of_use: int, energises: bool) -> list[int]:
        """Return the sets of cautions that may be taken though no step calls for them yet.

        That can save something only where a caution includes one that is of use: to take it ahead
        for its own sake costs all that wait what only some would have to pay.
        """
        cautions = self.model.cautions
        useful = [
            n
            for n in bits(self.model.named_in_run & ~needs)
            if cautions.closure[n] & of_use & ~(1 << n)
            and any(not force >> n & 1 for force, _ in state)
            and not (energises and cautions.closure[n] & cautions.lapsing)
        ]
        if len(useful) > MOST_AHEAD:
            self.all_tried = False
            useful = useful[:MOST_AHEAD]
        return [
            cautions.closed(sum(1 << n for n in chosen))
            for size in range(1, len(useful) + 1)
            for chosen in itertools.combinations(useful, size)
        ]

    def _ending(self, state: State) -> float:
        """Return what cautions cost behind the run; eased, some may be taken ahead of it."""
        model = self.model
        least = model.ending(state)
        if self.eased and model.tail_heeds:
            for more in self._ahead(state, 0, model.tail_heeds, energises=False):
                costs, after = self.model.taking(state, more, False)
                waiting = sum(w * c for w, c in zip(model.tail_weights, costs, strict=True))
                least = min(least, waiting + model.ending(after))
        return least

    def _choices(
        self,
        counts: Counts,
        standing: _Standing,
        heads: Sequence[int],
        ready: Sequence[int],
    ) -> Sequence[int]:
        """Return the families that a best order may go on with.

        Of those that cost no caution now and change nothing, the best per minute is next unless
        some steps before it are better per minute together, what has to be paid for them counted.
        Of those that will cost nothing later either, all but the best can wait.
        """
        kin, pair, free, prices = self.kin, self.bound.pair, standing.free, standing.prices
        # What is behind a step's other answers may cost less later.
        steady = [f for f in ready if free[f] and kin[f].steady]
        if not steady:
            return ready
        # The likelier families come first in `kin`, but what is left of them may not.
        top = max(steady, key=lambda f: kin[f].ratios[counts[f]])
        weight, minutes = kin[top].weights[counts[top]], kin[top].minutes[counts[top]]
        # By what has to be paid at least: the most that can be gained by steps before it.
        gain, gains = 0.0, []
        for price, delay in sorted(
            [(prices[g], delay) for g in heads if (delay := pair(counts, top, g))]
        ):
            gain += delay
            gains.append((price, gain))
        if all(gain <= weight * price for price, gain in gains):
            return (top,)
        choices = []
        for f in ready:
            if f != top:
                if free[f] and kin[f].lasting:
                    continue
                place = counts[f]
                loss = max(0.0, kin[f].minutes[place] * weight - kin[f].weights[place] * minutes)
                if all(gain <= loss + weight * max(price, prices[f]) for price, gain in gains):
                    continue
            choices.append(f)
        return choices

    def _of_alike(self, counts: Counts, standing: _Standing, ready: Sequence[int]) -> Iterator[int]:
        """Yield the steps, each on its own, that a best order may go on with.

        Of two that are alike, the likelier per minute comes first, but for one that is quicker: it
        may be worth its place as the one that has a caution taken, now or later.
        """
        may = set(ready)
        for group in self.alike:
            earlier: list[tuple[float, float]] = []
            for f in group:
                if counts[f]:
                    continue
                family = self.kin[f]
                minutes, weight = family.minutes[0], family.weights[0]
                if standing.free[f]:
                    # It takes nothing here: only a quicker one may wait, to take something later.
                    waits = any(m >= minutes for m, _ in earlier)
                else:
                    waits = any(m <= minutes and w >= weight for m, w in earlier)
                if f in may and not (waits and family.steady):
                    yield f
                earlier.append((minutes, weight))


def _steps(chain: _Chain) -> list[int]:
    order = []
    while chain is not None:
        job, chain = chain
        order.append(job)
    return order[::-1]
