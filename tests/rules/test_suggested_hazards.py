"""Words that suggest a hazard: a step that forgets one is told, and one that does not is left alone."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import pytest
from msgspec.structs import replace

from diagnose.files.cautions import Cautions, Hazard
from diagnose.files.library import built_in, load
from diagnose.files.tree import Finding
from diagnose.rules.check import check
from diagnose.rules.safety import suggested_hazard
from diagnose.rules.view import RoundView, TreeView
from diagnose.study.in_force import CautionTable, caution_table

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from diagnose.files.library import Library

CAUTIONS = """\
format: 3
hazards:
  moving-parts: {title: Parts can start to move, words: [Brush off, tank-lid, "hood, stay"]}
  wet-floor: {title: The floor is wet, words: [puddle]}
  mains: {title: Mains, service_only: true, words: [charger cord]}
cautions:
  lockout:
    title: Machine dead
    signal: WARNING
    covers: [moving-parts]
    lapses: when energised
    text: Make the machine dead.
    confirm: [The connector is apart.]
    release: [My own tag is off.]
  barrier:
    title: Floor closed off
    signal: CAUTION
    covers: [wet-floor]
    lapses: never
    text: Put the signs up.
    confirm: [The signs are up.]
"""
TREE = """\
format: 3
symptom: sample
title: It does not work
start: first
steps:
  first:
    ask: What do you see?
    answers: {It is torn: torn, It is cut: cut}
  torn: {finding: The brush is off, chance: 30, who: operator, remedy: Mend it.}
  cut: {finding: It is cut, chance: 20, who: service, leave_safe: Take the brush off.,
    ask_service: Take the brush off., hazards: [mains], until_mended: out of use}
