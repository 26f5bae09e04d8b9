"""The order study: what the order of a tree costs, what the best would, which move helps most."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnose.study.order_model import Model
from diagnose.study.order_moves import best_move
from diagnose.study.order_routes import travel
from diagnose.study.order_search import LEAST, Nothing, best_order
from diagnose.study.plan import plan_of
from diagnose.study.runs import reordered, runs_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.files.tree import Tree
    from diagnose.study.in_force import CautionTable
    from diagnose.study.order_routes import Travel
    from diagnose.study.plan import Plan
    from diagnose.study.runs import Run


@dataclass(frozen=True, slots=True)
class Measured:
    """A tree with one order of its steps, and what its cases take.

    Means are weighed by the chances; minutes and lockouts are those on the way to the finding, the
    remedy's own not among them.
    """

    tree: Tree
    plan: Plan
    travel: Travel

    def _mean(self, values: Sequence[float]) -> float:
        return sum(p * value for p, value in zip(self.plan.chances, values, strict=True))

    @property
    def minutes(self) -> float:
        """Expected minutes to the finding."""
        return self._mean([way.minutes for way in self.travel.ways])

    @property
    def with_remedies(self) -> float:
        """Expected minutes with the remedy and the cautions that it calls."""
        return self._mean([way.minutes + way.remedy for way in self.travel.ways])

    @property
    def cautions(self) -> float:
        """Expected minutes spent on cautions on the way to the finding."""
        return self._mean([way.cautions for way in self.travel.ways])

    @property
    def lockouts(self) -> float:
        """Lockouts of a case on its way to the finding, on average."""
        return self._mean([way.lockouts for way in self.travel.ways])

    @property
    def most_lockouts(self) -> int:
        """The largest number of lockouts on any route to a finding."""
        return self.travel.most_lockouts

    def by_finding(self) -> list[tuple[str, float, float]]:
        """Return (finding, chance, minutes to it), the slowest first."""
        names = [self.plan.ids[place] for place in self.plan.findings]
        minutes = [way.minutes for way in self.travel.ways]
        return sorted(zip(names, self.plan.chances, minutes, strict=True), key=lambda row: -row[2])


@dataclass(frozen=True, slots=True, kw_only=True)
class RunStudy:
    """One run: the present order, the best with this run alone changed, and what they cost.

    Minutes are the whole tree's. `within`: what another order of this run can save over the best
    one here at most (under the cap, if any); 0 where there is no better one.
    """

    steps: tuple[str, ...]
    best: tuple[str, ...]
    minutes: float
    best_minutes: float
    within: float

    @property
    def exact(self) -> bool:
        """Whether no order of this run is better."""
        return self.within <= LEAST


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One step moved to another place in its run: `after` which step, or None for the front."""

    step: str
    after: str | None
    measured: Measured


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderStudy:
    """What is known of a tree's order.

    `best` has the runs changed in turn until none moves; `orders` are theirs in it, in the order
    of `runs`. `cap` is the largest number of lockouts that was asked for; `kept` whether `best`
    keeps it.
    """

    now: Measured
    best: Measured
    runs: tuple[RunStudy, ...]
    orders: tuple[tuple[str, ...], ...]
    move: Move | None
    cap: int | None

    @property
    def kept(self) -> bool:
        """Whether the best order keeps the cap."""
        return self.cap is None or self.best.most_lockouts <= self.cap


def order_study(
    tree: Tree,
    cautions: CautionTable,
    chances: Mapping[str, float] | None = None,
    cap: int | None = None,
) -> OrderStudy:
    """Study the order of a tree that was checked.

    `chances` by finding stand in for the file's. `cap`: an order may take a lockout at most so
    often on any route; where none can, as seldom as can be had.
    """
    return _Study(cautions, chances, cap).of(tree)


