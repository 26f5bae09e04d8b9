"""What may be taken at a job: what it calls for, or, in the relaxation, more and earlier."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.order.families import Family
    from diagnose.study.order.model import RunModel, Setup, State

#: At one job so many cautions may be taken early; all sets of them are tried.
MOST_EARLY = 4


class Setups:
    """The ways to have the cautions of a job in force, for a run or its relaxation.

    `relaxed`: a caution may be taken at any time, not only when a job calls for it. `complete`
    turns False where some sets of cautions were left out, so that a search over the rest proves
    nothing.
    """

    def __init__(self, model: RunModel, *, relaxed: bool) -> None:
        self.model = model
        self.relaxed = relaxed
        self.complete = True

    def options(self, state: State, kind: int, branch_cautions: int) -> list[Setup]:
        """Return what may be paid at a job of a kind, what the job itself calls for first.

        Relaxed, a caution that includes some of that may be taken in its stead, and so may what
        saves minutes in the job's branches.
        """
        found = [self.model.setup(state, kind)]
        if self.relaxed:
            needs, energises = self.model.kinds[kind]
            for more in self._early(state, needs, needs | branch_cautions, energises):
                found.append(self.model.setup_for(state, needs | more, energises))
        return found

    def tail_cost(self, state: State) -> float:
        """Return what cautions cost behind the run; relaxed, some may be taken ahead of it."""
        model = self.model
        least = model.tail_cost(state)
        if self.relaxed and model.tail_cautions:
            for more in self._early(state, 0, model.tail_cautions, energises=False):
                costs, after = model.setup_for(state, more, False)
                waiting = sum(w * c for w, c in zip(model.tail_weights, costs, strict=True))
                least = min(least, waiting + model.tail_cost(after))
        return least

    def _early(self, state: State, needs: int, of_use: int, energises: bool) -> list[int]:
        """Return the sets of cautions, as bits, that may be worth taking before they are called.

        Only those that include one that is of use here: to take another one early costs all that
        wait what only some of them would have to pay later.
        """
        cautions = self.model.cautions
        useful = [
            n
            for n in bits(self.model.named_in_run & ~needs)
            if cautions.closure[n] & of_use & ~(1 << n)
            and any(not force >> n & 1 for force, _ in state)
            and not (energises and cautions.closure[n] & cautions.lapsing)
        ]
        self.complete = self.complete and len(useful) <= MOST_EARLY
        useful = useful[:MOST_EARLY]
        return [
            cautions.closed(sum(1 << n for n in chosen))
            for size in range(1, len(useful) + 1)
            for chosen in itertools.combinations(useful, size)
        ]


class StateSetups:
    """The set-ups of one state, worked out once.

    `free[f]`: whether a job of family f calls for no caution and changes nothing; `price[f]`: the
    minutes that have to be paid for it at least, by it or before it, whichever the entry.
    """

    __slots__ = ("_options", "_setups", "_state", "free", "price")

    def __init__(self, setups: Setups, state: State, families: Sequence[Family]) -> None:
        self._setups = setups
        self._state = state
        self._options: dict[tuple[int, int], list[Setup]] = {}
        nothing = ((0.0,) * len(state), state)
        self.free = [setups.model.setup(state, family.kind) == nothing for family in families]
        self.price = [
            min(min(minutes) for minutes, _ in self.options(family.kind, 0)) for family in families
        ]

    def options(self, kind: int, branch_cautions: int) -> list[Setup]:
        """Return what may be paid at a job of a kind, by entry, and the states after it."""
        key = (kind, branch_cautions)
        if key not in self._options:
            self._options[key] = self._setups.options(self._state, *key)
        return self._options[key]
