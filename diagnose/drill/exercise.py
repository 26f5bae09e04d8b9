"""What stands for all of a drill: the machine that is played, the cautions, who the trainee is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.drill.acts import acts_of, causes_of, title_of
from diagnose.drill.evidence import Evidence
from diagnose.drill.score import ELSEWHERE, route_of
from diagnose.files.tree import ROLES, Finding, Question

if TYPE_CHECKING:
    from collections.abc import Iterable

    from diagnose.drill.machine import Machine
    from diagnose.drill.position import Position
    from diagnose.drill.score import Look
    from diagnose.study.in_force import CautionTable
    from diagnose.study.plan import Plan


class Exercise:
    """One drill, before anything is done.

    `best` is the plan of the same tree with its checks in the best order, where that is known. With
    `teach`, what was unsafe is told at once.
    """

    def __init__(
        self,
        machine: Machine,
        table: CautionTable,
        *,
        role: str = "operator",
        best: Plan | None = None,
        teach: bool = False,
    ) -> None:
        self.machine = machine
        self.ready = machine.ready
        self.table = table
        self.role = role
        self.best = best
        self.teach = teach
        self.evidence = Evidence(machine)
        self.route = route_of(machine.ready.plan, table, machine)
        self.acts = acts_of(self.ready, [leg.step for leg in self.route])
        self.causes = causes_of(self.ready)
        questions = [step for step in self.ready.steps if isinstance(step, Question)]
        foreign = any(rank(step.by) > rank(role) for step in questions)
        #: Who may do a check instead; nobody where all checks are the trainee's own.
        self.helpers = ROLES[rank(role) + 1 :] if foreign else ()
        findings = [step for step in self.ready.steps if isinstance(step, Finding)]
        doorways = any(step.continue_with for step in findings)
        self.hands = (*ROLES, ELSEWHERE) if doorways else ROLES

    def title(self, step: int) -> str:
        """Return the words of a check as they were offered, or the line of a finding."""
        return self.acts.get(step) or title_of(self.ready, self.ready.steps[step])

    def answers(self, looks: Iterable[Look]) -> dict[int, int]:
        """Return the last answer of each check that was made, by their numbers."""
        found = {}
        for look in looks:
            step = self.ready.plan.number[look.step]
            question = self.ready.steps[step]
            assert isinstance(question, Question)
            found[step] = [way.answer for way in question.exits].index(look.answer)
        return found

    def open_causes(self, looks: Iterable[Look]) -> int:
        """Return how many causes are open after some looks."""
        return len(self.evidence.open(self.answers(looks)))

    def guarded(self, position: Position) -> tuple[float, int]:
        """Return the minutes of the cautions that are to be taken, and what is in force then."""
        kept = position.in_force & ~position.ending
        return self.table.take(self.table.closed(position.taking), False, kept)

    @property
    def whose(self) -> str:
        """Whose work the hidden cause is."""
        finding = self.ready.steps[self.machine.cause]
        assert isinstance(finding, Finding)
        return ELSEWHERE if finding.continue_with else finding.who


def rank(role: str) -> int:
    """Return how much people may do; an empty role, a doorway's, may be anybody's."""
    return ROLES.index(role) if role else 0
