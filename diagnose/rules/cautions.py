"""Rules on `cautions.yaml` itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.files.places import KEY
from diagnose.rules.view import Objection

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from diagnose.files.cautions import Caution
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
    known = view.library.cautions
    covered = {hazard for caution in known.cautions.values() for hazard in caution.covers}
    for name, hazard in known.hazards.items():
        if not hazard.service_only and name not in covered:
            message = f'No caution covers "{name}": write it in the `covers` of one.'
            yield Objection(("hazards", name, KEY), message)


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
            message = f'"{hazard}" is covered by "{by[hazard]}" already: keep one of the two.'
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
            yield Objection(path, f'"{hazard}" is for service only: no caution covers it.')


def includes_itself(view: CautionsView) -> Iterator[Objection]:
    """No caution includes itself, by whatever detour.

    Each would come into force with the other, and which is shown first could not be said.

    Passes:
        cautions: {lockout: {includes: [key-out]}}
    Fails:
        cautions: {lockout: {includes: [key-out]}, key-out: {includes: [lockout]}}
    """
    cautions = view.library.cautions.cautions
    finished: set[str] = set()
    for first in cautions:
        circle = _circle(cautions, first, finished)
        if circle:
            path = view.at(circle[-2], "includes", cautions[circle[-2]].includes.index(circle[-1]))
            yield Objection(path, f"{' → '.join(circle)} closes a circle: take one out.")
            return


def _circle(cautions: Mapping[str, Caution], first: str, finished: set[str]) -> list[str]:
    """Return the cautions from `first` to one that stands among them already, or none.

    Depth first; those that lead to no circle are added to `finished`.
    """
    route = {first: iter(cautions[first].includes)} if first not in finished else {}
    while route:
        name = next(reversed(route))
        included = next(route[name], None)
        if included is None:
            finished.add(name)
            del route[name]
        elif included in route:
            return [*route, included]
        elif included not in finished and included in cautions:
            route[included] = iter(cautions[included].includes)
    return []


def no_release(view: CautionsView) -> Iterator[Objection]:
    """A caution that ends when the machine runs says what is done before: `release`.

    Tools out, covers shut, people clear, own tag off: whoever starts the machine without it starts
    it on somebody.

    Passes:
        cautions: {barrier: {lapses: when energised, release: [People are clear.]}}
    Fails:
        cautions: {barrier: {lapses: when energised}}
    """
    for name, caution in view.library.cautions.cautions.items():
        if caution.lapsing and not caution.release:
            message = f'"{name}" lapses: say what comes before the machine runs again, `release`.'
            yield Objection(view.at(name), message)
