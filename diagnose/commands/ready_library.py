"""The trees of a library as a walk takes them: read and checked when they are first asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.commands.options import Unusable, WrongUse
from diagnose.files.library import (
    CAUTIONS_FILE,
    KINDS,
    MACHINES,
    MEASUREMENTS_FILE,
    ROUNDS,
    SITE_FILE,
    add,
    files_in,
    load,
)
from diagnose.files.tree import Reading
from diagnose.round.state import ReadyRound, ready_round
from diagnose.rules.blanks import BLANK_CODE
from diagnose.rules.check import (
    card_problems,
    caution_problems,
    errors,
    measurement_problems,
    round_problems,
    tree_problems,
)
from diagnose.study.in_force import CautionTable, caution_table
from diagnose.study.measurements import measurements_of
from diagnose.study.ready import made_ready
from diagnose.study.tailored import against, is_for
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from diagnose.files.card import Card
    from diagnose.files.library import Library
    from diagnose.files.problems import Problem
    from diagnose.files.rounds import Item, Round
    from diagnose.files.tree import Step, Tree
    from diagnose.study.ready import ReadyTree


class ReadyLibrary:
    """A library, opened for one machine.

    `chances` by symptom and finding are those that a case was opened with, where it is resumed.
    With `finished`, a tree or round in which something is still to be written cannot be walked, and
    neither can one that calls such a caution: nobody at a machine is to read it.
    """

    def __init__(
        self, folder: Path, symptoms: frozenset[str] | None = None, *, finished: bool = False
    ) -> None:
        self.folder = folder
        self._finished = finished
        self.content: Library = load(folder, only=symptoms)
        # Cards and rounds that nobody has asked for yet.
        self._to_come: set[tuple[str, ...]] = set()
        if symptoms is not None:
            for inside in (KINDS, MACHINES, ROUNDS):
                self._to_come.update(files_in(self.content, inside))
        self.card: Card | None = None
        self.chances: Mapping[str, Mapping[str, float]] = {}
        self._trees: dict[str, ReadyTree | None] = {}
        self._broken: dict[str, list[Problem]] = {}
        problems = errors([*self.content.problems, *caution_problems(self.content)])
        file = self.content.file("cautions.yaml")
        self._caution_errors = [problem for problem in problems if problem.file == file]
        self._measurements = measurements_of(self.content)

    @property
    def table(self) -> CautionTable:
        """The cautions, with the minutes that they take on this machine; none where broken."""
        from diagnose.files.cautions import Cautions

        if self._caution_errors:
            return caution_table(Cautions(hazards={}, cautions={}))
        minutes = self.card.section("caution_minutes") if self.card else {}
        return caution_table(self.content.cautions, {str(k): float(v) for k, v in minutes.items()})

    @property
    def machines(self) -> Mapping[str, Card]:
        """All machine cards that can be used."""
        self._bring(MACHINES)
        return dict(sorted(self.content.machines.items()))

    @property
    def rounds(self) -> Mapping[str, Round]:
        """All rounds that can be read."""
        self._bring(ROUNDS)
        return dict(sorted(self.content.rounds.items()))

    def _bring(self, inside: str, name: str | None = None) -> None:
        """Read what is still to come of a folder: all in it, or the one file of a name."""
        path = tuple(inside.split("/"))
        wanted = {parts for parts in self._to_come if parts[: len(path)] == path}
        if name is not None:
            wanted &= {(*path, f"{name}.yaml")}
        self._to_come -= wanted
        add(self.content, *sorted(wanted))

    def _bring_kinds(self, what: Tree | Round) -> None:
        """Read the kinds of machine where something names one, to check that it is there."""
        if what.kinds:
            self._bring(KINDS)

    def machine(self, name: str | None) -> Card | None:
        """Return (and take) the card of a machine; "none" or None is no machine.

        Raises `WrongUse` for a machine that is not there, `Unusable` for a card with errors.
        """
        if name is None or name == "none":
            self.card = None
            return None
        self._bring(MACHINES, name)
        file = self.content.file(MACHINES, f"{name}.yaml")
        folder = self.content.file(MACHINES)
        broken = self.content.problems_of(file) or self.content.problems_of(folder)
        if broken:
            raise Unusable(f"{broken[0]} (`diagnose check` lists all)")
        card = self.content.card(name)
        if card is None:
            hint = did_you_mean(name, self.machines)
            raise WrongUse(f'There is no machine "{name[:40]}" in {self.folder}/machines.{hint}')
        if card.kind is not None:
            self._bring(KINDS, card.kind)
            card = self.content.card(name) or card
        if card.kind is not None and card.kind not in self.content.kinds:
            kind = f"machines/kinds/{card.kind}.yaml"
            message = f"{file}: its kind is not there or has errors: {kind}"
            raise Unusable(f"{message} (`diagnose check` lists all)")
        if wrong := self._unusable_lines(name):
            raise Unusable(f"{wrong[0]} (`diagnose check` lists all)")
        self.card = card
        return card

    def _unusable_lines(self, machine: str) -> list[Problem]:
        """Return the errors of a machine's card, its kind and the site."""
        card = self.content.machines[machine]
        problems = card_problems(self.content, card, MACHINES, f"{machine}.yaml")
        if (kind := self.content.kinds.get(card.kind or "")) is not None:
            parts = (*KINDS.split("/"), f"{kind.kind}.yaml")
            problems += card_problems(self.content, kind.as_card(), *parts)
        if (site := self.content.site) is not None:
            problems += card_problems(self.content, site.as_card(), SITE_FILE)
        # While cautions.yaml has errors no caution is known, and no step is gone to that needs one.
        unjudged = "unknown-caution" if self._caution_errors else ""
        return [problem for problem in errors(problems) if problem.code != unjudged]

    def require(self, symptom: str) -> ReadyTree:
        """Return the ready tree of a symptom.

        Raises `WrongUse` for one that is not there, `Unusable` for one that cannot be walked.
        """
        ready = self(symptom)
        if ready is not None:
            return ready
        elsewhere = self.not_here(symptom)
        if elsewhere:
            raise WrongUse(f'"{symptom}" is for other machines: {elsewhere}.')
        if symptom not in self.content.symptoms:
            hint = did_you_mean(symptom, self.content.symptoms)
            raise WrongUse(f'There is no symptom "{symptom[:40]}" in {self.folder}.{hint}')
        broken = self._broken[symptom]
        more = f" (and {len(broken) - 1} more)" if len(broken) > 1 else ""
        raise Unusable(f"{broken[0]}{more}; {_mend(broken[0])}")

    @property
    def symptoms(self) -> tuple[str, ...]:
        """The symptoms that this machine can have, those whose files have errors too."""
        return tuple(
            name
            for name in self.content.symptoms
            if not self.not_here(name) and not (self._finished and self._has_blanks(f"{name}.yaml"))
        )

    def _has_blanks(self, file: str) -> bool:
        places = self.content.places.get(self.content.file(file))
        return places is not None and any(places.blanks())

    def _in_the_way(self, found: Sequence[Problem], tasks: Iterable[Step | Item]) -> list[Problem]:
        """Return what keeps a tree or a round from being walked: of what was found in its file, and
        of the cautions where it needs any.
        """
        own = errors(found)
        guarded = [task for task in tasks if task.hazards or task.cautions]
        if guarded:
            own = self._caution_errors + own
        if self._finished and not own:
            own = [problem for problem in found if problem.code == BLANK_CODE]
            own += self._blank_cautions(guarded)
        return own

    def _blank_cautions(self, tasks: Iterable[Step | Item]) -> list[Problem]:
        """Return what is still to be written of the hazards and cautions that some tasks call."""
        file = self.content.file(CAUTIONS_FILE)
        if not self._has_blanks(CAUTIONS_FILE):
            return []
        called = {("hazards", name) for task in tasks for name in task.hazards}
        needed = (self.table.names(self.table.needs(task)) for task in tasks)
        called |= {("cautions", name) for names in needed for name in names}
        blanks = [path for path, _ in self.content.places[file].blanks()]
        at = {self.content.place(file, path) for path in blanks if path[:2] in called}
        found = caution_problems(self.content)
        return [one for one in found if one.code == BLANK_CODE and (one.line, one.column) in at]

    def not_here(self, symptom: str) -> str:
        """Return what the machine's card says against a symptom, in words; empty where it fits."""
        tree = self.content.trees.get(symptom)
        return "" if tree is None else _against(self.card, tree)

    def elsewhere(self, what: Tree | Round, machine: str | None) -> str:
        """Return what a machine's card says against a symptom or a round; empty where it fits."""
        if machine is None:
            return ""
        self._bring(MACHINES, machine)
        card = self.content.machines.get(machine)
        if card is not None and card.kind is not None:
            self._bring(KINDS, card.kind)
        return _against(self.content.card(machine), what)

    def require_round(self, name: str) -> ReadyRound:
        """Return a round, ready to be walked.

        Raises `WrongUse` for one that is not there, `Unusable` for one whose file has errors.
        """
        self._bring(ROUNDS, name)
        file = self.content.file(ROUNDS, f"{name}.yaml")
        folder = self.content.file(ROUNDS)
        problems = self.content.problems_of(file) or self.content.problems_of(folder)
        own = self.content.rounds.get(name)
        if own is None and not problems:
            hint = did_you_mean(name, self.rounds)
            raise WrongUse(f'There is no round "{name[:40]}" in {self.folder}/rounds.{hint}')
        if own is not None:
            made = None if self._caution_errors else self.table
            self._bring_kinds(own)
            found = round_problems(self.content, own, made)
            problems = self._in_the_way(found, own.items.values())
        if problems or own is None:
            raise Unusable(f"{problems[0]}; {_mend(problems[0])}")
        elsewhere = _against(self.card, own)
        if elsewhere:
            raise WrongUse(f'The round "{name}" is for other machines: {elsewhere}.')
        return ready_round(own, self.table, self.card)

    def __call__(self, symptom: str) -> ReadyTree | None:
        """Return the ready tree of a symptom, None where it is not there or has errors."""
        if symptom not in self._trees:
            self._trees[symptom] = self._open(symptom)
        return self._trees[symptom]

    def title(self, symptom: str) -> str:
        """Return what an operator would say of a symptom; its id where it is not there."""
        tree = self._read(symptom) if symptom in self.content.symptoms else None
        return symptom if tree is None else tree.title

    def _read(self, symptom: str) -> Tree | None:
        """Return the tree of a symptom that is there; None where its file cannot be read."""
        file = self.content.file(f"{symptom}.yaml")
        if symptom not in self.content.trees and not self.content.problems_of(file):
            add(self.content, (f"{symptom}.yaml",))
        return self.content.trees.get(symptom)

    def _open(self, symptom: str) -> ReadyTree | None:
        if symptom not in self.content.symptoms:
            return None
        tree = self._read(symptom)
        if tree is None:
            self._broken[symptom] = self.content.problems_of(self.content.file(f"{symptom}.yaml"))
            return None
        made = None if self._caution_errors else self.table
        if self.not_here(symptom):
            self._broken[symptom] = []
            return None
        self._bring_kinds(tree)
        found = tree_problems(self.content, tree, made)
        read = {step.read for step in tree.steps.values() if isinstance(step, Reading)}
        if read - self._measurements.keys():
            found = self._measurement_errors() + found
        if problems := self._in_the_way(found, tree.steps.values()):
            self._broken[symptom] = problems
            return None
        return made_ready(
            tree,
            self.table,
            card=self.card,
            chances=self.chances.get(symptom),
            measurements=self._measurements,
        )

    def _measurement_errors(self) -> list[Problem]:
        """Return why a measurement that the library declares cannot be used."""
        file = self.content.file(MEASUREMENTS_FILE)
        return errors([*self.content.problems_of(file), *measurement_problems(self.content)])


def _mend(problem: Problem) -> str:
    unfinished = "write it, or walk it with --trial" if problem.code == BLANK_CODE else ""
    return f"{unfinished or 'mend the file'}, `diagnose check` lists all."


def _against(card: Card | None, what: Tree | Round) -> str:
    """Return what a card says against a symptom or a round, in words."""
    if card is None or is_for(card, what):
        return ""
    line = against(card, what.applies_to)
    if line:
        wanted = " or ".join(what.applies_to[line])
        return f"the card of {card.machine} says {line} {card.line(line)}, and it is for {wanted}"
    wanted = " or ".join(what.kinds)
    return f"{card.machine} is of the kind {card.kind}, and it is for the kind {wanted}"
