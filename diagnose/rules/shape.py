"""Rules on the shape of a tree: arrows, answers and bands."""

from __future__ import annotations

import math
import re
from collections import Counter
from typing import TYPE_CHECKING, Final

from diagnose.files.replies import NOTE, REPLY_WORDS
from diagnose.files.tree import Question, Reading
from diagnose.rules.view import Name, Objection, route
from diagnose.study.graph import always_before, nearest_before, reached
from diagnose.study.plan import passing_answer
from diagnose.text import as_seen, folded

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.measure.registry import Measurement
    from diagnose.rules.view import TreeView

# Each of the steps that look at the same knows all others.
_MOST_ALIKE: Final = 100


def unreached(view: TreeView) -> Iterator[Objection]:
    """Every step is reached from the start.

    A step to which no answer leads is never asked, and a finding there is never found, though it
    looks as if it had been thought of.

    Passes:
        steps: {first: {answers: {Torn: broken, Whole: second}}}
    Fails:
        steps: {spare: {finding: It is cut, chance: 4, who: operator, remedy: Change it.}}
    """
    start = view.tree.start
    if view.unread or start not in view.tree.steps:
        return
    found = reached(view.graph, start)
    left = [name for name in view.tree.steps if name not in found]
    for name, first in _firsts(view, left).items():
        message = f'Write "{name}" at an answer, or delete it: no route leads to it.'
        first_name = Name("step", first, (view.tree.symptom,))
        if name == first:
            yield Objection(view.at(name), message, spare=first_name)
        else:
            yield Objection(view.at(name), message, follows=first_name)


def _firsts(view: TreeView, left: list[str]) -> dict[str, str]:
    """Return for each step that is not reached the one with which it would be."""
    unreached = set(left)
    before = {name: unreached.intersection(view.graph.predecessors(name)) for name in left}
    firsts: dict[str, str] = {}
    # In a circle that nothing leads to there is none without another before it.
    for first in sorted(left, key=lambda name: bool(before[name] - {name})):
        to_come = [first]
        while to_come:
            name = to_come.pop()
            if name not in firsts:
                firsts[name] = first
                to_come += view.graph.successors(name)
    return {name: firsts[name] for name in left}


def closed_route(view: TreeView) -> Iterator[Objection]:
    """No route returns to a step that it came from.

    Whoever follows it would walk in a circle, and no count of minutes would hold.

    Passes:
        steps: {second: {ask: "Full?", answers: {Low: little, Full: served}}}
    Fails:
        steps: {second: {ask: "Full?", answers: {Low: little, Look again: first, Full: served}}}
    """
    if not view.closed_route:
        return
    last, first, answer = view.closed_route[-1]
    step = view.tree.steps[last]
    assert isinstance(step, Question)
    number = [way.answer for way in step.exits].index(answer)
    circle = route([*(arrow[0] for arrow in view.closed_route), first])
    message = f"Write a step that leads on: the route {circle} returns."
    yield Objection(view.at(last, *step.arrow_at(number)), message)


def answer_word(view: TreeView) -> Iterator[Objection]:
    """An answer is no number, single letter or reply of the program, and stands once at its step.

    Numbers and letters are keys at the screen, and *back*, *not sure* or *danger* do something at
    every step: an answer of that name could not be given. Say what was seen.

    Passes:
        steps: {first: {answers: {No edge is left: broken, At least one: second}}}
    Fails:
        steps: {first: {answers: {"0": broken, At least one: second}}}
    """
    for name, step in view.questions():
        seen: set[str] = set()
        for number, way in enumerate(step.exits):
            what = _taken(folded(way.answer), as_seen(way.answer) in seen)
            seen.add(as_seen(way.answer))
            if what:
                message = f'Write what was seen: the answer "{way.answer}" {what}.'
                yield Objection(view.at(name, *step.answer_at(number)), message)


def same_as(view: TreeView) -> Iterator[Objection]:
    """What is the `same_as` another step looks at the same: it has the same answers, word for word.

    Whoever answered one of the two is not asked the other. An answer that the other does not have
    would leave the walk without a way on. Of three that are the same, two name the third.

    Passes:
        steps:
          second:
            ask: What do you see now?
            same_as: first
            answers: {It looks right: little, It is broken: served}
    Fails:
        steps:
          second:
            ask: What do you see now?
            same_as: first
            answers: {It looks fine: little, It is torn: served}
    """
    questions = [one for one, _ in view.questions()]
    alike = Counter(step.same_as for _, step in view.questions())
    for name, step in view.questions():
        if step.same_as is None or step.same_as in view.unread:
            continue
        other = view.tree.steps.get(step.same_as)
        if not isinstance(other, Question):
            hint = view.hint(step.same_as, questions)
            message = f'Write the id of a check or reading: there is no "{step.same_as}".{hint}'
        elif step.same_as == name or other.same_as is not None:
            message = f'Write the step that names none: "{step.same_as}" names another one itself.'
        elif alike[step.same_as] > _MOST_ALIKE:
            message = f'Ask it once, earlier: more than {_MOST_ALIKE} steps name "{step.same_as}".'
        elif _looks_at(step) != _looks_at(other):
            message = f'Write the same answers in both: "{step.same_as}" has other words.'
        else:
            continue
        yield Objection(view.at(name, "same_as"), message)


