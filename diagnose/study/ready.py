"""A tree made ready to be walked, on one machine, under the cautions of its library."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnose.files.reading import content_hash
from diagnose.files.tree import Finding, Question
from diagnose.study.plan import plan_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.card import Card
    from diagnose.files.tree import Step, Tree
    from diagnose.study.in_force import CautionTable
    from diagnose.study.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadyTree:
    """One tree, ready to be walked.

    `own` are the minutes of each finding's remedy; `service` the findings for service, as bits;
    `from_card` the steps that the machine card answers, with the number of the answer; `digest` is
    the content hash.
    """

    tree: Tree
    plan: Plan
    steps: tuple[Step, ...]
    own: tuple[float, ...]
    service: int
    from_card: Mapping[int, int]
    digest: str


def made_ready(
    tree: Tree,
    table: CautionTable,
    *,
    card: Card | None = None,
    chances: Mapping[str, float] | None = None,
) -> ReadyTree:
    """Return the ready tree of a tree that was checked.

    `chances` by finding stand in for those of the file, such as those a case was opened with;
    findings that it does not know keep their own.
    """
    own_chances: dict[str, float] = {
        name: step.chance for name, step in tree.steps.items() if isinstance(step, Finding)
    }
    if chances is not None:
        total = sum(own_chances.values())
        own_chances = {
            name: chances.get(name, chance / total) for name, chance in own_chances.items()
        }
    plan = plan_of(tree, table, own_chances)
    steps = tuple(tree.steps.values())
    from_card: dict[int, int] = {}
    for number, step in enumerate(steps):
        if isinstance(step, Question) and step.from_card is not None and card is not None:
            said = card.line(step.from_card)
            answers = [way.answer.casefold() for way in step.exits]
            if said is not None and said.casefold() in answers:
                from_card[number] = answers.index(said.casefold())
    return ReadyTree(
        tree=tree,
        plan=plan,
        steps=steps,
        own=tuple(steps[place].minutes for place in plan.findings),
        service=sum(
            1 << which
            for which, place in enumerate(plan.findings)
            if getattr(steps[place], "who", "") == "service"
        ),
        from_card=from_card,
        digest=content_hash(tree),
    )
