"""The whole study of a tree: figures by finding, runs in turn, lockouts, the one move."""

from __future__ import annotations

import itertools
import math
from random import Random

import pytest
from hypothesis import given, settings
from strategies.libraries import libraries
from strategies.observer import Files
from strategies.ordering import YARDS, any_tree, cautions_text, tree_with_run
from strategies.plain import Plain
from strategies.sampling import several
from strategies.written import Read, Written, read, text_of

from diagnose.files.library import built_in, load
from diagnose.study.in_force import caution_table
from diagnose.study.looks import unfolded
from diagnose.study.order.routes import locks_out, route_costs
from diagnose.study.order.study import Evaluation, order_study
from diagnose.study.outlook import expected_minutes
from diagnose.study.plan import plan_of
from diagnose.study.runs import reordered, runs_of


@pytest.mark.many_cases
@settings(max_examples=several(120))
@given(libraries(most_trees=1, most_questions=7))
def test_minutes_by_finding_are_those_of_all_routes(written: Written) -> None:
    library = read(written)
    plan = library.plan("alpha")
    minutes = library.card.section("caution_minutes") if library.card is not None else {}
    plain = Plain(
        Files(written.trees, written.cautions),
        "alpha",
        library.trees["alpha"].start,
        minutes,
    )
    routes = list(plain.routes(plan.ids[plan.start], frozenset(), {}, set(), once=True))
    means = plain.minutes_to(routes)
    ways = route_costs(unfolded(plan), library.table).findings
    for place, way in zip(plan.findings, ways, strict=True):
        # Where two answers of one look would lead to a finding, no case comes there.
        mean = means.get(plan.ids[place], 0.0)
        assert way.minutes == pytest.approx(mean, rel=1e-9, abs=1e-9)
    total = math.fsum(p * way.minutes for p, way in zip(plan.chances, ways, strict=True))
    assert total == pytest.approx(expected_minutes(plan, library.table), rel=1e-9)


@pytest.mark.many_cases
@settings(max_examples=several(100))
@given(libraries(most_trees=1, most_questions=6))
def test_cautions_lockouts_and_remedies_are_those_of_all_routes(written: Written) -> None:
    """Each route walked by hand; where answers share a finding, each is equally likely."""
    library = read(written)
    plan, cautions = unfolded(library.plan("alpha")), library.table
    seen = route_costs(plan, cautions)
    most = 0

    def walk(
        step: int, force: int, spent: float, locked: int, finding: int
    ) -> tuple[float, float, float, float]:
        nonlocal most
        needs, energises = plan.needs[step], plan.energises[step]
        lockout = locks_out(cautions, needs, force)
        cost, after = cautions.take(needs, energises, force)
        if not plan.ways[step]:
            most = max(most, locked)
            return spent, locked, plan.minutes[step] + cost, float(lockout)
        on = [to for to in plan.ways[step] if plan.reach[to] >> finding & 1]
        parts = [walk(to, after, spent + cost, locked + lockout, finding) for to in on]
        if not on:
            return 0.0, 0.0, 0.0, 0.0
        a, b, c, d = (math.fsum(column) / len(on) for column in zip(*parts, strict=True))
        return a, b, c, d

    means = [0.0, 0.0, 0.0, 0.0]
    for finding, way in enumerate(seen.findings):
        wanted = walk(plan.start, 0, 0.0, 0, finding)
        got = (way.cautions, way.lockouts, way.remedy, way.remedy_lockouts)
        assert got == pytest.approx(wanted, rel=1e-9, abs=1e-9)
        shares = (plan.chances[finding] * value for value in wanted)
        means = [mean + share for mean, share in zip(means, shares, strict=True)]
    assert seen.most_lockouts == most
    whole = Evaluation(library.trees["alpha"], plan, seen)
    expected = expected_minutes(plan, cautions)
    assert whole.minutes == pytest.approx(expected, rel=1e-9)
    assert whole.minutes_with_remedy == pytest.approx(expected + means[2], rel=1e-9)
    assert whole.caution_minutes == pytest.approx(means[0], rel=1e-9, abs=1e-9)
    assert whole.lockouts == pytest.approx(means[1], rel=1e-9, abs=1e-9)
    assert whole.most_lockouts == most


