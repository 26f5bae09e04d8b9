"""The study of a tree: what its order costs, what the best would, which single move saves most."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.study.looks import unfolded
from diagnose.study.order.model import TOLERANCE, RunModel
from diagnose.study.order.moves import best_move
from diagnose.study.order.routes import route_costs
from diagnose.study.order.search import BestOrder, best_order
from diagnose.study.plan import plan_of
from diagnose.study.runs import kept_in_place, reordered, runs_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.files.tree import Tree
    from diagnose.study.in_force import CautionTable
    from diagnose.study.order.routes import RouteCosts
    from diagnose.study.plan import Plan
    from diagnose.study.runs import Run


class Evaluation(Struct, frozen=True):
    """A tree with one order of its steps, and what its cases take on the way to the finding.

    Means are weighted by the chances. The remedy's own minutes and lockouts are not in them.
    """

    tree: Tree
    plan: Plan
    routes: RouteCosts

    def _mean(self, values: Sequence[float]) -> float:
        return sum(p * value for p, value in zip(self.plan.chances, values, strict=True))

    @property
    def minutes(self) -> float:
        """Expected minutes to the finding."""
        return self._mean([finding.minutes for finding in self.routes.findings])

    @property
    def minutes_with_remedy(self) -> float:
        """Expected minutes with the remedy and the cautions that it calls."""
        return self._mean([finding.minutes + finding.remedy for finding in self.routes.findings])

    @property
    def caution_minutes(self) -> float:
        """Expected minutes spent on cautions."""
        return self._mean([finding.cautions for finding in self.routes.findings])

    @property
    def lockouts(self) -> float:
        """Expected number of lockouts."""
        return self._mean([finding.lockouts for finding in self.routes.findings])

    @property
    def most_lockouts(self) -> int:
        """The largest number of lockouts on any route to a finding."""
        return self.routes.most_lockouts

    def by_finding(self) -> list[tuple[str, float, float]]:
        """Return (finding, chance, minutes to it), the slowest first."""
        names = [self.plan.ids[place] for place in self.plan.findings]
        minutes = [finding.minutes for finding in self.routes.findings]
        return sorted(zip(names, self.plan.chances, minutes, strict=True), key=lambda row: -row[2])


class RunStudy(Struct, frozen=True, kw_only=True):
    """One run: the present order, the best with this run alone changed, and their minutes.

    Minutes are expected ones of the whole tree. Another order of this run (under the cap, if any)
    can save at most `gap` minutes over the best: 0 where it is proved, infinite where nothing is
    known.
    """

    steps: tuple[str, ...]
    best: tuple[str, ...]
    minutes: float
    best_minutes: float
    gap: float

    @property
    def exact(self) -> bool:
        """Whether it is proved that no order of this run is better."""
        return self.gap <= TOLERANCE


class Move(Struct, frozen=True, kw_only=True):
    """One step moved to another place in its run: `after` which step, or None for the front."""

    step: str
    after: str | None
    evaluation: Evaluation


class OrderStudy(Struct, frozen=True, kw_only=True):
    """What is known of a tree's order.

    `best` has the runs changed in turn until none moves; `orders` are theirs in it, in the order
    of `runs`. `move` is the single move that saves most, None where none saves anything. `cap` is
    the largest number of lockouts on a route that was asked for. `same_looks` are steps that look
    at the same, for which no other order was tried where it might change what is found.
    """

    now: Evaluation
    best: Evaluation
    runs: tuple[RunStudy, ...]
    orders: tuple[tuple[str, ...], ...]
    move: Move | None
    cap: int | None
    same_looks: tuple[tuple[str, ...], ...]

    @property
    def cap_kept(self) -> bool:
        """Whether the best order keeps the cap."""
        return self.cap is None or self.best.most_lockouts <= self.cap


def order_study(
    tree: Tree,
    cautions: CautionTable,
    chances: Mapping[str, float] | None = None,
    cap: int | None = None,
) -> OrderStudy:
    """Study the order of a tree that was checked.

    `chances` by finding, on any positive scale, stand in for the file's. `cap`: an order may take a
    lockout at most so often on any route; where none can, as seldom as can be had.
    """
    return _Study(cautions, chances, cap).of(tree)


def evaluated(
    tree: Tree, cautions: CautionTable, chances: Mapping[str, float] | None = None
) -> Evaluation:
    """Return what the cases of a tree that was checked take; `chances` as in `order_study`."""
    plan = plan_of(tree, cautions, chances)
    return Evaluation(tree, plan, route_costs(unfolded(plan), cautions))


class _Study(Struct, frozen=True):
    cautions: CautionTable
    chances: Mapping[str, float] | None
    cap: int | None

    def of(self, tree: Tree) -> OrderStudy:
        now = self.evaluate(tree)
        found = self.runs(now)
        alone = [self.run(now, run) for run in found]
        best = self.in_turn(now, [evaluation for _, evaluation in alone])
        in_best = [_names(best, run) for run in self.runs(best)]
        orders = {frozenset(names): names for names in in_best}
        runs = tuple(study for study, _ in alone)
        return OrderStudy(
            now=now,
            best=best,
            runs=runs,
            orders=tuple(orders[frozenset(study.steps)] for study in runs),
            move=self.move(now, found),
            cap=self.cap,
            same_looks=tuple(
                tuple(now.plan.ids[step] for step in look) for look in kept_in_place(tree, now.plan)
            ),
        )

    def evaluate(self, tree: Tree) -> Evaluation:
        return evaluated(tree, self.cautions, self.chances)

    def runs(self, evaluation: Evaluation) -> list[Run]:
        return runs_of(evaluation.tree, evaluation.plan)

    def better(self, one: Evaluation, than: Evaluation) -> bool:
        """Whether one is better: fewer lockouts over the cap, or as many and fewer minutes."""
        over, over_than = self._over(one), self._over(than)
        return (over, one.minutes + TOLERANCE) < (over_than, than.minutes)

    def run(self, now: Evaluation, run: Run) -> tuple[RunStudy, Evaluation]:
        """Return what is known of a run, and the tree with this run alone changed."""
        steps = _names(now, run)
        best, gap, after = steps, math.inf, now
        proved = True
        # Where the cap cannot be kept, the next larger number can; the present one always.
        for cap in self._caps(now):
            found = best_order(RunModel(now.plan, self.cautions, run, now.routes, cap))
            if isinstance(found, BestOrder):
                names = tuple(steps[job] for job in found.order)
                changed = self.evaluate(reordered(now.tree, steps, names))
                # Fewer lockouts may still be had where a search for them was cut short.
                gap = found.gap if proved else math.inf
                if self.better(changed, now):
                    best, after = names, changed
                break
            proved = proved and found.proved
        study = RunStudy(
            steps=steps, best=best, minutes=now.minutes, best_minutes=after.minutes, gap=gap
        )
        return study, after

    def in_turn(self, now: Evaluation, alone: Sequence[Evaluation]) -> Evaluation:
        """Return the tree with its runs changed in turn until none moves."""
        if len(alone) == 1:
            return alone[0]
        best = now
        moved = True
        while moved:
            moved = False
            for number in range(len(alone)):
                _, changed = self.run(best, self.runs(best)[number])
                if self.better(changed, best):
                    best, moved = changed, True
        return best

    def move(self, now: Evaluation, runs: Sequence[Run]) -> Move | None:
        """Return the one move, over all runs, that saves most; None where none saves anything."""
        best: Move | None = None
        for run in runs:
            steps = _names(now, run)
            models = (
                RunModel(now.plan, self.cautions, run, now.routes, c) for c in self._caps(now)
            )
            found = next(filter(None, map(best_move, models)), None)
            if found is None:
                continue
            order = [steps[job] for job in found[1]]
            changed = self.evaluate(reordered(now.tree, steps, order))
            if self.better(changed, now if best is None else best.evaluation):
                step, after = _moved(steps, order)
                best = Move(step=step, after=after, evaluation=changed)
        return best

    def _caps(self, now: Evaluation) -> list[int | None]:
        """Return the caps to try in turn."""
        if self.cap is None:
            return [None]
        return list(range(self.cap, max(self.cap, now.most_lockouts) + 1))

    def _over(self, evaluation: Evaluation) -> int:
        return 0 if self.cap is None else max(0, evaluation.most_lockouts - self.cap)


def _names(evaluation: Evaluation, run: Run) -> tuple[str, ...]:
    return tuple(evaluation.plan.ids[step] for step in run.steps)


def _moved(steps: Sequence[str], order: Sequence[str]) -> tuple[str, str | None]:
    """Return the step whose move leads from one order to the other, and what it comes after now."""
    for place, step in enumerate(order):
        rest = [other for other in steps if other != step]
        # Of two neighbours that changed places, name the one that was moved up.
        moved_by_one = place == steps.index(step) + 1
        if rest == [other for other in order if other != step] and not moved_by_one:
            return step, order[place - 1] if place else None
    raise AssertionError("no single move leads there")
