"""The best order of a run, against all permutations."""

from __future__ import annotations

import itertools
import math
from functools import cache
from random import Random
from typing import TYPE_CHECKING

import pytest
from strategies.ordering import (
    EXACT,
    YARDS,
    Row,
    any_tree,
    assert_best,
    cautions_text,
    least_of_all,
    longest_run,
    model_of,
    run_of,
    seeded,
    tree_with_run,
)
from strategies.sampling import several
from strategies.written import Written, read, text_of

from diagnose.study.in_force import bits
from diagnose.study.order.bound import smith_cost
from diagnose.study.order.families import families
from diagnose.study.order.model import RunModel
from diagnose.study.order.moves import best_move, improved, settled
from diagnose.study.order.routes import route_costs
from diagnose.study.order.search import BestOrder, NoOrder, Search, best_order
from diagnose.study.order.setups import Setups
from diagnose.study.outlook import expected_minutes
from diagnose.study.plan import plan_of
from diagnose.study.runs import reordered

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.study.order.model import State

#: By yard: nodes that the search for the best of 60 steps may come to.
NODES = {"lockout alone": 400, "two lockouts": 800}
#: Two jobs under the lockout, a quick one and a long one; one that only needs the key out.
QUICK_FIRST: list[Row] = [
    (2, 3, ["lock"], False),
    (0.7, 47, ["key"], False),
    (10, 28, ["lock"], False),
]


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
    """Lockouts, checks behind other answers, several ways in, `after`: 250 runs a yard, n ≤ 7.

    `python tests/benchmarks/large_orders.py` does the same for 2,000.
    """
    tried = 0
    for seed in range(several(250)):
        model = seeded(seed, name)
        if model is None:
            continue
        best = assert_best(model)
        assert model.run.allows(best.order)
        tried += 1
    assert tried > 0.96 * several(250)


@pytest.mark.many_cases
@pytest.mark.parametrize("name", YARDS)
@pytest.mark.parametrize("cap", [0, 1, 2])
def test_a_cap_on_lockouts_is_kept(name: str, cap: int) -> None:
    allowed = 0
    for seed in range(several(60)):
        model = model_of(any_tree(Random(1000 + seed), (3, 4, 5), name), cap)
        if model is None:
            continue
        best, least = best_order(model), least_of_all(model)
        assert (best == NoOrder(proved=True)) == (least == math.inf)
        if isinstance(best, BestOrder):
            assert best.exact
            assert model.cost(best.order) == pytest.approx(least, rel=0, abs=EXACT)
            allowed += 1
    assert allowed > (0 if cap == 0 else several(60) / 2)


@pytest.mark.many_cases
def test_without_cautions_the_classical_rule_is_the_best_of_all_permutations() -> None:
    """100 runs whose steps all run the machine; 1,000 others are in tests/outside."""
    for seed in range(several(100)):
        rng = Random(seed)
        length = rng.randint(2, 6)
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
    model = run_of(QUICK_FIRST, "nested", rest=22)
    assert sorted(family.jobs for family in families(model)) == [(1,), (2, 0)]
    by_families = Search(model, families(model)).beam(1000, math.inf)
    best = best_order(model)
    assert by_families is not None
    assert isinstance(best, BestOrder)
    assert (best.order, best.exact) == ((0, 1, 2), True)
    assert model.cost(best.order) == pytest.approx(least_of_all(model), rel=0, abs=EXACT)
    assert model.cost(by_families) > model.cost(best.order) + 0.1


def test_a_free_job_may_wait_to_have_the_lockout_taken_again() -> None:
    """Job 1 could be done for nothing under the lockout of job 0. Job 2 ends that lockout, and 3
    and 4 come after it. If 1 waits for 2 it has the lockout taken again, with the key out for the
    likely 3; else that takes the key alone, and 4 the lockout once more.
    """
    rows: list[Row] = [
        (1, 200, ["lock"], False),
        (0.5, 0.5, ["lock"], False),
        (5, 4.9, [], True),
        (10.5, 10, ["key"], False),
        (40, 8, ["lock"], False),
    ]
    model = run_of(rows, "nested", after={3: [2], 4: [2]})
    best = assert_best(model)
    assert best.order == (0, 2, 1, 3, 4)
    assert model.cost((0, 1, 2, 3, 4)) > model.cost(best.order) + 0.05


