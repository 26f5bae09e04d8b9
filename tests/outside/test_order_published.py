"""The order study against published instances, scikit-learn, and cases simulated in the walk."""

from __future__ import annotations

import json
import math
from functools import cache
from itertools import permutations
from pathlib import Path
from random import Random
from typing import Any

import pytest
from sklearn.datasets import load_breast_cancer, load_iris, load_wine
from sklearn.tree import DecisionTreeClassifier
from strategies.walker import Walker, visit_to

from diagnose.case.screens import CautionScreen, CheckScreen, FindingScreen
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.library import built_in, load
from diagnose.files.reading import read_tree
from diagnose.files.tree import Finding, Tree
from diagnose.study.in_force import CautionTable, caution_table
from diagnose.study.order.study import order_study
from diagnose.study.outlook import expected_minutes
from diagnose.study.plan import plan_of
from diagnose.study.ready import made_ready

DATA = Path(__file__).parent / "data"


def no_cautions() -> CautionTable:
    return caution_table(load(DATA).cautions)


def read(text: str) -> Tree:
    tree, problems = read_tree(text, "x.yaml")
    assert tree is not None, problems
    return tree


def minutes(tree: Tree) -> float:
    return expected_minutes(plan_of(tree, no_cautions()), no_cautions())


# Pattipati and Alexandridis, IEEE Trans. SMC 20(4), 1990: six states, five tests of cost 1. Inputs
# and the optimum 2.18 from memory (M); both figures recomputed by dynamic programming (C).
SIX = json.loads((DATA / "pattipati_alexandridis_1990_small.json").read_text())


def test_tree(choose: Any) -> Tree:
    """Return the six-state example as a tree whose tests `choose` picks for a set of states."""
    prior, outcomes = SIX["inputs"]["prior"], SIX["inputs"]["D"]
    lines = ["format: 1", "symptom: x", "title: Six states", "start: s-012345", "steps:"]

    def grow(states: tuple[int, ...]) -> str:
        name = "s-" + "".join(map(str, states))
        if len(states) == 1:
            lines.append(
                f"  {name}: {{finding: State., chance: {prior[states[0]]}, who: operator, remedy: Do.}}"
            )
            return name
        test = choose(states)
        parts = [tuple(s for s in states if outcomes[s][test] == sign) for sign in "01"]
        quiet, loud = grow(parts[0]), grow(parts[1])
        lines.append(f"  {name}:")
        lines.append(
            f"    {{ask: Test {test}?, passes: none, answers: {{Quiet: {quiet}, Loud: {loud}}}}}"
        )
        return name

    grow(tuple(range(6)))
    return read("\n".join(lines) + "\n")


test_tree.__test__ = False  # type: ignore[attr-defined]


def splits(states: tuple[int, ...]) -> list[tuple[int, list[tuple[int, ...]]]]:
    outcomes = SIX["inputs"]["D"]
    found = []
    for test in range(5):
        parts = [tuple(s for s in states if outcomes[s][test] == sign) for sign in "01"]
        if all(parts):
            found.append((test, parts))
    return found


def weight(states: tuple[int, ...]) -> float:
    return math.fsum(SIX["inputs"]["prior"][s] for s in states)


@cache
def least(states: tuple[int, ...]) -> float:
    if len(states) == 1:
        return 0.0
    return weight(states) + min(sum(map(least, parts)) for _, parts in splits(states))


def optimal(states: tuple[int, ...]) -> int:
    return min(splits(states), key=lambda split: sum(map(least, split[1])))[0]


def greedy(states: tuple[int, ...]) -> int:
    def gain(split: tuple[int, list[tuple[int, ...]]]) -> float:
        shares = [weight(part) / weight(states) for part in split[1]]
        return -sum(share * math.log2(share) for share in shares)

    return max(splits(states), key=gain)[0]


def test_the_six_state_example_takes_what_was_published() -> None:
    assert minutes(test_tree(optimal)) == pytest.approx(SIX["expected"]["optimal_cost"], abs=1e-9)
    assert minutes(test_tree(greedy)) == pytest.approx(SIX["expected"]["greedy_ig_cost"], abs=1e-9)


def chain(jobs: list[tuple[float, float]]) -> str:
    """Return a run of checks (chance, minutes); all that is not found ends without weight."""
    lines = ["format: 1", "symptom: x", "title: Jobs", "start: j-0", "steps:"]
    for n, (chance, time) in enumerate(jobs):
        on = f"j-{n + 1}" if n + 1 < len(jobs) else "rest"
        lines += [
            f"  j-{n}: {{ask: J{n} here?, minutes: {time}, passes: It is not, answers: {{It is so: f-{n}, It is not: {on}}}}}",
            f"  f-{n}: {{finding: It is {n}., chance: {chance}, who: operator, remedy: Do.}}",
        ]
    lines.append("  rest: {finding: None., chance: 1e-12, who: operator, remedy: Do.}")
    return "\n".join(lines) + "\n"


def test_the_two_job_example_is_18_and_46() -> None:
    """Kleinberg and Tardos, Algorithm Design, ch. 4 exercise, as quoted at quesba.com (R): the sum
    of weight times completion time; our minutes are that sum over the sum of the weights."""
    known = json.loads((DATA / "kleinberg_tardos_two_jobs.json").read_text())
    jobs = list(zip(known["inputs"]["w"], known["inputs"]["c"], strict=True))
    total = sum(known["inputs"]["w"])
    worst = order_study(read(chain(jobs[::-1])), no_cautions())
    assert worst.now.minutes * total == pytest.approx(known["expected"]["worst"], abs=1e-6)
    assert worst.best.minutes * total == pytest.approx(known["expected"]["best"], abs=1e-6)