class _Study:
    def __init__(
        self, cautions: CautionTable, chances: Mapping[str, float] | None, cap: int | None
    ) -> None:
        self.cautions = cautions
        self.chances = chances
        self.cap = cap

    def of(self, tree: Tree) -> OrderStudy:
        now = self.measure(tree)
        found = runs_of(tree, now.plan)
        runs, alone = [], []
        for run in found:
            study, measured = self.run(now, run)
            runs.append(study)
            alone.append(measured)
        best = self.in_turn(now, alone)
        place = {
            frozenset(self._names(best, run)): self._names(best, run) for run in self.runs(best)
        }
        return OrderStudy(
            now=now,
            best=best,
            runs=tuple(runs),
            orders=tuple(place[frozenset(study.steps)] for study in runs),
            move=self.move(now, found),
            cap=self.cap,
        )

    def measure(self, tree: Tree) -> Measured:
        plan = plan_of(tree, self.cautions, self.chances)
        return Measured(tree, plan, travel(plan, self.cautions))

    def runs(self, measured: Measured) -> list[Run]:
        return runs_of(measured.tree, measured.plan)

    def better(self, one: Measured, than: Measured) -> bool:
        """Whether one is better: fewer lockouts over the cap, or else fewer minutes."""
        over, over_than = self._over(one), self._over(than)
        return (over, one.minutes + LEAST) < (over_than, than.minutes)

    def run(self, now: Measured, run: Run) -> tuple[RunStudy, Measured]:
        """Return what is known of a run, and the tree with this run alone changed."""
        steps = self._names(now, run)
        best, within, after = steps, math.inf, now
        sure = True
        # Where the cap cannot be kept, the next larger number can; the present one always.
        for cap in self._caps(now):
            found = best_order(Model(now.plan, self.cautions, run, now.travel, cap))
            if isinstance(found, Nothing):
                # A search that was cut short does not know that there is none.
                sure = sure and found.sure
                continue
            names = tuple(steps[job] for job in found.order)
            changed = self.measure(reordered(now.tree, steps, names))
            if sure:
                within = found.within
            if self.better(changed, now):
                best, after = names, changed
            break
        study = RunStudy(
            steps=steps, best=best, minutes=now.minutes, best_minutes=after.minutes, within=within
        )
        return study, after

    def in_turn(self, now: Measured, alone: Sequence[Measured]) -> Measured:
        """Return the tree with its runs changed in turn until none moves."""
        best = now
        if len(alone) == 1:
            return alone[0]
        moved = bool(alone)
        while moved:
            moved = False
            for number in range(len(alone)):
                _, changed = self.run(best, self.runs(best)[number])
                if self.better(changed, best):
                    best, moved = changed, True
        return best

    def move(self, now: Measured, runs: Sequence[Run]) -> Move | None:
        """Return the one move, over all runs, that saves most; None where none saves anything."""
        best: Move | None = None
        for run in runs:
            steps = self._names(now, run)
            for cap in self._caps(now):
                found = best_move(Model(now.plan, self.cautions, run, now.travel, cap))
                if found is not None:
                    break
            else:
                continue
            order = [steps[job] for job in found[1]]
            changed = self.measure(reordered(now.tree, steps, order))
            if self.better(changed, now if best is None else best.measured):
                step, after = _moved(steps, order)
                best = Move(step=step, after=after, measured=changed)
        return best

    def _caps(self, now: Measured) -> list[int | None]:
        if self.cap is None:
            return [None]
        return list(range(self.cap, max(self.cap, now.most_lockouts) + 1))

    def _over(self, measured: Measured) -> int:
        return 0 if self.cap is None else max(0, measured.most_lockouts - self.cap)

    @staticmethod
    def _names(measured: Measured, run: Run) -> tuple[str, ...]:
        return tuple(measured.plan.ids[step] for step in run.steps)


def _moved(steps: Sequence[str], order: Sequence[str]) -> tuple[str, str | None]:
    """Return the step whose move leads from one order to the other, and what it comes after now."""
    for step in order:
        rest = [other for other in steps if other != step]
        if rest == [other for other in order if other != step]:
            place = order.index(step)
            # Of two neighbours that changed places, name the one that was moved up.
            if place <= steps.index(step) or abs(place - steps.index(step)) > 1:
                return step, order[place - 1] if place else None
    raise AssertionError("no single move leads there")
