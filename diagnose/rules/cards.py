"""Rules on what a machine card says, and on what depends on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.files.definitions import CARD_LINES, line_kind
from diagnose.measure.inputs import read
from diagnose.measure.registry import MEASUREMENTS, Unreadable
from diagnose.rules.view import Objection, TreeView
from diagnose.study.plan import passing_answer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.places import Path
    from diagnose.files.tree import Condition
    from diagnose.measure.registry import Need
    from diagnose.rules.view import CardView, RoundView


def condition(view: TreeView | RoundView) -> Iterator[Objection]:
    """What `applies_to` wants is a word that the card may say there, and leaves a way on.

    A step that does not apply is answered by its passing answer, so it has one, for every machine.
    Of its answers at least two are there for every machine.

    Passes:
        steps: {first: {applies_to: {battery.kind: [flooded]}}}
    Fails:
        steps: {first: {applies_to: {battery.kind: [wet]}}}
    """
    for path, wanted in view.conditions():
        yield from _unsaid(path, wanted)
    if not isinstance(view, TreeView):
        return
    for name, step in view.questions():
        passing = passing_answer(view.tree, step)
        way = step.exit(passing) if passing is not None else None
        if step.applies_to and way is None:
            message = "Write which answer `passes`: the step does not apply to every machine."
            yield Objection(view.at(name, "applies_to"), message)
        if way is not None and way.applies_to:
            number = step.exits.index(way)
            message = "Delete `applies_to` here: the passing answer applies to every machine."
            yield Objection(view.at(name, *step.answer_at(number)), message)
        if sum(not one.applies_to for one in step.exits) < 2:
            message = "Write two answers without `applies_to` at least, for every machine."
            yield Objection(view.at(name), message)


def _unsaid(path: Path, wanted: Condition) -> Iterator[Objection]:
    """Yield the words of a condition that no card can say at its line."""
    for line, words in wanted.items():
        fits = getattr(line_kind(line), "fits", None) if line in CARD_LINES else None
        for number, word in enumerate(words):
            if fits is not None and not fits(word):
                message = f'Write {line_kind(line).words}: no card says "{word}" at {line}.'
                yield Objection((*path, line, number), message)


def card_value(view: CardView) -> Iterator[Objection]:
    """What a card says is what the measurements that read it can take, in unit and in size.

    Somebody at the machine would otherwise learn of it when the reading is refused.

    Passes:
        battery: {cells: 12}
    Fails:
        battery: {cells: 500}
    """
    said: set[str] = set()
    for need in _needs():
        text = view.lines.line(need.card or "")
        # One line, one word: a line that several measurements read is refused once.
        if text is None or need.card is None or need.card in said:
            continue
        try:
            read(need, text, bare=False)
        except Unreadable as problem:
            said.add(need.card)
            message = f"{problem}".removeprefix(f"{need.name}: ")
            yield Objection(
                tuple(need.card.split(".")), f"Write what a reading can use: {message}."
            )


def _needs() -> Iterator[Need]:
    """Yield every input that a machine card may say."""
    for measurement in MEASUREMENTS.values():
        yield from (need for need in measurement.needs if need.card is not None)
