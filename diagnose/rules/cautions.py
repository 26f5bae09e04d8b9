"""Rules on `cautions.yaml` itself."""

from __future__ import annotations

from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING

from diagnose.files.places import KEY
from diagnose.rules.view import Name, Objection, route

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.rules.view import CautionsView


def uncovered(view: CautionsView) -> Iterator[Objection]:
    """Every hazard that is not service's alone stands in the `covers` of a caution.

    Where none covers it, nothing is shown before the steps that name it.

    Passes:
        hazards: {sharp-edges: {title: Edges cut}}
        cautions: {barrier: {covers: [wet-floor, sharp-edges]}}
    Fails:
        hazards: {sharp-edges: {title: Edges cut}}
    """
    covered = {hazard for _, hazard in view.named("covers")}
    for name, hazard in view.library.cautions.hazards.items():
        if not hazard.service_only and name not in covered:
            message = f'Write "{name}" in the `covers` of a caution: none covers it.'
            yield Objection(("hazards", name, KEY), message, spare=Name("hazard", name))


def covered_twice(view: CautionsView) -> Iterator[Objection]:
    """No hazard is covered by two cautions.

    It could not be told which of them a step calls, and both would cost presses.

    Passes:
        cautions: {lockout: {covers: [moving-parts]}, barrier: {covers: [wet-floor]}}
    Fails:
        cautions: {lockout: {covers: [moving-parts]}, barrier: {covers: [wet-floor, moving-parts]}}
    """
    known = view.library.cautions.hazards
    by: dict[str, str] = {}
    for path, hazard in view.named("covers"):
        if hazard not in known or known[hazard].service_only:
            continue
        if hazard in by:
            message = f'Delete "{hazard}" here or in "{by[hazard]}": it is covered there already.'
            yield Objection(path, message)
        by.setdefault(hazard, f"{path[1]}")


def covers_service_only(view: CautionsView) -> Iterator[Objection]:
    """A hazard for service only is covered by no caution.

    A caution over it would say that whoever confirms it may go there.

    Passes:
        hazards: {mains: {title: Charger and cord, service_only: true}}
    Fails:
        cautions: {barrier: {covers: [wet-floor, mains]}}
    """
    known = view.library.cautions.hazards
    for path, hazard in view.named("covers"):
        if hazard in known and known[hazard].service_only:
            yield Objection(
                path, f'Delete "{hazard}" here: it is for service only, and no caution covers it.'
            )


def includes_itself(view: CautionsView) -> Iterator[Objection]:
    """No caution includes itself, by whatever detour.

    Each would come into force with the other, and which is shown first could not be said.

    Passes:
        cautions: {lockout: {includes: [key-out]}}
    Fails:
        cautions: {lockout: {includes: [key-out]}, key-out: {includes: [lockout]}}
    """
    try:
        TopologicalSorter({name: one.includes for name, one in view.tasks.items()}).prepare()
    except CycleError as error:
        # It names the cautions backwards, the first of them again at the end.
        circle = error.args[1][:0:-1]
        place = {name: number for number, name in enumerate(view.tasks)}
        first = min(circle, key=place.__getitem__)
        before = circle.index(first)
        circle = [*circle[before:], *circle[:before], first]
        path = view.at(circle[-2], "includes", view.tasks[circle[-2]].includes.index(first))
        yield Objection(path, f"Take one out: {route(circle)} closes a circle.")


def lockout_holds(view: CautionsView) -> Iterator[Objection]:
    """A lockout ends when the machine is energised.

    Its key and its connector are back in place then. What says that it still holds would have
    somebody reach into a machine that runs.

    Passes:
        cautions:
          barrier: {lockout: true, lapses: when energised, release: [My own tag is off.]}
    Fails:
        cautions: {barrier: {lockout: true, lapses: never}}
    """
    for name, caution in view.tasks.items():
        if caution.lockout and not caution.lapsing:
            message = f'Write `lapses: when energised`: "{name}" isolates the machine.'
            yield Objection(view.at(name, "lapses"), message)


def no_release(view: CautionsView) -> Iterator[Objection]:
    """A caution that ends when the machine runs says what is done before: `release`.

    Tools out, covers shut, people clear, own tag off: whoever starts the machine without it starts
    it on somebody.

    Passes:
        cautions: {barrier: {lapses: when energised, release: [People are clear.]}}
    Fails:
        cautions: {barrier: {lapses: when energised}}
    """
    for name, caution in view.tasks.items():
        if caution.lapsing and not caution.release:
            message = f'Write `release`, what comes before the machine runs again: "{name}" lapses.'
            yield Objection(view.at(name), message)
