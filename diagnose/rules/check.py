"""All rules over a library, or over one file of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeAlias

from diagnose.files.kinds import MOST_PROBLEMS
from diagnose.files.library import CAUTIONS_FILE, SITE_FILE, collector_at_rest
from diagnose.files.problems import LONGEST_MESSAGE, Problem, code_of
from diagnose.files.strays import strays
from diagnose.rules import blanks, cards, cautions, findings, names, safety, shape, worked
from diagnose.rules.view import CardView, CautionsView, RoundView, TreeView
from diagnose.study.in_force import caution_table
from diagnose.text import shortened

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from diagnose.files.card import Card
    from diagnose.files.library import Library
    from diagnose.files.rounds import Round
    from diagnose.files.tree import Tree
    from diagnose.rules.view import Objection, View
    from diagnose.study.in_force import CautionTable

    Rule: TypeAlias = Callable[[Any], Iterator[Objection]]

#: Every rule, with the kinds of file that it looks at. Its name is the code of what it finds.
RULES: Final[tuple[tuple[Rule, tuple[type[View[Any]], ...]], ...]] = (
    (names.unknown_step, (TreeView,)),
    (names.unknown_answer, (TreeView,)),
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
    (cautions.uncovered, (CautionsView,)),
    (cautions.covered_twice, (CautionsView,)),
    (cautions.covers_service_only, (CautionsView,)),
    (cautions.includes_itself, (CautionsView,)),
    (cautions.no_release, (CautionsView,)),
    (cautions.lockout_holds, (CautionsView,)),
    (worked.worked_case, (TreeView,)),
    (blanks.blank, (TreeView, RoundView, CautionsView, CardView)),
)

_RULES_ON: Final[dict[type[View[Any]], list[tuple[str, Rule]]]] = {
    kind: [(code_of(rule), rule) for rule, kinds in RULES if kind in kinds]
    for kind in (TreeView, RoundView, CautionsView, CardView)
}


def check(library: Library) -> list[Problem]:
    """Return all problems of what was loaded of a library, by file and place."""
    with collector_at_rest():
        problems = [*library.problems, *caution_problems(library)]
        file = library.file(CAUTIONS_FILE)
        broken = any(problem.file == file for problem in errors(problems))
        table = None if broken else caution_table(library.cautions)
        for tree in library.trees.values():
            problems += tree_problems(library, tree, table)
        for draft in library.drafts.values():
            problems += tree_problems(library, draft.tree, table, draft.unread)
        for round_ in library.rounds.values():
            problems += round_problems(library, round_, table)
        for card in library.machines.values():
            problems += card_problems(library, card, "machines", f"{card.machine}.yaml")
        for kind in library.kinds.values():
            parts = ("machines", "kinds", f"{kind.kind}.yaml")
            problems += card_problems(library, kind.as_card(), *parts)
        if library.site is not None:
            problems += card_problems(library, library.site.as_card(), SITE_FILE)
        problems += strays(library)
    return sorted(set(problems))


def errors(problems: Iterable[Problem]) -> list[Problem]:
    """Return the problems that keep a file from being used."""
    return [problem for problem in problems if problem.severity == "error"]


def caution_problems(library: Library) -> list[Problem]:
    """Return what the rules find in `cautions.yaml`."""
    tasks = library.cautions.cautions
    return _found(CautionsView(library=library, parts=(CAUTIONS_FILE,), table=None, tasks=tasks))


def tree_problems(
    library: Library,
    tree: Tree,
    table: CautionTable | None,
    unread: frozenset[str] = frozenset(),
) -> list[Problem]:
    """Return what the rules find in one tree, or in a draft with steps that could not be read.

    `table` is None where the cautions have errors.
    """
    parts = (f"{tree.symptom}.yaml",)
    return _found(
        TreeView(
            library=library, parts=parts, table=table, tasks=tree.steps, tree=tree, unread=unread
        )
    )


def failing_cases(library: Library, tree: Tree, table: CautionTable) -> list[str]:
    """Return the names of the worked cases of a tree that do not end where they say."""
    parts = (f"{tree.symptom}.yaml",)
    view = TreeView(
        library=library, parts=parts, table=table, tasks=tree.steps, tree=tree, unread=frozenset()
    )
    failing = {one.at[1] for one in worked.worked_case(view) if one.severity == "error"}
    return [case.name for number, case in enumerate(tree.worked_cases) if number in failing]


def round_problems(library: Library, round_: Round, table: CautionTable | None) -> list[Problem]:
    """Return what the rules find in one round; `table` is None where the cautions have errors."""
    parts = ("rounds", f"{round_.round}.yaml")
    return _found(
        RoundView(library=library, parts=parts, table=table, tasks=round_.items, round=round_)
    )


def card_problems(library: Library, lines: Card, *parts: str) -> list[Problem]:
    """Return what the rules find in a machine card, a kind of machine or the site, at `parts`."""
    tasks = lines.section(CardView.inside)
    return _found(CardView(library=library, parts=parts, table=None, tasks=tasks, lines=lines))


def _found(view: View[Any]) -> list[Problem]:
    """Return what the rules find in a file: as many errors and warnings as a reader would keep."""
    file = view.library.file(*view.parts)
    found = ((code, objection) for code, rule in _RULES_ON[type(view)] for objection in rule(view))
    kept: dict[str, list[Problem]] = {"error": [], "warning": []}
    for code, one in found:
        if len(kept["error"]) >= MOST_PROBLEMS:
            break
        if len(kept[one.severity]) < MOST_PROBLEMS:
            place = view.library.place(file, one.at)
            message = shortened(one.message, LONGEST_MESSAGE)
            kept[one.severity].append(Problem(file, *place, code, one.severity, message))
    # A library can have a hundred files in which too much is wrong.
    if (places := view.library.places.get(file)) is not None:
        places.forget()
    return kept["error"] + kept["warning"]