@pytest.mark.many_cases
def test_without_cautions_it_is_the_classical_rule() -> None:
    """Probability / minutes, descending, against all permutations (n at most 7).

    The rule: W. E. Smith, Naval Research Logistics Quarterly 3, 1956 (from memory, M).
    """
    random = Random(20)
    for number in range(1_000):
        count = random.randint(2, 7 if number % 20 == 0 else 5)
        jobs = [(random.randint(1, 50), random.choice([0.5, 1, 2, 3, 7])) for _ in range(count)]
        total = sum(chance for chance, _ in jobs) + 1e-12

        def cost(order: Any, total: float = total) -> float:
            waited = spent = 0.0
            for chance, time in order:
                spent += time
                waited += chance * spent
            return (waited + 1e-12 * spent) / total

        found = order_study(read(chain(jobs)), no_cautions())
        assert found.best.minutes == pytest.approx(min(map(cost, permutations(jobs))), abs=1e-9)
        ratio = sorted(jobs, key=lambda job: -job[0] / job[1])
        assert found.best.minutes == pytest.approx(cost(ratio), abs=1e-9)
        assert all(run.exact for run in found.runs)


@pytest.mark.parametrize("data", [load_iris, load_wine, load_breast_cancer])
def test_expected_checks_are_scikit_learns_mean_decision_path(data: Any) -> None:
    features, targets = data(return_X_y=True)
    model = DecisionTreeClassifier(random_state=0).fit(features, targets)
    inner = model.tree_
    lines = ["format: 1", "symptom: x", "title: Learned", "start: n-0", "steps:"]
    for node in range(inner.node_count):
        left, right = inner.children_left[node], inner.children_right[node]
        if left < 0:
            count = inner.n_node_samples[node]
            lines.append(
                f"  n-{node}: {{finding: Leaf., chance: {count}, who: operator, remedy: Do.}}"
            )
        else:
            lines.append(
                f"  n-{node}: {{ask: Below?, passes: none, answers: {{It is: n-{left}, It is not: n-{right}}}}}"
            )
    # A path holds the leaf too, which is no check.
    checks = model.decision_path(features).sum(axis=1).mean() - 1
    assert minutes(read("\n".join(lines) + "\n")) == pytest.approx(checks, abs=1e-9)


def simulated(
    library: ReadyLibrary, symptom: str, cases: int, seed: int
) -> tuple[float, float, float]:
    """Return mean minutes and standard error of right answers in the real walk, and what is expected.

    A check gives one of the answers that lead to the cause, each equally often, else the passing
    one. The minutes are those of the steps shown and of the cautions taken before the finding.
    """
    cautions = library.table
    tree = library.content.trees[symptom]
    ready = made_ready(tree, cautions)
    walk = Walker(visit_to(library, table=cautions, role="service"))
    plan = ready.plan
    random = Random(seed)
    routes: dict[tuple[int, tuple[int, ...]], float] = {}
    spent = []
    for _ in range(cases):
        cause = random.choices(range(len(plan.findings)), weights=plan.chances)[0]
        at, picks = plan.start, []
        while plan.ways[at]:
            right = [n for n, to in enumerate(plan.ways[at]) if plan.reach[to] >> cause & 1]
            picks.append(right[int(random.random() * len(right))])
            at = plan.ways[at][picks[-1]]
        key = (cause, tuple(picks))
        if key not in routes:
            routes[key] = walked(walk, ready, symptom, picks)
        spent.append(routes[key])
    mean = math.fsum(spent) / cases
    error = math.sqrt(math.fsum((one - mean) ** 2 for one in spent) / (cases - 1) / cases)
    return mean, error, expected_minutes(plan, cautions)


def walked(walk: Walker, ready: Any, symptom: str, picks: list[int]) -> float:
    """Return the minutes of one route through the real walk, up to its finding."""
    state = walk.open(symptom)
    total = 0.0
    waiting = list(picks)
    while True:
        screen = walk.screen(state)
        step = walk.step(state)
        if isinstance(step, Finding):
            return total
        if isinstance(screen, CautionScreen):
            if screen.phase == "take":
                table = walk.visit.table
                total += sum(table.minutes[table.number[one.id]] for one in screen.cautions)
            state = walk.reply(state, "done").state
            continue
        assert not isinstance(screen, FindingScreen)
        total += step.minutes
        number = waiting.pop(0)
        target = ready.plan.number[step.exits[number].to]
        if isinstance(ready.steps[target], Finding):
            return total
        if isinstance(screen, CheckScreen):
            state = walk.reply(state, step.exits[number].answer).state
        else:
            # A reading whose figure falls into this band.
            state = walk.answer(state, number)


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", ["streaking", "poor-pickup"])
def test_20_000_cases_in_the_walk_take_the_expected_minutes(symptom: str) -> None:
    library = ReadyLibrary(built_in())
    library.machine("dock")
    mean, error, expected = simulated(library, symptom, 20_000, 7)
    assert abs(mean - expected) < 3 * error
    assert error < 0.2
