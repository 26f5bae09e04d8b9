"""Single moves, one job of a run to another place in it: the best one, and what many lead to."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from diagnose.study.order.model import TOLERANCE

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.study.order.model import RunModel, State

#: Longer runs are not tried move by move.
LONGEST = 300
#: Longer runs are left as they were found.
LONGEST_SETTLED = 40
#: Moves that an order is given to get better, where it may not be the best.
MOST_MOVES = 5
#: Minutes; what comes of adding in another order.
_ROUNDING = 1e-12


def best_move(
    model: RunModel, order: Sequence[int] | None = None
) -> tuple[float, list[int]] | None:
    """Return the least cost that one move leads to, and the order; None where none is allowed.

    Moves start from the present order of the run, or from another one that is allowed.
    """
    start = list(range(len(model.jobs)) if order is None else order)
    if len(start) > LONGEST:
        return None
    cost, place, new = min(_Moves(model, start).all(), default=(math.inf, 0, 0))
    return None if cost == math.inf else (cost, _moved(start, place, new))


def improved(model: RunModel, order: Sequence[int]) -> list[int]:
    """Return the order after up to `MOST_MOVES` best moves, as long as one saves something."""
    order = list(order)
    for _ in range(MOST_MOVES):
        found = best_move(model, order)
        if found is None or found[0] > model.cost(order) - TOLERANCE:
            break
        order = found[1]
    return order


def settled(model: RunModel, order: Sequence[int]) -> list[int]:
    """Return the order brought nearer to the present one by moves that cost nothing.

    Nobody should have to learn a new order where the old one is as good.
    """
    order = list(order)
    if len(order) > LONGEST_SETTLED:
        return order
    most = model.cost(order) + _ROUNDING
    while True:
        nearer = [
            (gain, place, new)
            for cost, place, new in _Moves(model, order).all()
            if cost <= most and (gain := _farther(order, place, new)) < 0
        ]
        if not nearer:
            return order
        _, place, new = min(nearer)
        order = _moved(order, place, new)


def _moved(order: Sequence[int], place: int, new: int) -> list[int]:
    rest = [*order[:place], *order[place + 1 :]]
    return [*rest[:new], order[place], *rest[new:]]


def _farther(order: Sequence[int], place: int, new: int) -> int:
    """Return how many more pairs stand the other way round than at present after a move."""
    job = order[place]
    if new > place:
        return sum(1 if other > job else -1 for other in order[place + 1 : new + 1])
    return sum(1 if other < job else -1 for other in order[new:place])


class _Moves:
    """All moves from one order. What follows the last place that changes is worked out once."""

    def __init__(self, model: RunModel, order: Sequence[int]) -> None:
        self.model = model
        self.order = order
        self.count = len(order)
        # waiting[k]: the probability that waits before the job in place k, by entry.
        self.waiting = [model.waiting(order[k:]) for k in range(self.count + 1)]
        self._suffixes: dict[tuple[int, State, int | None], float] = {}

    def all(self) -> Iterator[tuple[float, int, int]]:
        """Yield (cost, place, new place) of every allowed move."""
        before = self.model.run.before
        spent, states = [0.0], [self.model.start]
        for place in range(self.count):
            cost, state = self._do(place, states[-1], self.waiting[place])
            spent.append(spent[-1] + cost)
            states.append(state)
        for place, job in enumerate(self.order):
            weights = self.model.jobs[job].weights
            cost, state = spent[place], states[place]
            for new in range(place + 1, self.count):
                if before[self.order[new]] >> job & 1:
                    break
                more, state = self._do(new, state, _sum(self.waiting[new], weights))
                cost += more
                last, after = self._do(place, state, _sum(self.waiting[new + 1], weights))
                yield cost + last + self._suffix(new + 1, after, None), place, new
            for new in range(place - 1, -1, -1):
                if before[job] >> self.order[new] & 1:
                    break
                cost, state = self._do(place, states[new], self.waiting[new])
                yield spent[new] + cost + self._suffix(new, state, place), place, new

    def _do(self, place: int, state: State, waiting: Sequence[float]) -> tuple[float, State]:
        """Return what the job of a place costs while this probability waits, and the state then."""
        job = self.order[place]
        minutes = self.model.jobs[job].minutes
        setups, after = self.model.setup(state, self.model.jobs[job].kind)
        total = sum(w * (minutes + setup) for w, setup in zip(waiting, setups, strict=True))
        return total + self.model.branch_cost(job, after), after

    def _suffix(self, place: int, state: State, without: int | None) -> float:
        """Return what the order costs from a place on, without the job of one place, if any."""
        if place == self.count:
            return self.model.tail_cost(state)
        if place == without:
            return self._suffix(place + 1, state, None)
        key = (place, state, without)
        found = self._suffixes.get(key)
        if found is None:
            waiting = self.waiting[place]
            if without is not None:
                waiting = _sum(waiting, self.model.jobs[self.order[without]].weights, -1)
            cost, after = self._do(place, state, waiting)
            found = self._suffixes[key] = cost + self._suffix(place + 1, after, without)
        return found


def _sum(waiting: Sequence[float], weights: Sequence[float], sign: int = 1) -> list[float]:
    return [w + sign * more for w, more in zip(waiting, weights, strict=True)]
