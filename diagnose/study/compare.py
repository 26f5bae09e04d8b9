"""What an edit does to a tree, a round or the cautions: all that can be said without running it."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from diagnose.files.cautions import EACH, SIGNALS
from diagnose.files.rounds import Item
from diagnose.files.tree import OUT_OF_USE, ROLES, Check, Finding, Question, Reading, Tree
from diagnose.study.graph import graph_of, in_order, reached
from diagnose.study.in_force import bits, union
from diagnose.study.lost_cautions import Loss, Version, losses
from diagnose.study.tailored import tailored

if TYPE_CHECKING:
    from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence

    from diagnose.files.card import Card
    from diagnose.files.cautions import Caution, Cautions
    from diagnose.files.rounds import Round
    from diagnose.files.tree import Step
    from diagnose.study.in_force import CautionTable

_Thing = TypeVar("_Thing")

#: By the id in the new version, the id in the old one, where only the id was changed.
Renamed: TypeAlias = "Mapping[str, str]"


class Answers(Struct, frozen=True, kw_only=True):
    """The answers of a step that differ: those that are there now, those that are not any more, and
    those that lead elsewhere, with the step that they led to and the one that they lead to now.
    """

    added: tuple[str, ...]
    removed: tuple[str, ...]
    led: tuple[tuple[str, str, str], ...]


class Changed(Struct, frozen=True, kw_only=True):
    """A step, a finding, an item or a caution that both versions have, and the keys that differ.

    `answers` says how those of a question differ.
    """

    id: str
    keys: tuple[str, ...]
    answers: Answers | None = None


class Weaker(Struct, frozen=True, kw_only=True):
    """Something that guards people less than it did: its id, what of it, as it was and as it is."""

    id: str
    key: str
    was: str
    is_: str


class Differences(Struct, frozen=True, kw_only=True):
    """What differs between two versions of things that have ids; `renamed` as (old, new)."""

    added: tuple[str, ...]
    removed: tuple[str, ...]
    changed: tuple[Changed, ...]
    renamed: tuple[tuple[str, str], ...]


class Compared(Struct, frozen=True, kw_only=True):
    """What an edit does to a tree or a round: its steps or items, its findings, its cautions.

    `moved` are questions or items that have changed places on every route that has both: one, and
    those that it came behind, and now comes before, or the other way round (`up` is false).
    """

    steps: Differences
    findings: Differences
    guarded: Guarded
    moved: tuple[Moved, ...]


class Moved(Struct, frozen=True, kw_only=True):
    """A question or an item that comes before some others now (`up`), or behind them."""

    id: str
    up: bool
    past: tuple[str, ...]


class Guarded(Struct, frozen=True, kw_only=True):
    """What an edit does to the cautions of a tree or a round, by the names of today's file.

    `lost` and `gained` name cautions by their ids; `weaker` is what guards people less.
    """

    lost: tuple[tuple[Loss, str], ...]
    gained: tuple[tuple[Loss, str], ...]
    weaker: tuple[Weaker, ...]


class Numbering:
    """One numbering of the cautions of two libraries: a caution whose id was changed is one."""

    def __init__(self, old: Cautions, new: Cautions) -> None:
        self.renamed = renamed = renamings(old.cautions, new.cautions, _caution_words)
        self.names = (*old.cautions, *(name for name in new.cautions if name not in old.cautions))
        number = {name: place for place, name in enumerate(self.names)}
        self.old = {name: number[name] for name in old.cautions}
        self.new = {name: number[renamed.get(name, name)] for name in new.cautions}
        self._today = {place: name for name, place in self.new.items()}

    def name(self, number: int) -> str:
        """Return a caution's id: today's, or the last one that it had."""
        return self._today.get(number, self.names[number])


def renamings(
    old: Mapping[str, _Thing], new: Mapping[str, _Thing], words: Callable[[_Thing], object]
) -> Renamed:
    """Return the ids that were changed: what says so itself (`was`), else what says the same as
    exactly one that is gone.
    """
    left = {name for name in old if name not in new}
    said = {
        name: before
        for name, one in new.items()
        if name not in old
        for before in getattr(one, "was", ())
        if before in left
    }
    gone = _by_words(old, [name for name in left if name not in said.values()], words)
    come = _by_words(new, [name for name in new if name not in old and name not in said], words)
    return said | {
        names[0]: gone[said][0]
        for said, names in come.items()
        if len(names) == 1 and len(gone.get(said, ())) == 1
    }


def _by_words(
    things: Mapping[str, _Thing], names: Sequence[str], words: Callable[[_Thing], object]
) -> dict[object, list[str]]:
    found: dict[object, list[str]] = {}
    for name in names:
        found.setdefault(words(things[name]), []).append(name)
    return found


def _caution_words(caution: Caution) -> object:
    return caution.title


def _task_words(task: Step | Item) -> object:
    """Return what tells one step from another when its id is changed: what it is about."""
    if isinstance(task, Finding):
        return ("finding", task.finding)
    if isinstance(task, Check):
        return ("ask", task.do, task.ask)
    if isinstance(task, Reading):
        return ("read", task.do, task.read)
    return ("do", task.do)


def differences(
    old: Mapping[str, Any], new: Mapping[str, Any], renamed: Renamed, among: tuple[type, ...]
) -> Differences:
    """Return what differs among the things of some types, where a new id alone is no difference."""
    was = {name: one for name, one in old.items() if isinstance(one, among)}
    is_ = {name: one for name, one in new.items() if isinstance(one, among)}
    before = {name: renamed.get(name, name) for name in is_}
    kept = {name: was[before[name]] for name in is_ if before[name] in was}
    changed = (_changed(name, one, is_[name], renamed) for name, one in kept.items())
    return Differences(
        added=_without(is_, kept),
        removed=_without(was, {before[name] for name in kept}),
        changed=tuple(one for one in changed if one.keys),
        renamed=tuple((before[name], name) for name in kept if before[name] != name),
    )


def _without(names: Iterable[str], others: Container[str]) -> tuple[str, ...]:
    return tuple(name for name in names if name not in others)


def _changed(name: str, old: Any, new: Any, renamed: Renamed) -> Changed:
    keys, answers = _keys(old, new, renamed), _answers(old, new, renamed)
    if name in renamed:
        keys = tuple(key for key in keys if key != "was")
    return Changed(id=name, keys=keys, answers=answers)


def _keys(old: Any, new: Any, renamed: Renamed) -> tuple[str, ...]:
    """Return the keys of a file at which two things differ, in the order of the file's keys."""
    if type(old) is not type(new):
        return ("kind",)
    # Under another name in the file.
    keys = {"exits": "bands" if isinstance(new, Reading) else "answers", "limits": "bands"}
    found = (
        keys.get(name, name)
        for name in new.__struct_fields__
        if getattr(old, name) != _as_before(name, getattr(new, name), renamed)
    )
    return tuple(dict.fromkeys(found))


