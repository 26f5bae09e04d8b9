"""The best order of a run: a dynamic programme over counts per family and what is in force.

All orders are followed side by side, one step a layer. What is compared is the *excess* over the
classical order without cautions: the minutes that cautions take, weighed by the probability of all
that waits for them, and for each step taken early what it makes the likelier ones wait. Every part
of it is at least 0, so that an order whose excess is above that of a complete one can be dropped.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from diagnose.study.in_force import bits
from diagnose.study.order_families import adds_up, families

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.order_families import Family
    from diagnose.study.order_model import Model, State

#: Orders kept in a layer, from a first good order to where a search counts as cut short.
WIDTHS = (40, 400, 4_000, 40_000)
#: Orders kept over all layers and searches, before a wider one is given up.
ROOM = 100_000
#: With more steps, each on its own, a search would be cut short anyway.
ALONE = 24
#: Minutes; an order that is better by less is not better.
LEAST = 1e-9

Counts: TypeAlias = tuple[int, ...]
# The excess so far, what it comes to at least, and the steps so far as a chain of pairs.
_Entry: TypeAlias = tuple[float, float, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Best:
    """The best order of a run's jobs; `exact` where no other can be better."""

    order: tuple[int, ...]
    exact: bool


def best_order(model: Model, widths: Sequence[int] = WIDTHS) -> Best | None:
    """Return the best order under the `after` constraints; None where the cap allows none.

    Where cautions do not add up, each step stands for itself, and no rule but the bound is used;
    with too many steps for that, the families give the best order found.
    """
    if adds_up(model):
        return _Search(model, families(model), sound=True).best(widths)
    if len(model.jobs) <= ALONE:
        return _Search(model, families(model, alone=True), sound=False).best(widths)
    found = _Search(model, families(model), sound=True).best(widths[:2])
    return None if found is None else Best(order=found.order, exact=False)


