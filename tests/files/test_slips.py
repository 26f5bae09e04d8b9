"""The slips of a beginner: each is one problem, where it is, with a sentence on what to write."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies.unseen_mistakes import BEFORE, OR, OURS, THEIRS

from diagnose.files import recovery
from diagnose.files.definitions import TREE
from diagnose.files.library import Library, put_in
from diagnose.files.reading import read_text
from diagnose.files.recovery import composed

if TYPE_CHECKING:
    from pathlib import Path

TEXT = """\
format: 2
symptom: sample
title: It does not work
start: first
steps:
  first:
    ask: What do you see?
    minutes: 2
    hazards: [wet, cold]
    answers:
      It is broken: broken
      Yes: other
  other:
    read: value
    bands:
      - {below: 50, call: half empty, go: broken}
      - {otherwise: enough, go: broken}
  broken:
    finding: It is broken.
    chance: 30
    who: operator
    remedy: Mend it.
worked_cases:
  - name: plain
    answers: {first: It is broken}
    finding: broken
"""
ASK = "    ask: What do you see?"

# Old text, new text, with `▸` before the place of the problem, its code, how the message begins.
SLIPS = [
    (ASK, "    ask:▸What do you see?", "yaml", "Write a space after this colon."),
    (ASK, '    ask: ▸"What do you see?', "yaml", "Write the closing quotation mark too"),
    (ASK, "    ask: ▸'What do you see?", "yaml", "Write the closing quotation mark too"),
    (ASK, "    ask: ▸[Look]", "wrong-shape", "Write text in one piece, in quotes where"),
    (ASK, "    ask: ▸{Look}", "wrong-shape", "Write text in one piece, in quotes where"),
    (ASK, "    ask: 'I don▸'t see?'", "yaml", "Write this apostrophe twice ('')"),
    (ASK, "    ask: 'Don▸'t'", "yaml", "Write this apostrophe twice ('')"),
    (ASK, "▸\u00a0   ask: What do you see?", "yaml", "Write plain spaces at the beginning"),
    (ASK, "    ask:▸\u00a0What do you see?", "yaml", "Write a plain space here"),
    (ASK, "    ask: ▸*Does* it work?", "yaml", "Write this text in quotes: * at its beginning"),
    (ASK, "    ask: ▸%Does it work?", "yaml", "Write this text in quotes: % at its beginning"),
    (ASK, "    ask: ▸@Does it work?", "yaml", "Write this text in quotes: @ at its beginning"),
    (ASK, "    ask: ▸`Does` it work?", "yaml", "Write this text in quotes: ` at its beginning"),
    (ASK, "    ask: ▸&Does it work?", "anchor", "Write this text in quotes: & at its beginning"),
    (ASK, "▸\task: What do you see?", "yaml", "Write plain spaces at the beginning"),
    (ASK, "    ask: Look▸: what do you see?", "yaml", "Write this text in quotes: a colon"),
    (ASK, "    ask: Look at this▸:", "yaml", "Write this text in quotes: a colon"),
    (ASK, '    ask: "What▸" do you see?', "yaml", "Write one pair of quotation marks round all"),
    (ASK, '    ask: "What do ▸"you" see?"', "yaml", "Write one pair of quotation marks round"),
    (ASK, '    ask: "What do you see?"▸"', "yaml", "Delete this quotation mark"),
    (ASK, '    ask: What do you see?▸"', "yaml", "Delete this quotation mark"),
    (ASK, "     ▸ask: What do you see?", "yaml", "Write this line 4 spaces in"),
    (ASK, "   ▸ask: What do you see?", "yaml", "Write this line 4 spaces in"),
    (ASK, "▸ask: What do you see?", "yaml", "Write this line 4 spaces in"),
    (ASK, "    ask▸ What do you see?", "yaml", "Write a colon here"),
    ("    minutes: 2", "  ▸minutes: 2", "yaml", "Write this line 4 spaces in"),
    ("    minutes: 2", "▸minutes: 2", "yaml", "Write this line 4 spaces in"),
    ("    minutes: 2", "    minutes▸ 2", "yaml", "Write a colon here"),
    ("[wet, cold]", "▸[wet, cold", "yaml", "Write ] at the end"),
    ("[wet, cold]", "[wet, cold]▸]", "yaml", "Delete this bracket"),
    ("    answers:\n      It", "  ▸answers:\n      It", "unknown-key", "Write this line further to"),
    ("    answers:\n      It", "      ▸answers:\n      It", "yaml", "Write this line 4 spaces in"),
    ("  other:\n", "  ▸first:\n", "repeated-key", "Write another word here, or delete one"),
    ("  other:\n", "   ▸other:\n", "yaml", "Write this line 2 spaces in"),
    ("  other:\n", "    ▸other:\n", "no-such-step", 'Write "other" further to the left'),
    ("  other:\n", "▸other:\n", "yaml", "Write this line 2 spaces in"),
    ("  other:\n", "  other▸\n", "yaml", "Write a colon here"),
    ("      - {otherwise", "      -▸{otherwise", "yaml", "Write a space after this dash."),
    ("{below: 50", "{below:▸50", "yaml", "Write a space after this colon."),
    ("50, call", "50▸ call", "yaml", "Write a comma here, before `call`."),
    ("half empty", "half▸: empty", "yaml", "Write this text in quotes: a colon"),
    ("format: 2", "format:▸2", "yaml", "Write a space after this colon."),
    ("title: It", "title▸ It", "yaml", "Write a colon here"),
    ("start: first\n", f"▸{OURS} a\nstart: first\n{OR}\nstart: x\n{THEIRS} b\n", "yaml", "Write one"),
    (ASK, f"▸{OURS} a\n    ask: Is?\n{BEFORE} c\n    ask: Or?\n{OR}\n{THEIRS} b", "yaml", "Write one"),
]  # fmt: skip


def text_with(old: str, new: str) -> tuple[str, tuple[int, int]]:
    assert TEXT.count(old) == 1
    at = TEXT.index(old) + new.index("▸")
    text = TEXT.replace(old, new.replace("▸", ""))
    return text, (text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))


def test_the_text_is_sound() -> None:
    assert read_text(TREE, TEXT, "sample.yaml")[1] == []


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("old", "new", "code", "message"), SLIPS, ids=[slip[1].strip() for slip in SLIPS]
)
def test_each_slip_is_one_problem_where_it_is(
    old: str, new: str, code: str, message: str, newline: str
) -> None:
    text, place = text_with(old, new)
    meaning, problems = read_text(TREE, text.replace("\n", newline), "sample.yaml")
    assert meaning is None
    assert [(one.line, one.column, one.code) for one in problems] == [(*place, code)]
    assert problems[0].message.startswith(message)


def test_a_doubled_step_names_both_places() -> None:
    (problem,) = read_text(TREE, TEXT.replace("  other:", "  first:"), "sample.yaml")[1]
    assert problem.line == 13
    assert '"first" is in line 6 already' in problem.message


def test_a_measure_in_inches_is_no_stray_quotation_mark() -> None:
    text = TEXT.replace("What do you see?", 'Is it 28" or 30"?').replace("Mend it.", 'Cut 3"')
    assert read_text(TREE, text, "sample.yaml")[1] == []


def test_all_tabs_of_a_file_are_one_problem() -> None:
    text = TEXT.replace("\n    ", "\n\t")
    (problem,) = read_text(TREE, text, "sample.yaml")[1]
    assert (problem.line, problem.column, problem.code) == (7, 1, "yaml")
    assert problem.following == TEXT.count("\n    ") - 1


def test_two_errors_of_syntax_are_both_told_with_all_else_that_is_wrong() -> None:
    text = TEXT.replace("ask: W", "ask:W").replace("Mend it.", "Mend: it.").replace("e: 30", "e: x")
    problems = read_text(TREE, text, "sample.yaml")[1]
    assert sorted((one.line, one.column, one.code) for one in problems) == [
        (7, 9, "yaml"),
        (20, 13, "not-a-number"),
        (22, 17, "yaml"),
    ]


def test_a_step_that_nothing_explains_is_left_out_and_the_rest_is_read(tmp_path: Path) -> None:
    broken = "  other:\n    read: value\n    bands: [}{\n      ?: ]\n"
    end = TEXT.index("  broken:\n")
    text = TEXT[: TEXT.index("  other:")] + broken + TEXT[end:].replace("chance: 30", "chance: x")
    library = Library(tmp_path, symptoms=("sample",))
    put_in(library, text, "sample.yaml")
    assert library.trees == {}
    # What names the step is not told that it is not there.
    assert library.drafts["sample"].unread == {"other", "broken"}
    assert [(one.line, one.code) for one in library.problems] == [
        (15, "yaml"),
        (19, "not-a-number"),
    ]


def test_a_file_in_which_nothing_can_be_told_has_one_problem() -> None:
    for text in ("a: 1\n---\nb: 2\n", "\t", '"', "- a\n- b: [\n", "[" * 5_000, "? [\n"):
        _, problems = read_text(TREE, text, "sample.yaml")
        assert problems, text
        assert all(one.line <= text.count("\n") + 1 for one in problems), text


def test_no_more_is_tried_than_there_may_be(monkeypatch: pytest.MonkeyPatch) -> None:
    text = TEXT.replace("ask: W", "ask:W").replace("Mend it.", "Mend: it.")
    monkeypatch.setattr(recovery, "_MOST_TRIED", 1_000)
    found = composed(text, "sample.yaml")
    assert found.top is None
    assert [one.code for one in found.problems] == ["yaml"]
    monkeypatch.setattr(recovery, "_MOST_TRIED", 100_000)
    assert len(composed(text, "sample.yaml").problems) == 2
    monkeypatch.setattr(recovery, "_MOST_SLIPS", 1)
    assert len(composed(text, "sample.yaml").problems) == 1


@given(st.lists(st.sampled_from(TEXT.splitlines()), max_size=12))
def test_the_rest_is_as_long_as_what_was_typed(lines: list[str]) -> None:
    text = "\n".join(lines)
    for typed in (text, text.replace(": ", ":"), text.replace("    ", "\t"), text + "\n'"):
        found = composed(typed, "sample.yaml")
        assert found.top is not None or found.problems
        if found.top is not None:
            assert found.text.count("\n") == typed.count("\n")
        rows = typed.split("\n")
        for one in found.problems:
            assert 1 <= one.column <= len(rows[one.line - 1]) + 1
