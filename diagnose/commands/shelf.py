"""The trees of a library as a walk takes them: read and checked when they are first asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.case.volume import volume_of
from diagnose.commands.options import Unusable, WrongUse
from diagnose.files.library import load
from diagnose.files.problems import did_you_mean
from diagnose.rules.cautions import caution_problems
from diagnose.rules.check import errors, round_problems, tree_problems
from diagnose.study.in_force import Precautions, precautions

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from diagnose.case.state import Volume
    from diagnose.files.card import Card
    from diagnose.files.library import Library
    from diagnose.files.problems import Problem
    from diagnose.files.rounds import Round


class Shelf:
    """A library, opened for one machine.

    `chances` by symptom and finding are those that a case was opened with, where it is resumed.
    """

    def __init__(self, folder: Path, symptoms: frozenset[str] | None = None) -> None:
        self.folder = folder
        self.library: Library = load(folder, only=symptoms)
        self.card: Card | None = None
        self.chances: Mapping[str, Mapping[str, float]] = {}
        self._volumes: dict[str, Volume | None] = {}
        self._broken: dict[str, list[Problem]] = {}
        problems = errors([*self.library.problems, *caution_problems(self.library)])
        file = self.library.file("cautions.yaml")
        self._caution_errors = [problem for problem in problems if problem.file == file]

    @property
    def precautions(self) -> Precautions:
        """The cautions, with the minutes that they take on this machine; none where broken."""
        from diagnose.files.cautions import Cautions

        if self._caution_errors:
            return precautions(Cautions(hazards={}, cautions={}))
        minutes = self.card.section("caution_minutes") if self.card else {}
        return precautions(self.library.cautions, {str(k): float(v) for k, v in minutes.items()})

    def machine(self, name: str | None) -> Card | None:
        """Return (and take) the card of a machine; "none" or None is no machine.

        Raises `WrongUse` for a machine that is not there, `Unusable` for a card with errors.
        """
        if name is None or name == "none":
            self.card = None
            return None
        file = self.library.file("machines", f"{name}.yaml")
        broken = self.library.problems_of(file)
        if broken:
            raise Unusable(f"{broken[0]} (`diagnose check` lists all)")
        card = self.library.machines.get(name)
        if card is None:
            hint = did_you_mean(name, self.library.machines)
            raise WrongUse(f'There is no machine "{name[:40]}" in {self.folder}/machines.{hint}')
        self.card = card
        return card

    def require(self, symptom: str) -> Volume:
        """Return the volume of a symptom.

        Raises `WrongUse` for one that is not there, `Unusable` for one whose file has errors.
        """
        volume = self(symptom)
        if volume is not None:
            return volume
        if symptom not in self.library.symptoms:
            hint = did_you_mean(symptom, self.library.symptoms)
            raise WrongUse(f'There is no symptom "{symptom[:40]}" in {self.folder}.{hint}')
        broken = self._broken[symptom]
        more = f" (and {len(broken) - 1} more)" if len(broken) > 1 else ""
        raise Unusable(f"{broken[0]}{more}; mend the file, `diagnose check` lists all.")

    def require_round(self, name: str) -> Round:
        """Return a round.

        Raises `WrongUse` for one that is not there, `Unusable` for one whose file has errors.
        """
        file = self.library.file("rounds", f"{name}.yaml")
        problems = self.library.problems_of(file)
        own = self.library.rounds.get(name)
        if own is None and not problems:
            hint = did_you_mean(name, self.library.rounds)
            raise WrongUse(f'There is no round "{name[:40]}" in {self.folder}/rounds.{hint}')
        if own is not None:
            made = None if self._caution_errors else self.precautions
            problems = errors(round_problems(self.library, own, made))
            if any(item.hazards or item.cautions for item in own.items.values()):
                problems = self._caution_errors + problems
        if problems or own is None:
            raise Unusable(f"{problems[0]}; mend the file, `diagnose check` lists all.")
        return own

    def __call__(self, symptom: str) -> Volume | None:
        """Return the volume of a symptom, None where it is not there or has errors."""
        if symptom not in self._volumes:
            self._volumes[symptom] = self._open(symptom)
        return self._volumes[symptom]

    def _open(self, symptom: str) -> Volume | None:
        if symptom not in self.library.symptoms:
            return None
        if symptom not in self.library.trees:
            file = self.library.file(f"{symptom}.yaml")
            if not self.library.problems_of(file):
                more = load(self.folder, only=frozenset({symptom}))
                self.library.trees.update(more.trees)
                self.library.problems += more.problems_of(file)
            if symptom not in self.library.trees:
                self._broken[symptom] = self.library.problems_of(file)
                return None
        made = None if self._caution_errors else self.precautions
        problems = errors(tree_problems(self.library, symptom, made))
        tree = self.library.trees[symptom]
        if any(step.hazards or step.cautions for step in tree.steps.values()):
            problems = self._caution_errors + problems
        if problems:
            self._broken[symptom] = problems
            return None
        return volume_of(tree, self.precautions, card=self.card, chances=self.chances.get(symptom))
