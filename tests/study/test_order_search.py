"""The best order of a run, against all permutations."""

from __future__ import annotations

import itertools
import math
from random import Random
from typing import TYPE_CHECKING

import pytest
from strategies.ordering import (
    YARDS,
    any_tree,
    cautions_text,
    least_of_all,
    longest_run,
    model_of,
    tree_with_run,
)
from strategies.written import Written, read, text_of

from diagnose.study.minutes import expected_minutes
from diagnose.study.order.bound import LowerBound, smith_cost
from diagnose.study.order.families import families
from diagnose.study.order.model import RunModel
from diagnose.study.order.moves import best_move
from diagnose.study.order.routes import route_costs
from diagnose.study.order.search import BestOrder, NoOrder, Search, best_order
from diagnose.study.plan import plan_of
from diagnose.study.runs import reordered

if TYPE_CHECKING:
    from collections.abc import Sequence

EXACT = 1e-9


@pytest.mark.parametrize("name", YARDS)
def test_what_an_order_costs_is_what_the_tree_with_it_costs(name: str) -> None:
    """The model against the tree, rewritten and measured anew: the difference never changes."""
    for seed in range(40):
        rng = Random(seed)
        written = any_tree(rng, (2, 3, 4, 5), name)
        library = read(written)
        found = longest_run(library)
        assert found is not None
        plan, run = found
        model = RunModel(plan, library.table, run, route_costs(plan, library.table))
        steps = [plan.ids[step] for step in run.steps]
        orders = [o for o in itertools.permutations(range(len(steps))) if run.allows(o)]
        apart = []
        for order in rng.sample(orders, min(8, len(orders))):
            tree = reordered(library.trees["alpha"], steps, [steps[job] for job in order])
            minutes = expected_minutes(plan_of(tree, library.table), library.table)
            apart.append(minutes - model.cost(order))
        assert max(apart) - min(apart) < EXACT


@pytest.mark.parametrize("name", YARDS)
@pytest.mark.many_cases
def test_the_best_of_all_permutations_is_found(name: str) -> None:
    """Lockouts, checks behind other answers, several ways in, `after`: 250 runs a yard, n ≤ 7."""
    tried = 0
    for seed in range(250):
        model = model_of(any_tree(Random(seed), (3, 4, 5, 6, 6, 7 if seed % 8 == 0 else 5), name))
        if model is None:
            continue
        best = best_order(model)
        assert isinstance(best, BestOrder)
        assert best.exact
        assert model.run.allows(best.order)
        assert model.cost(best.order) == pytest.approx(least_of_all(model), rel=0, abs=EXACT)
        tried += 1
    assert tried > 240


@pytest.mark.parametrize("name", YARDS)
@pytest.mark.parametrize("cap", [0, 1, 2])
def test_a_cap_on_lockouts_is_kept(name: str, cap: int) -> None:
    allowed = 0
    for seed in range(60):
        model = model_of(any_tree(Random(1000 + seed), (3, 4, 5), name), cap)
        if model is None:
            continue
        best, least = best_order(model), least_of_all(model)
        assert (best == NoOrder(proved=True)) == (least == math.inf)
        if isinstance(best, BestOrder):
            assert best.exact
            assert model.cost(best.order) == pytest.approx(least, rel=0, abs=EXACT)
            allowed += 1
    assert allowed > (0 if cap == 0 else 30)


@pytest.mark.many_cases
def test_without_cautions_the_classical_rule_is_the_best_of_all_permutations() -> None:
    """1,000 random runs of up to 7 steps: probability / minutes, descending."""
    for seed in range(1000):
        rng = Random(seed)
        length = 7 if seed % 25 == 0 else rng.randint(2, 6)
        tree = tree_with_run(rng, length, YARDS["lockout alone"], running=1.0)
        model = model_of(Written(trees={"alpha": text_of(tree)}))
        assert model is not None
        best = best_order(model)
        assert isinstance(best, BestOrder)
        assert best.exact
        ratios = [model.jobs[job].ratio for job in best.order]
        assert ratios == sorted(ratios, reverse=True)
        assert model.cost(best.order) == pytest.approx(least_of_all(model), rel=0, abs=EXACT)


