"""The manual of the checks: every code has its page, and every example does what its page says."""

from __future__ import annotations

import ast
import re
import textwrap
from pathlib import Path

import pytest
import yaml

import diagnose
from diagnose import app
from diagnose.files.library import load
from diagnose.files.problems import code_of
from diagnose.files.refusals import VALUE_REFUSALS
from diagnose.files.whole_files import FILE_REFUSALS
from diagnose.rules import manual
from diagnose.rules.check import RULES, check

HOUSE = Path(diagnose.__file__).parent
PAGE = HOUSE.parent / "docs" / "checks.md"

#: What is wrong with a file as such shows in no YAML; tests/files/test_reader.py has a file for each.
NO_EXAMPLES = {
    "unreadable-folder",
    *("unreadable", "too-large", "too-many", "not-text", "stray", "empty-library", "taken-name"),
}

#: A library that has nothing wrong, of which an example replaces a part.
SOUND = {
    "sample.yaml": """\
format: 3
symptom: sample
title: It does not work
start: first
steps:
  first:
    ask: What do you see?
    answers: {It is broken: broken, It looks right: second}
  second:
    read: value
    bands: [{below: 5, call: too little, go: little}, {otherwise: enough, go: served}]
  broken: {finding: It is broken, chance: 30, who: operator, remedy: Mend it.}
  little:
    {finding: Too little, chance: 20, who: operator, remedy: Add some., hazards: [moving-parts]}
  served: {finding: It is dead, chance: 10, who: service, leave_safe: Park it., hazards: [mains],
    until_mended: out of use}
""",
    "cautions.yaml": """\
format: 3
hazards:
  moving-parts: {title: Parts can start to move, words: [brush off]}
  wet-floor: {title: The floor is wet}
  mains: {title: Charger and cord, service_only: true}
cautions:
  key-out:
    title: Key out
    signal: CAUTION
    lapses: when energised
    text: Take the key out.
    confirm: [The key is in my pocket.]
    release: [People are clear.]
  lockout:
    title: Machine dead
    signal: WARNING
    signs: [W018, M021]
    lockout: true
    covers: [moving-parts]
    includes: [key-out]
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
""",
    "rounds/sample.yaml": """\
format: 3
round: sample
title: After the shift
every: shift
items:
  look: {do: Look under the machine.}
""",
    "machines/sample.yaml": """\
format: 2
machine: sample
title: Dock machine
battery: {kind: flooded}
""",
}
SOUND["measurements.yaml"] = """\
format: 3
measurements:
  slip:
    title: Slip of the belt
    unit: rpm
    how: Count the turns.
    inputs: {turns: {title: turns of the pulley, unit: rpm, least: 1, most: 90}}
    formula: 100 - turns
    source: invented
"""
SOUND["other.yaml"] = (
    SOUND["sample.yaml"]
    .replace(
        "symptom: sample\ntitle: It does not work", "symptom: other\ntitle: It is like another"
    )
    .replace("chance: 30", "chance: 50")
    .replace("chance: 10", "chance: 30")
)
SOUND["machines/spare.yaml"] = """\
format: 2
machine: spare
title: Spare machine
nameplate: {serial: S-1}
"""
for _kind in ("small", "large"):
    SOUND[f"machines/kinds/{_kind}.yaml"] = f"format: 2\nkind: {_kind}\ntitle: A {_kind} one\n"
SOUND["of-large-ones.yaml"] = (
    SOUND["sample.yaml"].replace(
        "symptom: sample\ntitle: It does not work",
        "symptom: of-large-ones\ntitle: It is a large one",
    )
    + "kinds: [large]\n"
)

#: The file that an example is for, by a key that only it has; else it is the tree.
KEYS = {
    "cautions.yaml": {"hazards", "cautions"},
    "measurements.yaml": {"measurements"},
    "rounds/sample.yaml": {"items", "every", "round"},
    "machines/sample.yaml": {"battery", "machine", "tanks", "caution_minutes", "nameplate"},
}

#: The keys of which one says what a step, a hazard or a caution is.
WHOLE = {"ask", "finding", "title"}


def parts(text: str) -> list[tuple[str, str]]:
    """Return the entries of a file's text: the key, and all of its lines."""
    found = re.split(r"^(?=[^\s#])", text, flags=re.MULTILINE)
    return [(entry.partition(":")[0].strip(), entry) for entry in found if entry.strip()]


def replaced(text: str, example: str) -> str:
    """Return a file's text with an example put over it: the keys of its entries, or all of it.

    An entry that says what it is (a question, a cause, a title) stands for the whole entry.
    """
    own, given = parts(text), parts(example)
    names = [name for name, _ in given]
    merged = {"steps", "hazards", "cautions", "items", "measurements"}
    if len(own) > len(given) and merged & set(names) and set(names) <= merged | {"worked_cases"}:
        whole = yaml.load(text, yaml.BaseLoader)
        for section, entries in yaml.load(example, yaml.BaseLoader).items():
            if isinstance(entries, list):
                whole[section] = entries
                continue
            for name, entry in entries.items():
                kept = {} if entry.keys() & WHOLE else whole[section].get(name, {})
                whole[section][name] = kept | entry
        return yaml.safe_dump(whole, sort_keys=False)
    first = {name: n for n, (name, _) in reversed(list(enumerate(own)))}
    rows = [entry for name, entry in own if name not in names]
    at = min((first[name] for name in names if name in first), default=len(rows))
    return "".join([*rows[:at], *(entry for _, entry in given), *rows[at:]])


