"""The excess of an order over the classical one without cautions: what it is, what it is at least.

The excess is the minutes that cautions take, weighed by the probability of all that waits for them,
and for each step taken early what it makes the likelier ones wait. Every part of it is at least 0.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_left
from typing import TYPE_CHECKING, TypeAlias

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.order_families import Family
    from diagnose.study.order_model import Model, State

Counts: TypeAlias = tuple[int, ...]
#: By members done of one family and of another: what is to come where the caution is missing, and
#: where it is in force.
_Table: TypeAlias = list[list[tuple[float, float]]]

#: Tables over two families are made up to so many entries.
LARGEST_TABLE = 20_000


class Bound:
    """What is known of the excess by counts: how many members of each family are done."""

    def __init__(self, model: Model, kin: Sequence[Family]) -> None:
        self.kin = kin
        # above[f][i][g]: how many of family g are likelier per minute than member i of family f.
        rising = [[-ratio for ratio in family.ratios] for family in kin]
        self.above = [
            [[bisect_left(other, -ratio) for other in rising] for ratio in family.ratios]
            for family in kin
        ]
        self._rows: list[list[list[array[float]]]] = [[[] for _ in family.jobs] for family in kin]
        named, closure = model.named_in_run, model.cautions.closure
        claimed: set[tuple[int, int]] = set()
        # What is included in another one that is named may be had with that one, for nothing.
        self._parts = [
            _Part(self, model, n, claimed)
            for n in bits(named)
            if not any(closure[m] >> n & 1 for m in bits(named) if m != n)
        ]

    def delay(self, counts: Counts, f: int) -> float:
        """Return what the next of family f makes all that is likelier per minute wait."""
        rows = self._rows[f][counts[f]] or self._made(f, counts[f])
        return sum([row[done] for row, done in zip(rows, counts, strict=True) if done < len(row)])

    def pair(self, counts: Sequence[int], f: int, g: int) -> float:
        """Return what the next of family f makes the likelier ones of family g wait."""
        rows = self._rows[f][counts[f]] or self._made(f, counts[f])
        return rows[g][counts[g]] if counts[g] < len(rows[g]) else 0.0

    def _made(self, f: int, place: int) -> list[array[float]]:
        """Return what a member of f makes each family wait, by how many of that one are done."""
        minutes, weight = self.kin[f].minutes[place], self.kin[f].weights[place]
        rows = self._rows[f][place]
        for other, last in zip(self.kin, self.above[f][place], strict=True):
            until, time = other.until, other.sum_minutes
            delays = [
                minutes * (until[last] - until[done]) - weight * (time[last] - time[done])
                for done in range(last)
            ]
            rows.append(array("d", delays))
        return rows

    def at_least(self, counts: Counts, state: State) -> float:
        """Return an excess that is still to come at least, whatever the rest of the order."""
        total = 0.0
        for part in self._parts:
            total += part.at_least(counts, state)
        return total


class _Part:
    """What one caution and the steps that need it add to the bound.

    While it is missing it will be taken before the first of those that need it. All of them wait
    for it, and of each other family those that do not come before; and each that comes before makes
    the likelier of those that need it wait. A family that runs the machine has a caution that
    lapses taken again: for it and one that needs the caution, all ways to mix the two are tried.

    Parts add up: `claimed` are the pairs (who is early, who is likelier and waits) that some part
    has counted.
    """

    def __init__(
        self, bound: Bound, model: Model, caution: int, claimed: set[tuple[int, int]]
    ) -> None:
        self.bound = bound
        self.kin = bound.kin
        self.caution = caution
        self.minutes = model.cautions.minutes[caution]
        self.tail = sum(model.tail_weights)
        families = range(len(self.kin))
        self.needing = [f for f in families if model.named[self.kin[f].kind] >> caution & 1]
        self.tables: list[tuple[int, int, _Table]] = []
        if model.cautions.lapsing >> caution & 1:
            running = [
                f
                for f in families
                if model.kinds[self.kin[f].kind][1] and f not in set(self.needing)
            ]
            for f, e in zip(self._largest(self.needing), self._largest(running), strict=False):
                small = len(self.kin[f].jobs) * len(self.kin[e].jobs) <= LARGEST_TABLE
                if small and not claimed & {(f, e), (e, f)}:
                    claimed |= {(f, e), (e, f)}
                    tail = 0.0 if self.tables else self.tail
                    self.tables.append((f, e, self._table(f, e, tail)))
        counted = {f for pair in self.tables for f in pair[:2]}
        self.waiting = [f for f in self.needing if f not in counted]
        self.against: dict[int, list[int]] = {}
        for f in families:
            if f not in counted and f not in self.needing:
                self.against[f] = [g for g in self.needing if (f, g) not in claimed]
                claimed |= {(f, g) for g in self.against[f]}
        self._in_force: dict[State, bool] = {}
        self._once: dict[Counts, tuple[float, list[tuple[int, list[float]]]]] = {}

    def at_least(self, counts: Counts, state: State) -> float:
        total = 0.0
        in_force = self._in_force.get(state)
        if in_force is None:
            in_force = any(force >> self.caution & 1 for force, _ in state)
            self._in_force[state] = in_force
        for f, e, table in self.tables:
            total += table[counts[f]][counts[e]][in_force]
        if in_force:
            return total
        inside = tuple([counts[f] for f in self.needing])
        once = self._once.get(inside)
        if once is None:
            once = self._once[inside] = self._first_time(counts)
        total += once[0]
        for f, known in once[1]:
            total += known[counts[f]]
        return total

    def _first_time(self, counts: Counts) -> tuple[float, list[tuple[int, list[float]]]]:
        """Return what is paid in any case when the caution is taken next, and by each family."""
        kin = self.kin
        if all(counts[f] == len(kin[f].jobs) for f in self.needing):
            return 0.0, []
        paid = 0.0
        if not self.tables or counts[self.tables[0][0]] == len(kin[self.tables[0][0]].jobs):
            paid += self.minutes * self.tail
        for f in self.waiting:
            paid += self.minutes * (kin[f].until[-1] - kin[f].until[counts[f]])
        return paid, [
            (f, self._early_or_waiting(f, counts, others)) for f, others in self.against.items()
        ]

    def _largest(self, families: Sequence[int]) -> list[int]:
        return sorted(families, key=lambda f: -len(self.kin[f].jobs))

    def _early_or_waiting(self, f: int, counts: Counts, others: Sequence[int]) -> list[float]:
        """Return, for each number of family f done, the least that the caution costs the rest."""
        family = self.kin[f]
        least = [0.0] * (len(family.jobs) + 1)
        for done in range(len(family.jobs) - 1, -1, -1):
            at = (*counts[:f], done, *counts[f + 1 :])
            early = sum([self.bound.pair(at, f, g) for g in others])
            all_wait = self.minutes * (family.until[-1] - family.until[done])
            least[done] = min(all_wait, early + least[done + 1])
        return least

    def _table(self, f: int, e: int, tail: float) -> _Table:
        """Return the least that a family under the caution and a running one cost each other."""
        kept, running = self.kin[f], self.kin[e]
        counts = [0] * len(self.kin)
        rows: _Table = []
        for i in range(len(kept.jobs), -1, -1):
            row: list[tuple[float, float]] = []
            for k in range(len(running.jobs), -1, -1):
                counts[f], counts[e] = i, k
                missing = in_force = 0.0
                if i < len(kept.jobs):
                    both = kept.until[-1] - kept.until[i] + running.until[-1] - running.until[k]
                    early = self.bound.pair(counts, f, e)
                    # The rows come from the last: the one before is what follows one more done.
                    in_force = early + rows[-1][len(running.jobs) - k][1]
                    missing = in_force + self.minutes * (both + tail)
                    if k < len(running.jobs):
                        lapsed = self.bound.pair(counts, e, f) + row[-1][0]
                        missing, in_force = min(missing, lapsed), min(in_force, lapsed)
                row.append((missing, in_force))
            rows.append(row)
        return [row[::-1] for row in rows[::-1]]


def classical(model: Model) -> float:
    """Return what the classical order costs where no caution takes a minute."""
    left = math.fsum(job.weight for job in model.jobs) + math.fsum(model.tail_weights)
    total = 0.0
    for job in sorted(model.jobs, key=lambda job: -job.ratio):
        total += left * job.minutes
        left -= job.weight
    return total