def test_where_cautions_do_not_add_up_families_are_not_enough() -> None:
    """Two steps of one family under the lockout, one that only needs the key out in between.

    The key out costs 4 minutes, the lockout, which includes it, 5. By probability / minutes the
    long step would be the family's first. The quick one is: it takes the lockout, the likely step
    has the key out for nothing then, and the long one comes last.
    """
    steps = {
        "quick": {"minutes": 2, "cautions": ["lock"], "answers": {"It is bad": "rare"}},
        "likely": {"minutes": 0.7, "cautions": ["key"], "answers": {"It is bad": "often"}},
        "long": {"minutes": 10, "cautions": ["lock"], "answers": {"It is bad": "at-times"}},
    }
    ahead = dict(zip(steps, ["likely", "long", "rest"], strict=True))
    for name, step in steps.items():
        step["ask"] = "What is it?"
        step["passes"] = "It is good"
        step["answers"]["It is good"] = ahead[name]  # type: ignore[index]
    for name, chance in {"rare": 3, "often": 47, "at-times": 28, "rest": 22}.items():
        steps[name] = {"finding": name, "chance": chance, "who": "operator", "remedy": name}
    tree = {"format": 1, "symptom": "alpha", "title": "t", "start": "quick", "steps": steps}
    model = model_of(
        Written(trees={"alpha": text_of(tree)}, cautions=cautions_text(YARDS["nested"]))
    )
    assert model is not None
    assert sorted(family.jobs for family in families(model)) == [(1,), (2, 0)]
    by_families = Search(model, families(model)).beam(1000, math.inf)
    best = best_order(model)
    assert by_families is not None
    assert isinstance(best, BestOrder)
    assert (best.order, best.exact) == ((0, 1, 2), True)
    assert model.cost(best.order) == pytest.approx(least_of_all(model), rel=0, abs=EXACT)
    assert model.cost(by_families) > model.cost(best.order) + 0.1


def test_a_step_that_makes_way_for_a_likelier_one_may_come_before_a_free_one() -> None:
    """Step 4 is likely and has to come after 1, 2 and 3; 1 has to pay for gloves, 0 for nothing."""
    rows = [
        (1.363, 2.894, [], False),
        (6.172, 9.924, ["gloves"], False),
        (5.985, 33.939, ["lock"], False),
        (2.463, 0.744, ["lock"], False),
        (5.567, 23.110, [], True),
        (4.822, 27.563, [], True),
    ]
    steps: dict[str, dict[str, object]] = {
        "behind": {"finding": "b", "chance": 1.826, "who": "operator", "remedy": "b"}
    }
    for n, (minutes, chance, named, runs) in enumerate(rows):
        on = f"s{n + 1}" if n + 1 < len(rows) else "behind"
        steps[f"f{n}"] = {"finding": "f", "chance": chance, "who": "operator", "remedy": "f"}
        steps[f"s{n}"] = {
            "ask": "What is it?",
            "minutes": minutes,
            "passes": "It is good",
            "cautions": named,
            "energises": runs,
            "after": ["s1", "s2", "s3"] if n == 4 else [],
            "answers": {"It is bad": f"f{n}", "It is good": on},
        }
    tree = {"format": 1, "symptom": "alpha", "title": "t", "start": "s0", "steps": steps}
    text = cautions_text(YARDS["side by side"])
    model = model_of(Written(trees={"alpha": text_of(tree)}, cautions=text))
    assert model is not None
    best = best_order(model)
    assert isinstance(best, BestOrder)
    assert best.exact
    assert best.order == (5, 2, 1, 3, 4, 0)
    assert model.cost(best.order) == pytest.approx(least_of_all(model), rel=0, abs=EXACT)


@pytest.mark.parametrize("name", YARDS)
@pytest.mark.many_cases
def test_no_order_has_less_to_come_than_the_bound_says(name: str) -> None:
    """At each place of random orders, for each step on its own: what follows, less the classical
    order of it, against the bound there."""
    tight = 0
    for seed in range(60):
        rng = Random(seed)
        model = model_of(any_tree(rng, (4, 6, 9), name))
        if model is None:
            continue
        groups = families(model, single=True)
        bound = LowerBound(model, groups)
        order = list(range(len(model.jobs)))
        for _ in range(20):
            rng.shuffle(order)
            if not model.run.allows(order):
                continue
            state = model.start
            for place, number in enumerate(order):
                rest = order[place:]
                counts = tuple(int(family.jobs[0] not in rest) for family in groups)
                free = sorted(rest, key=lambda job: -model.jobs[job].ratio)
                waiting, least = sum(model.waiting(rest)), 0.0
                for job in free:
                    least += waiting * model.jobs[job].minutes
                    waiting -= model.jobs[job].weight
                to_come = model.cost_from(rest, state, model.waiting(rest)) - least
                at_least = bound.to_come(counts, state)
                assert 0 <= at_least <= to_come + EXACT
                tight += at_least > to_come - EXACT > 0.01
                _, state = model.setup(state, model.jobs[number].kind)
    assert tight > 10


