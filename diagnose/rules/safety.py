"""Rules on hazards and cautions: what design and proof leave to the author of a tree."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.files.tree import Finding, Question
from diagnose.study.graph import in_order
from diagnose.study.in_force import bits
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.files.problems import Placed, Problem
    from diagnose.files.tree import Step
    from diagnose.rules.view import View


def unknown_hazard(view: View) -> Iterator[Problem]:
    """Every hazard and caution that a step names stands in `cautions.yaml`."""
    hazards, cautions = view.library.cautions.hazards, view.library.cautions.cautions
    broken = view.cautions is None
    for step in view.tree.steps.values():
        for names, known, what in (
            (step.hazards, hazards, "hazard"),
            (step.cautions, cautions, "caution"),
        ):
            for name in names:
                if name in known:
                    continue
                if broken and not known:
                    yield view.problem(
                        name,
                        f"unknown-{what}",
                        f'"{name}" is not known while cautions.yaml has errors: mend that file.',
                    )
                else:
                    hint = did_you_mean(name, known)
                    yield view.problem(
                        name,
                        f"unknown-{what}",
                        f'There is no {what} "{name}" in cautions.yaml.{hint}',
                    )


def energises_safely(view: View) -> Iterator[Problem]:
    """A step that energises the machine needs no caution that lapses when it is energised."""
    if view.cautions is None:
        return
    for name, step in view.questions():
        if not step.energises or not _known(view, step):
            continue
        clash = view.cautions.closed(view.cautions.needs(step)) & view.cautions.lapsing
        if clash:
            caution = view.cautions.names(clash)[0]
            message = f'The machine runs in "{name}", which ends "{caution}": make it two steps.'
            yield view.problem(_cause(view, step, clash) or name, "energises", message)


def service_only(view: View) -> Iterator[Problem]:
    """What is on a hazard for service only is service's."""
    hazards = view.library.cautions.hazards
    for step in view.tree.steps.values():
        who, key = (step.by, "by") if isinstance(step, Question) else (step.who, "who")
        if who == "service":
            continue
        for hazard in step.hazards:
            known = hazards.get(hazard)
            if known is not None and known.service_only:
                message = (
                    f'"{hazard}" is for service only: write `{key}: service`, or drop the hazard.'
                )
                yield view.problem(hazard, "service-only", message)


def lockout_twice(view: View) -> Iterator[Problem]:
    """No route takes a lockout a second time."""
    cautions = view.cautions
    if cautions is None or not view.sound or not cautions.lockouts:
        return
    steps = view.tree.steps
    if any(not _known(view, step) for step in steps.values()):
        return
    # What a lockout may be on some route: not yet taken, in force, or lapsed.
    new, held, lapsed = 1, 2, 4
    for number in bits(cautions.lockouts):
        may: dict[str, int] = dict.fromkeys(steps, 0)
        may[view.tree.start] = new
        for name in in_order(view.graph):
            step = steps[name]  # type: ignore[index]
            state = may[name]
            if isinstance(step, Question) and step.energises and state & held:
                state = state & ~held | lapsed
            if cautions.closed(cautions.needs(step)) >> number & 1:
                if state & lapsed:
                    caution = cautions.ids[number]
                    message = (
                        f'On a route to "{name}" the caution "{caution}" was taken and has lapsed: '
                        "it is taken a second time. Move what runs the machine up."
                    )
                    place = next(key for key in steps if key == name)
                    yield view.problem(place, "lockout-twice", message, "warning")
                state = held
            for target in view.graph.successors(name):
                may[target] |= state


def _known(view: View, step: Step) -> bool:
    cautions = view.library.cautions
    return all(name in cautions.hazards for name in step.hazards) and all(
        name in cautions.cautions for name in step.cautions
    )


def _cause(view: View, step: Question | Finding, clash: int) -> Placed | None:
    """Return the word of the step that calls for one of the cautions that clash."""
    assert view.cautions is not None
    listed: Sequence[Placed] = step.cautions
    for caution in listed:
        if view.cautions.closed(1 << view.cautions.number[caution]) & clash:
            return caution
    for hazard in step.hazards:
        if view.cautions.closed(view.cautions.cover.get(hazard, 0)) & clash:
            return hazard
    return None
