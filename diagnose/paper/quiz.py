"""Ten situations drawn from a tree, to be answered on paper: what is done next, and how.

Each of the ways on says which cautions are taken and ended before a step. The wrong ones are those
of a careless colleague: the step that another answer leads to, the right step without one of its
cautions or with the machine not released, the step after it. Which of them stand there is chosen so
that words alone tell nothing: whoever takes the option that shares most words with the situation is
right no more often than by chance, as far as the tree lets it.

Drawn with nothing but `Random.random`, so that a seed gives the same sheet on every platform.
"""

from __future__ import annotations

import re
from itertools import combinations
from typing import TYPE_CHECKING, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from diagnose.files.tree import Finding, Question, Reading
from diagnose.paper.step_words import asked
from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from random import Random
    from typing import TypeAlias

    from diagnose.files.tree import Step
    from diagnose.study.in_force import CautionTable
    from diagnose.study.ready import ReadyTree

    #: What is read at the readings of a route, which gave these bands (their numbers).
    Figured: TypeAlias = Callable[[Sequence[tuple[Reading, int]]], Sequence[str]]

T = TypeVar("T")

#: How many situations a sheet has, and how many ways on each of them offers.
SITUATIONS, OPTIONS = 10, 3

#: At as many steps of a tree, drawn by chance, a situation is looked for; of one, as many of the
#: last answers are told. As many situations are to turn on a figure.
MOST_TRIED, MOST_TOLD, FIGURES = 200, 3, 3

#: As many wrong ways on are weighed against each other.
_MOST_WEIGHED = 16

#: In so many situations the right way is to share most words. Less than by chance, since in some no
#: choice of wrong ways keeps it from that: together it comes out at chance.
_WINS = 0.27

#: Two ways on, or two situations, that begin with as many equal words look alike.
_BEGINNING = 3


class Way(Struct, frozen=True, kw_only=True):
    """One way on: the cautions to be ended and taken before a step, by their titles, and the step.

    A step can be a cause that is put right.

    `why` says what is careless about it, by the word of a table in the template: "" for the right
    one, sister, caution (`lacks` says which), release (`lacks` too) or ahead.
    """

    ends: tuple[str, ...]
    takes: tuple[str, ...]
    step: str
    is_cause: bool = False
    why: str = ""
    lacks: str = ""

    @property
    def text(self) -> str:
        """The way in one sentence or two, as it is offered."""
        ended = f"{' and '.join(self.ends)} released" if self.ends else ""
        before = ", ".join([*filter(None, [ended]), *self.takes])
        if not before:
            return self.step
        return f"{before}, then {'put right' if self.is_cause else 'this'}: {self.step}"


class Situation(Struct, frozen=True, kw_only=True):
    """One situation: what was seen so far (question, what was seen), and three ways on.

    `earlier` counts the answers before those; `answers` are their answers in the file's words, of a
    reading the call of its band.

    `right` is the place of the right one; `cautions` are the titles of those to be taken before it,
    `released` of those to be ended, `in_force` of those that were taken on the way and still hold;
    `who` may do it.
    """

    so_far: tuple[tuple[str, str], ...]
    answers: tuple[str, ...]
    step: str
    ways: tuple[Way, ...]
    right: int
    cautions: tuple[str, ...]
    released: tuple[str, ...]
    in_force: tuple[str, ...]
    who: str
    figure: bool = False
    earlier: int = 0

    @property
    def options(self) -> tuple[str, ...]:
        """The ways on, as they are offered."""
        return tuple(way.text for way in self.ways)

    def mixed(self, random: Random) -> Situation:
        """Return the same situation with its ways on in another order."""
        ways = _drawn(self.ways, len(self.ways), random)
        return replace(self, ways=tuple(ways), right=ways.index(self.ways[self.right]))


