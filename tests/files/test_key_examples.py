"""The examples of the keys: each is read back by its key, and together they make a library."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from jsonschema import Draft202012Validator

from diagnose.files.compose import compose
from diagnose.files.definitions import (
    CARD,
    CAUTION,
    CAUTIONS,
    CHECK,
    CONTACT,
    EXIT,
    FILES,
    FINDING,
    FORMAT,
    HAZARD,
    ITEM,
    MACHINE_KIND,
    MEASUREMENT,
    MEASUREMENTS,
    READING,
    ROUND,
    SITE,
    TREE,
    WORKED_CASE,
)
from diagnose.files.kinds import Either, Key, ListOf, MapOf, Notes, OneOf, Record
from diagnose.files.library import load
from diagnose.files.reference import page
from diagnose.files.schema import schema
from diagnose.rules.check import check

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from diagnose.files.kinds import Kind


def records(kind: Kind) -> Iterator[Record]:
    """Yield a record and all that stand in it."""
    if isinstance(kind, Record):
        yield kind
        for key in kind.keys.values():
            yield from records(key.kind)
    elif isinstance(kind, OneOf):
        for record in kind.records.values():
            yield from records(record)
    elif isinstance(kind, ListOf):
        yield from records(kind.item)
    elif isinstance(kind, MapOf):
        yield from records(kind.value)
    elif isinstance(kind, Either):
        yield from records(kind.mapping)


RECORDS = {record.words: record for file in FILES.values() for record in records(file)}
KEYS = [(record.words, key) for record in RECORDS.values() for key in record.keys.values()]
EXAMPLES = [(words, key) for words, key in KEYS if key.example]
NAMES = [f"{words}: {key.name}" for words, key in EXAMPLES]


def test_a_key_has_an_example_unless_it_holds_whole_records() -> None:
    bare = {key.name for _, key in KEYS if not key.example}
    sections = {key.name for key in CARD.keys.values() if isinstance(key.kind, Record)}
    assert bare == {"steps", "cautions", "measurements"} | sections


@pytest.mark.parametrize(("words", "key"), EXAMPLES, ids=NAMES)
def test_an_example_is_what_its_key_takes_and_says_something(words: str, key: Key) -> None:
    assert "\n" not in key.example
    (_, node), *more = compose(f"{key.name}: {key.example}", "example").value
    notes = Notes("example", FORMAT)
    value = key.kind.read(node, notes)
    assert (notes.problems, more) == ([], [])
    assert value != key.default


def test_an_example_with_another_kind_would_be_noticed() -> None:
    (_, node), *_ = compose("minutes: 2 min", "example").value
    notes = Notes("example", FORMAT)
    CHECK.keys["minutes"].kind.read(node, notes)
    assert [problem.code for problem in notes.problems] == ["not-a-number"]


# A library of the examples


def lines(record: Record, indent: int, without: str = "", **other: str) -> str:
    """Return the examples of a record's keys, a line each, without some; `other` says some anew."""
    text = ""
    for key in record.keys.values():
        if key.name in without.split():
            continue
        above = " " * indent + key.name
        if isinstance(key.kind, Record) and key.name not in other:
            text += f"{above}:\n{lines(key.kind, indent + 2)}"
        elif key.name in other or key.example:
            text += f"{above}: {other.get(key.name, key.example)}\n"
    return text


#: A record of its own, which one finding has on one line.
COUNTED = FINDING.keys["chance_from"].example

#: What may not stand in two trees.
ANEW = {"no-charge": {"title": "It does not charge", "also_called": "[charger dead]"}}


def tree(symptom: str, asked: str) -> str:
    """Return a tree of examples; `asked` are the keys that do not fit its one large check."""
    listed = f"\n  - {lines(WORKED_CASE, 4).strip()}"
    worked_cases = TREE.keys["worked_cases"].example if asked else listed
    return f"""\
{lines(TREE, 0, "steps", symptom=symptom, worked_cases=worked_cases, **ANEW.get(symptom, {}))}\
steps:
  bars-at-start:
    ask: Which bars are lit?
    energises: {CHECK.keys["energises"].example}
    answers: {{Low: charge-short, High enough: later-look}}
  later-look:
{lines(CHECK, 4, f"energises {asked}")}\
  rested-voltage:
{lines(READING, 4, f"energises same_as was {asked}")}\
  charge-short:
{lines(FINDING, 4, "was leave_safe ask_service until_mended continue_with", chance_from=COUNTED)}\
  cell-weak:
{lines(FINDING, 4, "was remedy parts continue_with", who="service")}\
"""


