"""Trees with one run each, made from a seed: lockouts, exits with checks of their own, `after`."""

from __future__ import annotations

import itertools
import math
from functools import cache
from random import Random
from typing import TYPE_CHECKING, Any

import pytest

from diagnose.files.definitions import CAUTIONS, TREE
from diagnose.files.reading import read_text
from diagnose.study.in_force import caution_table
from diagnose.study.order.model import RunModel
from diagnose.study.order.routes import route_costs
from diagnose.study.order.search import BestOrder, best_order
from diagnose.study.plan import plan_of
from diagnose.study.runs import Run, runs_of
from strategies.written import Read, Written, text_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.study.in_force import CautionTable
    from diagnose.study.order.model import State
    from diagnose.study.plan import Plan

#: How near two costs are that are one cost, in minutes.
EXACT = 1e-9

#: By name: the cautions as (minutes, whether it lapses, what it includes), what a step may name,
#: and what one may name in which the machine runs.
Yard = tuple[dict[str, tuple[float, bool, list[str]]], list[list[str]], list[list[str]]]
_LOCK: dict[str, tuple[float, bool, list[str]]] = {"key": (1, True, []), "lock": (5, True, ["key"])}
YARDS: dict[str, Yard] = {
    # Cautions add up: none that is named includes another that is named.
    "lockout alone": (_LOCK, [[], ["lock"], ["lock"]], [[]]),
    "two lockouts": (
        {"key": (2, True, []), "lock": (3, True, ["key"]), "held": (3, True, ["key"])},
        [[], ["lock"], ["held"]],
        [[]],
    ),
    "side by side": (
        {
            "key": (2, True, []),
            "lock": (3, True, ["key"]),
            "held": (3, True, ["key"]),
            "gloves": (1, False, []),
        },
        [[], ["lock"], ["held"], ["held", "lock"], ["gloves"], ["lock", "gloves"]],
        [[], ["gloves"]],
    ),
    # They do not: the small one may be taken before the large one that includes it.
    "nested": ({"key": (4, True, []), "lock": (5, True, ["key"])}, [[], ["key"], ["lock"]], [[]]),
    "deep": (
        {
            "key": (2, True, []),
            "lock": (3, True, ["key"]),
            "acid": (6, True, ["lock"]),
            "gloves": (1, False, []),
        },
        [[], ["key"], ["lock"], ["acid"], ["gloves"], ["lock", "gloves"]],
        [[], ["gloves"]],
    ),
}


def cautions_text(yard: Yard) -> str:
    """Return the `cautions.yaml` of a yard."""
    cautions = {}
    for name, (minutes, lapses, includes) in yard[0].items():
        cautions[name] = {
            "title": name,
            "signal": "WARNING",
            "signs": ["M021"] if name in ("lock", "held") else ["W001"],
            "covers": [],
            "includes": list(includes),
            "lapses": "when energised" if lapses else "never",
            "minutes": minutes,
            "text": name,
            "confirm": ["done so"],
            **({"release": ["undone"]} if lapses else {}),
        }
    return text_of({"format": 1, "hazards": {}, "cautions": cautions})


def tree_with_run(
    rng: Random,
    length: int,
    yard: Yard,
    *,
    after: float = 0.0,
    exits: float = 0.0,
    running: float = 0.25,
    head: bool = False,
    tail: bool = False,
    after_behind: float = 0.0,
) -> dict[str, Any]:
    """Return a tree as data with a run s0, s1, … of `length` steps.

    `after` and `exits` are the chances of a constraint between two steps, and of a check behind a
    step's other answer; `head` has the run entered by several routes, `tail` a check follow it.
    `after_behind` is the chance that such a check behind has to come after an earlier step.
    """
    steps: dict[str, Any] = {}

    def finding(name: str) -> str:
        chance = rng.choice([rng.uniform(0.2, 10), rng.uniform(0.01, 1)])
        steps[name] = {"finding": name, "chance": chance, "who": "operator", "remedy": name}
        return name

    def step(minutes: float, **answers: str) -> dict[str, Any]:
        runs = rng.random() < running
        named = rng.choice(yard[2] if runs else yard[1])
        made: dict[str, Any] = {"ask": "What is it?", "minutes": minutes, "passes": "none"}
        if named:
            made["cautions"] = list(named)
        if runs:
            made["energises"] = True
        return {**made, "answers": {f"It is {word}": to for word, to in answers.items()}}

    for n in range(length):
        bad = finding(f"f{n}")
        if rng.random() < exits:
            steps[f"e{n}"] = step(rng.uniform(0.5, 4), this=bad, that=finding(f"g{n}"))
            bad = f"e{n}"
            # No draw where it is not asked for: the other trees stay what they are.
            behind = [f"s{m}" for m in range(n) if after_behind and rng.random() < after_behind]
            if behind:
                steps[bad]["after"] = behind
        on = f"s{n + 1}" if n + 1 < length else "behind"
        minutes = rng.choice([rng.uniform(0.5, 3), rng.uniform(2, 12)])
        steps[f"s{n}"] = {**step(minutes, bad=bad, good=on), "passes": "It is good"}
        earlier = [f"s{other}" for other in range(n) if rng.random() < after]
        if earlier:
            steps[f"s{n}"]["after"] = earlier
    if tail:
        steps["behind"] = step(1, this=finding("last"), that=finding("least"))
    else:
        finding("behind")
    if head:
        steps["h0"] = step(1, one="h1", two="h2", three="s0")
        steps["h1"] = step(1, one="s0", two="behind")
        steps["h2"] = step(1, one="s0", two="f0")
    start = "h0" if head else "s0"
    return {"format": 1, "symptom": "alpha", "title": "t", "start": start, "steps": steps}