def _answers(old: Any, new: Any, renamed: Renamed) -> Answers | None:
    if not (isinstance(old, Question) and isinstance(new, Question)):
        return None
    today = {was: is_ for is_, was in renamed.items()}
    was = {way.answer: today.get(way.to, way.to) for way in old.exits}
    is_ = {way.answer: way.to for way in new.exits}
    if was == is_:
        return None
    both = [answer for answer in is_ if answer in was]
    return Answers(
        added=_without(is_, was),
        removed=_without(was, is_),
        led=tuple((one, was[one], is_[one]) for one in both if was[one] != is_[one]),
    )


def _as_before(key: str, value: Any, renamed: Renamed) -> Any:
    """Return a value with the steps that it names by the ids that they had."""
    if key == "exits":
        return tuple(replace(way, to=renamed.get(way.to, way.to)) for way in value)
    if key == "after":
        return tuple(renamed.get(name, name) for name in value)
    return renamed.get(value, value) if key == "same_as" and value is not None else value


# Cautions


def compared_trees(
    old: tuple[Tree, CautionTable], new: tuple[Tree, CautionTable], numbering: Numbering
) -> Compared:
    """Return what an edit does to a tree; both versions can be walked, each under its cautions."""
    renamed = renamings(old[0].steps, new[0].steps, _task_words)
    before = _version_of_tree(*old, numbering.old, {})
    after = _version_of_tree(*new, numbering.new, renamed)
    return _compared(old[0].steps, new[0].steps, before, after, renamed, numbering)