class _Search:
    """A search over families; `sound` where what rests on the exchange of places may be used."""

    def __init__(self, model: Model, kin: Sequence[Family], *, sound: bool) -> None:
        self.model = model
        self.kin = kin
        self.sound = sound
        self.room = ROOM
        self.entries = range(len(model.tail_weights))
        self.nothing = (0.0,) * len(self.entries)
        # above[f][i][g]: how many of family g are likelier per minute than member i of family f.
        self.above = [
            [[sum(r > ratio for r in other.ratios) for other in kin] for ratio in family.ratios]
            for family in kin
        ]
        named = 0
        for needs in model.named:
            named |= needs
        closure = model.cautions.closure
        # What is not included in another one that is named is only ever taken by itself.
        self.taken_alone = [
            n for n in bits(named) if not any(closure[m] >> n & 1 for m in bits(named) if m != n)
        ]
        self.needing = {
            n: [f for f, family in enumerate(kin) if model.named[family.kind] >> n & 1]
            for n in self.taken_alone
        }
        self._missing: dict[tuple[State, int], float] = {}
        self._waiting: dict[tuple[int, int, Counts], list[float]] = {}

    def best(self, widths: Sequence[int]) -> Best | None:
        """Return the best order; each wider search is bounded by what the one before found."""
        bound = math.inf
        order: list[int] | None = None
        whole = False
        for width in widths:
            found, whole = self._layers(width, bound)
            if found is not None and found[0] < bound:
                order = found[1]
                bound = found[0] + LEAST
            if whole or self.room < 0:
                break
        return None if order is None else Best(order=tuple(order), exact=whole)

    def _layers(self, width: int, bound: float) -> tuple[tuple[float, list[int]] | None, bool]:
        """Return the best order and its excess, and whether no order was dropped for room."""
        layer: dict[Counts, dict[State, _Entry]] = {
            (0,) * len(self.kin): {self.model.start: (0.0, 0.0, None)}
        }
        whole = True
        for _ in self.model.jobs:
            following: dict[Counts, dict[State, _Entry]] = {}
            kept = 0
            for counts, states in layer.items():
                kept += self._step(counts, states, following, bound)
            self.room -= min(kept, width)
            if self.room < 0:
                return None, False
            if kept > width:
                whole = False
                following = _narrowed(following, width)
            layer = following
        ends = [
            (excess + self.model.ending(state), chain)
            for states in layer.values()
            for state, (excess, _, chain) in states.items()
        ]
        excess, chain = min(ends, key=lambda end: end[0], default=(math.inf, None))
        if excess == math.inf:
            return None, whole
        order: list[int] = []
        while isinstance(chain, tuple):
            job, chain = chain
            order.append(job)
        return (excess, order[::-1]), whole

    def _step(
        self,
        counts: Counts,
        states: dict[State, _Entry],
        following: dict[Counts, dict[State, _Entry]],
        bound: float,
    ) -> int:
        """Take every order that did these counts one step on; return how many are new."""
        model, kin, entries = self.model, self.kin, self.entries
        heads = [f for f, family in enumerate(kin) if counts[f] < len(family.jobs)]
        ready = [f for f in heads if all(counts[g] == len(kin[g].jobs) for g in kin[f].before)]
        left = [
            model.tail_weights[e] + sum([kin[f].rest[counts[f]][e] for f in heads]) for e in entries
        ]
        delays = self._all_delays(counts, heads, ready)
        new = 0
        for state, (excess, _, chain) in states.items():
            for f in self._choices(counts, state, heads, ready) if self.sound else ready:
                family = kin[f]
                job = family.jobs[counts[f]]
                costs, after = model.move(state, family.kind)
                total = excess + delays[f]
                for e in entries:
                    total += left[e] * costs[e]
                if model.jobs[job].heeds or model.cap is not None:
                    total += model.behind(job, after)
                if not total <= bound or total == math.inf:
                    continue
                done = (*counts[:f], counts[f] + 1, *counts[f + 1 :])
                at_least = total + (self._to_come(done, after) if self.sound else 0.0)
                if at_least > bound:
                    continue
                there = following.setdefault(done, {})
                known = there.get(after)
                new += known is None
                if known is None or total < known[0]:
                    there[after] = (total, at_least, (job, chain))
        return new

    def _all_delays(
        self, counts: Counts, heads: Sequence[int], ready: Sequence[int]
    ) -> dict[int, float]:
        """Return what the next of each family makes all that is likelier wait."""
        if self.sound:
            return {f: sum([delay for _, delay in self._delays(counts, f, heads)]) for f in ready}
        # Families of one, the likeliest per minute first: one sweep finds them all.
        found = {}
        waiting = time = 0.0
        for f in heads:
            minutes, weight = self.kin[f].minutes[0], self.kin[f].weights[0]
            found[f] = minutes * waiting - weight * time
            waiting += weight
            time += minutes
        return found

    def _delays(self, counts: Counts, f: int, heads: Sequence[int]) -> list[tuple[int, float]]:
        """Return what the next of family f makes the likelier of each other family wait."""
        family, place = self.kin[f], counts[f]
        minutes, weight, above = family.minutes[place], family.weights[place], self.above[f][place]
        found = []
        for g in heads:
            done, likelier = counts[g], above[g]
            if likelier > done:
                other = self.kin[g]
                waiting = other.until[likelier] - other.until[done]
                time = other.sum_minutes[likelier] - other.sum_minutes[done]
                found.append((g, minutes * waiting - weight * time))
        return found

    def _choices(
        self,
        counts: Counts,
        state: State,
        heads: Sequence[int],
        ready: Sequence[int],
    ) -> Sequence[int]:
        """Return the families that a best order may go on with.

        Of those that cost no caution now and change nothing, the best per minute is next if
        nothing better per minute can be had, what it has to pay first counted. If it is not, those
        that will cost nothing later either can wait, all but the best of them.
        """
        kin, model = self.kin, self.model
        free = [f for f in ready if model.move(state, kin[f].kind) == (self.nothing, state)]
        if not free:
            return ready
        # The likelier families come first in `kin`, but what is left of them may not.
        free.sort(key=lambda f: -kin[f].ratios[counts[f]])
        top = free[0]
        delays = self._delays(counts, top, heads)
        if not delays:
            return (top,)
        if kin[top].steady:
            weight = kin[top].weights[counts[top]]
            gain = 0.0
            for price, delay in sorted(
                [(self._price(state, kin[g].kind), delay) for g, delay in delays]
            ):
                gain += delay
                if gain > weight * price:
                    break
            else:
                return (top,)
        best = next((f for f in free if kin[f].steady), None)
        return [f for f in ready if f == best or f not in free or not kin[f].lasting]

    def _price(self, state: State, kind: int) -> float:
        """Return what has to be paid at least before a step of this kind, in any entry."""
        found = self._missing.get((state, kind))
        if found is None:
            minutes, needs = self.model.cautions.minutes, self.model.named[kind]
            found = min(sum([minutes[n] for n in bits(needs & ~force)]) for force, _ in state)
            self._missing[state, kind] = found
        return found

    def _to_come(self, counts: Counts, state: State) -> float:
        """Return an excess that is still to come at least.

        A caution that is missing will be taken before the first of those that need it. All of
        them wait for it, and of each other family those that do not come before; and each that
        comes before makes the likelier of those that need it wait. Pairs of families add up.
        """
        kin, model = self.kin, self.model
        total = 0.0
        for n in self.taken_alone:
            needing = [f for f in self.needing[n] if counts[f] < len(kin[f].jobs)]
            if not needing or any(force >> n & 1 for force, _ in state):
                continue
            minutes = model.cautions.minutes[n]
            total += minutes * sum(model.tail_weights)
            inside = tuple([counts[f] for f in self.needing[n]])
            for f, family in enumerate(kin):
                if counts[f] == len(family.jobs):
                    continue
                if f in needing:
                    total += minutes * (family.until[-1] - family.until[counts[f]])
                    continue
                waits = self._waiting.get((n, f, inside))
                if waits is None:
                    waits = self._waiting[n, f, inside] = self._waits(n, f, counts, needing)
                total += waits[counts[f]]
        return total

    def _waits(self, n: int, f: int, counts: Counts, needing: Sequence[int]) -> list[float]:
        """Return, for each number of family f done, the least that caution n will cost the rest."""
        family, minutes = self.kin[f], self.model.cautions.minutes[n]
        least = [0.0] * (len(family.jobs) + 1)
        for done in range(len(family.jobs) - 1, -1, -1):
            at = (*counts[:f], done, *counts[f + 1 :])
            early = sum([delay for _, delay in self._delays(at, f, needing)])
            all_wait = minutes * (family.until[-1] - family.until[done])
            least[done] = min(all_wait, early + least[done + 1])
        return least


def _narrowed(
    layer: dict[Counts, dict[State, _Entry]], width: int
) -> dict[Counts, dict[State, _Entry]]:
    """Return the best of a layer."""
    flat = [
        (entry[1], counts, state) for counts, each in layer.items() for state, entry in each.items()
    ]
    flat.sort(key=lambda item: item[0])
    kept: dict[Counts, dict[State, _Entry]] = {}
    for _, counts, state in flat[:width]:
        kept.setdefault(counts, {})[state] = layer[counts][state]
    return kept
