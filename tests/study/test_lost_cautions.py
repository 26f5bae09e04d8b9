"""A caution is reported lost exactly where a walk of all routes of both versions says so."""

from __future__ import annotations

from copy import deepcopy
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies.libraries import libraries
from strategies.sampling import several
from strategies.written import Written, text_of

from diagnose.files.library import Library, put_in
from diagnose.study.compare import (
    Numbering,
    Weaker,
    compared_rounds,
    compared_trees,
    lost_on,
    weaker_cautions,
)
from diagnose.study.in_force import caution_table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.study.compare import Compared
    from diagnose.study.lost_cautions import Loss

EDITS = 2000
EDITS_A_LIBRARY = 25
#: A tree with more routes is left out.
MOST_ROUTES = 3000

Data = dict[str, Any]
Route = tuple[tuple[str, str], ...]


# Both versions as raw YAML, walked route by route: nothing of the program is in it.


class Walked:
    """The routes of a tree or a round, and the cautions in force at the end of each."""

    def __init__(self, tree: Data, cautions: Data) -> None:
        self.steps = tree.get("steps") or tree["items"]
        self.first = tree.get("start") or next(iter(self.steps), "")
        self.cautions = cautions["cautions"]
        self.cover = {
            hazard: name for name, one in self.cautions.items() for hazard in one.get("covers", ())
        }
        self.linear = "items" in tree
        self.force: dict[tuple[Route, str], set[str]] = {}
        if self.steps:
            self._walk((), self.first, set())

    def ways(self, step: str) -> Iterator[tuple[str, str]]:
        data = self.steps[step]
        if self.linear:
            following = list(self.steps)[list(self.steps).index(step) + 1 :]
            yield from [("", following[0])] if following else []
        for answer, way in (data.get("answers") or {}).items():
            yield answer, way["go"] if isinstance(way, dict) else way
        for band in data.get("bands") or ():
            yield band.get("call") or band["otherwise"], band["go"]

    def needs(self, data: Data) -> set[str]:
        named = set(data.get("cautions", ()))
        if data.get("who") != "service" and "continue_with" not in data:
            named |= {self.cover[one] for one in data.get("hazards", ()) if one in self.cover}
        while more := {i for one in named for i in self.cautions[one].get("includes", ())} - named:
            named |= more
        return named

    def _walk(self, route: Route, step: str, held: set[str]) -> None:
        assert len(self.force) <= MOST_ROUTES, "too many routes"
        held = self.met(step, held)
        self.force[route, step] = held
        for answer, to in self.ways(step):
            self._walk((*route, (step, answer)), to, held)

    def met(self, step: str, held: set[str]) -> set[str]:
        """Return what is in force at a step, given what is on the way in."""
        data = self.steps[step]
        if data.get("energises"):
            held = {one for one in held if self.cautions[one]["lapses"] != "when energised"}
        return held | self.needs(data)

    def at(self, step: str) -> list[set[str]]:
        return [held for (_, end), held in self.force.items() if end == step]


def lost(old: Walked, new: Walked) -> dict[tuple[str, str], tuple[int, bool]]:
    """Return by step and caution: the fewest steps of a route without it, and whether all lack it."""
    found: dict[tuple[str, str], tuple[int, bool]] = {}
    for (route, step), held in new.force.items():
        if step not in old.steps or not old.at(step):
            continue
        had = old.force.get((route, step))
        had = set.intersection(*old.at(step)) if had is None else had
        for caution in had - held:
            fewest = min(len(route), found.get((step, caution), (len(route), True))[0])
            everywhere = not any(caution in other for other in new.at(step))
            found[step, caution] = (fewest, everywhere)
    return found


# Edits


def edited(random: Random, tree: Data, cautions: Data) -> tuple[Data, Data]:
    """Return a tree and its cautions with one to three edits of an author."""
    tree, cautions = deepcopy((tree, cautions))
    for _ in range(random.randint(1, 4)):
        random.choice(_EDITS)(random, tree, cautions)
    return tree, cautions


