"""What can be done at the machine: the checks of a tree, told apart by what is done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.case.screens import Named
from diagnose.files.tree import Check, Question, Reading

if TYPE_CHECKING:
    from collections.abc import Collection

    from diagnose.files.tree import Step
    from diagnose.study.ready import ReadyTree


def title_of(ready: ReadyTree, step: Step) -> str:
    """Return what is done at a check, what is measured, or the line of a finding."""
    if isinstance(step, Reading):
        return ready.measurements[step.read].title
    if isinstance(step, Check):
        return step.do or step.ask
    assert not isinstance(step, Question)
    return step.finding


def acts_of(ready: ReadyTree, met: Collection[int]) -> dict[int, str]:
    """Return the checks that a trainee may pick, with their words, in the order of the words.

    Not in the order of the file, which would give the tree's own order away. What the machine card
    answers, and what it makes pointless, is left out. Where two steps have the same words, or the
    file says so, they are one and the same look at the machine: those that are `met` on the tree's
    own route stand for all of them, else the first.
    """
    alike: dict[tuple[str, str], list[int]] = {}
    for number in _open(ready):
        step = ready.steps[number]
        assert isinstance(step, Question)
        step = ready.named(step.same_as or "") or step
        assert isinstance(step, Question)
        asked = step.ask if isinstance(step, Check) else step.do or ""
        alike.setdefault((title_of(ready, step), asked), []).append(number)
    titles = [title for title, _ in alike]
    # Two questions about one look: what is asked tells them apart.
    full = {
        number: f"{title} {asked}".rstrip() if titles.count(title) > 1 else title
        for (title, asked), numbers in alike.items()
        for number in [number for number in numbers if number in met] or numbers[:1]
    }
    return dict(sorted(full.items(), key=lambda item: (item[1].casefold(), item[0])))


def causes_of(ready: ReadyTree) -> list[Named]:
    """Return all findings of a tree, in the order of their words."""
    plan = ready.plan
    causes = [Named(plan.ids[at], title_of(ready, ready.steps[at])) for at in plan.findings]
    return sorted(causes, key=lambda cause: (cause.title.casefold(), cause.id))


def _open(ready: ReadyTree) -> list[int]:
    """Return the questions that can be met and that the card does not answer, as in the file."""
    plan = ready.plan
    met = {plan.start}
    for step in plan.order:
        if step in met:
            answer = ready.from_card.get(step)
            ways = plan.ways[step]
            met.update(ways if answer is None else (ways[answer],))
    return [step for step in sorted(met) if plan.ways[step] and step not in ready.from_card]
