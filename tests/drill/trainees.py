"""Trainees for the tests. They know the files as text and what is on the screen; nothing else."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import yaml

from diagnose.case.screens import as_data
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.drill.drill import Drill
from diagnose.drill.machine import drawn
from diagnose.files.library import built_in

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

SYMPTOMS = tuple(
    sorted(path.stem for path in built_in().glob("*.yaml") if path.stem not in ("cautions", "site"))
)


@cache
def library(machine: str | None = None) -> ReadyLibrary:
    """Return the built-in library."""
    opened = ReadyLibrary(built_in())
    opened.machine(machine)
    return opened


def drill_of(symptom: str, seed: int, *, slips: bool = False, **more: Any) -> Drill:
    """Return a drill on the built-in library."""
    machine = more.pop("machine", None)
    opened = library(machine)
    return Drill(
        drawn(opened.require(symptom), seed, slips=slips),
        opened.table,
        **more,
    )


def played(drill: Drill, replies: list[str]) -> list[dict[str, Any]]:
    """Return all screens of a drill that is replied to so, as data."""
    position = drill.start()
    screens = [as_data(drill.screen(position))]
    for reply in replies:
        turn = drill.reply(position, reply)
        screens += [as_data(screen) for screen in turn.interludes]
        position = turn.position
        screens.append(as_data(drill.screen(position)))
    return screens


@cache
def raw(file: Path) -> Any:
    """Return a file as plain text values."""
    return yaml.load(file.read_text(encoding="utf-8"), yaml.BaseLoader)


def ways_of(step: Any) -> Any:
    """Return what each answer of a question leads to, or each call of a reading."""
    return step.get("answers") or {
        band.get("call") or band["otherwise"]: band["go"] for band in step["bands"]
    }


class Follower:
    """A trainee who follows the tree, step by step, and is never unsafe.

    `clock` counts the minutes by what the files say.
    """

    def __init__(self, drill: Drill, tree: Any, cautions: Any) -> None:
        self.drill = drill
        self.tree = tree
        self.cautions = cautions["cautions"]
        self.service_only = {
            name for name, one in cautions["hazards"].items() if one.get("service_only") == "true"
        }
        self.clock = 0.0
        self.held: set[str] = set()

    @classmethod
    def at(cls, drill: Drill, symptom: str) -> Follower:
        """Return the trainee of a drill on the built-in library."""
        return cls(drill, raw(built_in() / f"{symptom}.yaml"), raw(built_in() / "cautions.yaml"))

    def whole(self, caution: str) -> set[str]:
        """Return a caution with all that it includes."""
        found = {caution}
        for included in self.cautions[caution].get("includes", []):
            found |= self.whole(included)
        return found

    def needed(self, step: Any) -> set[str]:
        """Return the cautions of a step."""
        asked = set(step.get("cautions", []))
        if step.get("who") != "service" and "continue_with" not in step:
            for hazard in set(step.get("hazards", [])) - self.service_only:
                asked |= {n for n, one in self.cautions.items() if hazard in one.get("covers", [])}
        return {included for caution in asked for included in self.whole(caution)}

    def guard(self, step: Any) -> str:
        """Return the reply before a step: what ends, what is taken, done."""
        ends: list[str] = []
        if step.get("energises") == "true":
            ends = [n for n in self.held if self.cautions[n]["lapses"] == "when energised"]
            # One that includes another is ended with it.
            ends = [n for n in ends if not any(n != o and o in self.whole(n) for o in ends)]
            self.held = {n for n in self.held if self.cautions[n]["lapses"] != "when energised"}
        missing = self.needed(step) - self.held
        takes = [n for n in missing if not any(o != n and n in self.whole(o) for o in missing)]
        self.clock += sum(float(self.cautions[n].get("minutes", 1)) for n in takes)
        self.held |= {included for name in takes for included in self.whole(name)}
        return " ".join([*sorted(ends), *sorted(takes), "done"])

    def go(self) -> dict[str, Any]:
        """Follow the tree to its end, and return the score."""
        self.position = self.drill.start()
        finding = self.walked(self.look)
        step = self.tree["steps"][finding]
        hands = "elsewhere" if "continue_with" in step else step["who"]
        for reply in ("done", finding, hands):
            self.position = self.drill.reply(self.position, reply).position
        if self.position.stage == "remedy":
            self.position = self.drill.reply(self.position, self.guard_free(step)).position
        score: dict[str, Any] = as_data(self.drill.screen(self.position))["score"]
        return score

    def walked(self, look: Callable[[str, Any, str], str]) -> str:
        """Walk the tree by what a look at a step gives; return the finding at the end.

        `look` gets a step's name, what the file says of it, and the reply that goes before it.
        """
        name: str = self.tree["start"]
        seen: dict[str, str] = {}
        while "finding" not in (step := self.tree["steps"][name]):
            whose = step.get("same_as", name)
            # Who has looked at it on the way does not look again.
            if whose not in seen:
                reply = self.guard(step)
                self.clock += float(step.get("minutes", 1))
                seen[whose] = look(name, step, reply)
            # One that not every machine gives is a map.
            way = ways_of(step)[seen[whose]]
            name = way if isinstance(way, str) else way["go"]
        return name

    def look(self, name: str, step: Any, reply: str) -> str:
        """Look at a step of the drill."""
        by = step.get("by", "operator")
        self.position = self.drill.reply(self.position, name).position
        # Their work, their cautions; they take the same.
        turn = self.drill.reply(self.position, reply if by == "operator" else f"{by} done")
        self.position = turn.position
        answer: str = as_data(turn.interludes[0])["look"]["answer"]
        return answer

    def guard_free(self, step: Any) -> str:
        """Return the reply before a remedy, whose minutes do not count."""
        clock = self.clock
        reply = self.guard(step)
        self.clock = clock
        return reply
