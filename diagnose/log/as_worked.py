"""A case of the log as a worked case of each tree that it came to: what such a machine shows."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from msgspec import Struct

from diagnose.case.walk import ANSWER
from diagnose.files.spans import written
from diagnose.files.tree import Question, Reading, WorkedCase
from diagnose.log.events import Found, Opened, Replied
from diagnose.measure.registry import MissingLine, Unreadable
from diagnose.study.looks import unfolded
from diagnose.study.worked import band_of, route_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from diagnose.log.account import Account
    from diagnose.measure.model import Measurement
    from diagnose.study.ready import ReadyTree

#: What was seen at a step: the answer, and what a reading was computed from, as typed.
Seen: TypeAlias = "tuple[str, Mapping[str, str]]"


class NoCause(Exception):
    """A case names no cause that the tree knows; the message says why, in one line."""


class FromCase(Struct, frozen=True, kw_only=True):
    """A worked case of the tree of a symptom, and what its author should look at."""

    symptom: str
    worked: WorkedCase
    remarks: tuple[str, ...] = ()

    def as_yaml(self) -> str:
        """Return the lines that can be put under `worked_cases`, indented by two."""
        lines = [f"  # {remark}" for remark in self.remarks]
        lines += [f"  - name: {written(self.worked.name)}"]
        lines += ["    answers:" if self.worked.answers else "    answers: {}"]
        for step, said in self.worked.answers.items():
            value = said if isinstance(said, str) else None
            lines.append(f"      {step}: {_inputs(said) if value is None else written(value)}")
        lines.append(f"    finding: {self.worked.finding}")
        return "\n".join(lines)


def _inputs(said: Mapping[str, str] | str) -> str:
    assert not isinstance(said, str)
    return f"{{{', '.join(f'{name}: {written(text)}' for name, text in said.items())}}}"


def as_worked(
    account: Account, trees: Callable[[str], ReadyTree | None], name: str
) -> list[FromCase]:
    """Return a case as a worked case of each tree that led to its cause, the first tree first.

    What was answered is taken where it leads to the cause; where nothing was answered, or what did
    not lead there, the passing answer is put in if it does, else the first that does, and a remark
    says so. `trees` are today's. Raises `NoCause`.
    """
    found = []
    for symptom, finding in reversed(_cause(account)):
        ready = trees(symptom)
        if ready is None:
            raise NoCause(f"the tree of {symptom} is not there or has errors")
        today = ready.today(finding)
        if ready.plan.number.get(today) not in ready.plan.bit:
            raise NoCause(f"{symptom} has no finding {today}")
        found.append(_of_tree(account, ready, today, name))
    return found


def _cause(account: Account) -> Sequence[tuple[str, str]]:
    """Return the cause as (symptom, finding), the doorways that led there behind it."""
    cures: tuple[tuple[str, str], ...] = ()
    other = ""
    for event in (logged.event for logged in account.events):
        if isinstance(event, Replied) and event.cures:
            cures = event.cures
        elif isinstance(event, Found):
            cures, other = event.cures or ((event.symptom, event.finding),), event.other
    if other:
        raise NoCause(f"no finding is what service found: {other}")
    if cures:
        order = account.entered()
        return sorted(cures, key=lambda cure: -order.index(cure[0]) if cure[0] in order else 0)
    if account.stopped_at is None:
        raise NoCause("it neither was cured nor came to a cause for service")
    return (account.stopped_at, *account.doors_to(account.stopped_at[0]))


def _of_tree(account: Account, ready: ReadyTree, finding: str, name: str) -> FromCase:
    plan, flat = ready.plan, unfolded(ready.plan)
    seen = _seen(account, ready)
    bit = plan.bit[plan.number[finding]]
    if not flat.reach[flat.start] >> bit & 1:
        raise NoCause(f"no answers that agree lead to {finding} in {ready.symptom}")
    answers: dict[str, str | Mapping[str, str]] = {}
    remarks = []
    at = flat.start
    while targets := flat.ways[at]:
        step = plan.number[flat.ids[at]]
        question, id_ = ready.steps[step], plan.ids[step]
        assert isinstance(question, Question)
        if len(targets) < len(plan.ways[step]):
            # The look was met before on this route.
            (at,) = targets
            continue
        toward = [number for number, to in enumerate(targets) if flat.reach[to] >> bit & 1]
        answer, inputs = seen.get(step, ("", {}))
        number, remark = _way(question, plan.passing[step], toward, answer)
        if remark:
            remarks.append(f"{id_}: {remark}")
            inputs = {}
        given = _given(question, number, inputs, account, ready.measurements)
        if inputs and not given:
            remarks.append(f"{id_}: what was typed does not come to this band without the card")
        if given or number != plan.passing[step]:
            answers[id_] = given or question.exits[number].answer
        at = targets[number]
    worked = WorkedCase(name=name, answers=answers, finding=finding)
    assert route_of(ready, worked) is not None
    return FromCase(symptom=ready.symptom, worked=worked, remarks=tuple(remarks))


def _way(
    question: Question, passing: int | None, toward: Sequence[int], said: str
) -> tuple[int, str]:
    """Return the answer to take at a question, and what is to be said of it."""
    answers = [way.answer for way in question.exits]
    if said in answers and answers.index(said) in toward:
        return answers.index(said), ""
    number = passing if passing is not None and passing in toward else toward[0]
    if said:
        return number, f'it was answered "{said}", which does not lead there'
    return number, f'it was not answered; "{answers[number]}" leads there'


def _given(
    question: Question,
    number: int,
    inputs: Mapping[str, str],
    account: Account,
    measurements: Mapping[str, Measurement],
) -> Mapping[str, str] | None:
    """Return the inputs of a reading with which a worked case falls in the band of that number.

    As typed, where that is enough; else with what the machine card had for the measurement.
    """
    if not inputs or not isinstance(question, Reading):
        return None
    carded = dict(_from_card(measurements.get(question.read), inputs, account))
    for given in (inputs, {**inputs, **carded}):
        try:
            if band_of(question, given, measurements) == question.exits[number]:
                return given
        except (Unreadable, MissingLine):
            continue
    return None


def _from_card(
    measurement: Measurement | None, inputs: Mapping[str, str], account: Account
) -> Iterator[tuple[str, str]]:
    """Yield the inputs of a measurement that the card of the case supplied."""
    card = account.outset.machine_card
    if card is None or measurement is None:
        return
    replaced = {need.replaces for need in measurement.needs if need.name in inputs}
    for need in measurement.needs:
        text = card.line(need.card) if need.card else None
        if text is not None and need.name not in {*inputs, *replaced}:
            yield need.name, text


def _seen(account: Account, ready: ReadyTree) -> dict[int, Seen]:
    """Return what was seen at the steps of a tree, by number; the last answer at each counts.

    What looks at the same was seen with it.
    """
    plan = ready.plan
    seen: dict[int, Seen] = {}
    for name, one in _told(account, ready.symptom):
        step = plan.number.get(ready.today(name))
        question = None if step is None else ready.steps[step]
        if step is None or not isinstance(question, Question):
            continue
        seen[step] = one
        answers = [way.answer for way in question.exits]
        if one[0] in answers:
            for twin, _ in plan.twins.get((step, answers.index(one[0])), ()):
                seen[twin] = one
    return seen


def _told(account: Account, symptom: str) -> Iterator[tuple[str, Seen]]:
    """Yield each answer at a step of a tree: the card's, what was seen before, then the replies."""
    if symptom in account.trees:
        yield from ((one.step, (one.answer, {})) for one in account.trees[symptom].from_card)
    if isinstance(account.first, Opened) and symptom == account.symptom:
        yield from ((step, (answer, {})) for step, answer in account.first.seen.items())
    for logged in account.moves:
        event = logged.event
        if isinstance(event, Replied) and event.reply == ANSWER and event.symptom == symptom:
            inputs = {} if event.reading is None else event.reading.inputs
            yield event.step, (event.answer, inputs)