#: One job: minutes, chance of what it finds, the cautions it names, whether the machine runs.
Row = tuple[float, float, list[str], bool]


def run_of(
    rows: Sequence[Row],
    name: str,
    *,
    rest: float = 1.0,
    after: Mapping[int, list[int]] | None = None,
) -> RunModel:
    """Return the model of a run of these jobs, in a yard by its name.

    `rest` is the chance of what is found behind the run, `after` the jobs that come before a job.
    """
    steps: dict[str, Any] = {
        "behind": {"finding": "b", "chance": rest, "who": "operator", "remedy": "b"}
    }
    for n, (minutes, chance, named, runs) in enumerate(rows):
        on = f"s{n + 1}" if n + 1 < len(rows) else "behind"
        steps[f"f{n}"] = {"finding": "f", "chance": chance, "who": "operator", "remedy": "f"}
        steps[f"s{n}"] = {
            "ask": "What is it?",
            "minutes": minutes,
            "passes": "It is good",
            "cautions": list(named),
            "energises": runs,
            "after": [f"s{other}" for other in (after or {}).get(n, [])],
            "answers": {"It is bad": f"f{n}", "It is good": on},
        }
    tree = {"format": 1, "symptom": "alpha", "title": "t", "start": "s0", "steps": steps}
    model = model_of(Written(trees={"alpha": text_of(tree)}, cautions=cautions_text(YARDS[name])))
    assert model is not None
    return model


def seeded(seed: int, name: str, cap: int | None = None) -> RunModel | None:
    """Return one of the many runs that searches are tried on: n at most 7, all else by chance."""
    lengths = (3, 4, 5, 6, 6, 7 if seed % 8 == 0 else 5)
    return model_of(any_tree(Random(seed), lengths, name), cap)


def any_tree(rng: Random, lengths: tuple[int, ...], name: str) -> Written:
    """Return a library with one such tree, all else by chance."""
    yard = YARDS[name]
    tree = tree_with_run(
        rng,
        rng.choice(lengths),
        yard,
        after=rng.choice([0, 0, 0.1, 0.3]),
        exits=rng.choice([0, 0, 0.4]),
        running=rng.choice([0.15, 0.3, 0.5]),
        head=rng.random() < 0.3,
        tail=rng.random() < 0.5,
    )
    return Written(trees={"alpha": text_of(tree)}, cautions=cautions_text(yard))


def longest_run(library: Read) -> tuple[Plan, Run] | None:
    """Return the plan of the tree and its longest run."""
    plan = library.plan("alpha")
    runs = runs_of(library.trees["alpha"], plan)
    return (plan, max(runs, key=lambda run: len(run.steps))) if runs else None


def model_of(written: Written, cap: int | None = None) -> RunModel | None:
    """Return the model of the tree's longest run, None where there is no run.

    The tree is read and not checked, which takes the longest: `test_runs` checks such trees.
    """
    tree, problems = read_text(TREE, written.trees["alpha"], "alpha.yaml")
    assert tree is not None, problems
    table = table_of(written.cautions)
    plan = plan_of(tree, table)
    runs = runs_of(tree, plan)
    if not runs:
        return None
    run = max(runs, key=lambda run: len(run.steps))
    return RunModel(plan, table, run, route_costs(plan, table), cap)


@cache
def table_of(text: str) -> CautionTable:
    """Return the table of a `cautions.yaml`."""
    cautions, problems = read_text(CAUTIONS, text, "cautions.yaml")
    assert cautions is not None, problems
    return caution_table(cautions)


def least_of_all(model: RunModel) -> float:
    """Return the least cost of all orders that are allowed, one by one."""
    orders = itertools.permutations(range(len(model.jobs)))
    return min(model.cost(order) for order in orders if model.run.allows(order))


def assert_best(model: RunModel) -> BestOrder:
    """Return the order that is found, which says that it is the best, and is."""
    best = best_order(model)
    assert isinstance(best, BestOrder)
    assert best.exact
    assert model.cost(best.order) == pytest.approx(least_of_all(model), rel=0, abs=EXACT)
    return best


def smith(model: RunModel, rest: Sequence[int]) -> float:
    """Return what the rest costs by w / p, descending, where no caution takes a minute."""
    waiting = math.fsum(model.waiting(rest))
    total = 0.0
    for job in sorted((model.jobs[number] for number in rest), key=lambda job: -job.ratio):
        total += waiting * job.minutes
        waiting -= job.weight
    return total


def least_excess(model: RunModel, rest: Sequence[int], state: State) -> float:
    """Return the least excess of all orders of the rest from a state on, one by one."""
    waiting = model.waiting(rest)
    costs = [model.cost_from(order, state, waiting) for order in itertools.permutations(rest)]
    return min(costs) - smith(model, rest)
