"""Somebody who watches a case over the operator's shoulder, knowing only the files and the screens.

Written apart from the walk: nothing of `diagnose` is imported. It reads the YAML for itself and
keeps its own account of what is in force (what was confirmed, what was released, what a trial or a
running machine ended), of what was refused, and of what is closed. It raises `Unsafe` as soon as a
screen shows a word that must not be shown yet.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import yaml

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

ROLES = ("operator", "battery-trained", "service")
WORDS_OF_A_STEP = ("do", "ask", "look_for", "tool", "remedy", "leave_safe", "finding")
STEP_SCREENS = ("check", "reading", "finding")
ASIDE = ("refused", "why")
REPLIES = ("done", "cannot", "back", "unsure", "danger", "leave", "cured", "not cured", "refer")
KEEP_LOOKING = "keep looking"

Step = tuple[str, str]


class Unsafe(AssertionError):
    """Something was shown that must not be shown, or the account does not tally."""


class Files:
    """What the files of a library say, read without the program's reader."""

    def __init__(self, trees: Mapping[str, str], cautions: str) -> None:
        self.guards: dict[str, Any] = _read(cautions)["cautions"]
        self.place = {name: number for number, name in enumerate(self.guards)}
        self.lapsing = {n for n, c in self.guards.items() if c["lapses"] == "when energised"}
        self.includes = {name: self._closure(name) for name in self.guards}
        over = {h: name for name, c in self.guards.items() for h in c.get("covers", ())}
        self.steps: dict[Step, dict[str, Any]] = {}
        self.owner: dict[str, Step] = {}
        self.needs: dict[Step, set[str]] = {}
        for symptom, text in trees.items():
            for name, step in _read(text)["steps"].items():
                key = (symptom, name)
                self.steps[key] = step
                self.owner |= {step[word]: key for word in WORDS_OF_A_STEP if word in step}
                self.owner |= {word: key for word, _ in answers_of(step) if symptom in word}
                needed = set(step.get("cautions", ()))
                if step.get("who") != "service" and "continue_with" not in step:
                    needed |= {over[hazard] for hazard in step.get("hazards", ()) if hazard in over}
                # What is included is part of what is needed: in force or not, it lapses by itself.
                self.needs[key] = set().union(*(self.includes[name] for name in needed))

    def _closure(self, name: str) -> set[str]:
        return {name}.union(*(self._closure(n) for n in self.guards[name].get("includes", ())))


