"""The player of faulty machines: a hidden cause, and the answers that such a machine gives.

A machine is drawn from a seed, once: its cause by its chance, then for every question, in the order
of the file, the answer that tells the truth. So it answers alike whatever is asked first. As in
`study.beliefs`, with R the answers of a question from which the cause can be reached, the truth is
one of R, each equally likely; where R is empty it is the passing answer, since a part that is not
at fault looks right; where there is none of these either, any answer.

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

if TYPE_CHECKING:
    from collections.abc import Sequence

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
        random = Random(self.keys[step])
        for _ in range(look):
            slip, which, place = random.random(), random.random(), random.random()
        answer = self.truths[step]
        others = misleading(self.ready, step, self.cause) if self.slips else ()
        if others and slip < self.ready.plan.slip[step]:
            answer = others[int(which * len(others))]
        question = self.ready.steps[step]
        value = figure_in(question.limits, answer, place) if isinstance(question, Reading) else None
        return Sight(answer=answer, value=value)


def drawn(ready: ReadyTree, seed: int, *, slips: bool = False) -> Machine:
    """Return the machine of a seed (see `SEEDS`). Raises `NoSuchMachine`."""
    random = Random(seed)
    cause = _cause(ready, random.random())
    truths, keys = [0] * len(ready.steps), [0] * len(ready.steps)
    for step, ways in enumerate(ready.plan.ways):
        if ways:
            which, key = random.random(), random.random()
            answers = truthful(ready, step, cause)
            truths[step] = ready.from_card.get(step, answers[int(which * len(answers))])
            keys[step] = int(key * _KEYS)
    return Machine(
        ready=ready, seed=seed, cause=cause, truths=tuple(truths), keys=tuple(keys), slips=slips
    )


def truthful(ready: ReadyTree, step: int, cause: int) -> tuple[int, ...]:
    """Return the numbers of the answers that tell the truth of a cause, each equally likely."""
    toward = _toward(ready, step, cause)
    if toward:
        return toward
    passing = ready.plan.passing[step]
    return tuple(range(len(ready.plan.ways[step]))) if passing is None else (passing,)


def misleading(ready: ReadyTree, step: int, cause: int) -> tuple[int, ...]:
    """Return the numbers of the answers that mislead, each equally likely; maybe none."""
    true = truthful(ready, step, cause)
    return tuple(n for n in range(len(ready.plan.ways[step])) if n not in true)


def weights(ready: ReadyTree) -> list[float]:
    """Return how likely each finding is to be drawn: its chance, and 0 where the card forbids it.

    In the order of ``plan.findings``, on any scale.
    """
    plan = ready.plan
    found = []
    for chance, cause in zip(plan.chances, plan.findings, strict=True):
        weight = chance
        for step, said in ready.from_card.items():
            toward = _toward(ready, step, cause)
            if toward:
                weight *= (said in toward) / len(toward)
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
    upto = list(accumulate(weights(ready)))
    if upto[-1] <= 0:
        raise NoSuchMachine(ready.tree.symptom)
    return ready.plan.findings[bisect(upto, place * upto[-1])]


def _toward(ready: ReadyTree, step: int, cause: int) -> tuple[int, ...]:
    """Return the numbers of the answers from which the cause can be reached."""
    plan = ready.plan
    bit = plan.bit[cause]
    return tuple(n for n, way in enumerate(plan.ways[step]) if plan.reach[way] >> bit & 1)
