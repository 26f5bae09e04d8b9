"""The reader: what a file may hold, every refusal at its place, and nothing that crashes it."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from diagnose.files.cautions import Caution
from diagnose.files.compose import CONTROL, UNSEEN
from diagnose.files.definitions import CARD, CARD_LINES, CAUTIONS, FILES, ROUND, TREE
from diagnose.files.kinds import Record
from diagnose.files.library import NoLibrary, load
from diagnose.files.places import Places
from diagnose.files.problems import LONGEST_MESSAGE, refused
from diagnose.files.reading import content_hash, read_text
from diagnose.files.refusals import wrong_shape
from diagnose.files.rounds import Item
from diagnose.files.tree import Check, Finding, Reading

if TYPE_CHECKING:
    from pathlib import Path

GOOD = """\
format: 1
symptom: sample
title: It does not work
start: first
steps:
  first:
    ask: What do you see?
    minutes: 2
    slip: 0.03
    answers:
      It is broken: broken
      Yes: other
  other:
    read: value
    bands:
      - {below: 50, call: half empty, go: broken}
      - {otherwise: charged enough, go: broken}
  broken:
    finding: It is broken.
    chance: 30
    who: operator
    remedy: Mend it.
"""


def problems_of(text: str) -> list[tuple[str, int, int]]:
    _, problems = read_text(TREE, text, "sample.yaml")
    return [(p.code, p.line, p.column) for p in problems]


def test_a_good_file_is_read_into_frozen_types_with_places() -> None:
    tree, problems = read_text(TREE, GOOD, "sample.yaml")
    assert problems == []
    first, other, broken = tree.steps.values()
    assert isinstance(first, Check)
    assert (first.minutes, first.slip, first.by, first.energises) == (2.0, 0.03, "operator", False)
    assert [(way.answer, way.to) for way in first.exits] == [
        ("It is broken", "broken"),
        ("Yes", "other"),
    ]
    assert first.arrow_at(1) == ("answers", "Yes")
    assert Places(GOOD).at(("steps", "first", *first.arrow_at(1))) == (12, 12)
    assert Places(GOOD).at(("steps", "first", *first.answer_at(1))) == (12, 7)
    assert type(first.exits[1].to) is str
    assert isinstance(other, Reading)
    assert [other.band(value).answer for value in (49.999, 50, 51)] == [
        "half empty",
        "charged enough",
        "charged enough",
    ]
    assert isinstance(broken, Finding)
    assert (broken.chance, broken.minutes, broken.parts) == (30.0, 5.0, ())


# Old text, new text, problems as (code, line, column), both from 1.
REFUSALS = [
    ("title: It", "titel: It", [("unknown-key", 3, 1)]),
    ("title: It does not work\n", "", [("missing-key", 1, 1)]),
    ("title: It does not work", "title: []", [("wrong-shape", 3, 8)]),
    ("  broken:\n", "  spare: word\n  broken:\n", [("wrong-shape", 18, 10)]),
    ("{below: 50, call: half empty, go: broken}", "word", [("wrong-shape", 16, 9)]),
    (
        "    answers:\n",
        "    answers: word\n    tool:\n",
        [("wrong-shape", 10, 14), ("wrong-shape", 12, 7)],
    ),
    ("chance: 30", "chance: 30\n    ? [a, b]\n    : c", [("unknown-key", 21, 7)]),
    ("title: It does not work", "title:", [("empty-value", 3, 7)]),
    ("title: It does not work", 'title: "a\\e[31m"', [("control-character", 3, 8)]),
    ("title: It does not work", 'title: "a\\tb"', [("control-character", 3, 8)]),
    ("title: It does not work", 'title: "a\\u202eb"', [("control-character", 3, 8)]),
    ("title: It does not work", "title: a\x1bb", [("control-character", 3, 9)]),
    ("title: It does not work", "title: a\rb", [("control-character", 3, 9)]),
    ("title: It does not work", 'title: "a\\rb"', [("control-character", 3, 8)]),
    ("title: It does not work", 'title: "a\\nb"', [("line-end", 3, 8)]),
    ("title: It does not work", "title: |\n  It\n  is", [("line-end", 3, 8)]),
    ("ask: What do you see?", 'ask: "a\\n\\nb"', [("line-end", 7, 10)]),
    ("      Yes: other", '      "Yes\\nno": other', [("line-end", 12, 7)]),
    ("call: half empty", 'call: "half\\nempty"', [("line-end", 16, 27)]),
    ("      Yes: other", '      "Y\\u200bes": other', [("control-character", 12, 7)]),
    ("      Yes: other", "      Y\u2060es: other", [("control-character", 12, 7)]),
    ("title: It does not work", 'title: "soft\\u00adware"', [("control-character", 3, 8)]),
    ("title: It does not work", 'title: "tag\\U000E0041"', [("control-character", 3, 8)]),
    ("title: It does not work", "title: &t It", [("anchor", 3, 8)]),
    ("title: It does not work", "title: *t", [("anchor", 3, 8)]),
    ("title: It does not work", "title: !!str It", [("anchor", 3, 8)]),
    ("title: It does not work", "title: 'unclosed", [("yaml", 3, 8)]),
    ("title: It does not work", "title: a: b", [("yaml", 3, 9)]),
    ("title: It does not work", "title: It\ntitle: It", [("repeated-key", 4, 1)]),
    ("start: first", f"start: {'a' * 101}", [("not-an-id", 4, 8)]),
    ("start: first", "start: First Step", [("not-an-id", 4, 8)]),
    ("  first:\n", "  1st:\n", [("not-an-id", 6, 3)]),
    ("minutes: 2", "minutes: two", [("not-a-number", 8, 14)]),
    ("minutes: 2", "minutes: 0", [("out-of-range", 8, 14)]),
    ("minutes: 2", "minutes: .inf", [("not-a-number", 8, 14)]),
    ("minutes: 2", "minutes: 1e999", [("out-of-range", 8, 14)]),
    ("minutes: 2", "minutes: 2 min", [("not-a-number", 8, 14)]),
    ("minutes: 2", "energises: yes", [("unknown-word", 8, 16)]),
    ("minutes: 2", "by: operater", [("unknown-word", 8, 9)]),
    ("minutes: 2", "hazards: startup", [("wrong-shape", 8, 14)]),
    ("slip: 0.03", "slip: 0.5", [("out-of-range", 9, 11)]),
    ("slip: 0.03", "slip: -0.01", [("out-of-range", 9, 11)]),
    ("      Yes: other\n", "", [("too-few", 11, 7)]),
    ("      - {below: 50, call: half empty, go: broken}\n", "", [("too-few", 16, 7)]),
    ("      Yes: other\n", "      It is broken: other\n", [("repeated-key", 12, 7)]),
    ("    ask: What", "    aks: What", [("no-such-step", 7, 5)]),
    ("    ask: What", "    read: value\n    ask: What", [("no-such-step", 7, 5)]),
    ("{below: 50, ", "{blow: 50, ", [("no-such-step", 16, 10)]),
    ("{below: 50, ", "{below: 50, cal: x, ", [("unknown-key", 16, 21)]),
    ("chance: 30", "chance: 0", [("out-of-range", 20, 13)]),
    ("who: operator", "who: me", [("unknown-word", 21, 10)]),
    ("format: 1", "format: 4", [("newer-format", 1, 9)]),
    ("format: 1", "format: 99999999999999999999", [("newer-format", 1, 9)]),
    ("format: 1", "format: 0", [("out-of-range", 1, 9)]),
    ("format: 1\n", "", [("missing-key", 1, 1)]),
    ("  first:\n", "\tfirst:\n", [("yaml", 6, 1)]),
    ("steps:\n", "steps: []\nstepz:\n", [("wrong-shape", 5, 8), ("unknown-key", 6, 1)]),
]


@pytest.mark.parametrize(("old", "new", "wanted"), REFUSALS)
def test_each_refusal_stands_at_its_place(
    old: str, new: str, wanted: list[tuple[str, int, int]]
) -> None:
    text = GOOD.replace(old, new, 1)
    assert text != GOOD
    assert problems_of(text) == wanted


def test_a_file_saved_with_the_other_line_ends_says_the_same() -> None:
    tree, problems = read_text(TREE, GOOD, "sample.yaml")
    again, more = read_text(TREE, GOOD.replace("\n", "\r\n"), "sample.yaml")
    assert (problems, more) == ([], [])
    assert again == tree
    broken = GOOD.replace("minutes: 2", "minutes: two").replace("\n", "\r\n")
    assert problems_of(broken) == [("not-a-number", 8, 14)]


def test_all_problems_of_a_file_are_found_at_once() -> None:
    text = GOOD.replace("minutes: 2", "minutes: x").replace("chance: 30", "chance: x")
    assert [code for code, _, _ in problems_of(text)] == ["not-a-number", "not-a-number"]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("titel", "title"), ("symtom", "symptom"), ("strat", "start"), ("step", "steps")],
)
def test_did_you_mean_names_the_key(typed: str, meant: str) -> None:
    _, problems = read_text(TREE, f"format: 1\n{typed}: x\n", "sample.yaml")
    assert f'Did you mean "{meant}"?' in problems[0].message


@pytest.mark.parametrize(
    "word", ["yes", "no", "on", "off", "True", "null", "~", "012", "0o14", "12:30", "1_000", "1e3"]
)
def test_words_stay_words(word: str) -> None:
    """YAML 1.1 and 1.2 read these differently (yaml.org, YAML 1.2.2 section 10.3, R); we read
    none of them as anything but what was typed."""
    tree, problems = read_text(TREE, GOOD.replace("It does not work", word), "sample.yaml")
    assert problems == []
    assert tree.title == word


def test_longer_texts_may_run_over_several_lines() -> None:
    text = GOOD.replace("remedy: Mend it.", "remedy: |\n      Mend it.\n      Try it.")
    text = text.replace("title: It does not work", "title: |\n  It does not work")
    tree, problems = read_text(TREE, text, "sample.yaml")
    assert problems == []
    assert tree.steps["broken"].remedy == "Mend it.\nTry it."
    assert tree.title == "It does not work"


def test_no_one_can_see_what_unicode_shows_by_default_to_nobody() -> None:
    """Every format character is refused, but those that are seen: signs before Arabic, Syriac and
    Kaithi numbers (unicodedata of Python; Unicode, PropList: Prepended_Concatenation_Mark, M)."""
    seen = {*range(0x600, 0x606), 0x6DD, 0x70F, 0x890, 0x891, 0x8E2, 0x110BD, 0x110CD}
    # Signs that join hieroglyphs, which no font shows as they are.
    seen |= set(range(0x13430, 0x13440))
    marks = {n for n in range(0x110000) if unicodedata.category(chr(n)) == "Cf"} - seen
    assert len(marks) > 130
    hidden = re.compile(f"{UNSEEN.pattern}|{CONTROL.pattern}")
    assert {n for n in marks if not hidden.match(chr(n))} == set()
    words = "Öl, 3 °C, ½, µm, naïve, Ωmega, тест, 泡, ⚠\ufe0f, a\u0301"
    tree, problems = read_text(TREE, GOOD.replace("It does not work", words), "sample.yaml")
    assert (problems, tree.title) == ([], words)


def test_a_message_is_one_line_however_much_was_typed() -> None:
    text = GOOD.replace("by: operator", "").replace(
        "minutes: 2", f"hazards: [x]\n    by: {'y' * 9000}"
    )
    _, problems = read_text(TREE, text, "sample.yaml")
    assert problems
    assert all(len(one.message) <= LONGEST_MESSAGE for one in problems)
    assert len(refused("f", wrong_shape("x" * 9000), 1, 1).message) == LONGEST_MESSAGE


BAD_FILES = {
    "binary junk": (bytes(range(256)) * 10, "not-text"),
    "nul bytes": (b"\x00" * 100, "control-character"),
    "empty": (b"", "empty"),
    "only a comment": (b"# nothing\n", "empty"),
    "a list": (b"- a\n- b\n", "wrong-shape"),
    "a word": (b"hello\n", "wrong-shape"),
    "deep flow": (b"[" * 10_000 + b"]" * 10_000, "yaml"),
    "deep block": (b"- " * 10_000 + b"x\n", "yaml"),
    "deep mapping": (b"".join(b" " * n + b"a:\n" for n in range(2_000)), "yaml"),
    "endless line": (b"format: 1" + b"x" * 1_000_000, "not-a-number"),
    "latin-1": ("title: Öl".encode("latin-1"), "not-text"),
    "utf-16": ("format: 1\n".encode("utf-16"), "not-text"),
    "two documents": (b"format: 1\n---\nformat: 1\n", "yaml"),
    "too large": (b"#" + b"x" * (8 * 1024 * 1024), "too-large"),
    "just not too large": (b"#" + b"x" * (8 * 1024 * 1024 - 1), "empty"),
    "alias bomb": (b"a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n", "anchor"),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_bad_file_gets_one_problem_and_the_others_work(tmp_path: Path, name: str) -> None:
    content, code = BAD_FILES[name]
    (tmp_path / "bad.yaml").write_bytes(content)
    (tmp_path / "sample.yaml").write_text(GOOD, encoding="utf-8")
    library = load(tmp_path)
    assert set(library.trees) == {"sample"}
    assert library.symptoms == ("bad", "sample")
    assert library.problems[0].code == code
    assert library.problems[0].file == str(tmp_path / "bad.yaml")
    assert min(library.problems[0].line, library.problems[0].column) >= 1
    assert "\n" not in str(library.problems[0])


@pytest.mark.parametrize(
    ("content", "line", "column"),
    [
        (b"\xff", 1, 1),
        (b"format: 1\ntitle: \xd6l\n", 2, 8),
        # Columns count letters, and a letter may be two bytes.
        ("format: 1\n\ntitle: Öl ".encode() + b"\xd6l\n", 3, 11),
        # Some editors put a byte order mark first, which nobody sees.
        ("\ufeffformat: 1\n\ntitle: Öl ".encode() + b"\xd6l\n", 3, 11),
        ("\ufeffÖ".encode() + b"\xd6l\n", 1, 2),
    ],
)
def test_what_is_no_text_is_named_at_its_place(
    tmp_path: Path, content: bytes, line: int, column: int
) -> None:
    (tmp_path / "bad.yaml").write_bytes(content)
    assert [(p.line, p.column) for p in load(tmp_path).problems] == [(line, column)]


def test_what_no_plain_words_are_known_for_is_said_in_those_of_the_library() -> None:
    _, problems = read_text(TREE, "%UNHEARD\n---\na: b\n", "sample.yaml")
    assert re.fullmatch(r"This is not YAML \([a-z][^)]+\)\.", problems[0].message)


def test_the_head_of_a_card_is_none_of_the_lines_that_a_step_may_ask_for() -> None:
    assert not CARD_LINES & {"format", "machine", "title", "kind"}
    assert {"path_width", "battery.kind"} < CARD_LINES


def test_what_is_said_of_no_file_stands_at_its_beginning(tmp_path: Path) -> None:
    library = load(tmp_path)
    assert library.place("nowhere.yaml", ("steps", "first")) == (1, 1)


def test_a_hundred_megabytes_are_refused_without_being_read(tmp_path: Path) -> None:
    with (tmp_path / "big.yaml").open("wb") as stream:
        stream.truncate(100 * 1024 * 1024)
    assert [p.code for p in load(tmp_path).problems] == ["too-large"]


def test_a_file_that_is_a_folder_is_named(tmp_path: Path) -> None:
    (tmp_path / "odd.yaml").mkdir()
    assert [p.code for p in load(tmp_path).problems] == ["unreadable"]


def test_a_folder_that_is_not_there_is_no_library(tmp_path: Path) -> None:
    with pytest.raises(NoLibrary, match="no library there"):
        load(tmp_path / "nowhere")


def test_the_symptom_is_the_files_name(tmp_path: Path) -> None:
    (tmp_path / "other.yaml").write_text(GOOD, encoding="utf-8")
    library = load(tmp_path)
    assert library.trees == {}
    assert [(p.code, p.line, p.column) for p in library.problems] == [("not-the-file-name", 2, 10)]


@pytest.mark.parametrize("word", ["danger", "none", "not-cured"])
def test_no_file_is_named_like_a_reply(word: str, tmp_path: Path) -> None:
    (tmp_path / f"{word}.yaml").write_text(GOOD.replace("sample", word), encoding="utf-8")
    (tmp_path / "machines").mkdir()
    card = f"format: 2\nmachine: {word}\ntitle: A machine\n"
    (tmp_path / "machines" / f"{word}.yaml").write_text(card, encoding="utf-8")
    library = load(tmp_path)
    assert library.trees == library.machines == {}
    assert [(p.code, p.line) for p in library.problems] == [("taken-name", 2), ("taken-name", 2)]


@given(st.text(max_size=300))
def test_no_text_crashes_the_reader(text: str) -> None:
    meaning, problems = read_text(TREE, text, "x.yaml")
    assert meaning is None
    assert problems


@given(st.integers(0, len(GOOD) - 1), st.sampled_from(list("{}[]:-#&*!|>'\"%@`\t\n 0x")))
def test_no_single_slip_of_the_finger_crashes_the_reader(at: int, typed: str) -> None:
    text = GOOD[:at] + typed + GOOD[at:]
    meaning, problems = read_text(TREE, text, "x.yaml")
    assert (meaning is None) == bool(problems)
    for problem in problems:
        assert 1 <= problem.line <= text.count("\n") + 1
        assert problem.column >= 1


scalars = st.text(
    st.characters(categories=("L", "N", "P", "S", "Zs"), exclude_characters="\u200e\u200f"),
    min_size=1,
    max_size=30,
).filter(lambda text: text.strip() == text and text)


@given(scalars)
def test_any_printable_text_survives_however_it_is_quoted(text: str) -> None:
    """PyYAML's own emitter is the reference for quoting."""
    for style in ('"', "'"):
        line = yaml.dump({"title": text}, default_style=style, allow_unicode=True, width=10**6)
        source = GOOD.replace("title: It does not work\n", line)
        tree, problems = read_text(TREE, source, "x.yaml")
        assert problems == []
        assert tree.title == text