@pytest.mark.parametrize(
    ("name", "seed"),
    [
        # A job's price and its delay of the top are both what it has to gain by, no more.
        ("nested", 0),
        # Of two alike, a quicker one that is less likely, or a free one, may not be left out.
        ("deep", 131),
        ("nested", 732),
    ],
)
def test_runs_that_a_dominance_rule_a_little_too_strong_gets_wrong(name: str, seed: int) -> None:
    """Each was found by leaving out more than the rule does: that is not the best "proved"."""
    model = seeded(seed, name)
    assert model is not None
    assert_best(model)


def test_a_step_that_makes_way_for_a_likelier_one_may_come_before_a_free_one() -> None:
    """Step 4 is likely and has to come after 1, 2 and 3; 1 has to pay for gloves, 0 for nothing."""
    rows: list[Row] = [
        (1.363, 2.894, [], False),
        (6.172, 9.924, ["gloves"], False),
        (5.985, 33.939, ["lock"], False),
        (2.463, 0.744, ["lock"], False),
        (5.567, 23.110, [], True),
        (4.822, 27.563, [], True),
    ]
    model = run_of(rows, "side by side", rest=1.826, after={4: [1, 2, 3]})
    best = assert_best(model)
    assert best.order == (5, 2, 1, 3, 4, 0)


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


def least_relaxed(model: RunModel) -> float:
    """Return the least cost where any caution that the run names may be taken at any job, or last.

    By the jobs that are done and what is in force then, each worked out once; all sets of cautions.
    """
    table, count = model.cautions, len(model.jobs)
    named = list(bits(model.named_in_run))
    sizes = range(len(named) + 1)
    early = {
        table.closed(sum(1 << n for n in chosen))
        for size in sizes
        for chosen in itertools.combinations(named, size)
    }

    @cache
    def to_come(done: int, state: State) -> float:
        rest = [job for job in range(count) if not done >> job & 1]
        waiting = model.waiting(rest)
        costs = []
        for more in early:
            if not rest:
                minutes, after = model.setup_for(state, more, False)
                cost = math.fsum(w * m for w, m in zip(waiting, minutes, strict=True))
                costs.append(cost + model.tail_cost(after))
            for number in rest:
                job, (needs, energises) = model.jobs[number], model.kinds[model.jobs[number].kind]
                # Where the machine runs, nothing is taken that running it ends.
                ends = energises and more & table.lapsing
                if ends or model.run.before[number] & ~done:
                    continue
                minutes, after = model.setup_for(state, needs | more, energises)
                cost = math.fsum(
                    w * (job.minutes + m) for w, m in zip(waiting, minutes, strict=True)
                )
                cost += model.branch_cost(number, after)
                costs.append(cost + to_come(done | 1 << number, after))
        return min(costs)

    return to_come(0, model.start)


@pytest.mark.many_cases
@pytest.mark.parametrize("cap", [None, 2])
@pytest.mark.parametrize("name", ["side by side", "nested", "deep"])
def test_the_relaxation_is_solved_to_its_least(name: str, cap: int | None) -> None:
    """Several ways in, checks behind other answers and behind the run. What is proved rests on it."""
    less = 0
    for seed in range(several(150)):
        rng = Random(seed)
        tree = tree_with_run(
            rng, rng.choice((4, 5)), YARDS[name], after=0.1, exits=0.4, head=True, tail=True
        )
        text = cautions_text(YARDS[name])
        model = model_of(Written(trees={"alpha": text_of(tree)}, cautions=text), cap)
        assert model is not None
        found = Search(model, families(model), relaxed=True).best_first(math.inf, 10_000)
        least = least_relaxed(model)
        assert smith_cost(model) + found.bound == pytest.approx(least, rel=0, abs=EXACT)
        less += least < least_of_all(model) - EXACT
    assert less > 0 or name == "side by side"


def test_nothing_is_taken_early_that_is_in_force() -> None:
    """Where the key has to be out: the key alone, or the lockout that includes it, unless it holds."""
    model = run_of(QUICK_FIRST, "nested")
    setups = Setups(model, relaxed=True)
    _, locked = model.setup(model.start, model.jobs[0].kind)
    kind = model.jobs[1].kind
    assert [minutes for minutes, _ in setups.options(model.start, kind, 0)] == [(4,), (5,)]
    assert setups.options(locked, kind, 0) == [((0,), locked)]


