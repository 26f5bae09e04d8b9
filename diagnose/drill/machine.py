"""The player of faulty machines: a hidden cause, and the answers that such a machine gives.

A machine is drawn from a seed, once: its cause by its chance, then for every question, in the order
of the file, the answer that tells the truth. So it answers alike whatever is asked first. As in
`study.beliefs`, with R the answers of a question from which the cause can be reached, the truth is
one of R, each equally likely; where R is empty it is the passing answer, since a part that is not
at fault looks right; where there is none of these either, any answer. What looks at the same shows
the same: what is come to on the way to the cause says it first.

Only ``Random(int).random()`` is drawn from: Python promises that sequence for all versions and
platforms.
"""

from __future__ import annotations

from bisect import bisect
from itertools import accumulate
from random import Random
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.files.tree import Reading
from diagnose.study.looks import unfolded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.plan import Plan
    from diagnose.study.ready import ReadyTree

#: Seeds are whole numbers from 0 below this, so that they fit into any log.
SEEDS: Final = 2**63

_KEYS: Final = 2**53


class NoSuchMachine(Exception):
    """The machine card rules out every cause of the tree."""


class Sight(Struct, frozen=True, kw_only=True):
    """What one look at the machine gives: the number of the answer, and a reading's value."""

    answer: int
    value: float | None = None


class Machine(Struct, frozen=True, kw_only=True):
    """One faulty machine. `cause` is the number of a finding in the plan of the ready tree.

    `truths` holds for each question the number of the answer that tells the truth, and `keys` the
    seed of what is drawn anew with every look (0 and 0 for a finding). Where `slips` is false no
    answer misleads.
    """

    ready: ReadyTree
    seed: int
    cause: int
    truths: tuple[int, ...]
    keys: tuple[int, ...]
    slips: bool = False

    def sight(self, step: int, look: int) -> Sight:
        """Return what look number `look` (from 1) at a question gives.

        An answer misleads as often as the question's `slip` says; another look may set it right.
        """
        plan, truth = self.ready.plan, self.truths[step]
        # What looks at the same misleads alike: all of it answers by the first.
        first, answer = min(plan.twins.get((step, truth), ()), default=(step, truth))
        if first > step:
            first, answer = step, truth
        random = Random(self.keys[first])
        for _ in range(look):
            slip, which, place = random.random(), random.random(), random.random()
        others = misleading(self.ready, first, self.cause) if self.slips else ()
        if others and slip < plan.slip[first]:
            answer = others[int(which * len(others))]
        if first != step:
            answer = dict(plan.twins[first, answer])[step]
        question = self.ready.steps[step]
        value = figure_in(question.limits, answer, place) if isinstance(question, Reading) else None
        return Sight(answer=answer, value=value)


def drawn(ready: ReadyTree, seed: int, *, slips: bool = False) -> Machine:
    """Return the machine of a seed (see `SEEDS`). Raises `NoSuchMachine`."""
    random = Random(seed)
    cause = _cause(ready, random.random())
    plan = ready.plan
    drawn = [(random.random(), random.random()) if ways else (0.0, 0.0) for ways in plan.ways]
    truths = dict(ready.from_card)
    flat, node = unfolded(plan), plan.start
    while targets := flat.ways[node]:
        step = plan.number[flat.ids[node]]
        toward = [n for n, to in enumerate(targets) if flat.reach[to] >> plan.bit[cause] & 1]
        # What was seen before on the way has that answer alone.
        if len(targets) == len(plan.ways[step]):
            _tell(plan, truths, step, toward or truthful(ready, step, cause), drawn[step][0])
            node = targets[truths[step]]
        else:
            (node,) = targets
    for step, ways in enumerate(plan.ways):
        if ways:
            _tell(plan, truths, step, truthful(ready, step, cause), drawn[step][0])
    return Machine(
        ready=ready,
        seed=seed,
        cause=cause,
        truths=tuple(truths.get(step, 0) for step in range(len(plan.ways))),
        keys=tuple(int(key * _KEYS) for _, key in drawn),
        slips=slips,
    )


def _tell(
    plan: Plan, truths: dict[int, int], step: int, answers: Sequence[int], which: float
) -> None:
    """Draw the truth of a question that is not told yet, for all that looks at the same."""
    if step not in truths:
        truths[step] = answers[int(which * len(answers))]
        for twin, number in plan.twins.get((step, truths[step]), ()):
            truths.setdefault(twin, number)


def truthful(ready: ReadyTree, step: int, cause: int) -> tuple[int, ...]:
    """Return the numbers of the answers that tell the truth of a cause, each equally likely."""
    plan = ready.plan
    bit = plan.bit[cause]
    shown = tuple(n for n, seen in enumerate(plan.sight[step]) if seen >> bit & 1)
    if shown:
        return shown
    passing = plan.passing[step]
    return tuple(range(len(plan.ways[step]))) if passing is None else (passing,)


def misleading(ready: ReadyTree, step: int, cause: int) -> tuple[int, ...]:
    """Return the numbers of the answers that mislead, each equally likely; maybe none."""
    true = truthful(ready, step, cause)
    return tuple(n for n in range(len(ready.plan.ways[step])) if n not in true)


def weights(ready: ReadyTree) -> list[float]:
    """Return how likely each finding is to be drawn: as a walk believes when its case is opened.

    Its chance, times the probability of what the card answers, which has no slip: a finding of
    which the card shows another truth is never drawn. In the order of ``plan.findings``, on any
    scale.
    """
    plan = ready.plan
    found = []
    for chance, cause in zip(plan.chances, plan.findings, strict=True):
        weight = chance
        told: set[int] = set()
        for step, said in ready.from_card.items():
            # Steps that look at the same say it once.
            if step not in told:
                true = truthful(ready, step, cause)
                weight *= (said in true) / len(true)
                told.update(twin for twin, _ in plan.twins.get((step, said), ()))
        found.append(weight)
    return found


def figure_in(limits: Sequence[float], band: int, place: float) -> float:
    """Return a plausible figure in a band, `place` (from 0 below 1) of the way through it.

    `limits` are the upper bounds of all bands but the last. A band with one open end is taken as
    wide as its neighbour, or as 0.4 of its limit; where all limits are above zero, so is every
    figure. It keeps off both edges and has no more digits than one would read.
    """
    low = limits[band - 1] if band > 0 else None
    high = limits[band] if band < len(limits) else None
    if low is None:
        assert high is not None
        low = high - (limits[1] - limits[0] if len(limits) > 1 else 0.4 * abs(high) or 1.0)
        low = max(low, 0.0) if high > 0 else low
    elif high is None:
        high = low + (limits[-1] - limits[-2] if len(limits) > 1 else 0.4 * abs(low) or 1.0)
    width = high - low
    # A tenth of the band stays free at either edge, and rounding moves by half of that at most.
    exponent = int(f"{width:.17e}".partition("e")[2])
    return round(low + (0.1 + 0.8 * place) * width, max(0, 1 - exponent))


def _cause(ready: ReadyTree, place: float) -> int:
    plan = ready.plan
    flat = unfolded(plan)
    # Behind answers that do not agree, two ways about one look, nobody could find it.
    upto = list(
        accumulate(
            weight if flat.reach[flat.start] >> plan.bit[cause] & 1 else 0.0
            for cause, weight in zip(plan.findings, weights(ready), strict=True)
        )
    )
    if upto[-1] <= 0:
        raise NoSuchMachine(ready.tree.symptom)
    return plan.findings[bisect(upto, place * upto[-1])]
