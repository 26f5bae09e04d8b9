"""`diagnose check --coverage`: what no worked case walks, with its place in the file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeAlias

from diagnose.files.library import CAUTIONS_FILE
from diagnose.files.places import KEY
from diagnose.files.tree import Question
from diagnose.rules.check import errors
from diagnose.study.coverage import coverage
from diagnose.study.in_force import caution_table
from diagnose.study.measurements import measurements_of
from diagnose.study.ready import made_ready

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from diagnose.files.library import Library
    from diagnose.files.places import Path
    from diagnose.files.problems import Problem
    from diagnose.files.tree import Tree
    from diagnose.study.coverage import Coverage, Way

    #: A library with the coverage of its trees, by symptom; None where that is not known.
    Walked: TypeAlias = tuple[Library, Mapping[str, Coverage | None]]

#: The kinds of things that are walked, with what one of them is called.
_KINDS: Final = {
    "findings": "finding",
    "doorways": "doorway",
    "answers": "answer",
    "bands": "band",
}


def coverages(
    library: Library, symptoms: Iterable[str], problems: Iterable[Problem]
) -> dict[str, Coverage | None]:
    """Return the coverage of each symptom's tree; None where that or the cautions have errors."""
    broken = {problem.file for problem in errors(problems)}
    if library.file(CAUTIONS_FILE) in broken:
        return dict.fromkeys(symptoms)
    table, known = caution_table(library.cautions), measurements_of(library)
    return {
        name: None
        if name not in library.trees or library.file(f"{name}.yaml") in broken
        else coverage(made_ready(library.trees[name], table, measurements=known))
        for name in symptoms
    }


def as_data(walked: Iterable[Walked]) -> dict[str, Any]:
    """Return coverages for other programs: of each kind how many there are, and what is missing."""
    return {
        name: None if one is None else _data(library, name, one)
        for library, found in walked
        for name, one in found.items()
    }


def _data(library: Library, symptom: str, one: Coverage) -> dict[str, Any]:
    data: dict[str, Any] = {"cases": one.cases}
    for kind in _KINDS:
        walked = getattr(one, kind)
        rows = []
        for thing in walked.missing:
            step, answer = (thing, None) if isinstance(thing, str) else thing
            line, column = _place(library, symptom, step, answer)
            row = {"step": step} if answer is None else {"step": step, "answer": answer}
            rows.append(row | {"line": line, "column": column})
        data[kind] = {"of": walked.of, "missing": rows}
    return data


def lines(walked: Iterable[Walked]) -> Iterator[str]:
    """Yield what is missing, each with its place, and behind each tree how much is walked."""
    for library, found in walked:
        yield from _lines(library, found)


def _lines(library: Library, found: Mapping[str, Coverage | None]) -> Iterator[str]:
    for symptom, one in found.items():
        file = library.file(f"{symptom}.yaml")
        if one is None:
            yield f"{file}: not walked, since it or {CAUTIONS_FILE} has errors."
            continue
        rows = [(kind, thing) for kind in _KINDS for thing in getattr(one, kind).missing]
        told = [_line(library, symptom, _KINDS[kind], thing) for kind, thing in rows]
        yield from (f"{file}:{line}:{column}: {what}" for (line, column), what in sorted(told))
        yield f"{symptom}: {_counted(one)}."


def _line(
    library: Library, symptom: str, word: str, thing: str | Way
) -> tuple[tuple[int, int], str]:
    """Return where something stands that no worked case walks, and what is said of it."""
    if isinstance(thing, str):
        what = f'warning: No worked case ends at the {word} "{thing}".'
        return _place(library, symptom, thing, None), what
    step, answer = thing
    what = f'No worked case walks the {word} "{answer}" of "{step}".'
    return _place(library, symptom, step, answer), what


def _counted(one: Coverage) -> str:
    """Return in words how much of a tree its worked cases walk."""
    said = []
    for kind in _KINDS:
        walked = getattr(one, kind)
        if walked.of:
            said.append(f"{walked.of - len(walked.missing)} of {walked.of} {kind}")
    cases = f"{one.cases} worked case{'' if one.cases == 1 else 's'}"
    return f"{cases} walk{'s' if one.cases == 1 else ''} {', '.join(said)}"


def _place(library: Library, symptom: str, step: str, answer: str | None) -> tuple[int, int]:
    """Return line and column of a step, or of one of its answers."""
    return library.place(
        library.file(f"{symptom}.yaml"), _path(library.trees[symptom], step, answer)
    )


def _path(tree: Tree, name: str, answer: str | None) -> Path:
    step = tree.steps[name]
    if answer is None or not isinstance(step, Question):
        return ("steps", name, KEY)
    number = [way.answer for way in step.exits].index(answer)
    return ("steps", name, *step.answer_at(number))
