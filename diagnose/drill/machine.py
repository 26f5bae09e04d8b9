"""The player of faulty machines: a hidden cause, and the answers that such a machine gives.

A machine is drawn from a seed, once: its cause by its chance, then one of the worked cases that the
tree has for it. The case says what the machine shows on its route. Everywhere else it shows the
passing answer, since a part that is not at fault looks right; where that would deny the cause, or
there is none, one of the answers from which the cause can be reached, each equally likely; where
there is none of these either, any answer. A cause without a worked case that fits has a route drawn
through such answers, as `study.beliefs` has it. See `answers` for what goes together, `figures` for
the readings. So a machine answers alike whatever is asked first, and however often.

Only ``Random(int).random()`` is drawn from: Python promises that sequence for all versions and
platforms.
"""

from __future__ import annotations

from bisect import bisect
from functools import lru_cache
from itertools import accumulate
from random import Random
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.drill.answers import Answers
from diagnose.drill.figures import Figures, Taken, Wanted
from diagnose.drill.quantities import Lines
from diagnose.files.tree import Question, Reading
from diagnose.study.looks import unfolded
from diagnose.study.worked import route_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.study.ready import ReadyTree
    from diagnose.study.worked import Route

#: Seeds are whole numbers from 0 below this, so that they fit into any log.
SEEDS: Final = 2**63

_KEYS: Final = 2**53

# A route whose answers do not go together is drawn again so often.
_TRIES: Final = 50


class NoSuchMachine(Exception):
    """The machine card rules out every cause of the tree."""


class Sight(Struct, frozen=True, kw_only=True):
    """What one look at the machine gives: the number of the answer; of a reading the figure too."""

    answer: int
    taken: Taken | None = None


class Machine(Struct, frozen=True, kw_only=True):
    """One faulty machine. `cause` is the number of a finding in the plan of the ready tree.

    `truths` holds for each question the number of the answer that tells the truth, and `keys` the
    seed of what is drawn anew with every look (0 and 0 for a finding). Where `slips` is false no
    answer misleads. `case` is the name of the worked case that it is, "" for none.
    """

    ready: ReadyTree
    seed: int
    cause: int
    truths: tuple[int, ...]
    keys: tuple[int, ...]
    figures: Figures
    slips: bool = False
    case: str = ""

    def sight(self, step: int, look: int) -> Sight:
        """Return what look number `look` (from 1) at a question gives.

        An answer misleads as often as the question's `slip` says; another look may set it right.
        """
        plan, truth = self.ready.plan, self.truths[step]
        # What looks at the same misleads alike: all of it answers by the first.
        first, answer = min(plan.twins.get((step, truth), ()), default=(step, truth))
        if first > step:
            first, answer = step, truth
        random = Random(self.keys[first])
        # A sound figure is the same at each look, so its place is that of the first.
        sound = _place(Random(self.keys[first]))
        for _ in range(look):
            slip, which, place = random.random(), random.random(), random.random()
        others = misleading(self.ready, first, self.cause) if self.slips else ()
        others = tuple(number for number in others if number != answer)
        misled = bool(others) and slip < plan.slip[first]
        if misled:
            answer = others[int(which * len(others))]
        if first != step:
            answer = dict(plan.twins[first, answer])[step]
        question = self.ready.steps[step]
        if not isinstance(question, Reading):
            return Sight(answer=answer)
        taken = self.figures.shown(Wanted(question, answer), place if misled else sound)
        return Sight(answer=answer, taken=taken)


def _place(random: Random) -> float:
    """Return the place of the first look's figure."""
    return [random.random() for _ in range(3)][-1]


def cause_of(ready: ReadyTree, seed: int) -> int:
    """Return the cause that a seed hides, by its number in the plan. Raises `NoSuchMachine`."""
    return _cause(ready, Random(seed).random())


def drawn(ready: ReadyTree, seed: int, *, slips: bool = False) -> Machine:
    """Return the machine of a seed (see `SEEDS`). Raises `NoSuchMachine`."""
    random = Random(seed)
    cause = _cause(ready, random.random())
    plan = ready.plan
    drawn = [(random.random(), random.random()) if ways else (0.0, 0.0) for ways in plan.ways]
    cases = _cases(ready).get(cause, ())
    which, placed = random.random(), Random(int(random.random() * _KEYS))
    if cases:
        name, route = cases[int(which * len(cases))]
        answers = Answers(ready)
        answers.follow(route)
    else:
        name = ""
        answers, route = _drawn_route(ready, cause, [place for place, _ in drawn], placed)
    on_route = {step for step, _ in route}
    for step in _beside(ready, on_route):
        answers.tell(step, _shown(answers, step, cause, drawn[step][0]))
    figures = Figures(Lines(answers.line), placed, ready.measurements, room=answers.room)
    _settled(answers, figures, on_route)
    return Machine(
        ready=ready,
        seed=seed,
        cause=cause,
        truths=tuple(answers.truths.get(step, 0) for step in range(len(plan.ways))),
        keys=tuple(int(key * _KEYS) for _, key in drawn),
        figures=figures,
        slips=slips,
        case=name,
    )


@lru_cache(maxsize=64)
def _cases(ready: ReadyTree) -> Mapping[int, tuple[tuple[str, Route], ...]]:
    """Return the worked cases that this machine can be, by finding: name and route."""
    found: dict[int, tuple[tuple[str, Route], ...]] = {}
    for case in ready.tree.worked_cases:
        route = route_of(ready, case)
        if route is not None and Answers(ready).follow(route):
            cause = ready.plan.number[case.finding]
            found[cause] = (*found.get(cause, ()), (case.name, route))
    return found


