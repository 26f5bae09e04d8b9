"""All rules over a library, or over one file of it."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from diagnose.files.kinds import MOST_PROBLEMS
from diagnose.files.library import (
    CAUTIONS_FILE,
    MEASUREMENTS_FILE,
    SITE_FILE,
    collector_at_rest,
)
from diagnose.files.problems import LONGEST_MESSAGE, Problem, code_of
from diagnose.files.strays import strays
from diagnose.rules import (
    blanks,
    cards,
    cautions,
    chances,
    findings,
    measurements,
    names,
    safety,
    shape,
    signs,
    twice,
    worked,
)
from diagnose.rules.causes import Found, causes
from diagnose.rules.view import (
    CardView,
    CautionsView,
    LibraryView,
    MeasurementsView,
    RoundView,
    TreeView,
)
from diagnose.study.in_force import caution_table
from diagnose.text import shortened

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from diagnose.files.card import Card
    from diagnose.files.library import Library
    from diagnose.files.rounds import Round
    from diagnose.files.tree import Tree
    from diagnose.rules.causes import Cause
    from diagnose.rules.view import Objection, View
    from diagnose.study.in_force import CautionTable

    Rule: TypeAlias = Callable[[Any], Iterator[Objection]]

#: Every rule, with the kinds of file that it looks at. Its name is the code of what it finds.
RULES: Final[tuple[tuple[Rule, tuple[type[View[Any]], ...]], ...]] = (
    (names.unknown_step, (TreeView,)),
    (names.unknown_answer, (TreeView,)),
    (names.former_id, (TreeView,)),
    (names.begins_with, (RoundView,)),
    (names.unknown_hazard, (TreeView, RoundView, CautionsView)),
    (names.unknown_caution, (TreeView, RoundView, CautionsView, CardView)),
    (names.unknown_symptom, (TreeView, RoundView)),
    (names.unknown_measurement, (TreeView,)),
    (names.unknown_line, (TreeView, RoundView)),
    (names.unknown_kind, (CardView, TreeView, RoundView)),
    (names.other_kinds, (TreeView, RoundView)),
    (names.card_answer, (TreeView,)),
    (cards.condition, (TreeView, RoundView)),
    (cards.card_value, (CardView,)),
    (shape.unreached, (TreeView,)),
    (shape.closed_route, (TreeView,)),
    (shape.answer_word, (TreeView,)),
    (shape.same_as, (TreeView,)),
    (shape.bands, (TreeView,)),
    (shape.unreachable_band, (TreeView,)),
    (shape.after, (TreeView,)),
    (shape.passes, (TreeView,)),
    (findings.missing_key, (TreeView,)),
    (findings.no_until_mended, (TreeView,)),
    (findings.doorway, (TreeView,)),
    (findings.no_remedy, (TreeView,)),
    (findings.service_remedy, (TreeView,)),
    (findings.no_leave_safe, (TreeView,)),
    (safety.energises, (TreeView, RoundView)),
    (safety.service_only, (TreeView, RoundView)),
    (safety.lockout_twice, (TreeView,)),
    (safety.suggested_hazard, (TreeView, RoundView)),
    (cautions.uncovered, (CautionsView,)),
    (cautions.covered_twice, (CautionsView,)),
    (cautions.covers_service_only, (CautionsView,)),
    (cautions.includes_itself, (CautionsView,)),
    (cautions.no_release, (CautionsView,)),
    (cautions.lockout_holds, (CautionsView,)),
    (measurements.taken_measurement, (MeasurementsView,)),
    (measurements.input_unit, (MeasurementsView,)),
    (measurements.formula, (MeasurementsView,)),
    (measurements.expected_range, (MeasurementsView,)),
    (worked.worked_case, (TreeView,)),
    (worked.no_unit, (TreeView,)),
    (blanks.blank, (TreeView, RoundView, CautionsView, CardView, MeasurementsView)),
    (blanks.cut_text, (TreeView, RoundView, CautionsView, CardView, MeasurementsView)),
    (signs.unknown_sign, (CautionsView,)),
    (chances.mixed_chances, (TreeView,)),
    (chances.other_scale, (LibraryView,)),
    (twice.title_twice, (LibraryView,)),
    (twice.serial_twice, (LibraryView,)),
    (twice.also_called_twice, (LibraryView,)),
    (twice.case_twice, (TreeView,)),
)

_RULES_ON: Final[dict[type[View[Any]], list[tuple[str, Rule]]]] = {
    kind: [(code_of(rule), rule) for rule, kinds in RULES if kind in kinds]
    for kind in (TreeView, RoundView, CautionsView, CardView, MeasurementsView, LibraryView)
}


def check(library: Library) -> list[Problem]:
    """Return all problems of what was loaded of a library, by file and place.

    What follows from one mistake is one problem, the mistake's.
    """
    return [one.problem for one in all_causes(library)]


def all_causes(library: Library) -> list[Cause]:
    """Return the problems of a library as `check` does, with the files that each concerns."""
    with collector_at_rest():
        own = _found(_cautions_view(library))
        file = library.file(CAUTIONS_FILE)
        read = [*library.problems, *(one.problem for one in own)]
        broken = any(problem.file == file for problem in errors(read))
        table = None if broken else caution_table(library.cautions)
        found = [own, *map(_found, _views(library, table))]
        others = [*library.problems, *strays(library)]
        return causes(library, others, itertools.chain.from_iterable(found))


def errors(problems: Iterable[Problem]) -> list[Problem]:
    """Return the problems that keep a file from being used."""
    return [problem for problem in problems if problem.severity == "error"]


def caution_problems(library: Library) -> list[Problem]:
    """Return what the rules find in `cautions.yaml`."""
    return _problems(_cautions_view(library))


def measurement_problems(library: Library) -> list[Problem]:
    """Return what the rules find in `measurements.yaml`."""
    return _problems(_measurements_view(library))


def tree_problems(
    library: Library,
    tree: Tree,
    table: CautionTable | None,
    unread: frozenset[str] = frozenset(),
) -> list[Problem]:
    """Return what the rules find in one tree, or in a draft with steps that could not be read.

    `table` is None where the cautions have errors.
    """
    return _problems(_tree_view(library, tree, table, unread))


def failing_cases(library: Library, tree: Tree, table: CautionTable) -> list[str]:
    """Return the names of the worked cases of a tree that do not end where they say."""
    view = _tree_view(library, tree, table)
    failing = {one.at[1] for one in worked.worked_case(view) if one.severity == "error"}
    return [case.name for number, case in enumerate(tree.worked_cases) if number in failing]


def round_problems(library: Library, round_: Round, table: CautionTable | None) -> list[Problem]:
    """Return what the rules find in one round; `table` is None where the cautions have errors."""
    return _problems(_round_view(library, round_, table))


def card_problems(library: Library, lines: Card, *parts: str) -> list[Problem]:
    """Return what the rules find in a machine card, a kind of machine or the site, at `parts`."""
    return _problems(_card_view(library, lines, *parts))


def _views(library: Library, table: CautionTable | None) -> Iterator[View[Any]]:
    """Yield a view of each file of a library but `cautions.yaml`."""
    if library.measurements:
        yield _measurements_view(library)
    for tree in library.trees.values():
        yield _tree_view(library, tree, table)
    for draft in library.drafts.values():
        yield _tree_view(library, draft.tree, table, draft.unread)
    for round_ in library.rounds.values():
        yield _round_view(library, round_, table)
    for card in library.machines.values():
        yield _card_view(library, card, "machines", f"{card.machine}.yaml")
    for kind in library.kinds.values():
        yield _card_view(library, kind.as_card(), "machines", "kinds", f"{kind.kind}.yaml")
    if library.site is not None:
        yield _card_view(library, library.site.as_card(), SITE_FILE)
    yield LibraryView(library=library, parts=(), table=table, tasks={})


def _cautions_view(library: Library) -> CautionsView:
    tasks = library.cautions.cautions
    return CautionsView(library=library, parts=(CAUTIONS_FILE,), table=None, tasks=tasks)


def _measurements_view(library: Library) -> MeasurementsView:
    parts, tasks = (MEASUREMENTS_FILE,), library.measurements
    return MeasurementsView(library=library, parts=parts, table=None, tasks=tasks)


def _tree_view(
    library: Library,
    tree: Tree,
    table: CautionTable | None,
    unread: frozenset[str] = frozenset(),
) -> TreeView:
    parts = (f"{tree.symptom}.yaml",)
    return TreeView(
        library=library, parts=parts, table=table, tasks=tree.steps, tree=tree, unread=unread
    )


def _round_view(library: Library, round_: Round, table: CautionTable | None) -> RoundView:
    parts = ("rounds", f"{round_.round}.yaml")
    return RoundView(library=library, parts=parts, table=table, tasks=round_.items, round=round_)


def _card_view(library: Library, lines: Card, *parts: str) -> CardView:
    tasks = lines.section(CardView.inside)
    return CardView(library=library, parts=parts, table=None, tasks=tasks, lines=lines)


def _problems(view: View[Any]) -> list[Problem]:
    return [one.problem for one in _found(view)]


def _found(view: View[Any]) -> list[Found]:
    """Return what the rules find in a file: as many errors and warnings as a reader would keep."""
    library = view.library
    seen = set()
    found = ((code, objection) for code, rule in _RULES_ON[type(view)] for objection in rule(view))
    kept: dict[str, list[Found]] = {"error": [], "warning": []}
    for code, one in found:
        if len(kept["error"]) >= MOST_PROBLEMS:
            break
        if len(kept[one.severity]) < MOST_PROBLEMS:
            file = library.file(*(view.parts if one.parts is None else one.parts))
            seen.add(file)
            place = one.place or library.place(file, one.at)
            message = shortened(one.message, LONGEST_MESSAGE)
            problem = Problem(file, *place, code, one.severity, message)
            if problem.line not in library.mended.get(file, ()):
                kept[one.severity].append(Found(problem, one))
    # A library can have a hundred files in which too much is wrong.
    for file in {library.file(*view.parts), *seen} & library.places.keys():
        library.places[file].forget()
    return kept["error"] + kept["warning"]
