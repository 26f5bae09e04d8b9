"""What an edit does to machines: to their cards, and to what is offered and guarded on each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from msgspec import Struct

from diagnose.files.tree import Finding, Tree
from diagnose.study.compare import lost_on
from diagnose.study.tailored import is_for

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from diagnose.files.card import Card
    from diagnose.files.rounds import Round
    from diagnose.study.compare import Numbering
    from diagnose.study.in_force import CautionTable
    from diagnose.study.lost_cautions import Loss

#: The line of a card, its kind or the site that says whom to call for service.
_CALL: Final = "service.phone"


class Lines(Struct, frozen=True, kw_only=True):
    """Lines of a card, a kind or the site by their dotted paths, with what they say or said.

    `changed` has both, the old first.
    """

    added: Mapping[str, str]
    removed: Mapping[str, str]
    changed: Mapping[str, tuple[str, str]]

    def __bool__(self) -> bool:
        return bool(self.added or self.removed or self.changed)


class TakenAway(Struct, frozen=True, kw_only=True):
    """A symptom or a round that some machines had, and have no more."""

    what: str
    machines: tuple[str, ...]


class LostOn(Struct, frozen=True, kw_only=True):
    """A caution that is lost at a step or an item on some machines, and not on every machine."""

    what: str
    loss: Loss
    caution: str
    machines: tuple[str, ...]


class Fleet(Struct, frozen=True, kw_only=True):
    """One version of a library: its machines with all that is said of them, what they may have.

    `whats` are the symptoms and rounds that can be compared, rounds as ``rounds/NAME``.
    """

    machines: Mapping[str, Card]
    whats: Mapping[str, Tree | Round]
    table: CautionTable


def compared_lines(old: Mapping[str, Any], new: Mapping[str, Any]) -> Lines:
    """Return what differs between the lines of two versions of a card.

    >>> compared_lines({"flow": {"rate": "2 L/min"}}, {"flow": {"rate": "3 L/min"}}).changed
    {'flow.rate': ('2 L/min', '3 L/min')}
    """
    was, is_ = dict(_flat(old)), dict(_flat(new))
    return Lines(
        added={path: text for path, text in is_.items() if path not in was},
        removed={path: text for path, text in was.items() if path not in is_},
        changed={
            path: (was[path], text)
            for path, text in is_.items()
            if path in was and was[path] != text
        },
    )


def _flat(lines: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, str]]:
    for name, value in lines.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{above}{name}.")
        elif isinstance(value, float):
            yield f"{above}{name}", f"{value:g}"
        else:
            yield f"{above}{name}", f"{value}"


def taken_away(old: Fleet, new: Fleet) -> list[TakenAway]:
    """Return what machines that both versions have can have no more, though it is still there."""
    found = []
    for what, is_ in new.whats.items():
        was = old.whats.get(what)
        if was is None:
            continue
        machines = tuple(
            name
            for name in _both(old, new)
            if is_for(old.machines[name], was) and not is_for(new.machines[name], is_)
        )
        if machines:
            found.append(TakenAway(what=what, machines=machines))
    return found


def lost_on_machines(old: Fleet, new: Fleet, numbering: Numbering) -> list[LostOn]:
    """Return the cautions that are lost on some machines, by what their cards say.

    Those that are lost whatever the card says are not among them. Machines whose cards say the same
    at all lines that a symptom or a round reads are looked at once.
    """
    found = []
    for what, is_ in new.whats.items():
        was = old.whats.get(what)
        if was is None:
            continue
        paths = sorted({*_read_by(was), *_read_by(is_)})
        if not paths:
            continue
        known: set[tuple[str, str]] | None = None
        for machines in _alike(old, new, paths, was, is_):
            if known is None:
                known = _pairs(lost_on((was, old.table, None), (is_, new.table, None), numbering))
            cards = old.machines[machines[0]], new.machines[machines[0]]
            lost = lost_on((was, old.table, cards[0]), (is_, new.table, cards[1]), numbering)
            for loss, caution in lost:
                if (loss.step, caution) not in known:
                    found.append(LostOn(what=what, loss=loss, caution=caution, machines=machines))
    return found


def _pairs(lost: Iterable[tuple[Loss, str]]) -> set[tuple[str, str]]:
    return {(loss.step, caution) for loss, caution in lost}


def _both(old: Fleet, new: Fleet) -> list[str]:
    return [name for name in new.machines if name in old.machines]


def _alike(
    old: Fleet, new: Fleet, paths: list[str], was: Tree | Round, is_: Tree | Round
) -> list[tuple[str, ...]]:
    """Return the machines that have both versions, those together whose cards say the same."""
    same = was == is_ and old.table.records == new.table.records
    groups: dict[tuple[object, ...], list[str]] = {}
    for name in _both(old, new):
        cards = old.machines[name], new.machines[name]
        if not (is_for(cards[0], was) and is_for(cards[1], is_)):
            continue
        said = tuple(tuple(card.line(path) for path in paths) for card in cards)
        if not same or said[0] != said[1]:
            groups.setdefault(said, []).append(name)
    return [tuple(names) for names in groups.values()]


def _read_by(what: Tree | Round) -> Iterator[str]:
    """Yield the lines of a card on which it hangs which steps or items are met."""
    if not isinstance(what, Tree):
        for item in what.items.values():
            yield from item.applies_to
        return
    for step in what.steps.values():
        if isinstance(step, Finding):
            continue
        yield from step.applies_to
        if step.from_card is not None:
            yield step.from_card
        for way in step.exits:
            yield from way.applies_to


def contacts_gone(old: Fleet, new: Fleet) -> list[str]:
    """Return the machines that both versions have and that have nobody to call for service now."""
    return [
        name
        for name in _both(old, new)
        if old.machines[name].line(_CALL) is not None and new.machines[name].line(_CALL) is None
    ]
