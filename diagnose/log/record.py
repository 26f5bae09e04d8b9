"""What the log keeps of an exchange, so that neither a story nor a handover needs the tree."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from diagnose.case import view
from diagnose.case.screens import CautionScreen, CheckScreen, DangerScreen, FindingScreen
from diagnose.case.state import Trace
from diagnose.case.walk import ANSWER
from diagnose.files import replies
from diagnose.files.tree import Check, Finding, Question, Reading
from diagnose.log.events import (
    CardAnswer,
    CautionKept,
    CautionShown,
    FigureTaken,
    FindingKept,
    Noted,
    Opened,
    Outset,
    PassedStep,
    ReadingTaken,
    Replied,
    Resumed,
    Shown,
    TreeKept,
)
from diagnose.measure.registry import missing_line

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence, Set

    from diagnose.case.screens import Guard, Named, Screen
    from diagnose.case.state import Exchange, State, Turn
    from diagnose.case.visit import Visit
    from diagnose.files.tree import Step
    from diagnose.study.ready import ReadyTree

#: How many causes of each symptom are kept with a reply: enough for a page, few in a large tree.
LIKELY: Final = 6


def outset(visit: Visit, name: str) -> Outset:
    """Return what stands for all of a case or a round: who is there, the card, the cautions."""
    table = visit.table
    return Outset(
        role=visit.role,
        name=name,
        card=None if visit.card is None else dict(visit.card.lines),
        cautions={
            id_: CautionKept(
                title=table.records[number].title,
                lapses=table.records[number].lapsing,
                lockout=bool(table.lockouts >> number & 1),
                worn=table.records[number].worn,
            )
            for number, id_ in enumerate(table.ids)
        },
        site="" if visit.site is None else visit.site.name,
        call={} if visit.site is None else visit.site.call,
    )


def opened(
    visit: Visit,
    state: State,
    trail: Sequence[Trace],
    words: str = "",
    name: str = "",
    seen: Mapping[str, str] | None = None,
) -> Opened:
    """Return the first event of a case.

    `words` are the operator's own for the symptom, empty where it was picked from the list; `seen`
    are answers that a round had seen already.
    """
    return Opened(
        symptom=state.frames[0].tree.symptom,
        words=words,
        seen=seen or {},
        outset=outset(visit, name),
        **_held(visit, state, trail, frozenset()),
    )


#: The symptom of a case that a danger opened, before anybody chose one.
DANGER_ALONE: Final = "danger"


def danger_opened(visit: Visit, name: str, words: str) -> Opened:
    """Return the first event of a case that a danger opened, before a symptom was chosen.

    `words` are the operator's own that told of it, where there were any.
    """
    return Opened(
        symptom=DANGER_ALONE,
        words=words,
        outset=outset(visit, name),
        trees={DANGER_ALONE: TreeKept(title="A danger was reported")},
    )


def danger_replied(kind: str) -> Replied:
    """Return the event that says what the danger was, and ends such a case."""
    return Replied(
        reply=replies.DANGER,
        symptom=DANGER_ALONE,
        step="",
        shown=Shown(screen=DangerScreen.screen),
        answer=kind,
        trail=(Trace(what="ended", symptom=DANGER_ALONE, step="", why=replies.DANGER),),
    )


def resumed(
    visit: Visit,
    state: State,
    trail: Sequence[Trace],
    told: Set[str],
    *,
    fits: int,
    misfits: int,
    name: str = "",
) -> Resumed:
    """Return the event with which a case is taken up again."""
    return Resumed(
        symptom=state.frames[0].tree.symptom,
        role=visit.role,
        name=name,
        fits=fits,
        misfits=misfits,
        **_held(visit, state, trail, told),
    )


def replied(visit: Visit, turn: Turn, told: Set[str]) -> Replied | Noted:
    """Return the event of a turn in which something happened.

    `told` are the symptoms whose trees the log of this case has already.
    """
    exchange, state = turn.exchange, turn.state
    assert exchange is not None
    screen, frame = exchange.screen, exchange.frame
    if exchange.kind == replies.NOTE:
        return noted(exchange, screen.in_force)
    assert frame is not None
    step = frame.tree.steps[frame.at]
    to = ""
    if exchange.kind == ANSWER and isinstance(step, Question):
        to = next(way.to for way in step.exits if way.answer == exchange.answer)
    over = state.outcome in ("cured", "referred")
    return Replied(
        reply=exchange.kind,
        symptom=exchange.symptom,
        step=exchange.step,
        shown=shown(screen, step.ask_service if isinstance(step, Finding) else None),
        caution=screen.id if isinstance(screen, CautionScreen) else "",
        refused=exchange.refused,
        typed=exchange.typed,
        answer=exchange.answer,
        to=to,
        reading=_reading(exchange),
        cures=_cures(state) if state.outcome == "cured" else (),
        closing=_closing(state) if over else {},
        **_held(visit, state, exchange.trail, told),
    )


def noted(exchange: Exchange, in_force: Sequence[Named]) -> Noted:
    """Return the event of a note, in a case or in a round."""
    return Noted(
        text=exchange.answer,
        step=exchange.step,
        symptom=exchange.symptom,
        what=getattr(exchange.screen, "note_down", None) or "",
        in_force=tuple([caution.id for caution in in_force]),
    )


def shown(screen: Screen, ask_service: str | None = None) -> Shown:
    """Return the words of a screen for the log, with what only the handover may say."""
    words = {name: getattr(screen, name) for name in _WORDS if hasattr(screen, name)}
    if isinstance(screen, CheckScreen):
        words["answers"] = tuple([answer.title for answer in screen.answers])
    elif isinstance(screen, CautionScreen):
        words["cautions"] = tuple([_caution(guard) for guard in screen.cautions])
    elif isinstance(screen, FindingScreen):
        words["ask_service"] = ask_service
    return Shown(screen=screen.screen, **words)


#: What a screen may say that is kept as it is.
_WORDS: Final = tuple(
    name
    for name in Shown.__struct_fields__
    if name not in ("screen", "answers", "cautions", "ask_service")
)


def _caution(guard: Guard) -> CautionShown:
    return CautionShown(
        id=guard.id,
        title=guard.title,
        signal=guard.signal,
        signs=guard.signs,
        text=guard.text,
        confirm=guard.confirm,
        hazards=tuple([hazard.title for hazard in guard.hazards]),
        includes=guard.includes,
        again=guard.again,
    )


def _held(visit: Visit, state: State, trail: Sequence[Trace], told: Set[str]) -> dict[str, Any]:
    """Return what followed, and what holds then; `told` are symptoms whose trees are known."""
    held = view.named(visit.table, state.cautions.in_force)
    return {
        "trail": tuple(trail),
        "in_force": tuple([caution.id for caution in held]),
        "likely": {frame.tree.symptom: view.ranking(frame)[:LIKELY] for frame in state.frames},
        "trees": {} if state.entered <= told else _new_trees(visit, state, told),
        "passed": _passed(visit, state, trail),
    }


def _closing(state: State) -> dict[str, float]:
    return {cause.step: cause.probability for cause in view.ranking(state.frames[0])}


def _cures(state: State) -> tuple[tuple[str, str], ...]:
    """Return what was cured: a cure behind a doorway counts for the doorway too."""
    return tuple((frame.tree.symptom, frame.tree.plan.ids[frame.at]) for frame in state.frames)


def _reading(exchange: Exchange) -> ReadingTaken | None:
    figure = exchange.figure
    if figure is None:
        return None
    return ReadingTaken(
        inputs=exchange.inputs or {},
        si=exchange.si,
        figure=FigureTaken(
            value=figure.value,
            unit=figure.unit,
            band=figure.band,
            expected=figure.expected,
            workings=figure.workings,
            good_to=figure.good_to,
        ),
    )


def _new_trees(visit: Visit, state: State, told: Set[str]) -> dict[str, TreeKept]:
    first = state.frames[0].tree.symptom
    fresh = [name for name in (first, *sorted(state.entered - {first})) if name not in told]
    trees = {frame.tree.symptom: frame.tree for frame in (*state.frames, *state.held)}
    kept = {}
    for symptom in fresh:
        tree = trees.get(symptom) or visit.tree(symptom)
        if tree is not None:
            kept[symptom] = tree_kept(visit, tree)
    return kept


def tree_kept(visit: Visit, tree: ReadyTree) -> TreeKept:
    """Return what the log keeps of a tree."""
    plan = tree.plan
    findings = {}
    for place, chance in zip(plan.findings, plan.chances, strict=True):
        step = tree.steps[place]
        assert isinstance(step, Finding)
        findings[plan.ids[place]] = FindingKept(
            finding=step.finding,
            chance=chance,
            who=step.who,
            parts=step.parts,
            ask_service=step.ask_service,
            leave_safe=step.leave_safe,
            hazards=tuple(visit.table.hazards[name] for name in step.hazards),
        )
    answers = []
    for place, answer in tree.from_card.items():
        question = tree.steps[place]
        assert isinstance(question, Question)
        answers.append(
            CardAnswer(
                step=plan.ids[place],
                words=_step_words(tree, question),
                line=question.from_card or "",
                answer=question.exits[answer].answer,
            )
        )
    return TreeKept(title=tree.title, hash=tree.digest, from_card=tuple(answers), findings=findings)


def _passed(visit: Visit, state: State, trail: Sequence[Trace]) -> tuple[PassedStep, ...]:
    """Return the steps that were passed over, in words, with the reason in words."""
    passed = []
    for trace in trail:
        # What was shown and not known is in the event's own words.
        if trace.what != "passed" or trace.why == replies.UNSURE:
            continue
        tree = visit.tree(trace.symptom)
        step = None if tree is None else tree.named(trace.step)
        if tree is not None and step is not None:
            passed.append(
                PassedStep(
                    symptom=trace.symptom,
                    step=trace.step,
                    words=_step_words(tree, step),
                    why=trace.why,
                    reason=_reason(visit, state, tree, step, trace.why),
                )
            )
    return tuple(passed)


def _reason(visit: Visit, state: State, tree: ReadyTree, step: Step, why: str) -> str:
    """Return what stood in the way: who may do it, the cautions refused, the card's silence."""
    if why == "by":
        return step.by if isinstance(step, Question) else step.who
    if why == "caution":
        table = visit.table
        in_the_way = table.closed(table.needs(step)) & state.cautions.refused
        return ", ".join(caution.title for caution in view.named(table, in_the_way))
    if why == "card" and isinstance(step, Reading):
        return f"{missing_line(tree.measurements[step.read], visit.line) or ''}"
    return ""


def _step_words(tree: ReadyTree, step: Step) -> str:
    if isinstance(step, Finding):
        return step.finding
    if isinstance(step, Reading):
        return tree.measurements[step.read].title
    assert isinstance(step, Check)
    return f"{step.do or ''} {step.ask}".strip()
