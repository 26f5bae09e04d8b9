"""The rule on worked cases: each is walked to its end."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final, NamedTuple

from diagnose.files.places import KEY
from diagnose.files.tree import Finding, Question, Reading
from diagnose.measure.inputs import lacks_unit
from diagnose.measure.registry import MissingLine, Unreadable
from diagnose.rules.view import Name, Objection
from diagnose.study.plan import passing_answer
from diagnose.study.worked import band_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.places import Path
    from diagnose.files.tree import Exit, Step, WorkedCase
    from diagnose.rules.view import TreeView

# As many answers are looked at on the routes of all worked cases of a tree, which takes seconds: a
# file of thousands of long ones would keep its author waiting for an hour. A step costs as much
# as some answers.
_MOST_WAYS: Final = 5_000_000
_A_STEP: Final = 10


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
    ways_left = _MOST_WAYS
    for number, case in enumerate(view.tree.worked_cases):
        place = ("worked_cases", number)
        if case.finding in steps and not isinstance(steps[case.finding], Finding):
            message = f'Write a finding: "{case.finding}" is none, and a case ends at one.'
            yield Objection((*place, "finding"), message)
        elif _can_be_walked(view, case):
            route = _route(view, case, place, ways_left)
            ways_left -= sum(_ways_at(steps[name]) for name in route.steps)
            if ways_left <= 0:
                message = "Write fewer or shorter worked cases: from this one on none is run."
                yield Objection(place, message)
                return
            yield from route.hindered or _at_end(case, place, route.steps)


def _can_be_walked(view: TreeView, case: WorkedCase) -> bool:
    """Whether nothing is wrong elsewhere that would be said here once more."""
    steps = view.tree.steps
    if not view.sound or not all(name in steps for name in (case.finding, *case.answers)):
        return False
    computed = (steps[name] for name, said in case.answers.items() if isinstance(said, Mapping))
    readings = (step.read for step in computed if isinstance(step, Reading))
    return all(read in view.measurements for read in readings)


class _Route(NamedTuple):
    """The steps that a case came to, and why it came no further than the last."""

    steps: dict[str, None]
    hindered: tuple[Objection, ...] = ()


def _route(view: TreeView, case: WorkedCase, place: Path, ways_left: int) -> _Route:
    """Walk a case, as far as `ways_left` goes."""
    steps = view.tree.steps
    name = view.tree.start
    passed = {name: None}
    while isinstance(step := steps[name], Question) and ways_left > 0:
        ways_left -= _ways_at(step)
        way = _way(view, step, name, case, place)
        if isinstance(way, Objection):
            return _Route(passed, (way,))
        name = way.to
        passed[name] = None
    return _Route(passed)


def _ways_at(step: Step) -> int:
    """Return what it costs to come by a step, counted in answers that are looked at."""
    return _A_STEP + (len(step.exits) if isinstance(step, Question) else 0)


def _at_end(case: WorkedCase, place: Path, passed: dict[str, None]) -> Iterator[Objection]:
    name = next(reversed(passed))
    if name != case.finding:
        message = f'The case "{case.name}" ends at "{name}", not at "{case.finding}": write that.'
        yield Objection((*place, "finding"), message)
    for named in case.answers:
        if named not in passed:
            message = f'Delete "{named}" here: the case "{case.name}" never comes to it.'
            yield Objection((*place, "answers", named, KEY), message, "warning")


def _way(
    view: TreeView, step: Question, name: str, case: WorkedCase, place: Path
) -> Exit | Objection:
    """Return the way that a case takes at a step, or why it takes none."""
    given = case.answers.get(name)
    at = (*place, "answers", name)
    if isinstance(given, Mapping):
        try:
            return band_of(step, given, view.measurements)
        except (Unreadable, MissingLine) as error:
            at = (*at, next(iter(given)), KEY) if given else (*place, "name")
            message = f"Write what can be computed: {error}".rstrip(".") + "."
            unknown = Name("measurement", getattr(step, "read", ""), (view.tree.symptom, name))
            return Objection(at, message, follows=unknown)
    if given is None:
        passing = step.exit(passing_answer(view.tree, step) or "")
        if passing is not None:
            return passing
        message = f'Write the answer of "{name}" in this case: none of them passes.'
        unknown = Name("answer", step.passes or "", (view.tree.symptom, name))
        return Objection((*place, "name"), message, follows=unknown)
    way = step.exit(given)
    if way is None:
        hint = view.hint(given, [way.answer for way in step.exits])
        message = f'Write an answer of "{name}": it has no "{given}".{hint}'
        return Objection(at, message, lacks=Name("answer", given, (view.tree.symptom, name)))
    return way


def no_unit(view: TreeView) -> Iterator[Objection]:
    """What a worked case says was read has its unit, where the measurement has one.

    At the screen a bare number takes the unit that is shown. In a file nobody sees that unit: a
    case written in gallons would be run in litres, and may even end where it should.

    Passes:
        steps:
          second:
            read: solution-temperature
            bands: [{below: 5, call: too little, go: little}, {otherwise: enough, go: served}]
        worked_cases:
          - {name: cold, answers: {second: {reading: 3 degC}}, finding: little}
    Fails:
        steps:
          second:
            read: solution-temperature
            bands: [{below: 5, call: too little, go: little}, {otherwise: enough, go: served}]
        worked_cases:
          - {name: cold, answers: {second: {reading: "3"}}, finding: little}
    """
    for number, case in enumerate(view.tree.worked_cases):
        for name, given in case.answers.items():
            step = view.tasks.get(name)
            if not isinstance(step, Reading) or not isinstance(given, Mapping):
                continue
            measurement = view.measurements.get(step.read)
            for need in measurement.needs if measurement is not None else ():
                text = given.get(need.name)
                if text is not None and lacks_unit(need, text):
                    message = f'Write "{text} {need.unit}" if that is meant: "{text}" has no unit.'
                    at = ("worked_cases", number, "answers", name, need.name)
                    yield Objection(at, message, "warning")