def test_comments_and_layout_do_not_count_in_the_hash_but_words_and_order_do() -> None:
    def digest(text: str) -> str:
        tree, problems = read_text(TREE, text, "x.yaml")
        assert problems == []
        return content_hash(tree)

    same = "# a comment\n" + GOOD.replace(
        "ask: What do you see?", "ask:   'What do you see?'  # hm"
    )
    swapped = GOOD.replace(
        "      It is broken: broken\n      Yes: other\n",
        "      Yes: other\n      It is broken: broken\n",
    )
    assert digest(same) == digest(GOOD)
    assert digest(GOOD.replace("minutes: 2", "minutes: 2.0")) == digest(GOOD)
    assert digest(swapped) != digest(GOOD)
    assert digest(GOOD.replace("What do you see", "What did you see")) != digest(GOOD)


def test_a_card_keeps_its_quantities_as_written() -> None:
    text = (
        "format: 1\nmachine: dock\ntitle: Dock\npath_width: 75 cm\n"
        "battery: {kind: flooded, cells: 12, capacity: 240 Ah}\n"
        "charger: {lamps: {green: full}}\ncaution_minutes: {lockout: 10}\n"
    )
    card, problems = read_text(CARD, text, "dock.yaml")
    assert problems == []
    assert card.line("battery.capacity") == "240 Ah"
    assert card.line("battery.cells") == "12"
    assert card.line("path_width") == "75 cm"
    assert card.line("battery.nothing") is None
    assert card.line("battery") is None
    assert card.section("charger.lamps") == {"green": "full"}
    assert card.section("charger.codes") == {}
    # A list, and all lists of what holds it.
    assert card.listed("charger.lamps") == card.listed("charger") == {"green": "full"}
    assert card.listed("charger.codes") == {}
    assert card.section("title") == {}