def compared_rounds(
    old: tuple[Round, CautionTable], new: tuple[Round, CautionTable], numbering: Numbering
) -> Compared:
    """Return what an edit does to a round: a route without branches."""
    renamed = renamings(old[0].items, new[0].items, _task_words)
    before = _version_of_round(*old, numbering.old, {})
    after = _version_of_round(*new, numbering.new, renamed)
    return _compared(old[0].items, new[0].items, before, after, renamed, numbering)


def lost_on(
    old: tuple[Tree | Round, CautionTable, Card | None],
    new: tuple[Tree | Round, CautionTable, Card | None],
    numbering: Numbering,
) -> tuple[tuple[Loss, str], ...]:
    """Return the cautions that an edit takes away on one machine, by its card before and after.

    What a card answers, and what does not apply to a machine, is passed without a word or a
    caution: at such a step nothing is lost. No card: all of it is met.
    """
    was, is_ = (_tasks(what) for what, _, _ in (old, new))
    if not (_met(old[0], old[2]) and _met(new[0], new[2])):
        return ()
    renamed = renamings(was, is_, _task_words)
    before = _on_machine(*old, numbering.old, {})
    after = _on_machine(*new, numbering.new, renamed)
    today = {name: one for one, name in renamed.items()}
    found = _guarded(before, after, today, numbering, ()).lost
    told = _answers_told(new[0], new[2])
    return tuple((loss, caution) for loss, caution in found if loss.step not in told)


def _tasks(what: Tree | Round) -> Mapping[str, Any]:
    return what.steps if isinstance(what, Tree) else what.items


def _on_machine(
    what: Tree | Round,
    table: CautionTable,
    card: Card | None,
    number: Mapping[str, int],
    renamed: Renamed,
) -> Version:
    if isinstance(what, Tree):
        tree, _ = tailored(what, card)
        told = _answers_told(what, card)
        version = _version_of_tree(tree, table, number, renamed)
        met = {renamed.get(name, name): answer for name, answer in told.items()}
        return replace(
            version,
            ways={
                name: {met[name]: ways[met[name]]} if met.get(name) in ways else ways
                for name, ways in version.ways.items()
            },
            needs={name: 0 if name in met else one for name, one in version.needs.items()},
            energised=version.energised - met.keys(),
        )
    return _version_of_round(replace(what, items=_met(what, card)), table, number, renamed)


def _met(what: Tree | Round, card: Card | None) -> Mapping[str, Any]:
    """Return what of a tree or a round can be met on a machine; of a tree all is asked about."""
    if isinstance(what, Tree) or card is None:
        return _tasks(what)
    return {name: item for name, item in what.items.items() if card.fits(item.applies_to)}


def _answers_told(what: Tree | Round, card: Card | None) -> dict[str, str]:
    """Return the steps of a tree that a card answers or that do not apply, with the answer."""
    if card is None or not isinstance(what, Tree):
        return {}
    tree, skipped = tailored(what, card)
    found = {}
    for name, step in tree.steps.items():
        if isinstance(step, Finding):
            continue
        said = card.line(step.from_card) if step.from_card is not None else None
        for way in step.exits:
            if name in skipped or (said is not None and said.casefold() == way.answer.casefold()):
                found[name] = way.answer
    return found


def _compared(
    old: Mapping[str, Any],
    new: Mapping[str, Any],
    before: Version,
    after: Version,
    renamed: Renamed,
    numbering: Numbering,
) -> Compared:
    today = {was: is_ for is_, was in renamed.items()}
    return Compared(
        steps=differences(old, new, renamed, (Question, Item)),
        findings=differences(old, new, renamed, (Finding,)),
        guarded=_guarded(before, after, today, numbering, _weaker_tasks(old, new, renamed)),
        moved=tuple(_moved(before, after, today)),
    )


