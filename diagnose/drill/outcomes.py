"""A shop floor in small: machines with a cause each, and a person who does what the screens say.

A machine has one cause, drawn by the chances of the symptom's tree; behind a doorway, by those of
the tree that it leads to. It answers as the trees themselves say that it would: an answer from
which the cause can be reached, or the passing one, and a wrong one as often as the step's slip
says. The same look shows the same thing again. What is drawn depends on the seed and on what is
looked at, never on the way there: so two walks, or two rules, meet the same machines.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from random import Random
from statistics import median
from typing import TYPE_CHECKING, Final, TypeAlias

from msgspec import Struct

from diagnose.case import view, walk
from diagnose.case.onward import opened
from diagnose.case.screens import CautionScreen, EndScreen, FindingScreen
from diagnose.drill.machine import weights
from diagnose.files import replies
from diagnose.files.tree import ROLES, Finding
from diagnose.study.beta import middle_range

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from diagnose.case.state import State
    from diagnose.case.visit import Visit
    from diagnose.study.ready import ReadyTree

#: How often a person cannot answer a question.
UNSURE: Final = 0.05

#: More replies than any case takes: one that goes round in circles would take more.
TOO_MANY: Final = 2_000

#: A step of a symptom.
Step: TypeAlias = "tuple[str, str]"


@dataclass
class Machine:
    """One faulty machine. `causes` holds, by symptom, the finding that is the cause or leads to it.

    A symptom that is not among them is not what is wrong: there, all looks as it should. Answers at
    the `honest` steps are true whatever was drawn.
    """

    trees: Callable[[str], ReadyTree | None]
    symptom: str
    seed: int
    slips: bool = True
    honest: frozenset[Step] = frozenset()
    causes: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        symptom: str | None = self.symptom
        while symptom is not None:
            tree = self.trees(symptom)
            assert tree is not None
            self.causes[symptom] = place = self._drawn(tree)
            symptom = _finding(tree, place).continue_with

    def _drawn(self, tree: ReadyTree) -> int:
        """Return a cause by its chance, none that the machine card rules out.

        No doorway leads back to where the case came from.
        """
        chances = [
            0.0 if _finding(tree, place).continue_with in self.causes else chance
            for place, chance in zip(tree.plan.findings, weights(tree), strict=True)
        ]
        self.causes[tree.symptom] = -1
        random = Random(f"{self.seed} cause of {tree.symptom}")
        return random.choices(tree.plan.findings, chances)[0]

    @property
    def cause(self) -> tuple[str, int]:
        """What is wrong in the end: symptom, finding."""
        return list(self.causes.items())[-1]

    def truths(self, tree: ReadyTree, step: int) -> tuple[int, ...]:
        """Return the numbers of the answers that are true, each equally likely."""
        plan = tree.plan
        cause = self.causes.get(tree.symptom)
        ways = plan.ways[step]
        if cause is not None:
            bit = plan.bit[cause]
            toward = tuple(n for n, way in enumerate(ways) if plan.reach[way] >> bit & 1)
            if toward:
                return toward
        passing = plan.passing[step]
        return tuple(range(len(ways))) if passing is None else (passing,)

    def answer(self, tree: ReadyTree, step: int) -> tuple[int, bool]:
        """Return the answer that a look gives, and whether it is wrong."""
        name = tree.plan.ids[step]
        random = Random(f"{self.seed} look at {tree.symptom} {name}")
        slip, true, wrong = random.random(), random.random(), random.random()
        truths = self.truths(tree, step)
        others = [n for n in range(len(tree.plan.ways[step])) if n not in truths]
        careful = not self.slips or (tree.symptom, name) in self.honest
        if careful or not others or slip >= tree.plan.slip[step]:
            return truths[int(true * len(truths))], False
        return others[int(wrong * len(others))], True


@dataclass
class Outcome:
    """How a case ended. `rank` is the place of the cause in the ranking at the end, from 1.

    `mine`: a cause that the person may put right. `slipped` are the steps at which the answer was
    wrong; `minutes` those of looks, cautions and remedies. `cause` is what was wrong.
    """

    symptom: str
    seed: int
    mine: bool
    cured: bool
    rank: int
    replies: int
    minutes: float
    slipped: list[Step]

    cause: Step

    @property
    def well(self) -> bool:
        """Whether it ended as it should: cured, or referred with the cause among the top three."""
        return self.cured if self.mine else self.rank <= 3


@dataclass
class Person:
    """Somebody at the machine, who does what the screens say first.

    `unsure` is how often a question cannot be answered. With a printed `chart` in hand, the first
    finding is the last: tried where it may be, and then service is called.
    """

    visit: Visit
    unsure: float = UNSURE
    chart: bool = False

    def walks(self, machine: Machine) -> Outcome:
        """Walk a case on a machine to its end."""
        case = _Case(self, machine)
        while case.state.outcome is None:
            case.reply()
            assert case.replies < TOO_MANY, (machine.symptom, machine.seed)
        return case.outcome()


class _Case:
    def __init__(self, person: Person, machine: Machine) -> None:
        self.person = person
        self.machine = machine
        self.visit = person.visit
        self.state: State = opened(self.visit, machine.symptom)[0]
        self.replies = 0
        self.minutes = 0.0
        self.slipped: list[Step] = []

    def reply(self) -> None:
        """Do what the screen says, and reply."""
        self.replies += 1
        screen = view.screen(self.visit, self.state)
        if isinstance(screen, CautionScreen):
            table = self.visit.table
            if screen.phase == "take":
                self.minutes += table.minutes[table.number[screen.id]]
            self._say(replies.DONE)
        elif isinstance(screen, FindingScreen):
            self._at_finding(screen)
        else:
            self._at_question()

    def _say(self, text: str) -> None:
        before = self.state
        self.state = walk.reply(self.visit, before, text).state
        assert self.state is not before, text

    def _at_question(self) -> None:
        frame = self.state.frames[-1]
        tree, step = frame.tree, frame.at
        name = tree.plan.ids[step]
        self.minutes += tree.plan.minutes[step]
        random = Random(f"{self.machine.seed} unsure at {tree.symptom} {name}")
        if random.random() < self.person.unsure:
            self._say(replies.UNSURE)
            return
        number, wrong = self.machine.answer(tree, step)
        if wrong:
            self.slipped.append((tree.symptom, name))
        self.state = walk.answered(self.visit, self.state, number, [])

    def _at_finding(self, screen: FindingScreen) -> None:
        frame = self.state.frames[-1]
        if screen.who == "service":
            self._say(replies.REFER if self.person.chart else screen.replies[0])
            return
        self.minutes += screen.minutes
        if (frame.tree.symptom, frame.at) == self.machine.cause:
            self._say(replies.CURED)
        elif self.person.chart:
            # A call: nothing more is looked at.
            self._say(replies.DANGER)
            self._say(replies.OTHER)
        else:
            self._say(replies.NOT_CURED if screen.checked else replies.NOT_IT)

    def outcome(self) -> Outcome:
        """Return how it ended."""
        end = view.screen(self.visit, self.state)
        assert isinstance(end, EndScreen)
        symptom, place = self.machine.cause
        tree = self.visit.tree(symptom)
        first = self.visit.tree(self.machine.symptom)
        assert tree is not None
        assert first is not None
        whose = _finding(tree, place).who
        top = first.plan.ids[self.machine.causes[self.machine.symptom]]
        return Outcome(
            symptom=self.machine.symptom,
            seed=self.machine.seed,
            mine=whose != "service" and ROLES.index(whose) <= ROLES.index(self.visit.role),
            cured=end.outcome == "cured",
            rank=1 + [cause.step for cause in end.ranking].index(top),
            replies=self.replies,
            minutes=self.minutes,
            slipped=self.slipped,
            cause=(symptom, tree.plan.ids[place]),
        )


def _finding(tree: ReadyTree, place: int) -> Finding:
    step = tree.steps[place]
    assert isinstance(step, Finding)
    return step


# What many cases come to


class Share(Struct, frozen=True, kw_only=True):
    """So many of how many ended well; the true share is within the range with a chance of 90 %.

    The range is that of Jeffreys' prior (Brown, Cai and DasGupta 2001, Statistical Science 16).
    """

    well: int
    of: int

    @property
    def range(self) -> tuple[float, float]:
        """The range, from 0 to 1."""
        return middle_range(self.well + 0.5, self.of - self.well + 0.5)


class Outcomes(Struct, frozen=True, kw_only=True):
    """What many simulated cases of a symptom came to.

    `cured` counts those whose cause the person may put right: the rest were referred needlessly;
    `named` those for service, referred with the cause among the top three. `replies` and `minutes`
    are medians. `missed` are causes as (symptom, finding), how many of their cases did not end
    well, and of how many, the most first.
    """

    cured: Share
    named: Share
    replies: float
    minutes: float
    missed: tuple[tuple[Step, int, int], ...]


def outcomes_of(cases: Sequence[Outcome]) -> Outcomes:
    """Return what some cases came to; there has to be one."""
    of = Counter(case.cause for case in cases)
    missed = Counter(case.cause for case in cases if not case.well)
    return Outcomes(
        cured=_share(case for case in cases if case.mine),
        named=_share(case for case in cases if not case.mine),
        replies=median(case.replies for case in cases),
        minutes=median(case.minutes for case in cases),
        missed=tuple((cause, count, of[cause]) for cause, count in missed.most_common()),
    )


def _share(cases: Iterable[Outcome]) -> Share:
    well = [case.well for case in cases]
    return Share(well=sum(well), of=len(well))


class Dearest(Struct, frozen=True, kw_only=True):
    """What wrong answers cost, over a number of cases.

    `steps` are checks with the number of cases that would have ended well had that one answer been
    right and all else the same, the most first; `without` are those that ended badly though no
    answer was wrong.
    """

    steps: tuple[tuple[Step, int], ...]
    without: int


def dearest(
    person: Person, cases: Iterable[Outcome], walked: Callable[[], object] | None = None
) -> Dearest:
    """Return which checks cost most by their wrong answers, one at a time set right.

    `walked` is called after each case that is walked again.
    """
    costs: Counter[Step] = Counter()
    bad = [case for case in cases if not case.well]
    for case in bad:
        for step in case.slipped:
            honest = frozenset({step})
            machine = Machine(person.visit.tree, case.symptom, case.seed, honest=honest)
            costs[step] += person.walks(machine).well
            if walked is not None:
                walked()
    return Dearest(
        steps=tuple((step, count) for step, count in costs.most_common() if count),
        without=sum(not case.slipped for case in bad),
    )