@pytest.mark.parametrize(
    ("line", "column"),
    [
        ("path_width: 75", 13),
        ("path_width: wide", 13),
        ("path_width: 7 5 cm", 13),
        ("path_width: cm 75", 13),
        ("path_width: '75 '", 13),
    ],
)
def test_a_quantity_needs_a_number_and_a_unit(line: str, column: int) -> None:
    text = f"format: 1\nmachine: dock\ntitle: Dock\n{line}\n"
    _, problems = read_text(CARD, text, "dock.yaml")
    assert [(p.code, p.line, p.column) for p in problems] == [("not-a-quantity", 4, column)]


def test_what_a_file_leaves_out_is_what_the_type_has_by_itself() -> None:
    text = GOOD.replace("    minutes: 2\n    slip: 0.03\n", "")
    tree, problems = read_text(TREE, text, "sample.yaml")
    assert problems == []
    first, other, broken = tree.steps.values()
    assert first == Check(exits=first.exits, ask=first.ask)
    assert other == Reading(exits=other.exits, read=other.read, limits=other.limits)
    assert broken == Finding(
        finding="It is broken.", chance=30.0, who="operator", remedy="Mend it."
    )
    known, problems = read_text(
        CAUTIONS,
        "format: 2\nhazards: {wet: {title: W}}\ncautions:\n  barrier: {title: B, signal: CAUTION,"
        " covers: [wet], lapses: never, text: t, confirm: [c]}\n",
        "cautions.yaml",
    )
    assert problems == []
    assert known.cautions["barrier"] == Caution(
        title="B", signal="CAUTION", covers=("wet",), lapses="never", text="t", confirm=("c",)
    )
    round_, problems = read_text(
        ROUND,
        "format: 1\nround: daily\ntitle: D\nevery: day\nitems: {look: {do: Look.}}\n",
        "daily.yaml",
    )
    assert problems == []
    assert round_.items["look"] == Item(do="Look.")


