"""Rules on `cautions.yaml` itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.files.problems import Problem
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.cautions import Cautions
    from diagnose.files.library import Library
    from diagnose.files.problems import Placed


def caution_problems(library: Library) -> Iterator[Problem]:
    """Yield what is wrong with the hazards and cautions of a library."""
    file = library.file("cautions.yaml")
    for rule in CAUTION_RULES:
        for at, code, message in rule(library.cautions):
            yield Problem(
                file=file,
                line=at.line,
                column=at.column,
                code=code,
                severity="error",
                message=message,
            )


def covered_once(cautions: Cautions) -> Iterator[tuple[Placed, str, str]]:
    """Every hazard is covered by exactly one caution; one for service only by none."""
    by: dict[str, str] = {}
    for name, caution in cautions.cautions.items():
        for hazard in caution.covers:
            known = cautions.hazards.get(hazard)
            if known is None:
                hint = did_you_mean(hazard, cautions.hazards)
                yield hazard, "unknown-hazard", f'There is no hazard "{hazard}".{hint}'
            elif known.service_only:
                message = f'"{hazard}" is for service only: no caution covers it.'
                yield hazard, "covers-service-only", message
            elif hazard in by:
                message = f'"{hazard}" is covered by "{by[hazard]}" already: keep one of the two.'
                yield hazard, "covered-twice", message
            else:
                by[hazard] = name
    for hazard, known in cautions.hazards.items():
        if not known.service_only and hazard not in by:
            message = f'No caution covers "{hazard}": write it in the `covers` of one.'
            yield hazard, "uncovered", message


def known_includes(cautions: Cautions) -> Iterator[tuple[Placed, str, str]]:
    """What a caution includes is known."""
    for caution in cautions.cautions.values():
        for included in caution.includes:
            if included not in cautions.cautions:
                hint = did_you_mean(included, cautions.cautions)
                yield included, "unknown-caution", f'There is no caution "{included}".{hint}'


def includes_end(cautions: Cautions) -> Iterator[tuple[Placed, str, str]]:
    """No caution includes itself, by whatever detour."""
    finished: set[str] = set()
    for first in cautions.cautions:
        route: list[tuple[str, Iterator[Placed]]] = []
        if first not in finished:
            route = [(first, iter(cautions.cautions[first].includes))]
        while route:
            name, left = route[-1]
            included = next(left, None)
            if included is None:
                finished.add(name)
                route.pop()
            elif included in [step for step, _ in route]:
                names = " → ".join([*(step for step, _ in route), included])
                yield included, "includes-itself", f"{names} closes a circle: take one out."
                finished.update(step for step, _ in route)
                return
            elif included not in finished and included in cautions.cautions:
                route.append((included, iter(cautions.cautions[included].includes)))


def release_where_it_lapses(cautions: Cautions) -> Iterator[tuple[Placed, str, str]]:
    """A caution that lapses says what is done before the machine runs again."""
    for name, caution in cautions.cautions.items():
        if caution.lapsing and not caution.release:
            message = f'"{name}" lapses: say what comes before the machine runs again, `release`.'
            yield name, "no-release", message


CAUTION_RULES = (covered_once, known_includes, includes_end, release_where_it_lapses)
