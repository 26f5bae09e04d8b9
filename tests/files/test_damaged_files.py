"""500 damaged files of the built-in library: each is read, or refused by its places.

`tests/benchmarks/damaged_files.py` tries 100,000.
"""

from __future__ import annotations

import shutil
import time
from typing import TYPE_CHECKING

import pytest
from strategies.damage import LIBRARY, damaged
from strategies.reread import Reread, unclear
from strategies.sampling import some

if TYPE_CHECKING:
    from pathlib import Path

SEEDS = range(500)
#: Seconds of the processor that any file may take.
LONGEST = 5.0


@pytest.fixture(scope="module")
def reread(tmp_path_factory: pytest.TempPathFactory) -> Reread:
    folder = tmp_path_factory.mktemp("damaged") / "library"
    shutil.copytree(LIBRARY, folder)
    return Reread(folder)


@pytest.mark.many_cases
@pytest.mark.parametrize("tens", some(range(0, len(SEEDS), 50)))
def test_a_damaged_file_is_read_or_refused_by_its_places(tens: int, reread: Reread) -> None:
    for seed in SEEDS[tens : tens + 50]:
        parts, raw = damaged(seed)
        began = time.process_time()
        problems = reread.problems(parts, raw)
        assert time.process_time() - began < LONGEST, seed
        name = reread.whole.file(*parts)
        wrong = [unclear(problem, raw) for problem in problems if problem.file == name]
        assert not any(wrong), (seed, wrong)


def test_most_damage_is_found(reread: Reread) -> None:
    """The harness would show nothing if what it damages were read as before."""
    found = [bool(reread.problems(*damaged(seed))) for seed in SEEDS[:60]]
    assert sum(found) > 30


def test_a_library_that_is_whole_has_no_problem(reread: Reread, tmp_path: Path) -> None:
    for parts in (("streaking.yaml",), ("cautions.yaml",), ("rounds", "weekly.yaml")):
        raw = LIBRARY.joinpath(*parts).read_bytes()
        assert reread.problems(parts, raw) == []
