"""What the flowchart of a symptom tree says, step by step: all its words, and no shape yet."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from diagnose.files.tree import Check, Finding, Question, Reading
from diagnose.measure.registry import MEASUREMENTS
from diagnose.paper.marks import MARKS, SIGNALS, Kind
from diagnose.study.in_force import always_in_force, bits

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from diagnose.files.cautions import Cautions
    from diagnose.files.tree import Step
    from diagnose.study.in_force import CautionTable
    from diagnose.study.ready import ReadyTree


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """An answer as it stands on its arrow; `limit` is that of a reading's band.

    `walked` counts the answers of a case's route from 1; 0 is off the route.
    """

    text: str
    to: int
    limit: str = ""
    passing: bool = False
    walked: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What is said at one step.

    `texts` are paragraphs, the first with the step's number; `action` is what to do before the
    question, where it stands apart; `cautions` are the ids of those called here, `signal` the
    strongest signal word among them; `walked`: whether a case came by.
    """

    id: str
    kind: Kind
    texts: tuple[str, ...]
    action: str = ""
    answers: tuple[Answer, ...] = ()
    cautions: tuple[str, ...] = ()
    signal: str = ""
    walked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Sketch:
    """The words of a whole tree, its steps by number in the order of the file.

    `head` stands where the flowchart begins; `cautions` has a line for each that is called.
    """

    symptom: str
    title: str
    head: tuple[str, ...]
    start: int
    order: tuple[int, ...]
    entries: tuple[Entry, ...]
    cautions: Mapping[str, str]

    def texts(self) -> Iterator[str]:
        """Yield every text, for measuring."""
        yield from self.head
        yield from self.cautions.values()
        for entry in self.entries:
            yield from entry.texts
            yield entry.action
            for answer in entry.answers:
                yield answer.text
                yield answer.limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What to say besides questions, answers and causes.

    `actions`: what to do before each question, and `apart` from it; `remedies`: what to do about
    each cause; `reasons`: all of a cause's line, not its first sentence alone. `start`: where to
    begin, by number, None for the tree's own start. `beside`: a last line at a step. `visits`: what
    stands at a step's number; `walked`: the answers (a step, an answer) of a case's route, from 1.
    """

    actions: bool = True
    apart: bool = False
    remedies: bool = True
    reasons: bool = True
    start: int | None = None
    beside: Mapping[int, str] = field(default_factory=dict)
    visits: Mapping[int, str] = field(default_factory=dict)
    walked: Mapping[tuple[int, int], int] = field(default_factory=dict)


def sketch(
    ready: ReadyTree,
    cautions: Cautions,
    table: CautionTable,
    wanted: Wanted,
    title_of: Callable[[str], str] = str,
) -> Sketch:
    """Return what the flowchart of a tree says; `title_of` names a doorway's symptom."""
    plan, tree = ready.plan, ready.tree
    before = always_in_force(plan.order, plan.ways, plan.needs, plan.energises, table)
    known = cautions.cautions
    entries = []
    for number, step in enumerate(ready.steps):
        force = before[number] & ~table.lapsing if plan.energises[number] else before[number]
        called = table.names(table.called(plan.needs[number], force))
        signals = {known[name].signal for name in called}
        texts = [*_texts(step, number + 1, wanted, title_of)]
        if number in wanted.beside:
            texts.append(wanted.beside[number])
        if number in wanted.visits:
            texts[0] += f" · {wanted.visits[number]}"
        entries.append(
            Entry(
                id=plan.ids[number],
                kind=kind_of(step),
                texts=tuple(texts),
                action=_action(step) if wanted.actions and wanted.apart else "",
                answers=tuple(_answers(step, number, ready, wanted)),
                cautions=called,
                signal=next((signal for signal in SIGNALS if signal in signals), ""),
                walked=number in wanted.visits,
            )
        )
    head = [tree.title]
    start = plan.start
    if wanted.start is not None and wanted.start != start:
        start = wanted.start
        head.append(f"From step {start + 1} on.")
        titles = [known[table.ids[which]].title for which in bits(before[start])]
        if titles:
            head.append(f"In force here: {', '.join(titles)}.")
    return Sketch(
        symptom=tree.symptom,
        title=tree.title,
        head=tuple(head),
        start=start,
        order=plan.order,
        entries=tuple(entries),
        cautions={
            name: " ".join([one.signal, one.title, *one.signs])
            for name, one in known.items()
            if any(name in entry.cautions for entry in entries)
        },
    )


def kind_of(step: Step) -> Kind:
    """Return what a step is drawn as."""
    if isinstance(step, Finding):
        return Kind.DOORWAY if step.continue_with is not None else Kind(step.who)
    return Kind.READING if isinstance(step, Reading) else Kind.CHECK


def _texts(
    step: Step, number: int, wanted: Wanted, title_of: Callable[[str], str]
) -> Iterator[str]:
    word = MARKS[kind_of(step)].word
    if isinstance(step, Finding):
        yield f"{number} · {word}"
        yield step.finding if wanted.reasons else _first_sentence(step.finding)
        if step.continue_with is not None:
            yield f"→ {title_of(step.continue_with)}"
        said = step.leave_safe if step.who == "service" else step.remedy
        if wanted.remedies and said is not None:
            yield f"→ {said}"
        return
    head = [f"{number}", word, "" if step.by == "operator" else MARKS[Kind(step.by)].word]
    yield " · ".join(filter(None, head))
    if wanted.actions and not wanted.apart and step.do is not None:
        yield step.do
    yield step.ask if isinstance(step, Check) else MEASUREMENTS[step.read].title


def _first_sentence(text: str) -> str:
    first, stop, _ = text.partition(". ")
    return f"{first}{stop.rstrip()}"


def _action(step: Step) -> str:
    return step.do if isinstance(step, Question) and step.do is not None else ""


def _answers(step: Step, number: int, ready: ReadyTree, wanted: Wanted) -> Iterator[Answer]:
    if not isinstance(step, Question):
        return
    for which, way in enumerate(step.exits):
        yield Answer(
            text=way.answer,
            to=ready.plan.ways[number][which],
            limit=_limit(step, which) if isinstance(step, Reading) else "",
            passing=which == ready.plan.passing[number],
            walked=wanted.walked.get((number, which), 0),
        )


def _limit(step: Reading, which: int) -> str:
    unit = MEASUREMENTS[step.read].unit
    if which < len(step.limits):
        return f"below {step.limits[which]:g} {unit}".rstrip()
    if not step.limits:
        return ""
    return " ".join(f"{step.limits[-1]:g} {unit} or more".split())
