"""What follows from one mistake is one line, the mistake's; what is none of it is shown."""

from __future__ import annotations

import json
import random
import sys
from pathlib import Path

import pytest
from msgspec.structs import replace

from diagnose import app
from diagnose.files.library import load
from diagnose.rules.check import all_causes, check

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
from typos import Slipped, slips

CAUTIONS = """\
format: 2
hazards:
  moving-parts: {title: Parts can start to move}
  wet-floor: {title: The floor is wet}
cautions:
  key-out:
    title: Key out
    signal: CAUTION
    lapses: never
    covers: [moving-parts]
    text: Take the key out.
    confirm: [The key is in my pocket.]
  barrier:
    title: Floor closed off
    signal: CAUTION
    covers: [wet-floor]
    lapses: never
    text: Put the signs up.
    confirm: [The signs are up.]
"""


def tree(count: int) -> str:
    """Return a tree of so many checks, each with both hazards, and a finding behind each."""
    steps = "".join(
        f"  look-{n:03}:\n    ask: What?\n    hazards: [moving-parts, wet-floor]\n    cautions: [key-out]\n"
        f"    answers: {{It is torn: torn-{n:03}, It is sound: {after}}}\n"
        f"  torn-{n:03}:\n    finding: It is torn\n    chance: 2\n    who: operator\n    remedy: Mend it.\n"
        for n in range(count)
        for after in ["end" if n == count - 1 else f"look-{n + 1:03}"]
    )
    return (
        f"format: 2\nsymptom: sample\ntitle: T\nstart: look-000\nsteps:\n{steps}"
        "  end:\n    finding: It is sound\n    chance: 2\n    who: operator\n    remedy: Drive on.\n"
    )


def library(folder: Path, **files: str) -> Path:
    files = {"cautions": CAUTIONS, "sample": tree(20), **files}
    for name, text in files.items():
        path = folder / f"{name.replace('__', '/')}.yaml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


def shown(folder: Path) -> list[tuple[str, int, str, int]]:
    problems = check(load(folder))
    return [(Path(one.file).name, one.line, one.code, one.following) for one in problems]


def test_the_library_is_sound(tmp_path: Path) -> None:
    assert shown(library(tmp_path)) == []


def test_a_misspelt_hazard_is_one_line_however_many_steps_name_it(tmp_path: Path) -> None:
    text = CAUTIONS.replace("  moving-parts:", "  moving-prats:")
    folder = library(tmp_path, cautions=text)
    # Named by twenty steps and one caution, and covered by none: 22 problems.
    assert shown(folder) == [("cautions.yaml", 3, "unknown-hazard", 21)]
    (problem,) = check(load(folder))
    assert problem.column == 3
    assert problem.message == (
        'Write "moving-parts" here: 21 places name it, and none names "moving-prats".'
    )
    assert "And 21 that follow from it. [unknown-hazard]" in f"{problem}"
    assert "And 1 that follows from it." in f"{replace(problem, following=1)}"
    assert "follow" not in f"{replace(problem, following=0)}"


def test_a_caution_that_was_renamed_is_one_line(tmp_path: Path) -> None:
    near = CAUTIONS.replace("  key-out:", "  keyout:")
    assert shown(library(tmp_path / "a", cautions=near)) == [
        ("cautions.yaml", 6, "unknown-caution", 19)
    ]
    # Nothing is near, and the barrier is named by none either: who names it first says so.
    far = CAUTIONS.replace("  key-out:", "  stopped:")
    assert shown(library(tmp_path / "b", cautions=far)) == [
        ("sample.yaml", 9, "unknown-caution", 19)
    ]


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("  wet-floor: {title", "  wet-floor: {titel", 4),
        ("    signal: CAUTION\n    lapses", "    signal: CAUTON\n    lapses", 8),
        ("confirm: [The signs", "confirm:[The signs", 19),
        ("hazards:\n", "hazard:\n", 2),
    ],
)
def test_where_cautions_cannot_be_read_all_that_names_them_follows(
    tmp_path: Path, old: str, new: str, line: int
) -> None:
    folder = library(tmp_path, cautions=CAUTIONS.replace(old, new))
    assert [(file, at, more) for file, at, _, more in shown(folder)] == [
        ("cautions.yaml", line, 60)
    ]


def test_a_step_that_is_misspelt_takes_what_lies_behind_it_along(tmp_path: Path) -> None:
    """One answer names it and the one definition is left over: the answer is blamed, all behind
    it is no longer reached."""
    text = tree(20).replace("It is sound: look-003", "It is sound: loook-003")
    folder = library(tmp_path, sample=text)
    line = text[: text.index("loook")].count("\n") + 1
    assert shown(folder) == [("sample.yaml", line, "unknown-step", 35)]