def _moved(before: Version, after: Version, today: Mapping[str, str]) -> Iterator[Moved]:
    """Yield what changed places, the step first that did so with the most others."""
    steps = [name for name in after.ways if after.ways[name] and before.ways.get(name)]
    (was_behind, was_ahead), (behind, ahead) = _around(before, steps), _around(after, steps)
    place = {name: number for number, name in enumerate(steps)}
    # By step, as bits: those it came behind and comes before now, and the other way round.
    up = {name: was_ahead[name] & behind[name] for name in steps}
    down = {name: was_behind[name] & ahead[name] for name in steps}
    while any(up.values()):
        name = max(steps, key=lambda one: max(up[one].bit_count(), down[one].bit_count()))
        rises = up[name].bit_count() >= down[name].bit_count()
        own, others = (up, down) if rises else (down, up)
        past = [steps[number] for number in bits(own[name])]
        own[name] = 0
        for one in past:
            others[one] &= ~(1 << place[name])
        named = tuple(today.get(one, one) for one in past)
        yield Moved(id=today.get(name, name), up=rises, past=named)


def _around(version: Version, steps: Sequence[str]) -> tuple[dict[str, int], dict[str, int]]:
    """Return, for each of some steps, which of them can come behind it and ahead of it, as bits."""
    bit = {name: 1 << number for number, name in enumerate(steps)}
    behind: dict[str, int] = {}
    ahead = dict.fromkeys(version.ways, 0)
    for name in reversed(list(version.ways)):
        ways = version.ways[name].values()
        behind[name] = union(bit.get(target, 0) | behind[target] for target in ways)
    for name, ways_ in version.ways.items():
        for target in ways_.values():
            ahead[target] |= bit.get(name, 0) | ahead[name]
    return behind, ahead


def _guarded(
    before: Version,
    after: Version,
    today: Mapping[str, str],
    numbering: Numbering,
    weaker: Iterable[Weaker],
) -> Guarded:
    def named(found: Iterable[Loss]) -> tuple[tuple[Loss, str], ...]:
        return tuple(
            (
                replace(
                    one,
                    step=today.get(one.step, one.step),
                    route=tuple((today.get(step, step), answer) for step, answer in one.route),
                ),
                numbering.name(one.caution),
            )
            for one in found
        )

    return Guarded(
        lost=named(losses(before, after)),
        gained=named(losses(after, before)),
        weaker=tuple(weaker),
    )


def _version_of_tree(
    tree: Tree, table: CautionTable, number: Mapping[str, int], renamed: Renamed
) -> Version:
    graph = graph_of(tree)
    met = reached(graph, tree.start)
    order = [name for name in in_order(graph) if name in met]
    ways = {
        renamed.get(name, name): {
            way.answer: renamed.get(way.to, way.to)
            for way in getattr(tree.steps[name], "exits", ())
        }
        for name in order
    }
    return _version(tree.steps, order, ways, table, number, renamed)


def _version_of_round(
    round_: Round, table: CautionTable, number: Mapping[str, int], renamed: Renamed
) -> Version:
    order = list(round_.items)
    named = [renamed.get(name, name) for name in order]
    ways: dict[str, dict[str, str]] = {name: {} for name in named}
    for name, following in pairwise(named):
        ways[name] = {"": following}
    return _version(round_.items, order, ways, table, number, renamed)


def _version(
    tasks: Mapping[str, Any],
    order: Sequence[str],
    ways: Mapping[str, Mapping[str, str]],
    table: CautionTable,
    number: Mapping[str, int],
    renamed: Renamed,
) -> Version:
    place = [number[name] for name in table.ids]

    def numbered(mask: int) -> int:
        return union(1 << place[one] for one in bits(mask))

    return Version(
        start=renamed.get(order[0], order[0]),
        ways=ways,
        needs={renamed.get(name, name): numbered(table.needs(tasks[name])) for name in order},
        energised=frozenset(
            renamed.get(name, name)
            for name in order
            if not isinstance(tasks[name], Finding) and tasks[name].energises
        ),
        lapsing=numbered(table.lapsing),
    )


# What guards people less


