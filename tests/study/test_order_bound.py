"""The lower bound: never above what any order costs, and as high as it can be where it is simple."""

from __future__ import annotations

import itertools
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
    least_excess,
    model_of,
    run_of,
    seeded,
    smith,
    tree_with_run,
)
from strategies.sampling import several
from strategies.written import Written, text_of

from diagnose.study.in_force import bits
from diagnose.study.order.bound import LowerBound, smith_cost
from diagnose.study.order.families import families

if TYPE_CHECKING:
    from diagnose.study.order.model import RunModel, State


@pytest.mark.parametrize(
    ("name", "seed"),
    [
        # A pair of families is tabulated or delayed under one caution only, both ways round.
        ("side by side", 20138),
        # What one caution has taken of delays outside its families, no later one takes again.
        ("side by side", 982),
        ("side by side", 1069),
        ("side by side", 1576),
        # A tabulated pair is taken in the direction (needing, running) as well.
        ("side by side", 1520),
        # What waits behind the run waits for a caution once, whatever is tabulated.
        ("side by side", 10),
        ("deep", 135),
        # A caution that another one includes comes with that one.
        ("nested", 8),
        ("deep", 23),
    ],
)
def test_runs_that_a_bound_one_claim_too_high_gets_wrong(name: str, seed: int) -> None:
    """Each was found by taking one claim out of the bound, and is then not the best "proved"."""
    model = seeded(seed, name)
    assert model is not None
    assert_best(model)


@pytest.mark.parametrize("name", YARDS)
@pytest.mark.many_cases
def test_no_order_has_less_to_come_than_the_bound_says(name: str) -> None:
    """At each place of random orders, each job a family of its own: the excess of what follows."""
    tight = 0
    for seed in range(several(60)):
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
                excess = model.cost_from(rest, state, model.waiting(rest)) - smith(model, rest)
                at_least = bound.to_come(counts, state)
                assert 0 <= at_least <= excess + EXACT
                tight += at_least > excess - EXACT > 0.01
                _, state = model.setup(state, model.jobs[number].kind)
    assert tight > 10


@pytest.mark.parametrize("runs", [True, False], ids=["running", "free"])
@pytest.mark.parametrize("seed", range(12))
def test_with_two_families_and_one_lockout_the_bound_is_the_least_excess(
    seed: int, runs: bool
) -> None:
    """However much of each is done, and whether the lockout is in force or not."""
    rng = Random(seed)

    def row(named: list[str], energises: bool) -> Row:
        return rng.uniform(0.5, 9), rng.uniform(1, 9), named, energises

    rows = [row(["lock"], False) for _ in range(3)] + [row([], runs) for _ in range(2)]
    model = run_of(rows, "lockout alone", rest=rng.uniform(0.1, 9))
    groups = families(model)
    assert sorted(len(family.jobs) for family in groups) == [2, 3]
    bound = LowerBound(model, groups)
    lock = next(number for number, job in enumerate(model.jobs) if model.named[job.kind])
    _, locked = model.setup(model.start, model.jobs[lock].kind)
    for counts in itertools.product(*(range(len(family.jobs) + 1) for family in groups)):
        rest = [job for f, done in zip(groups, counts, strict=True) for job in f.jobs[done:]]
        for state in (model.start, locked):
            least = least_excess(model, rest, state)
            assert bound.to_come(counts, state) == pytest.approx(least, rel=0, abs=EXACT)


def test_the_delay_of_a_job_is_what_changing_two_places_costs() -> None:
    """Without cautions: p(i) · w(j) - w(i) · p(j) for each likelier j that is still to come."""
    rows: list[Row] = [(2, 8, [], False), (5, 10, [], True), (3, 3, [], False)]
    model = run_of(rows, "lockout alone", rest=4)
    groups = families(model)
    assert [family.jobs for family in groups] == [(0, 2), (1,)]
    bound = LowerBound(model, groups)
    # Chances are of 25. Job 1 before 0: 5 · 8 - 10 · 2; job 2 before 1: 3 · 10 - 3 · 5.
    assert bound.delay((0, 0), 0) == 0
    assert bound.delay((0, 0), 1) == pytest.approx(20 / 25)
    assert bound.delay((1, 0), 1) == 0
    assert bound.delay((1, 0), 0) == pytest.approx(15 / 25)
    assert bound.delay((1, 1), 0) == 0
    assert bound.delay_of((0, 0), 1, 0) == pytest.approx(20 / 25)
    assert bound.delay_of((0, 0), 1, 1) == 0
    # 2 · 25 + 5 · 17 + 3 · 7, over 25.
    assert smith_cost(model) == pytest.approx(156 / 25)
    assert model.cost((1, 0, 2)) - smith_cost(model) == pytest.approx(20 / 25)


