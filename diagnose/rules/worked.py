"""The rule on worked cases: each is walked to its end."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from diagnose.files.places import KEY
from diagnose.files.tree import Finding, Question, Reading
from diagnose.measure.registry import MEASUREMENTS, MissingLine, Unreadable, compute
from diagnose.rules.view import Objection
from diagnose.study.plan import passing_answer
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.places import Path
    from diagnose.files.tree import Exit, Tree, WorkedCase
    from diagnose.rules.view import TreeView


def worked_case(view: TreeView) -> Iterator[Objection]:
    """Every worked case ends at the finding that it names, and comes to the steps that it answers.

    Worked cases are the author's own knowledge of what should come out. Where a change to the tree
    sends one elsewhere, it has changed what people are told.

    Passes:
        worked_cases:
          - name: too little water
            answers: {second: {value: "3"}}
            finding: little
    Fails:
        worked_cases:
          - name: too little water
            answers: {second: {value: "7"}}
            finding: little
    """
    steps = view.tree.steps
    for number, case in enumerate(view.tree.worked_cases):
        place = ("worked_cases", number)
        if case.finding in steps and not isinstance(steps[case.finding], Finding):
            message = f'"{case.finding}" is no finding: a case ends at one.'
            yield Objection((*place, "finding"), message)
        elif view.sound and all(name in steps for name in (case.finding, *case.answers)):
            yield from _walked(view.tree, case, place)


def _walked(tree: Tree, case: WorkedCase, place: Path) -> Iterator[Objection]:
    name = tree.start
    passed = {name}
    while isinstance(step := tree.steps[name], Question):
        way = _way(tree, step, name, case, place)
        if isinstance(way, Objection):
            yield way
            return
        name = way.to
        passed.add(name)
    if name != case.finding:
        message = f'The case "{case.name}" ends at "{name}", not at "{case.finding}".'
        yield Objection((*place, "finding"), message)
    for named in case.answers:
        if named not in passed:
            message = f'The case "{case.name}" never comes to "{named}".'
            yield Objection((*place, "answers", named, KEY), message, "warning")


def _way(tree: Tree, step: Question, name: str, case: WorkedCase, place: Path) -> Exit | Objection:
    """Return the way that a case takes at a step, or why it takes none."""
    given = case.answers.get(name)
    at = (*place, "answers", name)
    if isinstance(given, Mapping):
        try:
            return _band(step, given)
        except (Unreadable, MissingLine) as error:
            at = (*at, next(iter(given)), KEY) if given else (*place, "name")
            return Objection(at, f"This cannot be computed: {error}".rstrip(".") + ".")
    if given is None:
        at = (*place, "name")
        given = passing_answer(tree, step)
        if given is None:
            message = f'"{name}" has no passing answer: the case has to name one.'
            return Objection(at, message)
    way = step.exit(given)
    if way is None:
        hint = did_you_mean(given, [way.answer for way in step.exits])
        return Objection(at, f'"{name}" has no answer "{given}".{hint}')
    return way


def _band(step: Question, inputs: Mapping[str, str]) -> Exit:
    if not isinstance(step, Reading):
        raise Unreadable("Only a reading takes inputs: write an answer here.")
    measurement = MEASUREMENTS.get(step.read)
    if measurement is None:
        raise Unreadable(f'The program knows no measurement "{step.read}".')
    figure = compute(measurement, inputs, card=lambda path: None, bare=True, si=False)
    return step.band(figure.value)
