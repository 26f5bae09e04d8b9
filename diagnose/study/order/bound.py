"""The excess of an order, and a lower bound on it.

An order costs what `smith_cost` says, the best order were there no cautions, plus its *excess*:

- the minutes of each caution that is taken, times the weight that waits for it;
- for each pair of jobs i before j with w(j) / p(j) > w(i) / p(i), the *delay*
  p(i) · w(j) - w(i) · p(j), by which j waits for i more than i gains;
- what cautions cost in the jobs' branches and behind the run.

Every part is at least 0, so a bound may take any of them and leave the rest.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_left
from typing import TYPE_CHECKING, TypeAlias

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.order.families import Family
    from diagnose.study.order.model import RunModel, State

#: How many members of each family are done; families are named by their number in a list.
Counts: TypeAlias = tuple[int, ...]
#: table[i][k]: the least excess to come with i members of one family and k of another done, where
#: the caution is missing, and where it is in force.
_Table: TypeAlias = list[list[tuple[float, float]]]

#: The largest number of entries of a table over two families.
LARGEST_TABLE = 20_000


class LowerBound:
    """The delay of one more member, and the least excess that is to come, by counts."""

    def __init__(self, model: RunModel, families: Sequence[Family]) -> None:
        self.families = families
        # ahead[f][i][g]: how many of family g have a larger w / p than member i of family f.
        rising = [[-ratio for ratio in family.ratios] for family in families]
        self._ahead = [
            [[bisect_left(other, -ratio) for other in rising] for ratio in family.ratios]
            for family in families
        ]
        # rows[f][i][g][k]: the delay of family g by member i of family f, with k of g done.
        self._rows: list[list[list[array[float]]]] = [
            [[] for _ in family.jobs] for family in families
        ]
        named, closure = model.named_in_run, model.cautions.closure
        claimed: set[tuple[int, int]] = set()
        # What another named caution includes comes with that one, for nothing.
        self._parts = [
            _CautionBound(self, model, n, claimed)
            for n in bits(named)
            if not any(closure[m] >> n & 1 for m in bits(named) if m != n)
        ]

    def delay(self, counts: Counts, f: int) -> float:
        """Return by how much the next member of family f delays all that have a larger w / p."""
        rows = self._rows[f][counts[f]] or self._made(f, counts[f])
        return sum([row[done] for row, done in zip(rows, counts, strict=True) if done < len(row)])

    def delay_of(self, counts: Sequence[int], f: int, g: int) -> float:
        """Return by how much the next member of family f delays those of family g."""
        row = (self._rows[f][counts[f]] or self._made(f, counts[f]))[g]
        return row[counts[g]] if counts[g] < len(row) else 0.0

    def _made(self, f: int, member: int) -> list[array[float]]:
        minutes, weight = self.families[f].minutes[member], self.families[f].weights[member]
        rows = self._rows[f][member]
        for other, last in zip(self.families, self._ahead[f][member], strict=True):
            weights, times = other.weight_until, other.minutes_until
            delays = [
                minutes * (weights[last] - weights[done]) - weight * (times[last] - times[done])
                for done in range(last)
            ]
            rows.append(array("d", delays))
        return rows

    def to_come(self, counts: Counts, state: State) -> float:
        """Return a lower bound on the excess of all jobs that are left, whatever their order."""
        total = 0.0
        for part in self._parts:
            total += part.to_come(counts, state)
        return total


class _CautionBound:
    """The least that one caution costs: its own minutes, and delays of jobs that avoid it.

    While it is missing it will be taken before the first job that needs it. Every such job waits
    for its minutes, and so does each job of another family, unless it is done before and delays
    the likelier ones of those that need the caution. A family that runs the machine makes a caution
    that lapses missing again: with one that needs it, all interleavings of the two are tabulated.

    The bounds of several cautions may be added up because no two take the same part of the excess:
    a caution's own minutes are its own, and `claimed` holds the pairs of families (early, delayed)
    whose delays some caution has taken already.
    """

    def __init__(
        self, bound: LowerBound, model: RunModel, caution: int, claimed: set[tuple[int, int]]
    ) -> None:
        self.bound = bound
        self.families = bound.families
        self.caution = caution
        self.minutes = model.cautions.minutes[caution]
        self.tail = sum(model.tail_weights)
        self.needing, others = self._split([model.named[f.kind] for f in self.families])
        self.tables: list[tuple[int, int, _Table]] = []
        if model.cautions.lapsing >> caution & 1:
            self._tabulate([f for f in others if model.kinds[self.families[f].kind][1]], claimed)
        tabulated = {f for pair in self.tables for f in pair[:2]}
        self.waiting = [f for f in self.needing if f not in tabulated]
        # By family outside: those that need the caution and that it may delay.
        self.delayed = {
            f: [g for g in self.needing if (f, g) not in claimed]
            for f in others
            if f not in tabulated
        }
        claimed |= {(f, g) for f, delayed in self.delayed.items() for g in delayed}
        self._in_force: dict[State, bool] = {}
        self._next: dict[Counts, tuple[float, list[tuple[int, list[float]]]]] = {}

    def _split(self, named: Sequence[int]) -> tuple[list[int], list[int]]:
        """Return the families that need the caution, and the others."""
        needing = [f for f, cautions in enumerate(named) if cautions >> self.caution & 1]
        return needing, [f for f in range(len(named)) if f not in set(needing)]

    def _tabulate(self, running: Sequence[int], claimed: set[tuple[int, int]]) -> None:
        """Tabulate pairs of families, the largest with the largest, each family at most once."""
        size = [len(family.jobs) for family in self.families]
        largest = (sorted(some, key=lambda f: -size[f]) for some in (self.needing, running))
        for f, e in zip(*largest, strict=False):
            pairs = {(f, e), (e, f)}
            if size[f] * size[e] <= LARGEST_TABLE and not claimed & pairs:
                claimed |= pairs
                # What follows the run waits as well; it is counted once.
                tail = 0.0 if self.tables else self.tail
                self.tables.append((f, e, self._table(f, e, tail)))

    def to_come(self, counts: Counts, state: State) -> float:
        """Return the least excess that this caution still brings."""
        total = 0.0
        in_force = self._in_force.get(state)
        if in_force is None:
            in_force = self._in_force[state] = any(force >> self.caution & 1 for force, _ in state)
        for f, e, table in self.tables:
            total += table[counts[f]][counts[e]][in_force]
        if in_force:
            return total
        inside = tuple([counts[f] for f in self.needing])
        found = self._next.get(inside)
        if found is None:
            found = self._next[inside] = self._when_taken_next(counts)
        total += found[0]
        for f, least in found[1]:
            total += least[counts[f]]
        return total

    def _when_taken_next(self, counts: Counts) -> tuple[float, list[tuple[int, list[float]]]]:
        """Return what the next taking costs those that need it, and at least the other families.

        The latter by family, as a list over how many of its members are done.
        """
        families = self.families
        if all(counts[f] == len(families[f].jobs) for f in self.needing):
            return 0.0, []
        paid = 0.0
        if not self.tables or counts[self.tables[0][0]] == len(families[self.tables[0][0]].jobs):
            paid += self.minutes * self.tail
        for f in self.waiting:
            paid += self.minutes * (
                families[f].weight_until[-1] - families[f].weight_until[counts[f]]
            )
        return paid, [(f, self._early_or_late(f, counts, g)) for f, g in self.delayed.items()]

    def _early_or_late(self, f: int, counts: Counts, delayed: Sequence[int]) -> list[float]:
        """Return the least that family f costs: members done early delay, the others wait."""
        family = self.families[f]
        least = [0.0] * (len(family.jobs) + 1)
        for done in range(len(family.jobs) - 1, -1, -1):
            at = (*counts[:f], done, *counts[f + 1 :])
            early = sum([self.bound.delay_of(at, f, g) for g in delayed])
            all_wait = self.minutes * (family.weight_until[-1] - family.weight_until[done])
            least[done] = min(all_wait, early + least[done + 1])
        return least

    def _table(self, f: int, e: int, tail: float) -> _Table:
        """Return the least excess of all interleavings of a needing family f and a running one e.

        Dynamic programming from the end, where both are done.
        """
        needing, running = self.families[f], self.families[e]
        counts = [0] * len(self.families)
        rows: _Table = []
        for i in range(len(needing.jobs), -1, -1):
            row: list[tuple[float, float]] = []
            for k in range(len(running.jobs), -1, -1):
                counts[f], counts[e] = i, k
                missing = in_force = 0.0
                if i < len(needing.jobs):
                    waiting = needing.weight_until[-1] - needing.weight_until[i] + tail
                    waiting += running.weight_until[-1] - running.weight_until[k]
                    # Rows are made from the last: rows[-1] is that of i + 1, row[-1] of k + 1.
                    early = self.bound.delay_of(counts, f, e)
                    in_force = early + rows[-1][len(running.jobs) - k][1]
                    missing = in_force + self.minutes * waiting
                    if k < len(running.jobs):
                        lapsed = self.bound.delay_of(counts, e, f) + row[-1][0]
                        missing, in_force = min(missing, lapsed), min(in_force, lapsed)
                row.append((missing, in_force))
            rows.append(row)
        return [row[::-1] for row in rows[::-1]]


def smith_cost(model: RunModel) -> float:
    """Return what the order by w / p, descending, costs where no caution takes a minute."""
    left = math.fsum(job.weight for job in model.jobs) + math.fsum(model.tail_weights)
    total = 0.0
    for job in sorted(model.jobs, key=lambda job: -job.ratio):
        total += left * job.minutes
        left -= job.weight
    return total
