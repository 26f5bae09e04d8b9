"""A library as text, the way its author would write it, read by the program's own reader."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import yaml

from diagnose.case.visit import Visit
from diagnose.files.library import Library, put_in
from diagnose.round.state import ready_round
from diagnose.rules.check import check, errors
from diagnose.study.in_force import CautionTable, caution_table
from diagnose.study.plan import Plan, plan_of
from diagnose.study.ready import made_ready
from strategies.walker import RoundWalker, Walker

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.card import Card
    from diagnose.files.problems import Problem
    from diagnose.files.tree import Tree
    from diagnose.study.ready import ReadyTree

NO_CAUTIONS = "format: 1\nhazards: {}\ncautions: {}\n"


@dataclass(frozen=True)
class Written:
    """The texts of a library: trees by symptom, `cautions.yaml`, rounds, one machine card or none.

    The card may be one of some `kinds`, and stand at a `site`.
    `symptoms` are the files that are there but were not written here, such as a doorway's target.
    """

    trees: Mapping[str, str]
    cautions: str = NO_CAUTIONS
    card: str | None = None
    symptoms: tuple[str, ...] = ()
    rounds: Mapping[str, str] = field(default_factory=dict)
    kinds: Mapping[str, str] = field(default_factory=dict)
    site: str | None = None

    def __repr__(self) -> str:
        parts = {
            **{"cautions": self.cautions, "card": self.card or "", "site": self.site or ""},
            **self.kinds,
            **self.trees,
            **self.rounds,
        }
        return "\n".join(f"--- {name}\n{text}" for name, text in parts.items())


@dataclass
class Read:
    """A library that was read without a problem, ready to be walked."""

    library: Library
    table: CautionTable
    card: Card | None
    ready_trees: dict[str, ReadyTree] = field(default_factory=dict)

    @property
    def trees(self) -> dict[str, Tree]:
        return self.library.trees

    def ready(self, symptom: str) -> ReadyTree | None:
        tree = self.trees.get(symptom)
        # One for other machines is not there, as in `ReadyLibrary`.
        if tree is None or (self.card is not None and not self.card.fits(tree.applies_to)):
            return None
        if symptom not in self.ready_trees:
            self.ready_trees[symptom] = made_ready(tree, self.table, card=self.card)
        return self.ready_trees[symptom]

    def plan(self, symptom: str) -> Plan:
        return plan_of(self.trees[symptom], self.table)

    def visit(self, role: str = "operator") -> Visit:
        return Visit(tree=self.ready, table=self.table, role=role, card=self.card)

    def walk(self, role: str = "operator") -> Walker:
        return Walker(self.visit(role))

    def walk_round(self, name: str, role: str = "operator") -> RoundWalker:
        made = ready_round(self.library.rounds[name], self.table, self.card)
        return RoundWalker(self.visit(role), made)


def text_of(data: Any) -> str:
    """Return data as YAML, in the order in which it stands."""
    text: str = yaml.dump(
        data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, default_flow_style=None
    )
    return text


class _Dumper(getattr(yaml, "CSafeDumper", yaml.SafeDumper)):  # type: ignore[misc]
    """Writes out what stands twice: library files have no aliases."""

    def ignore_aliases(self, _data: Any) -> bool:
        return True


def loaded(written: Written) -> tuple[Library, Card | None, list[Problem]]:
    """Return what the program's reader and checker make of the texts."""
    library = Library(Path("library"))
    library.symptoms = (*written.trees, *written.symptoms)
    put_in(library, written.cautions, "cautions.yaml")
    for symptom, text in written.trees.items():
        put_in(library, text, f"{symptom}.yaml")
    for round_, text in written.rounds.items():
        put_in(library, text, "rounds", f"{round_}.yaml")
    if written.site is not None:
        put_in(library, written.site, "site.yaml")
    for kind, text in written.kinds.items():
        put_in(library, text, "machines", "kinds", f"{kind}.yaml")
    if written.card is not None:
        put_in(library, written.card, "machines", "m.yaml")
    return library, library.card("m"), check(library)


def read(written: Written) -> Read:
    """Return the library; an error in it is an error of the test."""
    library, card, problems = loaded(written)
    wrong = errors(problems)
    assert not wrong, [str(problem) for problem in wrong]
    minutes = card.section("caution_minutes") if card is not None else {}
    made = caution_table(library.cautions, minutes)
    return Read(library, made, card)