def test_a_step_that_several_lead_to_is_blamed_itself(tmp_path: Path) -> None:
    text = tree(20)
    for n in range(5):
        text = text.replace(f"It is torn: torn-{n:03}", "It is torn: worn-edge")
        text = text.replace(f"  torn-{n:03}:", f"  {'worn-egde' if n == 0 else f'spare-{n}'}:")
    folder = library(tmp_path, sample=text)
    line = text[: text.index("worn-egde")].count("\n") + 1
    first, *others = shown(folder)
    assert first == ("sample.yaml", line, "unknown-step", 5)
    # These four are nobody's followers.
    assert [code for _, _, code, _ in others] == ["unreached"] * 4


def test_one_name_that_is_near_to_a_known_one_is_a_mistake_at_each_place(tmp_path: Path) -> None:
    text = tree(20).replace("[moving-parts, wet-floor]", "[moving-prats, wet-floor]", 3)
    assert [code for _, _, code, _ in shown(library(tmp_path, sample=text))] == [
        "unknown-hazard"
    ] * 3


def test_a_definition_that_is_missing_is_one_mistake(tmp_path: Path) -> None:
    text = CAUTIONS.replace("  wet-floor: {title: The floor is wet}\n", "").replace(
        "[wet-floor]", "[]"
    )
    folder = library(tmp_path, cautions=text)
    assert shown(folder) == [("sample.yaml", 8, "unknown-hazard", 19)]


def test_of_two_mistakes_each_keeps_its_own(tmp_path: Path) -> None:
    text = CAUTIONS.replace("  moving-parts:", "  moving-prats:")
    text = text.replace("  wet-floor:", "  wet-flor:")
    assert shown(library(tmp_path, cautions=text)) == [
        ("cautions.yaml", 3, "unknown-hazard", 21),
        ("cautions.yaml", 4, "unknown-hazard", 21),
    ]


def test_a_file_that_was_renamed_is_one_mistake(tmp_path: Path) -> None:
    round_ = "format: 2\nround: weekly\ntitle: W\nevery: week\nitems:\n" + "".join(
        f"  item-{n}: {{do: Look., starts: sampel}}\n" for n in range(6)
    )
    folder = library(tmp_path, rounds__weekly=round_)
    (cause,) = all_causes(load(folder))
    assert (Path(cause.problem.file).name, cause.problem.line) == ("sample.yaml", 2)
    assert cause.problem.following == 5
    assert {Path(file).name for file in cause.files} == {"sample.yaml", "weekly.yaml"}


def test_a_kind_that_cannot_be_read_is_the_mistake_of_all_its_cards(tmp_path: Path) -> None:
    cards = {
        f"machines__m{n}": f"format: 2\nmachine: m{n}\ntitle: M{n}\nkind: small\n" for n in range(3)
    }
    kind = "format: 2\nkind: small\ntitel: Small\n"
    folder = library(tmp_path, machines__kinds__small=kind, **cards)
    assert shown(folder) == [("small.yaml", 3, "unknown-key", 3)]


def test_an_answer_that_several_name_is_blamed_itself(tmp_path: Path) -> None:
    cases = "".join(
        f"  - name: c{n}\n    answers: {{look-000: It is torn}}\n    finding: torn-000\n"
        for n in range(3)
    )
    text = tree(20).replace("{It is torn: torn-000", "{It is tron: torn-000")
    folder = library(tmp_path, sample=f"{text}worked_cases:\n{cases}")
    assert shown(folder) == [("sample.yaml", 10, "worked-case", 2)]


def test_the_command_says_how_many_follow_and_the_tree_that_is_asked_for_is_no_better(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = library(tmp_path, cautions=CAUTIONS.replace("  moving-parts:", "  moving-prats:"))
    for args in ([], ["sample"]):
        assert app.run(["check", "--trees", str(folder), *args]) == 1
        said = capsys.readouterr().out.splitlines()
        assert len(said) == 4
        assert "And 21 that follow from it." in said[0]
    assert app.run(["check", "--trees", str(folder), "--json"]) == 1
    (problem,) = json.loads(capsys.readouterr().out)["problems"]
    assert problem["following"] == 21


def test_a_slip_of_one_letter_in_the_built_in_cautions_is_one_problem_at_most() -> None:
    """A sample of the 16,849; `tests/benchmarks/typos.py` tries them all."""
    slipped = Slipped()
    every = [*slips(slipped.text)]
    assert len(every) > 10_000
    counts = [len(slipped.shown(*one)) for one in random.Random(1).sample(every, 60)]
    assert max(counts) == 1
    assert counts.count(1) > 10
