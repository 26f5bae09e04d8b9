"""A library that is opened for one symptom reads what is asked for, once, and nothing else."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from diagnose.commands import ready_library
from diagnose.commands.options import WrongUse
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files import library as files
from diagnose.files.library import built_in

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Every file that is read, in turn, by its place in the library."""
    found = []

    def text_of(path: Path, name: str) -> str:
        found.append(path.relative_to(built_in()).as_posix())
        return read(path, name)

    read = files.text_of
    monkeypatch.setattr(files, "text_of", text_of)
    return found


def test_a_case_needs_its_symptom_its_machine_and_the_cautions(asked: list[str]) -> None:
    library = ReadyLibrary(built_in(), frozenset({"streaking"}))
    library.machine("dock")
    library.require("streaking")
    machine = ["machines/dock.yaml", "machines/kinds/hall-scrubber.yaml"]
    assert asked == ["cautions.yaml", "site.yaml", "streaking.yaml", *machine]


def test_another_symptom_is_read_when_a_doorway_leads_there(asked: list[str]) -> None:
    library = ReadyLibrary(built_in(), frozenset({"streaking"}))
    asked.clear()
    for _ in range(2):
        assert library("leak") is not None
    assert asked == ["leak.yaml"]


def test_all_cards_and_rounds_are_there_in_order_whichever_was_read_first(asked: list[str]) -> None:
    library = ReadyLibrary(built_in(), frozenset())
    library.machine("dock")
    library.require_round("weekly")
    whole = ReadyLibrary(built_in())
    asked.clear()
    for _ in range(2):
        assert list(library.machines) == list(whole.machines) == ["aisle", "dock"]
        assert list(library.rounds) == list(whole.rounds)
    assert len(asked) == len(set(asked)) == 4
    assert not {"machines/dock.yaml", "rounds/weekly.yaml"} & set(asked)


def test_a_broken_card_or_round_is_in_nobodys_way_who_does_not_need_it(tmp_path: Path) -> None:
    folder = tmp_path / "lib"
    shutil.copytree(built_in(), folder)
    (folder / "machines" / "aisle.yaml").write_text("format: 1\nmachine: [", encoding="utf-8")
    (folder / "rounds" / "weekly.yaml").unlink()
    library = ReadyLibrary(folder, frozenset({"streaking"}))
    assert library.machine("dock") is not None
    assert list(library.machines) == ["dock"]
    with pytest.raises(ready_library.Unusable, match=r"aisle\.yaml:2:"):
        library.machine("aisle")
    with pytest.raises(WrongUse, match='no round "weekly"'):
        library.require_round("weekly")


@pytest.mark.parametrize("name", ["../cautions", "../streaking", "dock.yaml", "", "."])
def test_a_name_is_no_path(name: str) -> None:
    library = ReadyLibrary(built_in(), frozenset())
    with pytest.raises(WrongUse, match="There is no machine"):
        library.machine(name)