"""
ROUND = "format: 3\nround: daily\ntitle: D\nevery: day\nitems:\n  look:\n    do: Look.\n"


def found(folder: Path, tree: str, round_: str = ROUND) -> list[tuple[str, int, int, str]]:
    (folder / "rounds").mkdir(exist_ok=True)
    for name, text in (
        *(("cautions.yaml", CAUTIONS), ("sample.yaml", tree)),
        ("rounds/daily.yaml", round_),
    ):
        (folder / name).write_text(text)
    return [(p.code, p.line, p.column, p.severity) for p in check(load(folder))]


@pytest.mark.parametrize(
    ("old", "new", "at"),
    [
        ("    ask: What", "    do: Take the brush off.\n    ask: What", "Take"),
        ("    ask: What", "    do: >-\n      Look. Take one\n      BRUSH or pad off.\n    ask: What", ">-"),
        ("What do you see?", "Is the brush still off?", "Is the"),
        ("Mend it.", "Take the brush off.", "Take the"),
        ("Mend it.", "'Lift: the hood, then its stay.'", "'Lift"),
        ("Mend it.", "Open the tank-lid.", "Open"),
        ("Mend it.", "See that the charger-lamp is on the charger's cord or a charger cord.", "See"),
        # What is named, called all the same, not here, or service's.
        ("Mend it.", "Take the brush off., hazards: [moving-parts]", None),
        ("Mend it.", "Take the brush off., cautions: [lockout]", None),
        ("Mend it.", "Take the brush off., not_here: [moving-parts]", None),
        ("    ask: What", "    do: Take the brush off.\n    by: service\n    ask: What", None),
        # The machine runs, which would end the caution; one that holds is called then too.
        ("    ask: What", "    energises: true\n    do: Take the brush off.\n    ask: What", None),
        ("    ask: What", "    energises: true\n    do: Look for a puddle.\n    ask: What", "Look for"),
        # Other words, another order, two sentences, and what is forbidden or only looked at.
        ("Mend it.", "Brushes come off.", None),
        ("Mend it.", "Switch it off. Look at the brush.", None),
        ("Mend it.", "Look at the brush. Switch it off.", None),
        ("Mend it.", "Never take the brush off.", None),
        ("Mend it.", "Do not take the brush off.", None),
        ("Mend it.", "Open the tank lid.", None),
        ("    ask: What", "    look_for: The brush is off.\n    ask: What", None),
    ],
)  # fmt: skip
def test_a_step_whose_words_suggest_a_hazard_names_it(
    tmp_path: Path, old: str, new: str, at: str | None
) -> None:
    tree = TREE.replace(old, new, 1)
    assert tree != TREE
    where = tree.find(at or "nowhere")
    place = (tree.count("\n", 0, where) + 1, where - tree.rfind("\n", 0, where))
    wanted = [("suggested-hazard", *place, "warning")] if at else []
    assert found(tmp_path, tree) == wanted


def test_an_item_whose_words_suggest_a_hazard_names_it(tmp_path: Path) -> None:
    round_ = ROUND.replace("Look.", "Take the brush off.")
    assert found(tmp_path, TREE, round_) == [("suggested-hazard", 7, 9, "warning")]
    assert found(tmp_path, TREE, f"{round_}    not_here: [moving-parts]\n") == []


def test_it_is_said_once_a_step_with_the_words_and_both_ways_out(tmp_path: Path) -> None:
    tree = TREE.replace("Mend it.", "Take the brush off. Put the brush off.")
    found(tmp_path, tree)
    (problem,) = check(load(tmp_path))
    assert problem.message == (
        '"Brush off" suggests the hazard "moving-parts": name it in `hazards`, or write '
        "`not_here: [moving-parts]`."
    )


def test_a_hazard_that_is_not_here_is_one_that_is_known(tmp_path: Path) -> None:
    tree = TREE.replace("Mend it.", "Mend it., not_here: [moving-prts]")
    line = tree[: tree.index("moving-prts")].count("\n") + 1
    assert [(code, at) for code, at, *_ in found(tmp_path, tree)] == [("unknown-hazard", line)]


def test_without_cautions_that_can_be_read_nothing_is_suggested(tmp_path: Path) -> None:
    found(tmp_path, TREE.replace("Mend it.", "Take the brush off."))
    (tmp_path / "cautions.yaml").write_text(CAUTIONS.replace("covers: [wet-floor]", "covers: []"))
    assert {problem.code for problem in check(load(tmp_path))} == {"uncovered"}


@pytest.mark.parametrize(
    ("words", "text", "suggests"),
    [
        ("vent caps", "Open the VENT caps.", True),
        ("vent caps", "Open the vents' caps.", False),
        ("vent caps", "Look at the vent; its caps are on.", False),
        ("vent caps", "Open the vent and the two white caps.", True),
        ("blade's end", "Hold it to the blade's left end.", True),
        ("off off", "Take it off.", False),
        ("off off", "Switch it off and on and off.", True),
        ("ÖL", "Wisch das öl auf.", True),
        ("oil", "It boils.", False),
        (". !", "Take it off.", False),
        ("never", "Never mind.", False),
    ],
)
def test_the_words_of_an_entry_stand_in_order_in_one_sentence(
    words: str, text: str, suggests: bool
) -> None:
    known = Cautions(hazards={"h": Hazard(title="H", words=(words,))}, cautions={})
    assert [hazard for hazard, _ in known.suggested(text)] == ["h"] * suggests


# The built-in library.


@cache
def library() -> Library:
    return load(built_in())


@cache
def table() -> CautionTable:
    return caution_table(library().cautions)


def views() -> Iterator[TreeView | RoundView]:
    """The trees and rounds of the built-in library, as the rule sees them."""
    for tree in library().trees.values():
        yield TreeView(
            library=library(), parts=(f"{tree.symptom}.yaml",), table=table(), tasks=tree.steps,
            tree=tree, unread=frozenset(),
        )  # fmt: skip
    for one in library().rounds.values():
        parts = ("rounds", f"{one.round}.yaml")
        yield RoundView(library=library(), parts=parts, table=table(), tasks=one.items, round=one)


def missed(view: Any, name: str) -> bool:
    """Whether the rule misses the hazards of a step once they are taken away."""
    task = replace(view.tasks[name], hazards=())
    # This step alone, which is all that the rule looks at for it.
    return not list(suggested_hazard(replace(view, tasks={name: task})))


def test_of_the_hazards_that_are_taken_from_a_step_four_fifths_are_seen() -> None:
    """Each list of the built-in library that calls a caution, one after the other: 324 of 352.

    That was in November 2026; a tree that is added later may bring it down to four fifths. Those of a finding for service call none: they say in the handover what makes it service's.
    """
    lists = [
        (view, name)
        for view in views()
        for name, task in view.tasks.items()
        if task.hazards and not (isinstance(task, Finding) and task.who == "service")
    ]
    seen = sum(not missed(view, name) for view, name in lists)
    assert len(lists) >= 352
    assert seen >= 0.8 * len(lists), f"{seen} of {len(lists)}"


def test_no_step_of_the_built_in_library_needs_to_say_that_a_hazard_is_not_here() -> None:
    said = {name for view in views() for name, task in view.tasks.items() if task.not_here}
    assert said == set()
    assert [one for view in views() for one in suggested_hazard(view)] == []