def test_families_hold_what_their_definition_says() -> None:
    rows: list[Row] = [
        (2, 8, ["lock"], False),
        (5, 10, [], True),
        (3, 3, ["lock"], False),
        (4, 2, [], False),
        (1, 1, ["gloves"], False),
        (1, 1, [], False),
    ]
    found = families(run_of(rows, "side by side", rest=1e-9, after={4: [1], 5: [4]}))
    assert {family.jobs: family.before for family in found} == {
        (0, 2): (),
        (1,): (),
        (3,): (),
        (4,): (1,),
        (5,): (1, 2),
    }
    locked = found[0]
    assert locked.minutes_until == pytest.approx((0, 2, 5))
    assert locked.weight_until == pytest.approx((0, 8 / 25, 11 / 25))
    assert [waiting[0] for waiting in locked.waiting] == pytest.approx([11 / 25, 3 / 25, 0])
    # The lockout lapses, a job that runs the machine ends it, and something waits for the gloves.
    stays = {family.jobs: family.stays_free for family in found}
    assert stays == {(0, 2): False, (1,): False, (3,): True, (4,): False, (5,): True}
    assert all(family.fixed_branches for family in found)
    assert len(families(run_of(rows, "side by side"), single=True)) == len(rows)


def states_of(model: RunModel) -> set[State]:
    """Return the states that orders of up to six takings come to, cautions taken early or not."""
    cautions = model.cautions
    takings = [*model.kinds, *((cautions.closure[n], False) for n in bits(model.named_in_run))]
    states = {model.start}
    for _ in range(6):
        states |= {model.setup_for(state, *taking)[1] for state in states for taking in takings}
    over = {s for s in states if model.cap is not None and max(n for _, n in s) > model.cap}
    return states - over


@pytest.mark.parametrize("cap", [None, 2])
@pytest.mark.parametrize("name", YARDS)
def test_jobs_are_of_one_family_where_nothing_tells_them_apart(name: str, cap: int | None) -> None:
    """Kind, shares of the entries, what comes before and after, and the branches in every state."""
    together = apart = 0
    for seed in range(12):
        tree = tree_with_run(
            Random(seed), 7, YARDS[name], after=0.1 * (seed % 2), exits=0.6, head=True, tail=True
        )
        text = cautions_text(YARDS[name])
        model = model_of(Written(trees={"alpha": text_of(tree)}, cautions=text), cap)
        assert model is not None
        states = states_of(model)
        family = {job: f for f, each in enumerate(families(model)) for job in each.jobs}
        before = [set(bits(mask)) for mask in model.run.before]
        for n in range(len(before)):
            before[n] |= {m for other in before[n] for m in before[other]}
        after = [{m for m in range(len(before)) if n in before[m]} for n in range(len(before))]
        for one, other in itertools.combinations(range(len(model.jobs)), 2):
            a, b = model.jobs[one], model.jobs[other]
            shares = [
                weight / a.weight - weights / b.weight
                for weight, weights in zip(a.weights, b.weights, strict=True)
            ]
            branches = (
                model.branch_cost(one, s) / a.weight
                == pytest.approx(model.branch_cost(other, s) / b.weight, abs=EXACT)
                for s in states
            )
            alike = (
                a.kind == b.kind
                and max(map(abs, shares)) < EXACT
                and (before[one], after[one]) == (before[other], after[other])
                and bool(a.branch_cautions) == bool(b.branch_cautions)
                and (not a.branch_cautions or all(branches))
            )
            assert (family[one] == family[other]) == alike
            together, apart = together + alike, apart + (not alike)
    assert together > 1
    assert apart > 50


def test_with_too_many_states_jobs_with_cautions_in_their_branches_stand_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("diagnose.study.order.families.MOST_STATES", 0)
    tree = tree_with_run(Random(3), 12, YARDS["lockout alone"], exits=0.6)
    text = cautions_text(YARDS["lockout alone"])
    model = model_of(Written(trees={"alpha": text_of(tree)}, cautions=text))
    assert model is not None
    found = families(model)
    named = {n for n, job in enumerate(model.jobs) if job.branch_cautions}
    assert len(named) > 2
    assert {family.jobs for family in found if named & {*family.jobs}} == {(n,) for n in named}
    assert max(len(family.jobs) for family in found) > 1
    assert {f.jobs[0] for f in found if not f.fixed_branches} == named
