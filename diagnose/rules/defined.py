"""Where each sort of name is defined in a library, and which of them something names."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from diagnose.files.library import CAUTIONS_FILE, MEASUREMENTS_FILE
from diagnose.files.places import KEY
from diagnose.files.tree import Finding, Question, Reading
from diagnose.rules.view import CardView
from diagnose.study.plan import passing_answer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from diagnose.files.library import Library
    from diagnose.files.places import Path
    from diagnose.files.rounds import Item
    from diagnose.files.tree import Step, Tree
    from diagnose.rules.view import Name


class Defined(NamedTuple):
    """The names of one sort: where each is defined, in `parts` of the library, and those named.

    `home` is where a name would be defined that is not.
    """

    home: tuple[str, ...]
    places: Mapping[str, tuple[tuple[str, ...], Path]]
    named: set[str]


def defined(library: Library, name: Name) -> Defined:
    """Return the names of the sort of a name, in the tree or step that it is inside of."""
    return _SORTS[name.sort](library, name)


def home_of(name: Name, known: Defined) -> tuple[str, ...]:
    """Return where a name would be defined: some have a file each."""
    return (*known.home[:-1], f"{name.word}.yaml") if name.sort in _OWN_FILE else known.home


#: Sorts of name that have a file each.
_OWN_FILE: Final = ("symptom", "kind")


def _tasks(library: Library) -> Iterator[Step | Item]:
    for tree in _trees(library):
        yield from tree.steps.values()
    for round_ in library.rounds.values():
        yield from round_.items.values()


def _trees(library: Library) -> Iterator[Tree]:
    yield from library.trees.values()
    yield from (draft.tree for draft in library.drafts.values())


def _tree(library: Library, symptom: str) -> Tree:
    known = library.trees.get(symptom)
    return known if known is not None else library.drafts[symptom].tree


def _hazards(library: Library, _: Name) -> Defined:
    known = library.cautions
    named = {word for task in _tasks(library) for word in task.hazards}
    named |= {word for caution in known.cautions.values() for word in caution.covers}
    places = {word: ((CAUTIONS_FILE,), ("hazards", word, KEY)) for word in known.hazards}
    return Defined((CAUTIONS_FILE,), places, named)


def _cautions(library: Library, _: Name) -> Defined:
    known = library.cautions.cautions
    named = {word for task in _tasks(library) for word in task.cautions}
    named |= {word for caution in known.values() for word in caution.includes}
    for card in library.machines.values():
        named |= {*card.section(CardView.inside)}
    places = {word: ((CAUTIONS_FILE,), ("cautions", word, KEY)) for word in known}
    return Defined((CAUTIONS_FILE,), places, named)


def _steps(library: Library, name: Name) -> Defined:
    tree = _tree(library, name.inside[0])
    parts = (f"{tree.symptom}.yaml",)
    named = {tree.start}
    for step in tree.steps.values():
        if isinstance(step, Question):
            named |= {*(way.to for way in step.exits), *step.after, step.same_as or ""}
    for case in tree.worked_cases:
        named |= {case.finding, *case.answers}
    return Defined(parts, {word: (parts, ("steps", word, KEY)) for word in tree.steps}, named)


def _answers(library: Library, name: Name) -> Defined:
    symptom, step = name.inside
    tree = _tree(library, symptom)
    parts, question = (f"{symptom}.yaml",), tree.steps[step]
    if isinstance(question, Finding):
        return Defined(parts, {}, set())
    named = {question.passes or "", question.if_unsure or "", passing_answer(tree, question) or ""}
    named |= {f"{case.answers[step]}" for case in tree.worked_cases if step in case.answers}
    for round_ in library.rounds.values():
        items = round_.items.values()
        named |= {item.seen[step] for item in items if item.starts == symptom and step in item.seen}
    places = {
        way.answer: (parts, ("steps", step, *question.answer_at(number)))
        for number, way in enumerate(question.exits)
    }
    return Defined(parts, places, named)


def _symptoms(library: Library, name: Name) -> Defined:
    named = {getattr(task, key, None) for task in _tasks(library) for key in _STARTS}
    places = {word: ((f"{word}.yaml",), ("symptom",)) for word in library.symptoms}
    return Defined((f"{name.word}.yaml",), places, {word for word in named if word})


_STARTS: Final = ("continue_with", "starts")


def _kinds(library: Library, name: Name) -> Defined:
    inside = ("machines", "kinds")
    places = {word: ((*inside, f"{word}.yaml"), ("kind",)) for word in library.kinds}
    named = {card.kind for card in library.machines.values() if card.kind is not None}
    return Defined((*inside, f"{name.word}.yaml"), places, named)


def _measurements(library: Library, name: Name) -> Defined:
    """Those that a library declares; the program's own are defined in none."""
    places = {
        word: ((MEASUREMENTS_FILE,), ("measurements", word, KEY)) for word in library.measurements
    }
    named = {step.read for step in _tasks(library) if isinstance(step, Reading)}
    return Defined((f"{name.inside[0]}.yaml",), places, named)


_SORTS: Final[dict[str, Callable[[Library, Name], Defined]]] = {
    "hazard": _hazards,
    "caution": _cautions,
    "step": _steps,
    "answer": _answers,
    "symptom": _symptoms,
    "kind": _kinds,
    "measurement": _measurements,
}
