"""The words of a step that every paper shares, and the cautions at it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.files.tree import Check, Reading
from diagnose.study.in_force import always_in_force

if TYPE_CHECKING:
    from diagnose.files.cautions import Caution
    from diagnose.files.tree import Question
    from diagnose.study.in_force import CautionTable
    from diagnose.study.ready import ReadyTree


def asked(ready: ReadyTree, step: Question) -> str:
    """Return a check's question, or the title of a reading's measurement."""
    if isinstance(step, Reading):
        return ready.measurements[step.read].title
    assert isinstance(step, Check)
    return step.ask


def band_range(ready: ReadyTree, step: Question, which: int) -> str:
    """Return the range of a reading's band with its unit, "" where there is only one or none."""
    if not isinstance(step, Reading):
        return ""
    unit = ready.measurements[step.read].unit
    low = f"{step.limits[which - 1]:g}" if which else ""
    high = f"{step.limits[which]:g}" if which < len(step.limits) else ""
    if low and high:
        return f"{low} to {high} {unit}".rstrip()
    if not high:
        return " ".join(f"{low} {unit} or more".split()) if low else ""
    return f"below {high} {unit}".rstrip()


class StepCautions:
    """What every route has in force at each step of a tree, and which cautions are called there."""

    def __init__(self, ready: ReadyTree, table: CautionTable) -> None:
        self.plan, self.table = ready.plan, table
        plan = ready.plan
        self._before = always_in_force(plan.order, plan.ways, plan.needs, plan.energises, table)

    def in_force(self, step: int, before: int | None = None) -> int:
        """Return what is in force at a step, of what was `before` it; by default on every route."""
        held = self._before[step] if before is None else before
        return held & ~self.table.lapsing if self.plan.energises[step] else held

    def called(self, step: int) -> int:
        """Return what has to be taken before a step, since some route comes without it."""
        return self.table.called(self.plan.needs[step], self.in_force(step))

    def records(self, cautions: int) -> list[Caution]:
        """Return what the file says of a set of cautions, in its order."""
        return [self.table.records[self.table.number[name]] for name in self.table.names(cautions)]

    def titles(self, cautions: int) -> list[str]:
        """Return the titles of a set of cautions."""
        return [one.title for one in self.records(cautions)]