def tree_with_a_doorway() -> str:
    return f"""\
format: {FORMAT}
symptom: low-runtime
title: It stops early
start: first-look
steps:
  first-look:
    ask: What does the charger show?
    answers:
      Nothing: charger-dead
      It charges: water-low
      Something else:
{lines(EXIT, 8)}\
  charger-dead:
{lines(FINDING, 4, "was who remedy minutes hazards cautions parts leave_safe ask_service until_mended show_card")}\
  water-low: {{finding: It is low, chance: 5, who: operator, remedy: Fill it up.}}
"""


HAZARDS = f"""
  brush-drive:
{lines(HAZARD, 4, "service_only")}\
  sharps: {{title: Sharp things}}
  mains:
{lines(HAZARD, 4)}\
"""


def cautions(hazards: str) -> str:
    return f"""\
{lines(CAUTIONS, 0, hazards=hazards.rstrip())}\
cautions:
  lockout:
{lines(CAUTION, 4)}\
  gloves:
{lines(CAUTION, 4, "signs covers includes release lockout confirm_lines", lapses="never")}\
"""


def round_() -> str:
    return f"""\
{lines(ROUND, 0, "items")}\
items:
  looked-at:
{lines(ITEM, 4, "energises")}\
  run:
{lines(ITEM, 4, "hazards", starts="no-charge")}\
"""


CALL = f"\n  emergency:\n{lines(CONTACT, 4)}"


LIBRARY = {
    "low-runtime.yaml": tree("low-runtime", "from_card"),
    "no-charge.yaml": tree("no-charge", "from_card"),
    "cautions.yaml": cautions(HAZARDS),
    "site.yaml": lines(SITE, 0, call=CALL),
    "rounds/before-shift.yaml": round_(),
    "rounds/weekly.yaml": lines(ROUND, 0, round="weekly", title="Each week"),
    "machines/dock.yaml": lines(CARD, 0),
    "measurements.yaml": f"""\
{lines(MEASUREMENTS, 0)}measurements:
  belt-slip:
{lines(MEASUREMENT, 4, "expected")}\
    expected: {MEASUREMENT.keys["expected"].example}
""",
    "machines/kinds/hall-scrubber.yaml": lines(MACHINE_KIND, 0),
}
#: What the cards of the other do not fit: the check is answered by one, and here none is there.
WITHOUT_CARDS = {
    name: text
    for name, text in {
        **LIBRARY,
        "no-charge.yaml": tree("no-charge", ""),
        "cautions.yaml": cautions(CAUTIONS.keys["hazards"].example),
        "site.yaml": lines(SITE, 0),
        "low-runtime.yaml": tree_with_a_doorway(),
    }.items()
    if not name.startswith(("machines/dock", "rounds"))
}


def problems(folder: Path, files: dict[str, str]) -> list[str]:
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    return [str(problem) for problem in check(load(folder))]


@pytest.mark.parametrize("files", [LIBRARY, WITHOUT_CARDS], ids=["with cards", "without"])
def test_the_examples_make_a_library_that_nothing_is_wrong_with(
    files: dict[str, str], tmp_path: Path
) -> None:
    assert problems(tmp_path, files) == []


def shown(words: str) -> set[str]:
    """Return the keys that the libraries show of a record, each with its example."""
    text = "\n".join([*LIBRARY.values(), *WITHOUT_CARDS.values()])
    return {
        key.name
        for key in RECORDS[words].keys.values()
        if re.search(rf"(?<![\w-]){key.name}: {re.escape(key.example)}(?![\w-])", text)
    }


@pytest.mark.parametrize("words", RECORDS)
def test_each_example_stands_in_one_of_the_libraries(words: str) -> None:
    wanted = {key.name for key in RECORDS[words].keys.values() if key.example}
    assert wanted - shown(words) == set()


def test_the_page_shows_each_example() -> None:
    text = page()
    for _, key in EXAMPLES:
        assert f"| `{key.name}` | " in text
        assert f" | `{key.example}` | " in text


@pytest.mark.parametrize("file", FILES)
def test_an_editor_gets_each_example_and_its_schema_takes_it(file: str) -> None:
    whole = schema(FILES[file])
    parts = {FILES[file].words: whole, **whole["$defs"]}
    tried = 0
    for words, part in parts.items():
        for name, said in part["properties"].items():
            key = RECORDS[words].keys[name]
            assert ("examples" in said) == bool(key.example)
            for example in said.get("examples", ()):
                validator = Draft202012Validator({"$defs": whole["$defs"], **said})
                assert list(validator.iter_errors(example)) == []
                tried += 1
    assert tried >= len([key for key in FILES[file].keys.values() if key.example])
