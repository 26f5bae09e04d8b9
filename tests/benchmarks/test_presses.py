"""The figures of the presses, held loosely: the benchmark prints them."""

from __future__ import annotations

import bench_presses
import pytest
from bench_presses import Presses, keys_to_the_first_question, median, presses, routes, share

from diagnose.case import cautions
from diagnose.case.cautions import CautionState
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.library import built_in


@pytest.fixture(scope="module")
def library() -> ReadyLibrary:
    return ReadyLibrary(built_in(), frozenset())


def test_cautions_take_less_than_half_of_all_presses(library: ReadyLibrary) -> None:
    counted = routes(library)
    everything = [one for found in counted.values() for one in found]
    assert len(everything) > 150
    assert share(everything) < 0.5
    assert median(everything) <= bench_presses.MEDIAN
    # No tree is all cautions, though some of its routes need a lockout.
    assert all(share(found) < 0.7 for found in counted.values())


def test_the_first_question_is_three_keys_away(library: ReadyLibrary) -> None:
    keys = keys_to_the_first_question(library)
    assert set(keys) == set(library.content.symptoms)
    assert max(keys.values()) <= bench_presses.FIRST_QUESTION + 1
    assert sorted(keys.values())[len(keys) // 2] <= bench_presses.FIRST_QUESTION


def test_what_counts_as_a_press(library: ReadyLibrary) -> None:
    table = library.table
    screens = {}
    for name in ("barrier", "lockout"):
        called = (cautions.TAKE, (table.number[name],))
        screens[name] = cautions.caution_screen(table, CautionState(), called, (), {})
    lines = {name: len(screens[name].cautions[0].confirm) for name in screens}
    assert presses(screens["barrier"]) == 1
    assert presses(screens["lockout"]) == lines["lockout"] > 5
    together = (cautions.TAKE, (table.number["barrier"], table.number["gloves"]))
    assert presses(cautions.caution_screen(table, CautionState(), together, (), {})) == 1


def test_share_and_median() -> None:
    counted = [Presses(0, 4), Presses(2, 6), Presses(10, 8)]
    assert share(counted) == pytest.approx(12 / 30)
    assert median(counted) == 2