def problems_with(tmp_path: Path, example: str) -> list[str]:
    """Return the codes that the checker finds once an example stands in the sound library."""
    keys = {name for name, _ in parts(example)}
    file = next((name for name, known in KEYS.items() if keys & known), "sample.yaml")
    for name, text in SOUND.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if name == file:
            path.write_text(replaced(text, example) if ":" in example else example)
        else:
            path.write_text(text)
    return [problem.code for problem in check(load(tmp_path))]


def examples() -> list[tuple[str, str, str]]:
    """Return every example of the manual's docstrings: code, whether it passes or fails, text."""
    found = []
    for code, pages in manual.PAGES.items():
        for page in pages:
            for word, block in manual.EXAMPLE.findall(page + "\n"):
                found.append((code, word, textwrap.dedent(block)))
    return found


EXAMPLES = examples()


def test_the_sound_library_is_sound(tmp_path: Path) -> None:
    assert problems_with(tmp_path, SOUND["sample.yaml"]) == []


@pytest.mark.parametrize(
    ("code", "word", "text"), EXAMPLES, ids=[f"{code} {word}" for code, word, _ in EXAMPLES]
)
def test_each_example_does_what_its_page_says(
    tmp_path: Path, code: str, word: str, text: str
) -> None:
    found = problems_with(tmp_path, text)
    if word == "Passes":
        assert found == []
    else:
        assert set(found) == {code}


def test_each_page_has_one_passing_and_one_failing_example() -> None:
    for code, pages in manual.PAGES.items():
        words = [word for other, word, _ in EXAMPLES if other == code]
        assert words == ([] if code in NO_EXAMPLES else ["Passes", "Fails"] * len(pages)), code


def test_each_page_opens_with_one_sentence_and_says_why() -> None:
    for code, pages in manual.PAGES.items():
        for page in pages:
            first, why, *_ = page.split("\n\n")
            assert "\n" not in first, code
            assert first.endswith("."), code
            assert why.endswith("."), code
            assert not why.startswith("Passes"), code


def raised() -> set[str]:
    """Return every code that a refusal or a `Problem` in the program's source is given."""
    codes = set()
    for path in HOUSE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            given = [word.value for word in node.keywords if word.arg == "code"]
            if name == "Refusal":
                given += node.args[:1]
            if name in ("Refusal", "Problem"):
                codes |= {ast.literal_eval(one) for one in given if isinstance(one, ast.Constant)}
    return codes


def test_every_code_that_a_problem_can_carry_has_its_page() -> None:
    refusals = {code_of(refusal) for refusal in (*FILE_REFUSALS, *VALUE_REFUSALS)}
    assert raised() == refusals
    assert set(manual.PAGES) == refusals | {code_of(rule) for rule, _ in RULES}


def test_a_problem_is_made_in_two_places_only() -> None:
    """The reader's (a refusal at a place) and the checker's (an objection): no code goes past."""
    makers = {
        str(path.relative_to(HOUSE))
        for path in HOUSE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Problem"
    }
    assert makers == {"files/problems.py", "rules/check.py"}


def test_each_rule_of_the_modules_stands_in_the_table() -> None:
    known = {rule.__name__ for rule, _ in RULES}
    assert len(known) == len(RULES)
    for path in sorted((HOUSE / "rules").glob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and "Objection" in ast.unparse(
                node.returns or node
            ):
                assert node.name in known or node.name.startswith("_"), node.name


def test_the_page_is_the_one_that_the_docstrings_give() -> None:
    written = PAGE.read_text(encoding="utf-8")
    assert written == manual.page(), "python -m diagnose.rules.manual > docs/checks.md"
    for code in manual.PAGES:
        assert f"\n## {code}\n" in written
    assert written.count("```yaml\n") == len(EXAMPLES)


@pytest.mark.parametrize("typed", ["closed-route", "[closed-route]"])
def test_a_code_is_explained_on_request(typed: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert app.run(["check", "--explain", typed]) == 0
    said = capsys.readouterr().out
    assert said == manual.section("closed-route")
    assert "Look again: first" in said


def test_a_code_that_is_none_is_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    assert app.run(["check", "--explain", "closed-rute"]) == 2
    assert 'Did you mean "closed-route"?' in capsys.readouterr().err


def test_the_closing_line_names_the_page_where_there_is_something_to_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert problems_with(tmp_path, "start: frist\n") == ["unknown-step"]
    assert app.run(["check", "--trees", str(tmp_path)]) == 1
    counted, last = capsys.readouterr().out.splitlines()[-2:]
    assert counted == (
        "3 trees, 2 cards, 2 kinds of machine, 1 round, the cautions, the measurements; "
        "1 error, no warnings."
    )
    assert "--explain CODE" in last
    assert "docs/checks.md" in last
    assert app.run(["check", "--trees", str(tmp_path), "other"]) == 0
    said = f"Read in {tmp_path}:\n1 tree; no errors, no warnings.\n"
    assert capsys.readouterr().out == said
    assert app.run(["check", "--trees", str(tmp_path), "--json"]) == 1
    assert "explain" not in capsys.readouterr().out