def all_orders(library: Read) -> list[tuple[float, int]]:
    """Return minutes and most lockouts of every allowed order of all runs together."""
    tree = library.trees["alpha"]
    plan = library.plan("alpha")
    choices = []
    for run in runs_of(tree, plan):
        names = [plan.ids[step] for step in run.steps]
        orders = [o for o in itertools.permutations(range(len(names))) if run.allows(o)]
        choices.append([(names, [names[job] for job in order]) for order in orders])
    found = []
    for chosen in itertools.product(*choices):
        changed = tree
        for names, order in chosen:
            changed = reordered(changed, names, order)
        new = plan_of(changed, library.table)
        most = route_costs(unfolded(new), library.table).most_lockouts
        found.append((expected_minutes(new, library.table), most))
    return found


@pytest.mark.many_cases
@pytest.mark.parametrize("name", YARDS)
@pytest.mark.parametrize("cap", [None, 1])
def test_a_tree_of_one_run_gets_the_best_of_all_its_orders(name: str, cap: int | None) -> None:
    for seed in range(25):
        library = read(any_tree(Random(300 + seed), (2, 3, 4), name))
        plan = library.plan("alpha")
        if len(runs_of(library.trees["alpha"], plan)) != 1:
            continue
        study = order_study(library.trees["alpha"], library.table, cap=cap)
        orders = all_orders(library)
        over = [(max(0, most - cap) if cap is not None else 0, minutes) for minutes, most in orders]
        least, minutes = min(over)
        assert study.cap_kept == (least == 0)
        assert study.best.minutes == pytest.approx(minutes, rel=0, abs=1e-9)
        assert study.now.minutes == pytest.approx(
            expected_minutes(plan, library.table), rel=0, abs=1e-9
        )
        (run,) = study.runs
        assert run.exact
        assert run.best_minutes == study.best.minutes
        assert run.minutes == study.now.minutes
        assert study.orders == (run.best,)


def two_runs(seed: int) -> Written:
    """A fork between two runs that meet again in a third, all under the same cautions."""
    yard = YARDS["side by side"]
    rng = Random(seed)
    steps: dict[str, object] = {}
    for part, start in (("a", "tail-s0"), ("b", "tail-s0"), ("tail", None)):
        tree = tree_with_run(rng, 3, yard, running=0.4)
        for name, step in tree["steps"].items():
            if name == "behind" and start is not None:
                continue
            if "answers" in step:
                step["answers"] = {
                    word: start if to == "behind" and start else f"{part}-{to}"
                    for word, to in step["answers"].items()
                }
            steps[f"{part}-{name}"] = step
    fork = {"ask": "Which?", "passes": "none", "answers": {"This": "a-s0", "That": "b-s0"}}
    tree = {"format": 1, "symptom": "alpha", "title": "t", "start": "fork"}
    text = text_of({**tree, "steps": {"fork": fork, **steps}})
    return Written(trees={"alpha": text}, cautions=cautions_text(yard))


def test_runs_are_changed_in_turn_until_none_moves() -> None:
    alone_is_not_all = 0
    for seed in range(12):
        library = read(two_runs(seed))
        tree = library.trees["alpha"]
        study = order_study(tree, library.table)
        assert [len(run.steps) for run in study.runs] == [3, 3, 3]
        for run in study.runs:
            changed = reordered(tree, run.steps, run.best)
            minutes = expected_minutes(plan_of(changed, library.table), library.table)
            assert run.best_minutes == pytest.approx(minutes, rel=0, abs=1e-9)
        assert study.best.minutes <= min(run.best_minutes for run in study.runs) + 1e-9
        # From there no run alone can gain any more.
        again = order_study(study.best.tree, library.table)
        assert again.best.minutes == pytest.approx(study.best.minutes, rel=0, abs=1e-9)
        assert [run.best for run in again.runs] == [run.steps for run in again.runs]
        alone_is_not_all += study.orders != tuple(run.best for run in study.runs)
        if seed < 3:
            least = min(minutes for minutes, _ in all_orders(library))
            assert study.best.minutes >= least - 1e-9
            assert study.best.minutes == pytest.approx(least, rel=0.02)
    assert alone_is_not_all > 0


