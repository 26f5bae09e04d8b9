"""A tree made ready to be walked, on one machine, under the cautions of its library."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.files.reading import content_hash
from diagnose.files.tree import Finding, Question
from diagnose.measure.registry import MEASUREMENTS
from diagnose.study.beliefs import likelihood
from diagnose.study.plan import plan_of
from diagnose.study.tailored import tailored

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.card import Card
    from diagnose.files.tree import Step, Tree
    from diagnose.measure.model import Measurement
    from diagnose.study.in_force import CautionTable
    from diagnose.study.plan import Plan

#: A tree with more answers x findings gets its rows one by one.
LARGE: Final = 20_000


class ReadyTree(Struct, frozen=True, kw_only=True, eq=False):
    """One tree as plain data, with all that a walk needs of it.

    `steps` come in the order of the file, by the numbers of the `plan`. `own` are the minutes of
    each finding's remedy; `service` the findings for service, as bits; `from_card` the steps that
    the machine card answers, with the number of the answer, those among them that are `skipped`
    since they do not apply to this machine, with the line of its card; `digest` is the content hash
    of the whole tree, `card` that of the machine, if there is one; `measurements` are those that a
    reading may name. `rows` hold what an answer (step, number) says of each finding, as logarithms;
    in a large tree they are worked out when they are called for.
    """

    symptom: str
    title: str
    tree: Tree
    plan: Plan
    steps: tuple[Step, ...]
    own: tuple[float, ...]
    service: int
    from_card: Mapping[int, int]
    skipped: Mapping[int, str]
    digest: str
    rows: Mapping[tuple[int, int], tuple[float, ...]]
    card: Card | None = None
    measurements: Mapping[str, Measurement] = MEASUREMENTS

    def unsure_way(self, step: int) -> int | None:
        """Return where a question leads whoever is not sure, None where it does not say."""
        question = self.steps[step]
        if not isinstance(question, Question) or question.if_unsure is None:
            return None
        answers = [way.answer for way in question.exits]
        return self.plan.ways[step][answers.index(question.if_unsure)]

    def today(self, step: str) -> str:
        """Return the id that a step has now; one that nobody knows stays as it is."""
        return step if step in self.plan.number else self.tree.today.get(step, step)

    def named(self, step: str) -> Step | None:
        """Return a step by its id; None where the tree has none of that name."""
        place = self.plan.number.get(step)
        return None if place is None else self.steps[place]


def made_ready(
    tree: Tree,
    table: CautionTable,
    *,
    card: Card | None = None,
    chances: Mapping[str, float] | None = None,
    measurements: Mapping[str, Measurement] = MEASUREMENTS,
) -> ReadyTree:
    """Return a tree that was checked, made ready.

    `chances` by finding stand in for those of the file, such as those a case was opened with;
    findings that it does not know keep their own.
    """
    digest = content_hash(tree)
    tree, skipped = tailored(tree, card)
    plan = plan_of(tree, table, _chances(tree, chances))
    steps = tuple(tree.steps.values())
    left_out = {plan.number[name]: line for name, line in skipped.items()}
    return ReadyTree(
        symptom=tree.symptom,
        title=tree.title,
        tree=tree,
        plan=plan,
        steps=steps,
        own=tuple(steps[place].minutes for place in plan.findings),
        service=sum(
            1 << which
            for which, place in enumerate(plan.findings)
            if getattr(steps[place], "who", None) == "service"
        ),
        from_card=({} if card is None else _answered(steps, card)) | dict.fromkeys(left_out, 0),
        skipped=left_out,
        digest=digest,
        rows=_rows(plan),
        card=card,
        measurements=measurements,
    )


def _rows(plan: Plan) -> dict[tuple[int, int], tuple[float, ...]]:
    answers = [(step, number) for step, ways in enumerate(plan.ways) for number in range(len(ways))]
    if len(answers) * len(plan.findings) > LARGE:
        return {}
    return {
        (step, number): likelihood(plan, step, number, plan.slip[step]) for step, number in answers
    }


def _chances(tree: Tree, chances: Mapping[str, float] | None) -> dict[str, float]:
    own: dict[str, float] = {
        name: step.chance for name, step in tree.steps.items() if isinstance(step, Finding)
    }
    if chances is None:
        return own
    total = sum(own.values())
    # A finding may have had another id then.
    known = {today: chances[old] for old, today in tree.today.items() if old in chances}
    known.update(chances)
    return {name: known.get(name, chance / total) for name, chance in own.items()}


def _answered(steps: tuple[Step, ...], card: Card) -> dict[int, int]:
    """Return the steps that a machine card answers, each with the number of its answer."""
    answered: dict[int, int] = {}
    for number, step in enumerate(steps):
        if isinstance(step, Question) and step.from_card is not None:
            line = card.line(step.from_card)
            answers = [way.answer.casefold() for way in step.exits]
            if line is not None and line.casefold() in answers:
                answered[number] = answers.index(line.casefold())
    return answered
