"""The words of a step that every paper shares, and the cautions at it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

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
    """Return the range of a reading's band with its unit, "" where there is only one or none.

    A limit just above a round figure is said by that: 15.1 mm, below which 15 mm is, as *up to
    15 mm* and *more than 15 mm*.
    """
    if not isinstance(step, Reading):
        return ""
    unit = ready.measurements[step.read].unit
    low = _limit(step, which - 1) if which else None
    high = _limit(step, which) if which < len(step.limits) else None
    if low is None and high is None:
        return ""
    if low is None or high is None:
        figure, beyond = low or high or ("", False)
        said = f"{figure} {unit}".rstrip()
        if high is not None:
            return f"up to {said}" if beyond else f"below {said}"
        return f"more than {said}" if beyond else f"{said} or more"
    end = f"{high[0]} {unit}".rstrip()
    if not low[1]:
        return f"{low[0]} to {end}"
    return f"more than {low[0]}, {'up to' if high[1] else 'below'} {end}"


def _limit(step: Reading, which: int) -> tuple[str, bool]:
    """Return the figure by which a limit is said, and whether the limit lies just above it."""
    limit = step.limits[which]
    rounder = f"{limit - _JUST_ABOVE.get(step.read, 0.0):.6g}"
    told = f"{limit:.6g}"
    return (rounder, True) if len(rounder) < len(told) else (told, False)


#: By how much a limit exceeds the last figure that is to lie below it, in the unit of the
#: measurement: less than anybody reads there. Of measurements whose trees have such limits.
_JUST_ABOVE: Final = {
    "blade-bend": 0.1,
    "blade-level": 0.1,
    "brush-current": 0.1,
    "cell-gravities": 0.0005,
}


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