def _data(text: str) -> Data:
    data: Data = yaml.load(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    return data


def _drop_guard(random: Random, tree: Data, cautions: Data) -> None:
    guards = [
        one[k] for one in _tasks(tree).values() for k in ("hazards", "cautions") if one.get(k)
    ]
    if guards:
        random.choice(guards).pop()


def _add_guard(random: Random, tree: Data, cautions: Data) -> None:
    step = random.choice(list(_tasks(tree).values()))
    key = random.choice(["hazards", "cautions"])
    known = [one for one, hazard in cautions["hazards"].items() if not hazard.get("service_only")]
    names = known if key == "hazards" else list(cautions["cautions"])
    if names:
        step[key] = sorted({*step.get(key, ()), random.choice(names)})


def _run_it(random: Random, tree: Data, cautions: Data) -> None:
    step = random.choice([one for one in _tasks(tree).values() if "finding" not in one] or [{}])
    step["energises"] = not step.get("energises", False)


def _send_on(random: Random, tree: Data, cautions: Data) -> None:
    """Send an answer to a step that its own step already led to, by way of others or not."""
    if "steps" not in tree:
        return
    asked = [name for name, one in tree["steps"].items() if one.get("answers")]
    if not asked:
        return
    name = random.choice(asked)
    answers = tree["steps"][name]["answers"]
    answer = random.choice(list(answers))
    behind = sorted(_behind(tree, name))
    way = answers[answer]
    to = random.choice(behind)
    answers[answer] = {**way, "go": to} if isinstance(way, dict) else to


def _call_it_otherwise(random: Random, tree: Data, cautions: Data) -> None:
    asked = [one for one in _tasks(tree).values() if one.get("answers")]
    if asked:
        answers = random.choice(asked)["answers"]
        answer = random.choice(list(answers))
        ways = [(f"{one} or so" if one == answer else one, to) for one, to in answers.items()]
        answers.clear()
        answers.update(ways)


def _change_cautions(random: Random, tree: Data, cautions: Data) -> None:
    known = cautions["cautions"]
    if not known:
        return
    one = random.choice(list(known.values()))
    edit = random.randrange(3)
    if edit == 0 and one.get("includes"):
        one["includes"].pop()
    elif edit == 1:
        one["lapses"] = "never" if one["lapses"] == "when energised" else "when energised"
    elif one.get("covers"):
        other = random.choice(list(known.values()))
        hazard = one["covers"].pop()
        other["covers"] = [*other.get("covers", ()), hazard]


def _isolate_no_more(random: Random, tree: Data, cautions: Data) -> None:
    known = [one for one in cautions["cautions"].values() if one.get("lockout")]
    if known:
        del random.choice(known)["lockout"]


def _confirm_less(random: Random, tree: Data, cautions: Data) -> None:
    known = [one for one in cautions["cautions"].values() if len(one["confirm"]) > 1]
    if known:
        one = random.choice(known)
        one["confirm"] = random.sample(one["confirm"], 1)


def _apply_elsewhere(random: Random, tree: Data, cautions: Data) -> None:
    """Change which machines a step or an item is for; without a card that changes nothing."""
    if cautions["format"] < 2:
        return
    tasks = [one for one in _tasks(tree).values() if "finding" not in one]
    one = random.choice(tasks) if tasks else {}
    if (one.pop("applies_to", None) is None and ("do" in one and "steps" not in tree)) or (
        passing(tree, one) is not None and random.random() < 0.5
    ):
        one["applies_to"] = random.choice(CONDITIONS)


#: Lines of a card, with the words that fit.
CONDITIONS: tuple[Data, ...] = (
    {"battery.kind": ["flooded"]},
    {"battery.kind": ["sealed", "lithium"]},
    {"battery.cells": ["12"]},
    {"battery.kind": ["flooded", "lithium"], "battery.cells": ["18"]},
)


def passing(tree: Data, step: Data) -> str | None:
    """Return the answer that passes a step: the one named, or the only one to another question."""
    said = step.get("passes")
    if said is not None or "finding" in step or "steps" not in tree:
        return None if said == "none" else said
    ways = [
        (one, way["go"] if isinstance(way, dict) else way)
        for one, way in (step.get("answers") or {}).items()
    ]
    ways += [
        (band.get("call") or band["otherwise"], band["go"]) for band in step.get("bands") or ()
    ]
    on = [answer for answer, to in ways if "finding" not in tree["steps"][to]]
    return on[0] if len(on) == 1 else None


_EDITS = (
    _isolate_no_more,
    _confirm_less,
    _apply_elsewhere,
    _drop_guard,
    _drop_guard,
    _add_guard,
    _run_it,
    _send_on,
    _call_it_otherwise,
    _change_cautions,
)


def renamed(random: Random, tree: Data) -> tuple[Data, dict[str, str]]:
    """Return a tree in which some steps have another id, and by the new ids the old ones.

    Only such steps whose words no other step has: else nobody can say which is which.
    """
    told = [str([one.get(key) for key in WORDS]) for one in _tasks(tree).values()]
    known = [name for name, words in zip(_tasks(tree), told, strict=True) if told.count(words) == 1]
    ids = {name: f"{name}-now" for name in known if random.random() < 0.3}
    return _with_ids(tree, ids), {new: old for old, new in ids.items()}


#: The keys that say what a step is about.
WORDS = ("finding", "do", "ask", "read")


def _with_ids(tree: Data, ids: dict[str, str]) -> Data:
    def now(value: Any) -> Any:
        return ids.get(value, value)

    inside = "steps" if "steps" in tree else "items"
    tasks = {now(name): dict(one) for name, one in tree[inside].items()}
    for one in tasks.values():
        if one.get("answers"):
            one["answers"] = {
                answer: {**way, "go": now(way["go"])} if isinstance(way, dict) else now(way)
                for answer, way in one["answers"].items()
            }
        if one.get("bands"):
            one["bands"] = [{**band, "go": now(band["go"])} for band in one["bands"]]
        if one.get("after"):
            one["after"] = [now(name) for name in one["after"]]
        if one.get("same_as"):
            one["same_as"] = now(one["same_as"])
    return {**tree, inside: tasks, **({"start": now(tree["start"])} if "start" in tree else {})}


def _tasks(tree: Data) -> dict[str, Data]:
    tasks: dict[str, Data] = tree.get("steps") or tree["items"]
    return tasks


def _behind(tree: Data, step: str) -> set[str]:
    found: set[str] = set()
    waiting = [step]
    walked = Walked.__new__(Walked)
    walked.steps, walked.linear = tree["steps"], False
    while waiting:
        for _, to in walked.ways(waiting.pop()):
            if to not in found:
                found.add(to)
                waiting.append(to)
    return found


SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")


def less_than_before(old: Data, new: Data) -> set[tuple[str, str, str]]:
    """Return what of the cautions guards people less: the id, the key, and what was there."""
    found: set[tuple[str, str, str]] = set()
    was, is_ = old["cautions"], new["cautions"]
    for name, one in is_.items():
        before = was[name]
        found |= {
            (name, "confirm", line) for line in before["confirm"] if line not in one["confirm"]
        }
        if before["lapses"] == "when energised" != one["lapses"]:
            found.add((name, "lapses", before["lapses"]))
        if isolates(old, name) and not isolates(new, name):
            found.add((name, "lockout", "true"))
        for hazard in one.get("covers", ()):
            (owner,) = [other for other, it in was.items() if hazard in it.get("covers", ())]
            within = closure(is_, name)
            if owner in within:
                continue
            lesser = min(SIGNALS.index(is_[other]["signal"]) for other in within)
            lesser_ = lesser > SIGNALS.index(was[owner]["signal"])
            held = any(isolates(old, other) for other in closure(was, owner))
            if lesser_ or (held and not any(isolates(new, other) for other in within)):
                found.add((hazard, "covers", owner))
    return found


def closure(cautions: Data, name: str) -> set[str]:
    found = {name}
    for other in cautions[name].get("includes", ()):
        found |= closure(cautions, other)
    return found


def isolates(data: Data, name: str) -> bool:
    """Whether a caution isolates; of format 1: one that lapses and has the sign for it."""
    one = data["cautions"][name]
    if data["format"] > 1:
        return bool(one.get("lockout"))
    return one["lapses"] == "when energised" and "M021" in one.get("signs", ())


def weaker_by(old: Data, new: Data) -> list[Weaker]:
    """Return what the program says guards people less."""
    sides = []
    for cautions in (old, new):
        library = Library(Path("library"))
        put_in(library, text_of(cautions), "cautions.yaml")
        sides.append(library.cautions)
    return weaker_cautions(*sides, {})


def compared(name: str, old: tuple[Data, Data], new: tuple[Data, Data]) -> tuple[Compared, int]:
    """Return what the program says of two versions of a file."""
    sides = []
    for tree, cautions in (old, new):
        library = Library(Path("library"))
        put_in(library, text_of(cautions), "cautions.yaml")
        put_in(library, text_of(tree), *(["rounds"] if "items" in tree else []), f"{name}.yaml")
        assert not library.problems, [str(problem) for problem in library.problems]
        sides.append((library, caution_table(library.cautions)))
    (before, was), (after, is_) = sides
    numbering = Numbering(before.cautions, after.cautions)
    if before.rounds:
        pair = (before.rounds[name], was), (after.rounds[name], is_)
        return compared_rounds(*pair, numbering), len(numbering.renamed)
    pair_ = (before.trees[name], was), (after.trees[name], is_)
    return compared_trees(*pair_, numbering), len(numbering.renamed)


@pytest.mark.many_cases
def test_a_caution_is_lost_where_the_routes_say_so() -> None:
    seen = {"edits": 0, "lost": 0, "somewhere": 0, "everywhere": 0, "gained": 0, "rounds": 0}
    seen |= {"weaker": 0, "renamed": 0}

    @settings(max_examples=several(EDITS // EDITS_A_LIBRARY))
    @given(libraries(with_round=True), st.integers(0, 2**32))
    def edit(written: Written, seed: int) -> None:
        random = Random(seed)
        cautions = _data(written.cautions)
        files = {name: _data(text) for name, text in {**written.trees, **written.rounds}.items()}
        for _ in range(EDITS_A_LIBRARY):
            name = random.choice(list(files))
            tree = files[name]
            new = edited(random, tree, cautions)
            called, were = renamed(random, new[0])
            found, others = compared(name, (tree, cautions), (called, new[1]))
            assert not others
            today = {old: now for now, old in were.items()}
            assert dict(found.steps.renamed + found.findings.renamed) == today
            walked = Walked(tree, cautions), Walked(*new)
            for told, real in (
                (found.guarded.lost, lost(*walked)),
                (found.guarded.gained, lost(*reversed(walked))),
            ):
                said = {
                    (were.get(one.step, one.step), caution): (len(one.route), one.everywhere)
                    for one, caution in told
                }
                assert said == real
            for one, caution in found.guarded.lost:
                route = tuple((were.get(step, step), answer) for step, answer in one.route)
                assert caution not in walked[1].force[route, were.get(one.step, one.step)]
            weaker = {(one.id, one.key, one.was) for one in weaker_by(cautions, new[1])}
            assert weaker == less_than_before(cautions, new[1])
            seen["weaker"] += bool(weaker)
            seen["renamed"] += bool(were)
            seen["edits"] += 1
            seen["lost"] += bool(found.guarded.lost)
            seen["gained"] += bool(found.guarded.gained)
            seen["rounds"] += "items" in tree
            seen["everywhere"] += any(one.everywhere for one, _ in found.guarded.lost)
            seen["somewhere"] += any(not one.everywhere for one, _ in found.guarded.lost)

    edit()
    assert seen["edits"] >= several(EDITS)
    assert min(seen.values()) > several(EDITS) // 50, seen


# The same on one machine, by what its card says


class OnMachine(Walked):
    """What a machine meets: what its card answers, and what is not for it, is passed without a word."""

    def __init__(self, tree: Data, cautions: Data, card: dict[str, str]) -> None:
        self.card, self.tree = card, tree
        if "items" in tree:
            tree = {
                **tree,
                "items": {n: one for n, one in tree["items"].items() if self.fits(one)},
            }
        self.lines = {} if "items" in tree else self._lines(tree["steps"])
        super().__init__(tree, cautions)

    def fits(self, one: Any) -> bool:
        wanted = one.get("applies_to", {}) if isinstance(one, dict) else {}
        said = {line: self.card.get(line) for line in wanted}
        return all(said[n] is None or said[n] in words for n, words in wanted.items())

    def _lines(self, steps: Data) -> dict[str, str]:
        looks: dict[str, str] = {}
        for name, one in steps.items():
            if "from_card" in one:
                looks[one.get("same_as", name)] = one["from_card"]
        return {
            name: line
            for name, one in steps.items()
            if (line := looks.get(one.get("same_as", name), one.get("from_card")))
        }

    def told(self, step: str) -> str | None:
        """Return the answer that nobody is asked for; empty: it has none, and none is asked."""
        data = self.steps[step]
        if self.linear or "finding" in data:
            return None
        if not self.fits(data):
            return passing(self.tree, data) or ""
        said = self.card.get(self.lines.get(step, ""))
        offered = [answer for answer, _ in self._offered(step)]
        return next((one for one in offered if said and one.casefold() == said.casefold()), None)

    def _offered(self, step: str) -> Iterator[tuple[str, str]]:
        answers = self.steps[step].get("answers") or {}
        for answer, to in super().ways(step):
            if self.fits(answers.get(answer)):
                yield answer, to

    def ways(self, step: str) -> Iterator[tuple[str, str]]:
        told = self.told(step)
        for answer, to in self._offered(step):
            if told in (None, answer):
                yield answer, to

    def met(self, step: str, held: set[str]) -> set[str]:
        return held if self.told(step) is not None else super().met(step, held)


@pytest.mark.many_cases
def test_on_a_machine_a_caution_is_lost_where_its_own_routes_say_so() -> None:
    seen = {"edits": 0, "lost": 0, "cards": 0, "by the card": 0, "told": 0}

    @settings(max_examples=several(EDITS // EDITS_A_LIBRARY))
    @given(libraries(with_round=True), st.integers(0, 2**32))
    def edit(written: Written, seed: int) -> None:
        random = Random(seed)
        cautions = _data(written.cautions)
        files = {name: _data(text) for name, text in {**written.trees, **written.rounds}.items()}
        for _ in range(EDITS_A_LIBRARY):
            name = random.choice(list(files))
            old = files[name], cautions
            cards = [random.choice(CARDS) for _ in range(2)]
            if random.random() < 0.5:
                cards[1] = cards[0]
            # The card alone can take a caution away.
            new = edited(random, *old) if random.random() < 0.7 else old
            walked = [OnMachine(*data, card) for data, card in zip((old, new), cards, strict=True)]
            if not all(one.steps for one in walked):
                continue
            told = {
                (one.step, caution): (len(one.route), one.everywhere)
                for one, caution in lost_by_the_program(name, old, new, cards)
            }
            real = {at: how for at, how in lost(*walked).items() if walked[1].told(at[0]) is None}
            assert told == real
            seen["edits"] += 1
            seen["lost"] += bool(told)
            seen["cards"] += cards[0] != cards[1]
            seen["by the card"] += old == new and bool(told)
            seen["told"] += any(walked[1].told(step) for step in walked[1].steps)

    edit()
    assert seen["edits"] >= several(EDITS) * 0.9
    assert min(seen.values()) > several(EDITS) // 200, seen


CARDS: tuple[dict[str, str], ...] = (
    {},
    {"battery.kind": "flooded"},
    {"battery.kind": "sealed", "battery.cells": "12"},
    {"battery.kind": "lithium", "battery.cells": "18"},
    {"battery.cells": "18"},
)


def lost_by_the_program(
    name: str, old: tuple[Data, Data], new: tuple[Data, Data], cards: list[dict[str, str]]
) -> tuple[tuple[Loss, str], ...]:
    """Return what the program says is lost on a machine with a card before and after."""
    sides: list[Any] = []
    known = []
    for (tree, cautions), said in zip((old, new), cards, strict=True):
        library = Library(Path("library"))
        put_in(library, text_of(cautions), "cautions.yaml")
        put_in(library, text_of(tree), *(["rounds"] if "items" in tree else []), f"{name}.yaml")
        battery = {line.partition(".")[2]: word for line, word in said.items()}
        card = {"format": 1, "machine": "m", "title": "M"} | (
            {"battery": battery} if battery else {}
        )
        put_in(library, text_of(card), "machines", "m.yaml")
        assert not library.problems, [str(problem) for problem in library.problems]
        what = library.rounds[name] if "items" in tree else library.trees[name]
        sides.append((what, caution_table(library.cautions), library.card("m")))
        known.append(library.cautions)
    return lost_on(*sides, Numbering(*known))