@pytest.mark.many_cases
def test_long_runs_are_exact_or_say_how_much_less_there_could_be() -> None:
    """No permutations here: the eased search's least is held against many other good orders."""
    for name in YARDS:
        tree = tree_with_run(Random(5), 50, YARDS[name])
        text = cautions_text(YARDS[name])
        model = model_of(Written(trees={"alpha": text_of(tree)}, cautions=text))
        assert model is not None
        best = best_order(model)
        assert isinstance(best, BestOrder)
        cost = model.cost(best.order)
        assert cost - smith_cost(model) >= best.gap
        for groups in (families(model), families(model, single=True)):
            other = Search(model, groups).beam(100, math.inf)
            assert other is not None
            assert model.cost(other) >= cost - best.gap - EXACT
        if name in ("lockout alone", "two lockouts"):
            assert best.exact


def test_a_search_cut_short_is_the_best_found_and_says_so() -> None:
    tree = tree_with_run(Random(3), 9, YARDS["deep"], exits=0.5)
    model = model_of(Written(trees={"alpha": text_of(tree)}, cautions=cautions_text(YARDS["deep"])))
    assert model is not None
    short, whole = best_order(model, (1,), most_nodes=3), best_order(model)
    assert isinstance(short, BestOrder)
    assert isinstance(whole, BestOrder)
    assert not short.exact
    assert whole.exact
    assert sorted(short.order) == list(range(9))
    more = model.cost(short.order) - model.cost(whole.order)
    assert 0 <= more <= short.gap


@pytest.mark.parametrize("name", YARDS)
def test_an_order_that_is_as_good_stays_as_it_is(name: str) -> None:
    """Steps all alike but for the cautions: of the best orders, the nearest to the present one."""
    told_apart = 0
    for seed in range(25):
        tree = tree_with_run(Random(seed), 5, YARDS[name])
        for step in tree["steps"].values():
            step.update({"chance": 2} if "finding" in step else {"minutes": 3})
        text = cautions_text(YARDS[name])
        model = model_of(Written(trees={"alpha": text_of(tree)}, cautions=text))
        assert model is not None
        best = best_order(model)
        assert isinstance(best, BestOrder)
        least = least_of_all(model) + EXACT
        orders = itertools.permutations(range(5))
        good = {order: turned(order) for order in orders if model.cost(order) <= least}
        assert best.order in good
        # No single move leads from it to one that is nearer; mostly it is the nearest of all.
        told_apart += len(good) > 1
        nearest = good[best.order] == min(good.values())
        moves = {
            (*rest[:place], job, *rest[place:])
            for job in best.order
            for rest in [[other for other in best.order if other != job]]
            for place in range(5)
        }
        assert nearest or all(good.get(move, 99) >= good[best.order] for move in moves)
    assert told_apart > 10


def turned(order: Sequence[int]) -> int:
    """Return how many pairs stand the other way round than at present."""
    return sum(one > other for one, other in itertools.combinations(order, 2))


@pytest.mark.parametrize("name", YARDS)
def test_the_one_move_is_the_best_of_all_moves(name: str) -> None:
    for seed in range(60):
        model = model_of(any_tree(Random(seed), (2, 3, 5, 7), name))
        if model is None:
            continue
        present = list(range(len(model.jobs)))
        costs = []
        for job, place in itertools.product(present, present):
            rest = [other for other in present if other != job]
            order = [*rest[:place], job, *rest[place:]]
            if order != present and model.run.allows(order):
                costs.append(model.cost(order))
        found = best_move(model)
        assert (found is None) == (not costs)
        if found is not None:
            assert found[0] == pytest.approx(min(costs), rel=0, abs=EXACT)
            assert model.cost(found[1]) == pytest.approx(found[0], rel=0, abs=EXACT)
