"""The one move that helps most: one step of a run to another place in it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.study.order_model import Model, State

#: Longer runs are not tried move by move.
LONGEST = 300
#: Longer runs are left as they were found.
LONGEST_SETTLED = 40
#: Minutes; what comes of adding in another order.
_ROUNDING = 1e-12


def best_move(model: Model, order: Sequence[int] | None = None) -> tuple[float, list[int]] | None:
    """Return the least cost that one move leads to, and the order; None where none is allowed.

    Moves start from the present order of the run, or from another one that is allowed.
    """
    start = list(range(len(model.jobs)) if order is None else order)
    if len(start) > LONGEST:
        return None
    cost, place, new = min(_Moves(model, start).all(), default=(math.inf, 0, 0))
    if cost == math.inf:
        return None
    job = start.pop(place)
    return cost, [*start[:new], job, *start[new:]]


def settled(model: Model, order: Sequence[int]) -> list[int]:
    """Return the order brought nearer to the present one by moves that cost nothing.

    Nobody should have to learn a new order where the old one is as good.
    """
    order = list(order)
    if len(order) > LONGEST_SETTLED:
        return order
    most = model.cost(order) + _ROUNDING
    while True:
        nearer = min(
            (
                (gain, place, new)
                for cost, place, new in _Moves(model, order).all()
                if cost <= most and (gain := _farther(order, place, new)) < 0
            ),
            default=None,
        )
        if nearer is None:
            return order
        job = order.pop(nearer[1])
        order.insert(nearer[2], job)


def _farther(order: Sequence[int], place: int, new: int) -> int:
    """Return how many more pairs stand the other way round than at present after a move."""
    job = order[place]
    if new > place:
        return sum(1 if other > job else -1 for other in order[place + 1 : new + 1])
    return sum(1 if other < job else -1 for other in order[new:place])


class _Moves:
    """All moves from one order. What follows the last place that changes is shared."""

    def __init__(self, model: Model, order: Sequence[int]) -> None:
        self.model = model
        self.order = order
        self.count = len(order)
        # left[k]: the probability that waits before the job in place k.
        self.left = [model.weights(order[k:]) for k in range(self.count + 1)]
        self._suffixes: dict[tuple[int, State, int], float] = {}

    def all(self) -> Iterator[tuple[float, int, int]]:
        """Yield (cost, place, new place) of every allowed move."""
        before = self.model.run.before
        spent, states = [0.0], [self.model.start]
        for place in range(self.count):
            cost, state = self._do(place, states[-1], self.left[place])
            spent.append(spent[-1] + cost)
            states.append(state)
        for place, job in enumerate(self.order):
            weights = self.model.jobs[job].weights
            cost, state = spent[place], states[place]
            for new in range(place + 1, self.count):
                if before[self.order[new]] >> job & 1:
                    break
                more, state = self._do(new, state, _with(self.left[new], weights))
                cost += more
                last, after = self._do(place, state, _with(self.left[new + 1], weights))
                yield cost + last + self._suffix(new + 1, after, -1), place, new
            for new in range(place - 1, -1, -1):
                if before[job] >> self.order[new] & 1:
                    break
                cost, state = self._do(place, states[new], self.left[new])
                yield spent[new] + cost + self._suffix(new, state, place), place, new

    def _do(self, place: int, state: State, waiting: Sequence[float]) -> tuple[float, State]:
        """Return what the job of a place costs in a state while this waits, and what is then."""
        job = self.order[place]
        minutes = self.model.jobs[job].minutes
        costs, after = self.model.move(state, self.model.jobs[job].kind)
        total = sum(w * (minutes + cost) for w, cost in zip(waiting, costs, strict=True))
        return total + self.model.behind(job, after), after

    def _suffix(self, place: int, state: State, without: int) -> float:
        """Return what the order costs from a place on, without the job of one place."""
        if place == self.count:
            return self.model.ending(state)
        key = (place, state, without)
        found = self._suffixes.get(key)
        if found is None:
            if place == without:
                found = self._suffix(place + 1, state, -1)
            else:
                waiting = self.left[place]
                if without >= 0:
                    weights = self.model.jobs[self.order[without]].weights
                    waiting = _with(waiting, weights, -1)
                cost, after = self._do(place, state, waiting)
                found = cost + self._suffix(place + 1, after, without)
            self._suffixes[key] = found
        return found


def _with(waiting: Sequence[float], weights: Sequence[float], sign: int = 1) -> list[float]:
    return [w + sign * more for w, more in zip(waiting, weights, strict=True)]