@dataclass
class Observer:
    """What can be known of a case from its screens and replies alone.

    Whoever comes `late` does not know which replies *back* may withdraw.
    """

    files: Files
    role: str = "operator"
    late: bool = False
    in_force: set[str] = field(default_factory=set)
    refused: frozenset[str] = frozenset()
    closed: frozenset[Step] = frozenset()
    moves: list[tuple[frozenset[str], frozenset[Step]]] = field(default_factory=list)
    shown: set[Step] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.taken: set[str] = set()
        self.screen: dict[str, Any] = {}
        self.pending: str | None = None
        self._settle()

    # What happens

    def reply(self, text: str) -> None:
        """Note what was typed; it counts once the next screen shows that it was understood."""
        self.pending = " ".join(text.casefold().split())

    def resumed(self, role: str) -> None:
        """Note that the case was left and taken up again: nothing is in force any more."""
        self.role = role
        self.in_force, self.taken, self.refused = set(), set(), frozenset()
        self.moves = [(frozenset(), closed) for _, closed in self.moves]
        self.pending, self.screen = None, {}
        self._settle()

    def see(self, screen: dict[str, Any]) -> None:
        """Look at a screen."""
        kind = screen["screen"]
        if kind in ASIDE:
            self.pending = None
        elif kind != "figure":
            if self.pending is not None:
                self._happened(self.pending)
            self.pending = None
            self.screen = screen
            self._tallies(screen)
        here = (screen["symptom"], screen["step"]) if "step" in screen else None
        for place, leaf in _leaves(screen):
            owner = self.files.owner.get(leaf)
            if owner is None or owner == here:
                continue
            line = self.files.steps[owner].get("finding") == leaf
            if not (line and place in ("ranking", "doorway")):
                self._unsafe(f"words of {owner} on a screen of {here or kind}: {leaf!r}")
        if kind == "caution":
            self._caution(screen)
        elif kind in STEP_SCREENS:
            assert here is not None
            self._step(here, screen)

    # What must hold

    def _tallies(self, screen: dict[str, Any]) -> None:
        said = {named["id"] for named in screen["in_force"]}
        if said != self.in_force:
            self._unsafe(f"said to be in force: {said}, by our account: {self.in_force}")
        if self.late:
            return
        if screen["screen"] != "end" and ("back" in screen["replies"]) != bool(self.moves):
            self._unsafe(f"back is offered or not against {len(self.moves)} moves")
        if len(self.moves) > len(self.files.steps):
            self._unsafe("more moves than steps: one was asked twice")

    def _caution(self, screen: dict[str, Any]) -> None:
        name = screen["id"]
        own = self.files.guards[name]
        if screen["phase"] == "release":
            wanted, held = own["release"], name in self.in_force and name in self.files.lapsing
        else:
            fresh = self.files.includes[name] - self.in_force
            if fresh & self.refused:
                self._unsafe(f"{name} is asked for again after {set(self.refused)} was refused")
            inner = sorted(fresh - {name}, key=self.files.place.__getitem__)
            wanted = [line for other in inner for line in self.files.guards[other]["confirm"]]
            wanted += own["confirm"]
            held = name not in self.in_force
            if screen["again"] != (name in self.taken):
                self._unsafe(f"{name} for the second time, or not")
        if not held:
            self._unsafe(f"{name} at the wrong time to {screen['phase']}")
        if list(screen["confirm"]) != wanted:
            self._unsafe(f"{name} shows {screen['confirm']}, not {wanted}")

    def _step(self, here: Step, screen: dict[str, Any]) -> None:
        step = self.files.steps[here]
        missing = self.files.needs[here] - self.in_force
        if missing:
            self._unsafe(f"{here} is shown without {missing} in force")
        runs = step.get("energises", False)
        if runs and self.in_force & self.files.lapsing:
            self._unsafe(f"{here} runs the machine under {self.in_force & self.files.lapsing}")
        who = step.get("by", "operator") if "finding" not in step else step["who"]
        for_service = "finding" in step and who == "service"
        if not for_service and ROLES.index(who) > ROLES.index(self.role):
            self._unsafe(f"{here} is shown to {self.role}")
        if here in self.closed:
            self._unsafe(f"{here} is shown again, closed as it is")
        if not set(self._called(here)) <= set(self.files.guards):
            self._unsafe("unknown cautions")
        expected = [("release", name) for name in self._held_back(self.base)] if runs else []
        expected += [("take", name) for name in self._called(here)]
        if self.since != expected:
            self._unsafe(f"before {here}: {self.since}, not {expected}")
        if "finding" in step and not for_service:
            lines = [
                x for n in self._held_back(self.in_force) for x in self.files.guards[n]["release"]
            ]
            if list(screen["before_trying"]) != lines:
                self._unsafe(f"before trying {here}: {screen['before_trying']}, not {lines}")
        self.shown.add(here)

    # The account

    def _happened(self, word: str) -> None:
        screen = self.screen
        if word not in REPLIES and word != KEEP_LOOKING:
            word = "answer"
        if screen["screen"] == "caution" and word == "done":
            name = screen["id"]
            if screen["phase"] == "take":
                self.in_force |= self.files.includes[name]
                self.taken |= self.files.includes[name]
            else:
                self.in_force -= {name}
            self.since.append((screen["phase"], name))
            return
        operators = screen["screen"] == "finding" and screen["who"] != "service"
        if word in ("cured", "not cured") or (word == "back" and operators):
            self.in_force -= self.files.lapsing
        if word == "back":
            unknown = (frozenset[str](), frozenset[Step]())
            self.refused, self.closed = self.moves.pop() if self.moves or not self.late else unknown
        elif word not in ("danger", "leave", "cured", "refer"):
            self.moves.append((self.refused, self.closed))
            if screen["screen"] in STEP_SCREENS:
                self.closed |= {(screen["symptom"], screen["step"])}
            elif screen["phase"] == "take":
                self.refused |= {screen["id"]}
        self._settle()

    def _settle(self) -> None:
        self.base = set(self.in_force)
        self.since: list[tuple[str, str]] = []

    def _held_back(self, in_force: set[str]) -> list[str]:
        """Return what is to be released, in the reverse order of the file."""
        return sorted(in_force & self.files.lapsing, key=self.files.place.__getitem__, reverse=True)

    def _called(self, here: Step) -> list[str]:
        """Return what had to be taken before this step, in the order of the file."""
        entry = (
            self.base - self.files.lapsing if self.files.steps[here].get("energises") else self.base
        )
        missing = self.files.needs[here] - entry
        inner = set().union(*(self.files.includes[name] - {name} for name in missing))
        return sorted(missing - inner, key=self.files.place.__getitem__)

    def _unsafe(self, message: str) -> None:
        raise Unsafe(message)


def _read(text: str) -> Any:
    return yaml.load(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))


def answers_of(step: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the answers of a step (or the calls of its bands) with the steps they lead to."""
    bands = step.get("bands", ())
    calls = [(band.get("call", band.get("otherwise")), band["go"]) for band in bands]
    return [*step.get("answers", {}).items(), *calls]


def _leaves(value: Any, place: str = "") -> Iterator[tuple[str, str]]:
    """Yield every text of a screen, with the top key that it stands under."""
    if isinstance(value, str):
        yield place, value
    elif isinstance(value, dict):
        for key, item in value.items():
            if not isinstance(item, bool | int | float | None):
                yield from _leaves(item, place or key)
    elif isinstance(value, list):
        for item in value:
            yield from _leaves(item, place)