def turned(order: Sequence[int]) -> int:
    """Return how many pairs stand the other way round than at present."""
    return sum(one > other for one, other in itertools.combinations(order, 2))


@pytest.mark.parametrize("name", YARDS)
def test_the_one_move_is_the_best_of_all_moves(name: str) -> None:
    for seed in range(several(60)):
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


@pytest.mark.parametrize("name", ["lockout alone", "two lockouts"])
def test_dominance_and_bound_leave_few_of_many_orders(name: str) -> None:
    """60 steps, with no beam to fall back on."""
    for seed in range(3):
        tree = tree_with_run(Random(seed), 60, YARDS[name])
        model = model_of(
            Written(trees={"alpha": text_of(tree)}, cautions=cautions_text(YARDS[name]))
        )
        assert model is not None
        found = best_order(model, (), most_nodes=NODES[name])
        assert isinstance(found, BestOrder)
        assert found.exact


def test_a_narrow_beam_follows_what_is_most_promising() -> None:
    """Four orders side by side are enough here, by the bound and with what follows the run."""
    for seed in range(30):
        tree = tree_with_run(Random(seed), 8, YARDS["two lockouts"], tail=True)
        text = cautions_text(YARDS["two lockouts"])
        model = model_of(Written(trees={"alpha": text_of(tree)}, cautions=text))
        assert model is not None
        found, best = Search(model, families(model)).beam(4, math.inf), best_order(model)
        assert found is not None
        assert isinstance(best, BestOrder)
        assert best.exact
        assert model.cost(found) == pytest.approx(model.cost(best.order), rel=0, abs=EXACT)