def test_every_key_is_explained() -> None:
    seen: set[str] = set()

    def explained(record: Record) -> None:
        assert record.about.strip(), record.words
        for key in record.keys.values():
            assert key.about.strip(), (record.words, key.name)
            assert key.kind.words, (record.words, key.name)
            if isinstance(key.kind, Record) and key.kind.words not in seen:
                seen.add(key.kind.words)
                explained(key.kind)

    for record in FILES.values():
        explained(record)
    assert CAUTIONS in FILES.values()


def test_more_values_than_a_tree_has_are_refused_before_they_take_memory() -> None:
    for text in ("a: [" + "b," * 400_001 + "]", "\n".join(f"k{n}: v" for n in range(200_001))):
        tree, problems = read_text(TREE, text, "sample.yaml")
        assert tree is None
        assert [(one.code, one.line, one.column) for one in problems] == [("too-many", 1, 1)]
    # As many as there may be are looked at: here they are one long word.
    assert problems_of("a" + "," * 400_000) == [("wrong-shape", 1, 1)]


def test_of_a_file_in_which_all_is_wrong_the_first_problems_are_kept() -> None:
    text = "format: 2\n" + "\n".join(f"key{n}: x" for n in range(5_000))
    tree, problems = read_text(TREE, text, "sample.yaml")
    assert tree is None
    assert len(problems) == 1_000
    assert [(one.code, one.line) for one in problems[:2]] == [
        ("unknown-key", 2),
        ("unknown-key", 3),
    ]
