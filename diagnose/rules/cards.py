"""Rules on what a machine card says, and on what depends on it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.files.definitions import CARD_LINES, line_kind
from diagnose.files.kinds import Quantity
from diagnose.files.library import SITE_FILE
from diagnose.measure.inputs import belongs, read
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
    """What a card, a kind or the site says is what the readings take, in unit and in size.

    A unit may be any that a reading takes: `feet`, `gallons`, `lpm`. A line that no reading uses
    has a unit of its kind. Somebody at the machine would otherwise learn of it when the reading is
    refused.

    Passes:
        battery: {cells: 12}
    Fails:
        battery: {cells: 500}
    """
    for path, at in _lines_of(view):
        text = view.lines.line(".".join(at))
        problem = None if text is None else _unusable(path, text)
        if problem is not None:
            yield Objection(at, f"Write what a reading can use: {problem}.")


def _lines_of(view: CardView) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield the lines of a card, each with where it stands in this file."""
    site = ("altitude",) if view.parts == (SITE_FILE,) else None
    for path in _TAKEN:
        if site is None:
            yield path, tuple(path.split("."))
        elif path == "site.altitude":
            yield path, site


def _unusable(path: str, text: str) -> str | None:
    """Return what speaks against a text at a line of a card, None where nothing does."""
    try:
        for need in _TAKEN[path]:
            read(need, text, bare=False)
        kind = line_kind(path)
        if isinstance(kind, Quantity) and not _TAKEN[path]:
            belongs(text, kind.dimension)
    except Unreadable as problem:
        return f"{problem}".partition(": ")[2] if _TAKEN[path] else f"{problem}"
    return None


def _needs_by_line() -> dict[str, list[Need]]:
    """Return the inputs of measurements that a card may say, by their lines; none at other lines.

    One is kept of those that take the same.
    """
    taken: dict[str, list[Need]] = {path: [] for path in sorted(CARD_LINES)}
    for measurement in MEASUREMENTS.values():
        for need in measurement.needs:
            if need.card is not None and need not in taken[need.card]:
                taken[need.card].append(need)
    return taken


_TAKEN: Final = _needs_by_line()
