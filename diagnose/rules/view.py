"""What a rule sees: one tree of a library, with what can be known of it worked out once."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from diagnose.files.problems import Placed, Problem
from diagnose.files.tree import Question
from diagnose.study.graph import graph_of, loop, reached
from diagnose.study.in_force import CautionTable, caution_table

if TYPE_CHECKING:
    from collections.abc import Iterator

    import networkx as nx

    from diagnose.files.library import Library
    from diagnose.files.problems import Severity
    from diagnose.files.tree import Tree


@dataclass(slots=True)
class View:
    """One tree and the library around it; `unread` are steps of a draft that could not be read."""

    library: Library
    file: str
    tree: Tree
    graph: nx.MultiDiGraph
    cautions: CautionTable | None
    closed_route: list[tuple[str, str, str]] = field(default_factory=list)
    unread: frozenset[str] = frozenset()

    @property
    def sound(self) -> bool:
        """Whether the tree can be walked: start known, all targets known, no closed route."""
        steps = self.tree.steps
        return (
            not self.unread
            and self.tree.start in steps
            and not self.closed_route
            and all(way.to in steps for _, step in self.questions() for way in step.exits)
        )

    def questions(self) -> Iterator[tuple[Placed, Question]]:
        """Yield the checks and readings with their ids."""
        for name, step in self.tree.steps.items():
            if isinstance(step, Question):
                yield name, step

    def problem(self, at: Placed, code: str, message: str, severity: Severity = "error") -> Problem:
        """Return a problem of this file at the place of a text."""
        return Problem(
            file=self.file,
            line=at.line,
            column=at.column,
            code=code,
            severity=severity,
            message=message,
        )


def view_of(
    library: Library,
    tree: Tree,
    cautions: CautionTable | None,
    unread: frozenset[str] = frozenset(),
) -> View:
    """Return the view of one tree; `cautions` is None where `cautions.yaml` has errors."""
    graph = graph_of(tree)
    return View(
        library=library,
        file=library.file(f"{tree.symptom}.yaml"),
        tree=tree,
        graph=graph,
        cautions=cautions,
        closed_route=loop(graph),
        unread=unread,
    )


def reachable(view: View) -> set[str]:
    """Return the steps that can be reached from the start."""
    return reached(view.graph, view.tree.start) if view.tree.start in view.graph else set()


def usable_table(library: Library, problems: list[Problem]) -> CautionTable | None:
    """Return the library's cautions made ready, or None where `cautions.yaml` has errors."""
    file = library.file("cautions.yaml")
    broken = any(p.file == file and p.severity == "error" for p in problems)
    return None if broken else caution_table(library.cautions)
