"""Steps that change places in their file: comments go along, and nothing else is said."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from diagnose.files.arranged import arrangement
from diagnose.files.library import built_in, load
from diagnose.files.reading import content_hash, read_tree
from diagnose.files.spans import NoSpan
from diagnose.rules.check import check
from diagnose.study.graph import walking_order

if TYPE_CHECKING:
    from diagnose.files.tree import Tree

TEXTS = {name: (built_in() / f"{name}.yaml").read_text("utf-8") for name in load(built_in()).trees}


def tree_of(text: str) -> Tree:
    tree, problems = read_tree(text, "x.yaml")
    assert tree is not None, problems
    return tree


@given(st.sampled_from(sorted(TEXTS)), st.integers(0, 2**32))
def test_only_the_order_of_the_steps_changes(symptom: str, seed: int) -> None:
    text = TEXTS[symptom]
    tree = tree_of(text)
    pieces = arrangement(text, "x.yaml", ("steps",))
    assert pieces.text([*tree.steps]) == text
    order = Random(seed).sample([*tree.steps], len(tree.steps))
    changed = pieces.text(order)
    meant = replace(tree, steps={name: tree.steps[name] for name in order})
    assert content_hash(tree_of(changed)) == content_hash(meant)
    assert sorted(changed.splitlines()) == sorted(text.splitlines())
    # Each step has the lines about it that it had.
    assert arrangement(changed, "x.yaml", ("steps",)).entries == pieces.entries


@pytest.mark.parametrize("symptom", sorted(TEXTS))
def test_the_checker_finds_the_same_at_other_places(
    symptom: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    def problems(text: str) -> list[tuple[str, str]]:
        folder = tmp_path_factory.mktemp("library")
        (folder / f"{symptom}.yaml").write_text(text, "utf-8")
        (folder / "cautions.yaml").write_text(
            (built_in() / "cautions.yaml").read_text("utf-8"), "utf-8"
        )
        return sorted((one.code, one.severity) for one in check(load(folder)))

    tree = tree_of(TEXTS[symptom])
    order = Random(symptom).sample([*tree.steps], len(tree.steps))
    # A tree alone has doorways to symptoms that are not there: problems enough.
    assert problems(arrangement(TEXTS[symptom], "x", ("steps",)).text(order)) == problems(
        TEXTS[symptom]
    )


@given(st.sampled_from(sorted(TEXTS)), st.integers(0, 2**32))
def test_walking_order_comes_before_all_that_a_step_leads_to(symptom: str, seed: int) -> None:
    tree = tree_of(TEXTS[symptom])
    order = Random(seed).sample([*tree.steps], len(tree.steps))
    shuffled = replace(tree, steps={name: tree.steps[name] for name in order})
    walked = walking_order(shuffled)
    place = {name: number for number, name in enumerate(walked)}
    assert sorted(walked) == sorted(order)
    for name, step in tree.steps.items():
        assert all(place[way.to] > place[name] for way in getattr(step, "exits", ()))
    again = replace(tree, steps={name: tree.steps[name] for name in walked})
    assert walking_order(again) == walked


COMMENTED = """\
top: 1
steps:

  # about one
  one: a   # beside one
    # below one

  # about two

  two: >
    # no comment
    b
  # about three
  three: c
  # about nothing
# at the end
last: 2"""


def test_comments_go_with_their_step() -> None:
    pieces = arrangement(COMMENTED, "x.yaml", ("steps",))
    assert pieces.entries == {
        "one": "  # about one\n  one: a   # beside one\n    # below one\n",
        "two": "  # about two\n\n  two: >\n    # no comment\n    b\n",
        "three": "  # about three\n  three: c\n",
    }
    assert pieces.between == ("\n", "")
    assert pieces.behind == "  # about nothing\n# at the end\nlast: 2"
    assert pieces.text(["one", "two", "three"]) == COMMENTED


def test_a_file_without_an_end_of_its_last_line() -> None:
    pieces = arrangement("steps:\n  one: a\n  two: b", "x.yaml", ("steps",))
    assert pieces.text(["two", "one"]) == "steps:\n  two: b\n  one: a\n"


@pytest.mark.parametrize("text", ["steps: {one: a, two: b}", "other: 1", "steps: [a]"])
def test_what_has_no_lines_of_its_own_is_refused(text: str) -> None:
    with pytest.raises(NoSpan, match="lines of their own"):
        arrangement(text, "x.yaml", ("steps",))
