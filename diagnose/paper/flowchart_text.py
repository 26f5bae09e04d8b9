"""What the flowchart of a symptom tree says, step by step: all its words, and no shape yet."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from diagnose.files.tree import Check, Finding, Question, Reading
from diagnose.measure.registry import MEASUREMENTS
from diagnose.paper.node_styles import SIGNALS, STYLES, NodeKind, kind_of
from diagnose.study.in_force import always_in_force, bits

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from diagnose.files.cautions import Caution, Cautions
    from diagnose.files.tree import Step
    from diagnose.study.in_force import CautionTable
    from diagnose.study.ready import ReadyTree


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerText:
    """An answer as it stands on its arrow, and the number of the step that it leads to.

    `limit` is that of a reading's band. `walked` counts the answers of a case's route from 1; 0 is
    off the route.
    """

    text: str
    to: int
    limit: str = ""
    passing: bool = False
    walked: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class StepText:
    """What is said at one step.

    `texts` are paragraphs, the first with the step's number; `cautions` are the ids of those
    called here, `signal` the strongest signal word among them; `walked`: whether a case came by;
    `leads_to` is the symptom that a doorway leads to.
    """

    id: str
    kind: NodeKind
    texts: tuple[str, ...]
    answers: tuple[AnswerText, ...] = ()
    cautions: tuple[str, ...] = ()
    signal: str = ""
    walked: bool = False
    leads_to: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowchartText:
    """The words of a whole tree, its steps by number; `order` as in the tree's plan.

    `head` stands where the flowchart begins, at the step `start`; `cautions` has a line for each
    caution that some step calls, by its id.
    """

    symptom: str
    title: str
    head: tuple[str, ...]
    start: int
    order: tuple[int, ...]
    steps: tuple[StepText, ...]
    cautions: Mapping[str, str]

    def reached(self) -> set[int]:
        """Return the steps that the flowchart shows: those that its start leads to."""
        found, stack = {self.start}, [self.start]
        while stack:
            new = {answer.to for answer in self.steps[stack.pop()].answers} - found
            found |= new
            stack += new
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class TextOptions:
    """What to say besides questions, answers, causes and what to do.

    `start`: where to begin, by number, None for the tree's own start. `last_lines`: a last line at
    a step. `visits`: what stands at a step's number; `walked`: the answers (step, answer) of a
    case's route, from 1.
    """

    start: int | None = None
    last_lines: Mapping[int, str] = field(default_factory=dict)
    visits: Mapping[int, str] = field(default_factory=dict)
    walked: Mapping[tuple[int, int], int] = field(default_factory=dict)


def flowchart_text(
    ready: ReadyTree,
    cautions: Cautions,
    table: CautionTable,
    options: TextOptions,
    title_of: Callable[[str], str] = str,
) -> FlowchartText:
    """Return what the flowchart of a tree says; `title_of` names a doorway's symptom."""
    plan, tree = ready.plan, ready.tree
    known: dict[str, Caution] = dict(cautions.cautions.items())
    in_force = always_in_force(plan.order, plan.ways, plan.needs, plan.energises, table)

    def called(number: int) -> tuple[str, ...]:
        lapsed = table.lapsing if plan.energises[number] else 0
        return table.names(table.called(plan.needs[number], in_force[number] & ~lapsed))

    steps = tuple(
        StepText(
            id=plan.ids[number],
            kind=kind_of(step),
            texts=tuple(_paragraphs(step, number, options, title_of)),
            answers=tuple(_answers(step, number, ready, options)),
            cautions=called(number),
            signal=_strongest(known[name].signal for name in called(number)),
            walked=number in options.visits,
            leads_to=(isinstance(step, Finding) and step.continue_with) or "",
        )
        for number, step in enumerate(ready.steps)
    )
    start = plan.start if options.start is None else options.start
    head: list[str] = [tree.title]
    if start != plan.start:
        head += _entered_at(start, [known[table.ids[one]].title for one in bits(in_force[start])])
    every = {name for step in steps for name in step.cautions}
    return FlowchartText(
        symptom=tree.symptom,
        title=tree.title,
        head=tuple(head),
        start=start,
        order=plan.order,
        steps=steps,
        cautions={
            name: " ".join([one.signal, one.title, *one.signs])
            for name, one in known.items()
            if name in every
        },
    )


def _strongest(signals: Iterable[str]) -> str:
    """Return the strongest of some signal words, "" where there is none."""
    return min(signals, key=[*SIGNALS].index, default="")


def _entered_at(start: int, in_force: Sequence[str]) -> Iterator[str]:
    yield f"From step {start + 1} on."
    if in_force:
        yield f"In force here: {', '.join(in_force)}."


def _paragraphs(
    step: Step, number: int, options: TextOptions, title_of: Callable[[str], str]
) -> Iterator[str]:
    head = [f"{number + 1}", STYLES[kind_of(step)].word]
    if isinstance(step, Question) and step.by != "operator":
        head.append(STYLES[NodeKind(step.by)].word)
    head.append(options.visits.get(number, ""))
    yield " · ".join(filter(None, head))
    if isinstance(step, Finding):
        yield from _of_finding(step, title_of)
    else:
        if step.do is not None:
            yield step.do
        yield asked(step)
    if number in options.last_lines:
        yield options.last_lines[number]


def _of_finding(step: Finding, title_of: Callable[[str], str]) -> Iterator[str]:
    yield step.finding
    if step.continue_with is not None:
        yield f"→ {title_of(step.continue_with)}"
    advice = step.leave_safe if step.who == "service" else step.remedy
    if advice is not None:
        yield f"→ {advice}"


def asked(step: Question) -> str:
    """Return a check's question, or the title of a reading's measurement."""
    if isinstance(step, Reading):
        return MEASUREMENTS[step.read].title
    assert isinstance(step, Check)
    return step.ask


def _answers(
    step: Step, number: int, ready: ReadyTree, options: TextOptions
) -> Iterator[AnswerText]:
    if not isinstance(step, Question):
        return
    for which, way in enumerate(step.exits):
        yield AnswerText(
            text=way.answer,
            to=ready.plan.ways[number][which],
            limit=band_range(step, which) if isinstance(step, Reading) else "",
            passing=which == ready.plan.passing[number],
            walked=options.walked.get((number, which), 0),
        )


def band_range(step: Reading, which: int) -> str:
    """Return the range of a reading's band with its unit, "" where there is only one band."""
    unit = MEASUREMENTS[step.read].unit
    low = f"{step.limits[which - 1]:g}" if which else ""
    high = f"{step.limits[which]:g}" if which < len(step.limits) else ""
    if low and high:
        return f"{low} to {high} {unit}".rstrip()
    if not high:
        return " ".join(f"{low} {unit} or more".split()) if low else ""
    return f"below {high} {unit}".rstrip()