def _looks_at(step: Question) -> tuple[object, ...]:
    """Return what two steps share that look at the same; the order of a check's answers is free."""
    if isinstance(step, Reading):
        return (step.read, step.limits, tuple(way.answer for way in step.exits))
    return (frozenset(way.answer for way in step.exits),)


def _taken(word: str, twice: bool) -> str:
    """Return why a word cannot be an answer, or not beside those before it; or nothing."""
    if re.fullmatch(r"[\d\W_]+", word):
        return "reads as a number"
    if len(word) == 1:
        return "is a single letter, which is a key at the screen"
    if word in REPLY_WORDS or word.startswith(f"{NOTE} "):
        return "is a reply that the program itself uses"
    return "stands twice at this step (capitals do not count)" if twice else ""


def bands(view: TreeView) -> Iterator[Objection]:
    """The bands of a reading rise, and `otherwise` is the last and only one without a limit.

    The first band that fits is taken. In another order one of them could never be reached, and
    without `otherwise` a high figure would have no answer.

    Passes:
        steps: {second: {bands: [{below: 5, call: low, go: little}, {otherwise: high, go: served}]}}
    Fails:
        steps: {second: {bands: [{otherwise: high, go: served}, {below: 5, call: low, go: little}]}}
    """
    for name, step in view.questions():
        if not isinstance(step, Reading):
            continue
        if len(step.limits) == len(step.exits):
            message = "Write `otherwise` as the last band: a reading has one."
            yield Objection(view.at(name, "read"), message)
        highest = -math.inf
        for number, limit in enumerate(step.limits):
            if limit == math.inf:
                message = "Write `otherwise` once, as the last band."
            elif limit > highest:
                highest = limit
                continue
            else:
                message = f"Write the bands in rising order: {limit:g} comes after {highest:g}."
            yield Objection(view.at(name, *step.answer_at(number)), message)


def unreachable_band(view: TreeView) -> Iterator[Objection]:
    """A band's limit lies within what the measurement can give.

    Below the least that it gives no figure is, and above the most neither: one of the bands would
    never be reached, whatever is read. Most often the limit is in another unit, or a digit is lost.

    Passes:
        steps:
          second:
            read: solution-temperature
            bands: [{below: 57, call: warm, go: little}, {otherwise: hot, go: served}]
    Fails:
        steps:
          second:
            read: solution-temperature
            bands: [{below: 135, call: warm, go: little}, {otherwise: hot, go: served}]
    """
    for name, step in view.questions():
        measurement = view.measurements.get(step.read) if isinstance(step, Reading) else None
        if measurement is None or not isinstance(step, Reading):
            continue
        low, high = measurement.low, measurement.high
        for number, limit in enumerate(step.limits):
            if math.isfinite(limit) and (
                (low is not None and limit <= low) or (high is not None and limit > high)
            ):
                message = (
                    f'"{step.read}" gives {_range(measurement)}: with a limit of {limit:g} a band '
                    "is never reached."
                )
                yield Objection(view.at(name, "bands", number, "below"), message)


def _range(measurement: Measurement) -> str:
    """Return in words what a measurement can give."""
    low = "" if measurement.low is None else f"from {measurement.low:g}"
    high = "" if measurement.high is None else f"up to {measurement.high:g}"
    return " ".join(filter(None, (low, high, measurement.unit)))


def after(view: TreeView) -> Iterator[Objection]:
    """A step comes after those that its `after` names, on every route.

    `after` is what the author knows about the order, such as to look before reaching in. The study
    of better orders keeps to it, so today's order has to.

    Passes:
        steps: {second: {after: [first]}}
    Fails:
        steps: {first: {after: [second]}}
    """
    if not view.sound or not any(step.after for _, step in view.questions()):
        return
    nearest = nearest_before(view.graph, view.tree.start)
    for name, step in view.questions():
        before = set(always_before(nearest, name)) if step.after else set()
        for number, word in enumerate(step.after):
            if word in view.tree.steps and word not in before:
                message = f'Write a step before "{name}" on every route: "{word}" is not.'
                yield Objection(view.at(name, "after", number), message)


def passes(view: TreeView) -> Iterator[Objection]:
    """Where several answers lead on to questions, `passes` says which one rules the causes out.

    It is the answer of a machine that has nothing wrong at this step. Worked cases and the study of
    better orders need it. `passes: none` says that no answer rules anything out.

    Passes:
        steps: {first: {passes: Sound, answers: {Torn: broken, Bent: second, Sound: second}}}
    Fails:
        steps: {first: {answers: {Torn: broken, Bent: second, Sound: second}}}
    """
    steps = view.tree.steps
    for name, step in view.questions():
        on = sum(isinstance(steps.get(way.to), Question) for way in step.exits)
        if step.passes is None and on > 1 and passing_answer(view.tree, step) is None:
            message = (
                f'Write which answer `passes`, or `passes: none`: several of "{name}" lead on.'
            )
            yield Objection(view.at(name), message, "warning")
