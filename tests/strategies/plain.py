"""What the program works out fast, worked out plainly from the YAML, route by route.

Nothing of `diagnose` is imported: cautions and beliefs are worked out anew, from their definitions.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from strategies.observer import Files, answers_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping

LEAST_SLIP = 1e-9


@dataclass(frozen=True)
class Route:
    """One way from a step to a finding: the answers taken (by number), and the minutes."""

    finding: str
    answers: tuple[tuple[str, int], ...]
    minutes: float


class Plain:
    """One tree of a library."""

    def __init__(
        self,
        files: Files,
        symptom: str,
        start: str,
        caution_minutes: Mapping[str, float] | None = None,
    ) -> None:
        self.files = files
        self.start = start
        self.steps: dict[str, dict[str, Any]] = {
            name: step for (tree, name), step in files.steps.items() if tree == symptom
        }
        self.needs = {name: files.needs[symptom, name] for name in self.steps}
        self.findings = [name for name, step in self.steps.items() if "finding" in step]
        own = caution_minutes or {}
        self.caution_minutes = {
            name: own.get(name, guard.get("minutes", 1.0)) for name, guard in files.guards.items()
        }

    def ways(self, step: str) -> list[str]:
        """Return where the answers of a step lead, in their order."""
        return [to for _, to in answers_of(self.steps[step])]

    def reach(self, step: str, told: Mapping[str, int] | None = None) -> set[str]:
        """Return the findings that can be reached from a step, where some answers are known."""
        ways = self.ways(step)
        if told and step in told:
            ways = [ways[told[step]]]
        return set().union(*(self.reach(to, told) for to in ways)) if ways else {step}

    def alike(self, step: str, answer: int) -> list[tuple[str, int]]:
        """Return the same answer of the steps that look at the same as one, its own too."""
        word, _ = answers_of(self.steps[step])[answer]
        look = self.steps[step].get("same_as", step)
        found = []
        for name, other in self.steps.items():
            if other.get("same_as", name) == look and "finding" not in other:
                found.append((name, [label for label, _ in answers_of(other)].index(word)))
        return found

    def sight(self, step: str, answer: int) -> set[str]:
        """Return the findings that can be reached from an answer, wherever the same is seen.

        Behind it the same look has the same answer.
        """
        told = dict(self.alike(step, answer))
        return set().union(*(self.reach(name, told) for name in told))

    # Beliefs

    def prior(self) -> dict[str, float]:
        chances = {name: float(self.steps[name]["chance"]) for name in self.findings}
        return {name: chance / sum(chances.values()) for name, chance in chances.items()}

    def passing(self, step: str) -> int | None:
        """Return the number of the passing answer."""
        labels = [label for label, _ in answers_of(self.steps[step])]
        said = self.steps[step].get("passes")
        if said is not None:
            return None if said == "none" else labels.index(said)
        on = [n for n, to in enumerate(self.ways(step)) if "finding" not in self.steps[to]]
        return on[0] if len(on) == 1 else None

    def chance_of(self, step: str, answer: int, finding: str, slip: float | None = None) -> float:
        """Return P(answer | finding)."""
        ways = self.ways(step)
        right = {n for n in range(len(ways)) if finding in self.sight(step, n)}
        passing = self.passing(step)
        if not right and passing is not None:
            right = {passing}
        if not right or len(right) == len(ways):
            return 1 / len(ways)
        if slip is None:
            slip = float(self.steps[step].get("slip", 0.05))
        slip = slip or LEAST_SLIP
        return (1 - slip) / len(right) if answer in right else slip / (len(ways) - len(right))

    def beliefs(
        self,
        answers: Collection[tuple[str, int]],
        failed: Collection[str] = (),
        card: Collection[tuple[str, int]] = (),
    ) -> dict[str, float]:
        """Return P(finding | answers, remedies that failed, what the card says)."""
        logs = {}
        for finding, chance in self.prior().items():
            terms = [math.log(chance)]
            terms += [math.log(self.chance_of(q, a, finding)) for q, a in answers]
            terms += [math.log(self.chance_of(q, a, finding, 0.0)) for q, a in card]
            terms += [math.log(0.1)] * list(failed).count(finding)
            logs[finding] = math.fsum(terms)
        top = max(logs.values())
        weights = {finding: math.exp(log - top) for finding, log in logs.items()}
        total = math.fsum(weights.values())
        return {finding: weight / total for finding, weight in weights.items()}

    # Routes

    def routes(
        self,
        step: str,
        in_force: frozenset[str] = frozenset(),
        closed: Mapping[str, int | None] | None = None,
        gone: Collection[str] = (),
        *,
        once: bool = False,
    ) -> Iterator[Route]:
        """Yield every route from a step to a finding that is neither tried nor set aside.

        Where what looks at the same is looked at `once`, the first answer holds for all of it.
        """
        closed = closed or {}
        ways = self.ways(step)
        if not ways:
            if step not in gone:
                yield Route(step, (), 0.0)
            return
        minutes = 0.0
        numbers = list(range(len(ways)))
        if step in closed:
            answer = closed[step]
            numbers = numbers if answer is None else [answer]
        else:
            minutes, in_force = self.taken(step, in_force)
            minutes += self.steps[step].get("minutes", 1.0)
        for number in numbers:
            told = {**closed, **dict(self.alike(step, number))} if once else closed
            for rest in self.routes(ways[number], in_force, told, gone, once=once):
                answers = ((step, number), *rest.answers)
                yield Route(rest.finding, answers, minutes + rest.minutes)

    def taken(self, step: str, in_force: frozenset[str]) -> tuple[float, frozenset[str]]:
        """Return the minutes that a step's cautions cost, and what is in force after them."""
        if self.steps[step].get("energises"):
            in_force -= self.files.lapsing
        missing = self.needs[step] - in_force
        called = {
            name
            for name in missing
            if not any(name != other and name in self.files.includes[other] for other in missing)
        }
        minutes = sum(self.caution_minutes[name] for name in called)
        return minutes, in_force.union(*(self.files.includes[name] for name in called))

    def minutes_to(self, routes: Collection[Route]) -> dict[str, float]:
        """Return the mean minutes to each finding, each answer that leads on being as likely."""
        means = {}
        for finding in {route.finding for route in routes}:
            own = [route for route in routes if route.finding == finding]
            further = defaultdict(set)
            for route in own:
                for number in range(len(route.answers)):
                    further[route.answers[:number]].add(route.answers[number])
            means[finding] = math.fsum(
                route.minutes
                * math.prod(1 / len(further[route.answers[:n]]) for n in range(len(route.answers)))
                for route in own
            )
        return means