def weaker_cautions(old: Cautions, new: Cautions, renamed: Renamed) -> list[Weaker]:
    """Return what of the cautions and hazards guards people less than it did."""
    found: list[Weaker] = []
    for name, caution in new.cautions.items():
        before = old.cautions.get(renamed.get(name, name))
        if before is not None:
            found += _weaker_caution(name, before, caution)
    for name, hazard in new.hazards.items():
        before_ = old.hazards.get(name)
        if before_ is not None and before_.service_only and not hazard.service_only:
            found.append(Weaker(id=name, key="service_only", was="true", is_="false"))
    return [*found, *_weaker_covers(old, new, renamed)]


def _weaker_covers(old: Cautions, new: Cautions, renamed: Renamed) -> Iterator[Weaker]:
    """Yield the hazards over which another caution stands than did, and a weaker one.

    That is one with a lesser signal word, or one that isolates nothing where the old one did;
    what it includes counts as its own, and one that includes the old one is none.
    """
    was = {hazard: name for name, one in old.cautions.items() for hazard in one.covers}
    for name, caution in new.cautions.items():
        within = [new.cautions[one] for one in _within(new, name)]
        names = {renamed.get(one, one) for one in _within(new, name)}
        for hazard in caution.covers:
            before = was.get(hazard)
            if before is None or before in names:
                continue
            lesser = min(SIGNALS.index(one.signal) for one in within) > SIGNALS.index(
                old.cautions[before].signal
            )
            isolated = any(old.cautions[one].lockout for one in _within(old, before))
            if lesser or (isolated and not any(one.lockout for one in within)):
                yield Weaker(id=hazard, key="covers", was=before, is_=name)


def _within(cautions: Cautions, name: str) -> set[str]:
    """Return a caution with all that it includes."""
    found, waiting = set[str](), [name]
    while waiting:
        one = waiting.pop()
        if one not in found:
            found.add(one)
            waiting += cautions.cautions[one].includes
    return found


def _weaker_caution(name: str, old: Caution, new: Caution) -> Iterator[Weaker]:
    if SIGNALS.index(new.signal) > SIGNALS.index(old.signal):
        yield Weaker(id=name, key="signal", was=old.signal, is_=new.signal)
    if old.lockout and not new.lockout:
        yield Weaker(id=name, key="lockout", was="true", is_="false")
    if old.lapsing and not new.lapsing:
        yield Weaker(id=name, key="lapses", was=old.lapses, is_=new.lapses)
    if old.confirm_lines == EACH != new.confirm_lines:
        yield Weaker(id=name, key="confirm_lines", was=EACH, is_=new.confirm_lines)
    for key in ("signs", "confirm", "release"):
        for line in getattr(old, key):
            if line not in getattr(new, key):
                yield Weaker(id=name, key=key, was=line, is_="")


def _weaker_tasks(
    old: Mapping[str, Any], new: Mapping[str, Any], renamed: Renamed
) -> Iterator[Weaker]:
    for name, task in new.items():
        before = old.get(renamed.get(name, name))
        if isinstance(before, Finding) and isinstance(task, Finding):
            yield from _looser(name, "who", before.who, task.who)
            yield from _weaker_finding(name, before, task)
        elif isinstance(before, Item | Question) and isinstance(task, Item | Question):
            yield from _looser(name, "by", before.by, task.by)
            if isinstance(task, Item) and getattr(before, "stops", False) and not task.stops:
                yield Weaker(id=name, key="stops", was="true", is_="false")


def _looser(name: str, key: str, was: str, is_: str) -> Iterator[Weaker]:
    """Yield that more people may do something than might; a doorway is for nobody."""
    if was in ROLES and is_ in ROLES and ROLES.index(is_) < ROLES.index(was):
        yield Weaker(id=name, key=key, was=was, is_=is_)


def _weaker_finding(name: str, old: Finding, new: Finding) -> Iterator[Weaker]:
    if old.leave_safe and not new.leave_safe:
        yield Weaker(id=name, key="leave_safe", was=old.leave_safe, is_="")
    stays = old.who == new.who == "service"
    if stays and old.until_mended == OUT_OF_USE != new.until_mended:
        yield Weaker(id=name, key="until_mended", was=OUT_OF_USE, is_=new.until_mended or "")