def situations(
    ready: ReadyTree,
    table: CautionTable,
    random: Random,
    count: int = SITUATIONS,
    figured: Figured | None = None,
) -> list[Situation]:
    """Return situations that end at different steps; fewer where the tree has not so many.

    In half of them, where there are so many, cautions are to be taken; in a few a figure says what
    is next. No two begin alike where the tree lets it. Without `figured` a reading is told by its
    band.
    """
    paper = _Paper(ready, table, figured)
    rest = [step for step in range(len(ready.plan.ids)) if step != ready.plan.start]
    tried = [_situation(paper, random, step) for step in _drawn(rest, MOST_TRIED, random)]
    drawn = _unlike([one for one in tried if one is not None])
    # Where one has to be left out, it is one without a figure and without a release.
    figures = [one for one in drawn if one.figure][:FIGURES]
    released = [one for one in drawn if one.released]
    drawn = [*dict.fromkeys([*figures, *released, *drawn])]
    calling = [one for one in drawn if one.cautions]
    calm = [one for one in drawn if not one.cautions]
    half = max((count + 1) // 2, count - len(calm))
    return _drawn([*calling[:half], *calm][:count], count, random)


def _unlike(drawn: list[Situation]) -> list[Situation]:
    """Return situations with those last that begin like one before them."""
    seen: set[tuple[str, str]] = set()
    fresh: list[Situation] = []
    again: list[Situation] = []
    for one in drawn:
        (again if one.so_far[0] in seen else fresh).append(one)
        seen.add(one.so_far[0])
    return fresh + again


class _Paper:
    """A tree as situations are drawn from it: the ways into each step, and each step in words."""

    def __init__(self, ready: ReadyTree, table: CautionTable, figured: Figured | None) -> None:
        self.ready, self.table, self.figured = ready, table, figured
        self.words = [what(ready, body) for body in ready.steps]
        self.ways_in: list[list[tuple[int, int]]] = [[] for _ in ready.steps]
        for place, ways in enumerate(ready.plan.ways):
            for answer, target in enumerate(ways):
                self.ways_in[target].append((place, answer))
        self._looks: dict[int, set[int]] = {}
        for (step, _), others in ready.plan.twins.items():
            self._looks.setdefault(step, set()).update(place for place, _ in others)

    def looks(self, step: int) -> set[int]:
        """Return the other steps that look at the same."""
        return self._looks.get(step, set())

    def titles(self, cautions: int) -> tuple[str, ...]:
        """Return the titles of a set of cautions."""
        return tuple(self.table.records[number].title for number in bits(cautions))

    def way(self, step: int, in_force: int, why: str = "") -> Way:
        """Return the way on to a step, as a walk would have it."""
        ended = in_force & self.table.lapsing if self.ready.plan.energises[step] else 0
        called = self.table.called(self.ready.plan.needs[step], in_force & ~ended)
        return Way(
            ends=self.titles(ended),
            takes=self.titles(called),
            step=self.words[step],
            is_cause=not self.ready.plan.ways[step],
            why=why,
        )

    def figures(self, route: Sequence[tuple[int, int]]) -> dict[int, str]:
        """Return what was read at each reading of a route."""
        readings = [
            (place, body, answer)
            for place, answer in route
            if isinstance(body := self.ready.steps[place], Reading)
        ]
        if self.figured is None or not readings:
            return {}
        told = self.figured([(body, answer) for _, body, answer in readings])
        return {place: text for (place, _, _), text in zip(readings, told, strict=True)}


def _situation(paper: _Paper, random: Random, step: int) -> Situation | None:
    """Return the situation before a step; None where nobody comes to it: it was asked elsewhere.

    Also where the tree has no other way on; where it has not enough there are two.
    """
    ready, plan, table = paper.ready, paper.ready.plan, paper.table
    route = _route_to(paper, step, random)
    if route is None or paper.looks(step) & {place for place, _ in route}:
        return None
    in_force = 0
    told: list[tuple[int, int]] = []
    for place, answer in route:
        if {other for other, _ in told} & paper.looks(place):
            continue  # Who has answered the same elsewhere is not asked again.
        _, in_force = table.take(plan.needs[place], plan.energises[place], in_force)
        told.append((place, answer))
    figures = paper.figures(told)
    answers = [_question(ready, place).exits[answer].answer for place, answer in told]
    so_far = [
        (paper.words[place], figures.get(place, said))
        for (place, _), said in zip(told, answers, strict=True)
    ]
    right = paper.way(step, in_force)
    held = paper.titles(in_force)
    words = _words(" ".join([*(part for pair in so_far[-MOST_TOLD:] for part in pair), *held]))
    wrong = _careless(paper, step, route, in_force, random)
    if not wrong:
        return None
    ways = _drawn([right, *_chosen(right, wrong, words, random)], OPTIONS, random)
    return Situation(
        so_far=tuple(so_far[-MOST_TOLD:]),
        answers=tuple(answers[-MOST_TOLD:]),
        earlier=max(0, len(so_far) - MOST_TOLD),
        step=plan.ids[step],
        ways=tuple(ways),
        right=ways.index(right),
        cautions=right.takes,
        released=right.ends,
        in_force=held,
        who=_who(ready.steps[step]),
        figure=told[-1][0] in figures,
    )


def _question(ready: ReadyTree, place: int) -> Question:
    question = ready.steps[place]
    assert isinstance(question, Question)
    return question


def _careless(
    paper: _Paper, step: int, route: Sequence[tuple[int, int]], in_force: int, random: Random
) -> list[Way]:
    """Return wrong ways on, each with other words than the others: the likeliest slips first."""
    plan = paper.ready.plan
    right = paper.way(step, in_force)
    last = route[-1][0]
    passed = {place for place, _ in route} | {step}
    sisters = [way for way in dict.fromkeys(plan.ways[last]) if way not in passed]
    ahead = [way for way in dict.fromkeys(plan.ways[step]) if way not in passed]
    rest = [place for place in range(len(plan.ids)) if place not in passed]
    wrong = list(_lacking(right))
    # Steps from elsewhere in the tree make up for what the others have not.
    for why, steps, most in (
        ("sister", sisters, 4),
        ("ahead", ahead, 2),
        ("elsewhere", rest, _MOST_WEIGHED),
    ):
        wrong += [paper.way(one, in_force, why) for one in _drawn(steps, most, random)]
    return _told_apart(right, wrong)[:_MOST_WEIGHED]


def _told_apart(right: Way, wrong: Sequence[Way]) -> list[Way]:
    """Return the wrong ways that are like none before them, nor like the right one."""
    kept = {right.text: right}
    for one in wrong:
        if one.text not in kept and not any(_begin_alike(one, other) for other in kept.values()):
            kept[one.text] = one
    return [way for way in kept.values() if way is not right]


def _lacking(right: Way) -> Iterator[Way]:
    """Yield the right step without what goes before it: not released, or a caution not taken."""
    if right.ends:
        yield replace(right, ends=(), why="release", lacks=" and ".join(right.ends))
    for title in right.takes[:1]:
        takes = tuple(one for one in right.takes if one != title)
        yield replace(right, takes=takes, why="caution", lacks=title)


def _begin_alike(one: Way, other: Way) -> bool:
    """Whether two different steps begin with the same words: one would read past the difference."""
    beginnings = [way.step.casefold().split()[:_BEGINNING] for way in (one, other)]
    return one.step != other.step and beginnings[0] == beginnings[1]


def _chosen(right: Way, wrong: Sequence[Way], words: frozenset[str], random: Random) -> list[Way]:
    """Return the wrong ways of a situation, of which one is a slip of the right step's wherever so.

    In some of the situations the right way shares most words, else another one does.
    """
    slips = [way for way in wrong if way.step == right.step]
    pairs = [
        list(pair)
        for pair in combinations(wrong, min(OPTIONS - 1, len(wrong)))
        # Two slips of one step would give the step away.
        if sum(way in slips for way in pair) <= 1
    ] or [list(wrong[:1])]
    wins = random.random() < _WINS
    whims = [random.random() for _ in pairs]

    shares = {way.text: len(_words(way.text) & words) for way in (right, *wrong)}

    def off(which: int) -> tuple[float, int, float]:
        pair = pairs[which]
        # What a careless colleague would do is better than what stands somewhere else.
        whys = [way.why for way in pair]
        far = (
            2 * whys.count("elsewhere")
            + whys.count("ahead")
            + (bool(slips) and pair[0] not in slips)
        )
        return abs(_won(right, pair, shares) - wins), far, whims[which]

    return pairs[min(range(len(pairs)), key=off)]


def _won(right: Way, wrong: Sequence[Way], shares: Mapping[str, int]) -> float:
    """Return how often whoever goes by shared words takes the right way: ties are drawn."""
    own, others = shares[right.text], [shares[way.text] for way in wrong]
    return (own >= max(others)) / (1 + others.count(own))


def _words(text: str) -> frozenset[str]:
    return frozenset(re.findall(r"[^\W_]+", text.casefold()))


def what(ready: ReadyTree, step: Step) -> str:
    """Return a step in one sentence: what to do and ask, to measure, or the cause."""
    if isinstance(step, Finding):
        return step.finding
    question = asked(ready, step)
    if isinstance(step, Reading):
        question = f"Measure: {question}."
    return " ".join(filter(None, [step.do, question]))


def _who(step: Step) -> str:
    if isinstance(step, Finding):
        return step.who or "operator, in the other symptom's tree"
    return step.by


def _route_to(paper: _Paper, step: int, random: Random) -> list[tuple[int, int]] | None:
    """Return a route to a step as (question, answer's number): backwards, each way in as likely.

    Two steps that look at the same show the same. None where that leaves no way in.
    """
    plan = paper.ready.plan
    told: dict[int, int] = {}
    while step != plan.start:
        into = [
            (place, answer)
            for place, answer in paper.ways_in[step]
            if all(
                (other, told[other]) in plan.twins.get((place, answer), ())
                for other in paper.looks(place) & told.keys()
            )
        ]
        if not into:
            return None
        step, answer = into[int(random.random() * len(into))]
        told[step] = answer
    return [*reversed(told.items())]


def in_any_order(items: Sequence[T], random: Random) -> list[T]:
    """Return all items in an order by chance."""
    return _drawn(items, len(items), random)


def _drawn(items: Sequence[T], count: int, random: Random) -> list[T]:
    """Return some items, or all, in an order by chance."""
    rest = list(items)
    return [rest.pop(int(random.random() * len(rest))) for _ in rest[:count]]