def test_the_move_says_where_the_step_goes_and_what_that_saves() -> None:
    named = 0
    for seed in range(30):
        library = read(any_tree(Random(900 + seed), (4, 5), "side by side"))
        tree, plan = library.trees["alpha"], library.plan("alpha")
        study = order_study(tree, library.table)
        best = study.now.minutes
        for run in runs_of(tree, plan):
            names = [plan.ids[step] for step in run.steps]
            for job, place in itertools.permutations(range(len(names)), 2):
                rest = [other for other in range(len(names)) if other != job]
                order = [*rest[:place], job, *rest[place:]]
                if run.allows(order):
                    changed = reordered(tree, names, [names[n] for n in order])
                    new = plan_of(changed, library.table)
                    best = min(best, expected_minutes(new, library.table))
        if study.move is None:
            assert best == pytest.approx(study.now.minutes, rel=0, abs=1e-8)
            continue
        move = study.move
        assert move.evaluation.minutes == pytest.approx(best, rel=0, abs=1e-9)
        (steps,) = [run.steps for run in study.runs if move.step in run.steps]
        rest = [step for step in steps if step != move.step]
        place = 0 if move.after is None else rest.index(move.after) + 1
        again = reordered(tree, steps, [*rest[:place], move.step, *rest[place:]])
        assert expected_minutes(plan_of(again, library.table), library.table) == pytest.approx(
            best, rel=0, abs=1e-9
        )
        named += 1
    assert named > 15


def test_a_connector_that_is_hard_to_reach_changes_the_best_order() -> None:
    """The card's caution minutes count: common practice puts what needs no lockout first then."""
    steps = {
        "under": {"ask": "What is it?", "cautions": ["lock"], "passes": "It is good"},
        "beside": {"ask": "What is it?", "minutes": 4, "passes": "It is good"},
    }
    steps["under"]["answers"] = {"It is bad": "f1", "It is good": "beside"}
    steps["beside"]["answers"] = {"It is bad": "f2", "It is good": "f3"}
    for name, chance in (("f1", 60), ("f2", 30), ("f3", 10)):
        steps[name] = {"finding": name, "chance": chance, "who": "operator", "remedy": name}
    tree = {"format": 1, "symptom": "alpha", "title": "t", "start": "under", "steps": steps}
    library = read(
        Written(trees={"alpha": text_of(tree)}, cautions=cautions_text(YARDS["lockout alone"]))
    )
    best = {}
    for minutes in (1.0, 20.0):
        cautions = caution_table(library.library.cautions, {"lock": minutes})
        best[minutes] = order_study(library.trees["alpha"], cautions).runs[0].best
    # under first: 1 · (1 + m) + 0.4 · 4; beside first: 1 · 4 + 0.7 · (1 + m); even at m = 7.
    assert best == {1.0: ("under", "beside"), 20.0: ("beside", "under")}


def test_a_lockout_while_the_machine_is_dead_already_is_no_second_one() -> None:
    library = read(Written(trees={}, cautions=cautions_text(YARDS["side by side"])))
    cautions = library.table
    lock, held, key = (cautions.closed(1 << cautions.number[n]) for n in ("lock", "held", "key"))
    assert locks_out(cautions, lock, key)
    assert not locks_out(cautions, held, lock)
    assert not locks_out(cautions, key, 0)
    assert locks_out(cautions, held | lock, 0)


def test_the_built_in_trees_are_studied_exactly() -> None:
    library = load(built_in())
    cautions = caution_table(library.cautions)
    assert library.trees
    for symptom, tree in library.trees.items():
        study = order_study(tree, cautions)
        assert study.best.minutes <= study.now.minutes + 1e-9, symptom
        assert all(run.exact for run in study.runs), symptom
        assert order_study(tree, cautions, cap=1).cap_kept, symptom


def test_a_cap_that_nothing_comes_near_changes_nothing() -> None:
    """Where no step needs a caution, the classical rule is proved best with a cap as without."""
    steps = "".join(
        f"  s{n}: {{ask: a, minutes: {n}, passes: fine, answers: {{bad: f{n}, fine: {to}}}}}\n"
        f"  f{n}: {{finding: f, chance: {chance}, who: operator, remedy: r}}\n"
        for n, to, chance in ((1, "s2", 5), (2, "s3", 40), (3, "rest", 30))
    )
    rest = "  rest: {finding: f, chance: 25, who: operator, remedy: r}\n"
    text = f"format: 1\nsymptom: alpha\ntitle: t\nstart: s1\nsteps:\n{steps}{rest}"
    library = read(Written(trees={"alpha": text}))
    for cap in (None, 1):
        (run,) = order_study(library.trees["alpha"], library.table, cap=cap).runs
        # 40 / 2, 30 / 3 and 5 / 1 in a hundred for each minute.
        assert (run.best, run.gap) == (("s2", "s3", "s1"), 0)
        assert run.best_minutes == pytest.approx(0.4 * 2 + 0.3 * 5 + 0.05 * 6 + 0.25 * 6)
