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
from diagnose.study.compare import Numbering, compared_rounds, compared_trees
from diagnose.study.in_force import caution_table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.study.compare import Compared

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
        self.first = tree.get("start") or next(iter(self.steps))
        self.cautions = cautions["cautions"]
        self.cover = {
            hazard: name for name, one in self.cautions.items() for hazard in one.get("covers", ())
        }
        self.linear = "items" in tree
        self.force: dict[tuple[Route, str], set[str]] = {}
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
        data = self.steps[step]
        if data.get("energises"):
            held = {one for one in held if self.cautions[one]["lapses"] != "when energised"}
        held = held | self.needs(data)
        self.force[route, step] = held
        for answer, to in self.ways(step):
            self._walk((*route, (step, answer)), to, held)

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


_EDITS = (
    _drop_guard,
    _drop_guard,
    _add_guard,
    _run_it,
    _send_on,
    _call_it_otherwise,
    _change_cautions,
)


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
            found, renamed = compared(name, (tree, cautions), new)
            assert not renamed
            walked = Walked(tree, cautions), Walked(*new)
            for told, real in (
                (found.guarded.lost, lost(*walked)),
                (found.guarded.gained, lost(*reversed(walked))),
            ):
                said = {
                    (one.step, caution): (len(one.route), one.everywhere) for one, caution in told
                }
                assert said == real
            for one, caution in found.guarded.lost:
                assert caution not in walked[1].force[one.route, one.step]
            seen["edits"] += 1
            seen["lost"] += bool(found.guarded.lost)
            seen["gained"] += bool(found.guarded.gained)
            seen["rounds"] += "items" in tree
            seen["everywhere"] += any(one.everywhere for one, _ in found.guarded.lost)
            seen["somewhere"] += any(not one.everywhere for one, _ in found.guarded.lost)

    edit()
    assert seen["edits"] >= several(EDITS)
    assert min(seen.values()) > several(EDITS) // 50, seen
