"""Rules on what a tree is told from outside: measurements, machine cards and worked cases."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from diagnose.files.definitions import card_lines, card_lists
from diagnose.files.tree import Finding, Question, Reading
from diagnose.measure.registry import MEASUREMENTS, MissingLine, Unreadable, compute
from diagnose.study.plan import passing_answer
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.problems import Placed, Problem
    from diagnose.files.tree import WorkedCase
    from diagnose.rules.view import View

_CARD_LINES = frozenset(card_lines())
_CARD_LISTS = frozenset(card_lists())


def known_measurement(view: View) -> Iterator[Problem]:
    """A reading names a measurement that the program knows."""
    for _, step in view.questions():
        if isinstance(step, Reading) and step.read not in MEASUREMENTS:
            hint = did_you_mean(step.read, MEASUREMENTS)
            message = f'The program knows no measurement "{step.read}".{hint}'
            yield view.problem(step.read, "unknown-measurement", message)


def card_line(view: View) -> Iterator[Problem]:
    """`from_card` names a line of the machine card, and what the cards say there is an answer."""
    for _, step in view.questions():
        path = step.from_card
        if path is None or path in _CARD_LISTS:
            continue
        if path not in _CARD_LINES:
            hint = did_you_mean(path, _CARD_LINES | _CARD_LISTS)
            yield view.problem(path, "unknown-line", f'A card has no line "{path}".{hint}')
            continue
        for machine, card in view.library.machines.items():
            said = card.line(path)
            if said is not None and answer_on_card(step, said) is None:
                message = (
                    f'The card of "{machine}" says "{said}", which is no answer here: it is asked.'
                )
                yield view.problem(path, "card-answer", message, "warning")


def answer_on_card(step: Question, said: str) -> str | None:
    """Return the answer that a card's word gives, case ignored, or None where none fits."""
    word = said.casefold()
    return next((way.answer for way in step.exits if way.answer.casefold() == word), None)


def worked_cases(view: View) -> Iterator[Problem]:
    """Every worked case ends at the finding that it names."""
    if not view.sound:
        return
    for case in view.tree.worked_cases:
        if all(name in view.tree.steps for name in (case.finding, *case.answers)):
            yield from _worked(view, case)


def _worked(view: View, case: WorkedCase) -> Iterator[Problem]:
    steps = view.tree.steps
    name = view.tree.start
    passed = {str(name)}
    step = steps[name]
    while isinstance(step, Question):
        given = case.answers.get(name)
        if given is None:
            answer = passing_answer(view.tree, step)
            if answer is None:
                message = f'"{name}" has no passing answer: the case has to name one.'
                yield view.problem(case.name, "worked-case", message)
                return
        elif isinstance(given, Mapping):
            try:
                answer = _band(step, given)
            except (Unreadable, MissingLine) as error:
                at = next(iter(given), case.name)
                message = f"This cannot be computed: {error}".rstrip(".") + "."
                yield view.problem(at, "worked-case", message)
                return
        else:
            answer = given
        way = step.exit(answer) if answer is not None else None
        if way is None:
            at = given if given is not None and not isinstance(given, Mapping) else case.name
            offered = [way.answer for way in step.exits]
            hint = did_you_mean(str(answer), offered)
            message = f'"{name}" has no answer "{answer}".{hint}'
            yield view.problem(at, "worked-case", message)
            return
        name = way.to
        passed.add(name)
        step = steps[name]
    if name != case.finding:
        message = f'The case "{case.name}" ends at "{name}", not at "{case.finding}".'
        yield view.problem(case.finding, "worked-case", message)
    for named in case.answers:
        if named not in passed:
            message = f'The case "{case.name}" never comes to "{named}".'
            yield view.problem(named, "worked-case", message, "warning")


def _band(step: Question, inputs: Mapping[Placed, Placed]) -> str:
    if not isinstance(step, Reading):
        raise Unreadable("Only a reading takes inputs: write an answer here.")
    measurement = MEASUREMENTS.get(step.read)
    if measurement is None:
        raise Unreadable(f'The program knows no measurement "{step.read}".')
    typed = {str(name): str(value) for name, value in inputs.items()}
    figure = compute(measurement, typed, card=lambda path: None, bare=True, si=False)
    return step.band(figure.value).answer


def reached_finding(view: View) -> Iterator[Problem]:
    """A worked case ends at a finding, not at a check or a reading."""
    for case in view.tree.worked_cases:
        step = view.tree.steps.get(case.finding)
        if step is not None and not isinstance(step, Finding):
            message = f'"{case.finding}" is no finding: a case ends at one.'
            yield view.problem(case.finding, "worked-case", message)
