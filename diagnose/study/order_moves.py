"""The one move that helps most: one step of a run to another place in it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.study.order_model import Model, State

#: Longer runs are not tried move by move.
LONGEST = 300


def best_move(model: Model) -> tuple[float, list[int]] | None:
    """Return the least cost that one move leads to, and the order; None where none is allowed."""
    count = len(model.jobs)
    if count > LONGEST:
        return None
    found = min(_Moves(model).all(), default=(math.inf, 0, 0))
    if found[0] == math.inf:
        return None
    cost, job, place = found
    order = [number for number in range(count) if number != job]
    return cost, [*order[:place], job, *order[place:]]


class _Moves:
    """All moves from the present order. What follows the last place that changes is shared."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.count = len(model.jobs)
        # left[k]: the probability that waits before the job in place k of the present order.
        self.left = [model.weights(range(k, self.count)) for k in range(self.count + 1)]
        self._suffixes: dict[tuple[int, State, int], float] = {}

    def all(self) -> Iterator[tuple[float, int, int]]:
        """Yield (cost, job, new place) of every allowed move."""
        before = self.model.run.before
        spent, states = [0.0], [self.model.start]
        for job in range(self.count):
            cost, state = self._do(job, states[-1], self.left[job])
            spent.append(spent[-1] + cost)
            states.append(state)
        for job in range(self.count):
            weights = self.model.jobs[job].weights
            cost, state = spent[job], states[job]
            for other in range(job + 1, self.count):
                if before[other] >> job & 1:
                    break
                waiting = _with(self.left[other], weights)
                more, state = self._do(other, state, waiting)
                cost += more
                last, after = self._do(job, state, _with(self.left[other + 1], weights))
                yield cost + last + self._suffix(other + 1, after, -1), job, other
            for place in range(job - 1, -1, -1):
                if before[job] >> place & 1:
                    break
                cost, state = self._do(job, states[place], self.left[place])
                yield spent[place] + cost + self._suffix(place, state, job), job, place

    def _do(self, job: int, state: State, waiting: Sequence[float]) -> tuple[float, State]:
        """Return what a job costs in a state while this probability waits, and what is then."""
        minutes = self.model.jobs[job].minutes
        costs, after = self.model.move(state, self.model.jobs[job].kind)
        total = sum(w * (minutes + cost) for w, cost in zip(waiting, costs, strict=True))
        return total + self.model.behind(job, after), after

    def _suffix(self, place: int, state: State, without: int) -> float:
        """Return what the present order costs from a place on, without one job."""
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
                    waiting = _with(waiting, self.model.jobs[without].weights, -1)
                cost, after = self._do(place, state, waiting)
                found = cost + self._suffix(place + 1, after, without)
            self._suffixes[key] = found
        return found


def _with(waiting: Sequence[float], weights: Sequence[float], sign: int = 1) -> list[float]:
    return [w + sign * more for w, more in zip(waiting, weights, strict=True)]