def _drawn_route(
    ready: ReadyTree, cause: int, places: Sequence[float], random: Random
) -> tuple[Answers, Route]:
    """Draw a route to a cause, once more where its answers do not go together."""
    for _ in range(_TRIES):
        answers = Answers(ready)
        route = _way_to(answers, cause, places)
        if Answers(ready).follow(route):
            break
        places = [random.random() for _ in places]
    return answers, route


def _way_to(answers: Answers, cause: int, places: Sequence[float]) -> Route:
    """Tell the answers of a route to the cause, each that leads to it equally likely; return it."""
    plan = answers.ready.plan
    flat, node = unfolded(plan), plan.start
    route = []
    while targets := flat.ways[node]:
        step = plan.number[flat.ids[node]]
        toward = [n for n, to in enumerate(targets) if flat.reach[to] >> plan.bit[cause] & 1]
        # What was seen before on the way has that answer alone.
        if len(targets) == len(plan.ways[step]):
            if step not in answers.truths:
                fit = [n for n in toward if answers.agrees(step, n)]
                answers.tell(step, _one_of(fit or toward, places[step]))
            node = targets[answers.truths[step]]
        else:
            (node,) = targets
        route.append((step, answers.truths[step]))
    return tuple(route)


def _beside(ready: ReadyTree, on_route: set[int]) -> list[int]:
    """Return the questions off the route: about the card first, then those that can pass."""
    plan = ready.plan
    rest = [step for step, ways in enumerate(plan.ways) if ways and step not in on_route]
    return sorted(rest, key=lambda step: (not _asks_card(ready, step), plan.passing[step] is None))


def _asks_card(ready: ReadyTree, step: int) -> bool:
    question = ready.steps[step]
    return isinstance(question, Question) and question.from_card is not None


def _shown(answers: Answers, step: int, cause: int, place: float) -> int:
    """Return what the machine shows at a question off the route of its cause."""
    ready = answers.ready
    if step in answers.truths:
        return answers.truths[step]
    passing, true = ready.plan.passing[step], truthful(ready, step, cause)
    every = range(len(ready.plan.ways[step]))
    fit = [number for number in every if answers.agrees(step, number)]
    told = [number for number in true if number in fit]
    if passing is not None and (passing in told or (passing in fit and not told)):
        return passing
    return _one_of(told or fit or true, place)


def _settled(answers: Answers, figures: Figures, on_route: set[int]) -> None:
    """Settle the figures by the readings; what is off the route then shows what they say."""
    ready = answers.ready
    readings: dict[bool, list[Wanted]] = {True: [], False: []}
    for number, step in enumerate(ready.steps):
        if isinstance(step, Reading):
            readings[number in on_route].append(Wanted(step, answers.truths[number]))
    figures.settle(readings[True], readings[False])
    for number, step in enumerate(ready.steps):
        if isinstance(step, Reading) and number not in on_route:
            taken = figures.taken(step.read)
            if taken is not None:
                answers.truths[number] = step.exits.index(step.band(taken.value))


def _one_of(numbers: Sequence[int], place: float) -> int:
    return numbers[int(place * len(numbers))]


def truthful(ready: ReadyTree, step: int, cause: int) -> tuple[int, ...]:
    """Return the numbers of the answers that tell the truth of a cause, each equally likely."""
    plan = ready.plan
    bit = plan.bit[cause]
    shown = tuple(n for n, seen in enumerate(plan.sight[step]) if seen >> bit & 1)
    if shown:
        return shown
    passing = plan.passing[step]
    return tuple(range(len(plan.ways[step]))) if passing is None else (passing,)


def misleading(ready: ReadyTree, step: int, cause: int) -> tuple[int, ...]:
    """Return the numbers of the answers that mislead, each equally likely; maybe none."""
    true = truthful(ready, step, cause)
    return tuple(n for n in range(len(ready.plan.ways[step])) if n not in true)


def weights(ready: ReadyTree) -> list[float]:
    """Return how likely each finding is to be drawn: as a walk believes when its case is opened.

    Its chance, times the probability of what the card answers, which has no slip: a finding of
    which the card shows another truth is never drawn. In the order of ``plan.findings``, on any
    scale.
    """
    plan = ready.plan
    found = []
    for chance, cause in zip(plan.chances, plan.findings, strict=True):
        weight = chance
        told: set[int] = set()
        for step, said in ready.from_card.items():
            # Steps that look at the same say it once.
            if step not in told:
                true = truthful(ready, step, cause)
                weight *= (said in true) / len(true)
                told.update(twin for twin, _ in plan.twins.get((step, said), ()))
        found.append(weight)
    return found


def _cause(ready: ReadyTree, place: float) -> int:
    plan = ready.plan
    flat = unfolded(plan)
    # Behind answers that do not agree, two ways about one look, nobody could find it.
    upto = list(
        accumulate(
            weight if flat.reach[flat.start] >> plan.bit[cause] & 1 else 0.0
            for cause, weight in zip(plan.findings, weights(ready), strict=True)
        )
    )
    if upto[-1] <= 0:
        raise NoSuchMachine(ready.tree.symptom)
    return plan.findings[bisect(upto, place * upto[-1])]
