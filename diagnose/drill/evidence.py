"""What a trainee's looks say: which causes are still open, and what parts one from another.

A cause is closed where the last answer to some look is none that it shows, or where no route on
which all looks have their answers leads to it. Two causes are parted by an answer that the one
shows and the other does not, or where only one of them has such a route left.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.drill.machine import truthful, weights
from diagnose.study.beliefs import LEAST_SLIP, likelihood, prior, updated

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.drill.machine import Machine


class Evidence:
    """What can be concluded about a machine from answers (their number, by step)."""

    def __init__(self, machine: Machine) -> None:
        self.ready = machine.ready
        self.slips = machine.slips
        likely = zip(self.ready.plan.findings, weights(self.ready), strict=True)
        #: The causes that the machine card does not rule out.
        self.possible = frozenset(cause for cause, weight in likely if weight > 0)

    def open(self, answers: Mapping[int, int]) -> frozenset[int]:
        """Return the causes that nothing which was seen speaks against."""
        return frozenset(
            cause
            for cause in self.possible & self._reached(answers)
            if all(self._shows(cause, step, answer) for step, answer in answers.items())
        )

    def not_parted(self, cause: int, answers: Mapping[int, int]) -> int | None:
        """Return the likeliest of the other causes where no answer parts `cause` from it."""
        rivals = sorted(self.possible - {cause})
        if not rivals:
            return None
        plan = self.ready.plan
        rows = [
            likelihood(plan, step, answer, plan.slip[step] if self.slips else LEAST_SLIP)
            for step, answer in answers.items()
        ]
        logs = updated(prior(plan), *rows)
        rival = max(rivals, key=lambda one: logs[plan.bit[one]])
        parted = any(
            self._shows(cause, step, answer) and not self._shows(rival, step, answer)
            for step, answer in answers.items()
        )
        reached = self._reached(answers)
        return None if parted or (cause in reached and rival not in reached) else rival

    def _reached(self, answers: Mapping[int, int]) -> set[int]:
        """Return the steps to which routes lead on which all looks have their answers."""
        plan = self.ready.plan
        told = {**self.ready.from_card, **answers}
        for look in answers.items():
            told.update(plan.twins.get(look, ()))
        reached = {plan.start}
        for step in plan.order:
            if step in reached and plan.ways[step]:
                ways = plan.ways[step]
                reached.update([ways[told[step]]] if step in told else ways)
        return reached

    def _shows(self, cause: int, step: int, answer: int) -> bool:
        return answer in truthful(self.ready, step, cause)
