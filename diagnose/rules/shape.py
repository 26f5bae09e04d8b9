"""Rules on the shape of a tree: arrows, answers, bands, and who may do what."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from diagnose.files.replies import REPLY_WORDS
from diagnose.files.tree import NO_ANSWER, Finding, Question, Reading
from diagnose.rules.view import reachable
from diagnose.study.graph import always_before, nearest_before
from diagnose.study.plan import passing_answer
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.problems import Placed, Problem
    from diagnose.rules.view import View


def unknown_step(view: View) -> Iterator[Problem]:
    """Every step that is named stands in the tree."""
    steps = view.tree.steps
    named: list[Placed] = [view.tree.start]
    for _, step in view.questions():
        named += [way.to for way in step.exits]
        named += step.after
    for case in view.tree.worked_cases:
        named += [case.finding, *case.answers]
    for name in named:
        if name not in steps and name not in view.unread:
            hint = did_you_mean(name, steps)
            yield view.problem(name, "unknown-step", f'There is no step "{name}".{hint}')


def unreached(view: View) -> Iterator[Problem]:
    """Every step is reached from the start."""
    if view.unread or view.tree.start not in view.tree.steps:
        return
    found = reachable(view)
    for name in view.tree.steps:
        if name not in found:
            message = f'No route leads to "{name}": name it in an answer, or delete it.'
            yield view.problem(name, "unreached", message)


def closed_route(view: View) -> Iterator[Problem]:
    """No route returns to a step that it came from."""
    if not view.closed_route:
        return
    steps = [arrow[0] for arrow in view.closed_route]
    last, first, answer = view.closed_route[-1]
    route = " → ".join([*steps, first])
    step = view.tree.steps[last]  # type: ignore[index]
    assert isinstance(step, Question)
    way = step.exit(answer)
    place = way.to if way else view.tree.start
    message = f"The route {route} returns: let this answer lead on."
    yield view.problem(place, "closed-route", message)


def answer_words(view: View) -> Iterator[Problem]:
    """An answer is neither a number, a single letter nor a reply word, and stands once a step."""
    for _, step in view.questions():
        seen: set[str] = set()
        for way in step.exits:
            word = " ".join(way.answer.casefold().split())
            if re.fullmatch(r"[\d\W_]+", word):
                what = "reads as a number"
            elif len(word) == 1:
                what = "is a single letter, which is a key at the screen"
            elif word in REPLY_WORDS:
                what = "is a reply that the program itself uses"
            elif word in seen:
                what = "stands twice at this step (capitals do not count)"
            else:
                seen.add(word)
                continue
            message = f'The answer "{way.answer}" {what}: say what was seen.'
            yield view.problem(way.answer, "answer-word", message)


def named_answer(view: View) -> Iterator[Problem]:
    """`passes` and `if_unsure` name an answer of their own step."""
    for _, step in view.questions():
        offered = [way.answer for way in step.exits]
        for word in (step.passes, step.if_unsure):
            if word is None or word in offered or (word is step.passes and word == NO_ANSWER):
                continue
            hint = did_you_mean(word, offered)
            yield view.problem(word, "unknown-answer", f'"{word}" is no answer of this step.{hint}')


def bands_rise(view: View) -> Iterator[Problem]:
    """The bands of a reading rise, and `otherwise` is the last and only one."""
    for _, step in view.questions():
        if not isinstance(step, Reading):
            continue
        if len(step.limits) != len(step.exits) - 1:
            message = "A reading has one `otherwise`, as its last band."
            yield view.problem(step.read, "bands", message)
        for number, (low, high) in enumerate(zip(step.limits, step.limits[1:], strict=False)):
            if not low < high:
                message = f"The bands rise: {high:g} stands after {low:g}."
                yield view.problem(step.exits[number + 1].answer, "bands", message)


def finding_keys(view: View) -> Iterator[Problem]:
    """A finding says who may do it; a doorway says only where it leads."""
    for name, step in view.tree.steps.items():
        if not isinstance(step, Finding):
            continue
        if step.continue_with is not None:
            spare = [k for k in ("who", "remedy", "leave_safe", "ask_service") if getattr(step, k)]
            if spare:
                message = f"A doorway has no `{spare[0]}`: the other symptom goes on."
                yield view.problem(name, "doorway", message)
        elif not step.who:
            message = "A finding needs `who`: operator, battery-trained or service."
            yield view.problem(name, "missing-key", message)
        elif step.who == "service":
            if step.remedy is not None:
                message = (
                    "What service does is not shown to others: write `ask_service`, no `remedy`."
                )
                yield view.problem(step.remedy, "service-remedy", message)
            if step.leave_safe is None:
                message = "Say how the machine is left until service comes: `leave_safe`."
                yield view.problem(name, "no-leave-safe", message, "warning")
        elif step.remedy is None:
            message = "Say what to do about it: `remedy`."
            yield view.problem(name, "no-remedy", message, "warning")


def doorway_target(view: View) -> Iterator[Problem]:
    """A doorway leads to another symptom of the library."""
    for step in view.tree.steps.values():
        if not isinstance(step, Finding) or step.continue_with is None:
            continue
        target = step.continue_with
        if target == view.tree.symptom:
            message = "A doorway leads to another symptom, not to its own."
            yield view.problem(target, "doorway", message)
        elif target not in view.library.symptoms:
            hint = did_you_mean(target, view.library.symptoms)
            yield view.problem(target, "unknown-symptom", f'There is no "{target}.yaml".{hint}')


def after_is_kept(view: View) -> Iterator[Problem]:
    """A step comes after those that its `after` names: on every route, in the present order."""
    if not view.sound:
        return
    before_all: dict[str, str] | None = None
    for name, step in view.questions():
        if not step.after:
            continue
        if before_all is None:
            before_all = nearest_before(view.graph, view.tree.start)
        before = set(always_before(before_all, name))
        for word in step.after:
            if word in view.tree.steps and word not in before:
                message = f'"{word}" does not come before "{name}" on every route.'
                yield view.problem(word, "after", message)


def ambiguous_passing(view: View) -> Iterator[Problem]:
    """Where several answers lead on, `passes` says which rules this step's causes out."""
    for name, step in view.questions():
        on = [w for w in step.exits if isinstance(view.tree.steps.get(w.to), Question)]
        if step.passes is None and len(on) > 1 and passing_answer(view.tree, step) is None:
            message = f'Several answers of "{name}" lead on: say which `passes`, or `passes: none`.'
            yield view.problem(name, "passes", message, "warning")