def test_where_cautions_are_left_out_nothing_is_called_proved(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No caution may be taken early, and no search goes job by job: there is no bound."""
    monkeypatch.setattr("diagnose.study.order.setups.MOST_EARLY", 0)
    monkeypatch.setattr("diagnose.study.order.search.LONGEST_BY_JOB", 0)
    monkeypatch.setattr("diagnose.study.order.moves.MOST_MOVES", 0)
    monkeypatch.setattr("diagnose.study.order.moves.LONGEST_SETTLED", 0)
    model = run_of(QUICK_FIRST, "nested", rest=22)
    best = best_order(model)
    assert isinstance(best, BestOrder)
    assert not best.exact
    assert 0.1 < model.cost(best.order) - least_of_all(model) <= best.gap


def test_too_many_states_to_tell_families_by_leaves_the_best_order_what_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    orders = {}
    for most in (300, 0):
        monkeypatch.setattr("diagnose.study.order.families.MOST_STATES", most)
        model = model_of(any_tree(Random(4), (7,), "deep"))
        assert model is not None
        orders[most] = best_order(model), len(families(model))
    assert orders[300][0] == orders[0][0]
    assert orders[300][1] <= orders[0][1]


@pytest.mark.parametrize("name", YARDS)
def test_after_behind_another_answer_is_kept(name: str) -> None:
    """A check behind a step's other answer has to come after another step of the run."""
    bound = 0
    for seed in range(25):
        tree = tree_with_run(Random(seed), 5, YARDS[name], exits=0.7, after_behind=0.4)
        model = model_of(
            Written(trees={"alpha": text_of(tree)}, cautions=cautions_text(YARDS[name]))
        )
        assert model is not None
        wanted = [0] * 5
        for n in range(5):
            for other in tree["steps"].get(f"e{n}", {}).get("after", []):
                wanted[n] |= 1 << int(other[1:])
        assert model.run.before == tuple(wanted)
        best = best_order(model)
        assert isinstance(best, BestOrder)
        place = {job: number for number, job in enumerate(best.order)}
        assert all(place[m] < place[n] for n in range(5) for m in range(5) if wanted[n] >> m & 1)
        assert model.cost(best.order) == pytest.approx(least_of_all(model), rel=0, abs=EXACT)
        every = itertools.permutations(range(5))
        bound += min(map(model.cost, every)) < model.cost(best.order) - EXACT
    assert bound > 5


def test_an_order_that_is_not_proved_is_improved_move_by_move(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A narrow beam, then the best single move as long as one helps, five at most."""
    helped = 0
    for seed in range(12):
        tree = tree_with_run(Random(seed), 9, YARDS["deep"])
        text = cautions_text(YARDS["deep"])
        model = model_of(Written(trees={"alpha": text_of(tree)}, cautions=text))
        assert model is not None
        narrow = Search(model, families(model)).beam(1, math.inf)
        assert narrow is not None
        wanted = narrow
        for _ in range(5):
            moves = [moved(wanted, job, place) for job in wanted for place in range(9)]
            nearest = min(filter(model.run.allows, moves), key=model.cost)
            if model.cost(nearest) < model.cost(wanted) - EXACT:
                wanted = nearest
        found = best_order(model, (1,), most_nodes=3)
        assert isinstance(found, BestOrder)
        assert model.cost(found.order) == pytest.approx(model.cost(wanted), rel=0, abs=EXACT)
        helped += model.cost(found.order) < model.cost(narrow) - EXACT
    assert helped > 3
    monkeypatch.setattr("diagnose.study.order.moves.LONGEST", 8)
    assert best_move(model) is None


def test_five_moves_and_no_more_make_an_order_better() -> None:
    """From the worst order of ten steps without cautions, where a sixth move would help too."""
    rows: list[Row] = [(1.0, 10.0 - number, [], False) for number in range(10)]
    model = run_of(rows, "lockout alone")
    wanted = [*range(10)][::-1]
    costs = [model.cost(wanted)]
    for _ in range(6):
        moves = [moved(wanted, job, place) for job in wanted for place in range(10)]
        wanted = min(moves, key=model.cost)
        costs.append(model.cost(wanted))
    assert all(more - less > EXACT for more, less in itertools.pairwise(costs))
    found = improved(model, [*range(10)][::-1])
    assert model.cost(found) == pytest.approx(costs[5], rel=0, abs=EXACT)
    # The best order is left alone.
    assert improved(model, range(10)) == [*range(10)]


def test_long_runs_stay_as_they_were_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only short ones are brought nearer to the present order by moves that cost nothing."""
    model = run_of([(3, 2, [], False)] * 4, "lockout alone")
    assert settled(model, [3, 1, 0, 2]) == [0, 1, 2, 3]
    monkeypatch.setattr("diagnose.study.order.moves.LONGEST_SETTLED", 3)
    assert settled(model, [3, 1, 0, 2]) == [3, 1, 0, 2]


def test_no_order_is_proved_only_where_the_search_came_to_its_end() -> None:
    rows: list[Row] = [(1, 5, ["lock"], False), (2, 3, [], True), (3, 1, ["lock"], False)]
    tree = run_of(rows, "lockout alone")
    model = RunModel(tree._plan, tree.cautions, tree.run, route_costs(tree._plan, tree.cautions), 0)
    assert best_order(model) == NoOrder(proved=True)
    assert best_move(model) is None
    assert best_order(model, most_nodes=0) == NoOrder(proved=False)


def moved(order: Sequence[int], job: int, place: int) -> list[int]:
    rest = [other for other in order if other != job]
    return [*rest[:place], job, *rest[place:]]


@pytest.mark.parametrize("count", [3, 7, 40, 41])
def test_where_every_order_is_as_good_the_present_one_stays(count: int) -> None:
    """From any order it is come back to, in runs of up to forty steps; longer ones are left."""
    names = [f"s{n}" for n in range(count)]
    steps = {
        name: {"ask": "a", "passes": "fine", "answers": {"bad": f"f{n}", "fine": after}}
        for n, (name, after) in enumerate(zip(names, [*names[1:], "rest"], strict=True))
    }
    ends = [f"f{n}" for n in range(count)] + ["rest"]
    found = {n: {"finding": n, "chance": 1, "who": "operator", "remedy": "r"} for n in ends}
    tree = {"format": 1, "symptom": "alpha", "title": "t", "start": "s0", "steps": steps | found}
    model = model_of(Written(trees={"alpha": text_of(tree)}))
    present = list(range(count))
    for seed in range(30 if count < 10 else 1):
        order = Random(seed).sample(present, count)
        assert settled(model, order) == (present if count <= 40 else order)
