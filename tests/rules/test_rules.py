"""Every rule finds what it is for, at the exact place, and says what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.files.library import load, put_in
from diagnose.rules.check import check, tree_problems
from diagnose.study.in_force import caution_table

CAUTIONS = """\
format: 1
hazards:
  moving-parts: {title: Parts can start to move}
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
    covers: [moving-parts]
    includes: [key-out]
    lapses: when energised
    text: Make the machine dead before hands go near it.
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
format: 1
symptom: sample
title: It does not work
start: first

steps:
  first:
    ask: What do you see?
    hazards: [wet-floor]
    answers:
      It is broken: broken
      It looks right: second

  second:
    read: value
    by: operator
    bands:
      - {below: 5, call: too little, go: little}
      - {otherwise: enough, go: served}

  broken:
    finding: It is broken.
    chance: 30
    who: operator
    remedy: Mend it.

  little:
    finding: There is too little.
    chance: 20
    who: operator
    remedy: Add some.
    hazards: [moving-parts]

  served:
    finding: Service has to look.
    chance: 10
    who: service
    leave_safe: Park it.
    hazards: [mains]

worked_cases:
  - name: plain
    answers: {first: It is broken}
    finding: broken
  - name: a reading
    answers: {second: {value: "3"}}
    finding: little
"""


def write(folder: Path, tree: str = TREE, cautions: str = CAUTIONS, **more: str) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "cautions.yaml").write_text(cautions, encoding="utf-8")
    (folder / "sample.yaml").write_text(tree, encoding="utf-8")
    for name, text in more.items():
        path = folder / f"{name.replace('__', '/').replace('_', '-')}.yaml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


def found(folder: Path) -> list[tuple[str, str, int, int, str]]:
    problems = check(load(folder))
    return [(Path(p.file).name, p.code, p.line, p.column, p.severity[0]) for p in problems]


def place(text: str, wanted: str, nth: int = 1) -> tuple[int, int]:
    """Return the line and column, from 1, of the nth place where `wanted` stands."""
    at = -1
    for _ in range(nth):
        at = text.index(wanted, at + 1)
    return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)


def test_the_sample_is_clean(tmp_path: Path) -> None:
    assert found(write(tmp_path / "lib")) == []


# What is replaced in the sample, by what, and the problems: code, the text where each stands
# (and which of several), severity.
OTHER = TREE.replace("symptom: sample\ntitle: It does", "symptom: other\ntitle: This does")
CARD = "format: 1\nmachine: dock\ntitle: Dock\nbattery: {kind: flooded}\n"
BROKEN = [
    ("title: It does", "title: FILL IN what it does", [("blank", "FILL IN", 1, "w")]),
    ("remedy: Mend it.", "remedy: |\n      Mend it.\n      FILL IN how", [("blank", "|\n", 1, "w")]),
    ("call: too little, go", "call: FILL IN a call, go", [("blank", "FILL IN", 1, "w")]),
    ("      It is broken: broken", "      FILL IN what is broken: broken\n      It is broken: broken", [("blank", "FILL IN", 1, "w")]),
    ("start: first\n", "start: first # FILL IN is a word of a comment\n", []),
    ("start: first\n", "start: frist\n", [("unknown-step", "frist", 1, "e")]),
    ("It is broken: broken", "It is broken: brokn", [("unknown-step", "brokn", 1, "e")]),
    ("go: little}", "go: litle}", [("unknown-step", "litle", 1, "e")]),
    ("    by: operator\n", "    after: [third]\n", [("unknown-step", "third", 1, "e")]),
    ("    by: operator\n", "    after: [broken]\n", [("after", "broken]", 1, "e")]),
    ("go: served}", "go: first}", [("closed-route", "first}", 1, "e"), ("unreached", "served:\n", 1, "e")]),
    ("It is broken: broken", "'12': broken", [("answer-word", "'12'", 1, "e"), ("worked-case", "It is broken}", 1, "e")]),
    ("It is broken: broken", "X: broken", [("answer-word", "X: broken", 1, "e"), ("worked-case", "It is broken}", 1, "e")]),
    ("It is broken: broken", "Not sure: broken", [("answer-word", "Not sure", 1, "e"), ("worked-case", "It is broken}", 1, "e")]),
    ("It is broken: broken\n      It looks right: second", "It is \u00e9: broken\n      It is e\u0301: second", [("answer-word", "It is e\u0301", 1, "e"), ("worked-case", "It is broken}", 1, "e")]),
    ("It looks right: second", "IT IS  BROKEN: second", [("answer-word", "IT IS  BROKEN", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    passes: It loks right\n", [("unknown-answer", "It loks right", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    if_unsure: none\n", [("unknown-answer", "none", 1, "e")]),
    ("      - {otherwise: enough, go: served}", "      - {below: 9, call: enough, go: served}", [("bands", "value", 1, "e")]),
    ("    by: operator\n    bands:\n      - {below: 5, call: too little, go: little}\n      - {otherwise: enough, go: served}", "    energises: true\n    after: [broken]\n    bands:\n      - {below: 5, call: too little, go: little}\n      - {otherwise: enough, go: first}", [("closed-route", "first}", 1, "e"), ("unreached", "served:\n", 1, "e")]),
    ("      - {otherwise", "      - {below: 5, call: less, go: little}\n      - {otherwise", [("bands", "less", 1, "e")]),
    ("      - {otherwise", "      - {below: 4, call: less, go: little}\n      - {otherwise", [("bands", "less", 1, "e")]),
    ("    who: operator\n    remedy: Mend it.\n", "    who: operator\n", [("no-remedy", "broken:\n    finding", 1, "e")]),
    ("    who: operator\n    remedy: Mend it.\n", "    remedy: Mend it.\n", [("missing-key", "broken:\n    finding", 1, "e")]),
    ("    leave_safe: Park it.\n", "", [("no-leave-safe", "served:\n", 1, "e")]),
    ("    leave_safe: Park it.\n", "    leave_safe: Park it.\n    remedy: Do it.\n", [("service-remedy", "Do it.", 1, "e")]),
    ("    who: operator\n    remedy: Mend it.\n", "    continue_with: sampel\n", [("unknown-symptom", "sampel", 1, "e")]),
    ("    who: operator\n    remedy: Mend it.\n", "    continue_with: sample\n", [("doorway", "sample", 2, "e")]),
    ("    who: operator\n    remedy: Mend it.\n", "    who: operator\n    continue_with: other\n", [("doorway", "broken:\n    finding", 1, "e")]),
    ("[wet-floor]", "[wet-flor]", [("unknown-hazard", "wet-flor", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    cautions: [barier]\n", [("unknown-caution", "barier", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    hazards: [moving-parts]\n    energises: true\n", [("energises", "moving-parts", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    cautions: [lockout]\n    energises: true\n", [("energises", "lockout", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    hazards: [wet-floor, moving-parts]\n    energises: true\n", [("energises", "moving-parts", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    hazards: [moving-parts, wet-floor]\n    energises: true\n", [("energises", "moving-parts", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    hazards: [moving-parts]\n    cautions: [barrier, key-out]\n    energises: true\n", [("energises", "key-out", 1, "e")]),
    ("[wet-floor]", "[wet-floor, mains]", [("service-only", "mains", 1, "e")]),
    ("[wet-floor]", "[wet-floor, wet-flor]", [("unknown-hazard", "wet-flor]", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    cautions: [barrier, barier]\n", [("unknown-caution", "barier", 1, "e")]),
    ("    by: operator\n", "    after: [first, broken]\n", [("after", "broken]", 1, "e")]),
    ("      - {below: 5, call: too little, go: little}\n      - {otherwise: enough, go: served}", "      - {otherwise: enough, go: served}\n      - {below: 5, call: too little, go: little}", [("bands", "value", 1, "e"), ("bands", "enough", 1, "e"), ("worked-case", "little\n", 1, "e")]),
    ("      - {otherwise: enough, go: served}", "      - {otherwise: plenty, go: served}\n      - {otherwise: enough, go: served}", [("bands", "plenty", 1, "e")]),
    ("{otherwise: enough", "{otherwise: back", [("answer-word", "back", 1, "e")]),
    ("{below: 5, call: too little", "{below: 5, call: '7'", [("answer-word", "'7'", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    passes: none\n", [("worked-case", "a reading", 1, "e")]),
    ("answers: {second: {value: \"3\"}}", "answers: {second: {}}", [("worked-case", "a reading", 1, "e")]),
    ("answers: {second: {value: \"3\"}}", "answers: {secnd: enough}", [("unknown-step", "secnd", 1, "e")]),
    ("    finding: little\n", "    finding: litle\n", [("unknown-step", "litle", 1, "e")]),
    ("[wet-floor]", "[mains]", [("service-only", "mains", 1, "e")]),
    ("    hazards: [moving-parts]\n", "    hazards: [mains]\n", [("service-only", "mains", 1, "e")]),
    ("    hazards: [moving-parts]\n", "    hazards: [moving-parts, mains]\n", [("service-only", "mains", 1, "e")]),
    ("    hazards: [moving-parts]\n", "    hazards: [mains, moving-parts]\n", [("service-only", "mains", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    hazards: [wet-floor, mains]\n", [("service-only", "mains", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    by: service\n    hazards: [wet-floor, mains]\n", []),
    ("read: value", "read: suction", [("worked-case", "value: \"3\"", 1, "e")]),
    ("read: value\n    by: operator\n    bands:\n      - {below: 5,", "read: suction\n    by: operator\n    bands:\n      - {below: 0,", [("unreachable-band", "0, call", 1, "e"), ("worked-case", "value: \"3\"", 1, "e")]),
    ("read: value\n    by: operator\n    bands:\n      - {below: 5,", "read: suction\n    by: operator\n    bands:\n      - {below: 150,", [("worked-case", "value: \"3\"", 1, "e")]),
    ("read: value\n    by: operator\n    bands:\n      - {below: 5,", "read: suction\n    by: operator\n    bands:\n      - {below: 150.1,", [("unreachable-band", "150.1", 1, "e"), ("worked-case", "value: \"3\"", 1, "e")]),
    ("read: value", "read: valeu", [("unknown-measurement", "valeu", 1, "e")]),
    ("chance: 30", "chance: 0.3", []),
    ("chance: 30\n    who: operator\n    remedy: Mend it.\n\n  little:\n    finding: There is too little.\n    chance: 20", "chance: 0.3\n    who: operator\n    remedy: Mend it.\n\n  little:\n    finding: There is too little.\n    chance: 80", [("mixed-chances", "0.3", 1, "w")]),
    ("chance: 30\n    who: operator\n    remedy: Mend it.\n\n  little:\n    finding: There is too little.\n    chance: 20", "chance: 0.5\n    who: operator\n    remedy: Mend it.\n\n  little:\n    finding: There is too little.\n    chance: 80", []),
    ("chance: 30\n    who: operator\n    remedy: Mend it.\n\n  little:\n    finding: There is too little.\n    chance: 20", "chance: 0.287\n    who: operator\n    remedy: Mend it.\n\n  little:\n    finding: There is too little.\n    chance: 80", []),
    ("chance: 30\n    who: operator\n    remedy: Mend it.\n\n  little:\n    finding: There is too little.\n    chance: 20", "chance: 0.5\n    who: operator\n    remedy: Mend it.\n\n  little:\n    finding: There is too little.\n    chance: 0.3", [("mixed-chances", "10\n", 1, "w")]),
    ("title: It does not work", "title: It does not work # 3", [("cut-text", "# 3", 1, "w")]),
    ("title: It does not work", "title: It does not work   #3", [("cut-text", "#3", 1, "w")]),
    ("title: It does not work", "title: It does not work # at all", [("cut-text", "# at all", 1, "w")]),
    ("title: It does not work", "title: It does not work  # at all", []),
    ("title: It does not work", "title: It does not work #", []),
    ("title: It does not work", "title: '# It does # 3'  # and so on", []),
    ("remedy: Mend it.", "remedy: Mend it. # by hand", []),
    ("remedy: Mend it.", "remedy: Mend it. # 3 goes first", [("cut-text", "# 3", 1, "w")]),
    ("remedy: Mend it.", "remedy: >\n      Mend it # 3", []),
    ("remedy: Mend it.", "remedy: Mend it\n      # 3 things", []),
    ("by: operator", "by: operator # 3 of them", []),
    ("chance: 30", "chance: 30 # 3 cases", []),
    ("    leave_safe: Park it.\n", "    leave_safe: Park it.\n    parts: [a blade, hook # 3\n      ]\n", []),
    ("    leave_safe: Park it.\n", "    leave_safe: Park it.\n    parts: [a blade, a hook # 3\n      ]\n", [("cut-text", "# 3", 1, "w")]),
    ("start: first", "also_called: [smears, wet edges, Wet  Edges]\nstart: first", [("also-called-twice", "Wet  Edges", 1, "w")]),
    ("start: first", "also_called: [it does not WORK]\nstart: first", [("also-called-twice", "it does not WORK", 1, "w")]),
    ("start: first", "also_called: [this does not work]\nstart: first", [("also-called-twice", "this does", 1, "w")]),
    ("name: a reading", "name: Plain", [("case-twice", "Plain", 1, "w")]),
    ("    hazards: [wet-floor]\n", "    from_card: battery.knd\n", [("unknown-line", "battery.knd", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    from_card: battery.kind\n", [("card-answer", "battery.kind", 1, "w")]),
    ("    hazards: [wet-floor]\n", "    from_card: charger.lmps\n", [("unknown-line", "charger.lmps", 1, "e")]),
    ("    hazards: [wet-floor]\n", "    from_card: charger.lamps\n", []),
    ("    hazards: [wet-floor]\n", "    from_card: charger\n", []),
    ("    finding: broken\n", "    finding: little\n", [("worked-case", "little\n", 1, "e")]),
    ("    finding: broken\n", "    finding: second\n", [("worked-case", "second\n", 2, "e")]),
    ("{first: It is broken}", "{first: It is brken}", [("worked-case", "It is brken", 1, "e")]),
    ("{first: It is broken}", "{first: It is broken, second: enough}", [("worked-case", "second: enough", 1, "w")]),
    ("{first: It is broken}", "{first: {volts: '3'}}", [("worked-case", "volts", 1, "e")]),
    ("{value: \"3\"}", "{value: plenty}", [("worked-case", "value: plenty", 1, "e")]),
    ("{value: \"3\"}", "{valu: '3'}", [("worked-case", "valu: '3'", 1, "e")]),
    ("      - {otherwise: enough, go: served}", "      - {below: 8, call: some, go: first-a}\n      - {otherwise: enough, go: served}\n\n  first-a:\n    ask: And now?\n    answers: {Left: broken, Right: third}\n\n  third:\n    ask: And then?\n    answers: {Up: broken, Down: served}\n\n  fourth:\n    ask: Hm?\n    answers: {Yes indeed: third, No indeed: third}", [("unreached", "fourth:", 1, "e"), ("passes", "fourth:", 1, "w")]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "wanted"), BROKEN, ids=lambda v: v if isinstance(v, str) else ""
)
def test_each_rule_at_its_place(
    tmp_path: Path, old: str, new: str, wanted: list[tuple[str, str, int, str]]
) -> None:
    text = TREE.replace(old, new, 1)
    assert text != TREE
    folder = write(tmp_path / "lib", text, other=OTHER, machines__dock=CARD)
    expected = sorted(
        {
            ("sample.yaml", code, *place(text, at, nth), severity)
            for code, at, nth, severity in wanted
        }
    )
    assert sorted(set(found(folder))) == expected


@pytest.mark.parametrize(
    ("named", "blamed", "ends"),
    [
        # A caution that holds, and one that it brings with it, which ends.
        ("cautions: [barrier]", "barrier", "key-out"),
        ("hazards: [wet-floor]", "wet-floor", "key-out"),
        # Of two hazards only the second's caution ends; of two cautions that end, the first.
        ("hazards: [sun, moving-parts]", "moving-parts", "lockout"),
        ("hazards: [moving-parts, sun]", "moving-parts", "lockout"),
        ("hazards: [moving-parts, wet-floor]", "moving-parts", "key-out"),
        ("hazards: [sun, wet-floor]", "wet-floor", "key-out"),
        ("cautions: [shade, lockout]", "lockout", "lockout"),
        # A hazard that no caution covers calls for none.
        ("by: service\n    hazards: [mains, wet-floor]", "wet-floor", "key-out"),
    ],
)
def test_where_the_machine_runs_the_word_that_calls_for_a_caution_is_blamed(
    tmp_path: Path, named: str, blamed: str, ends: str
) -> None:
    cautions = CAUTIONS.replace("    includes: [key-out]\n", "").replace(
        "    covers: [wet-floor]\n", "    covers: [wet-floor]\n    includes: [key-out]\n"
    )
    cautions = cautions.replace("cautions:\n", "  sun: {title: The sun is strong}\ncautions:\n")
    cautions += (
        "  shade:\n    title: Hat on\n    signal: CAUTION\n    covers: [sun]\n"
        "    lapses: never\n    text: Put a hat on.\n    confirm: [A hat is on.]\n"
    )
    text = TREE.replace("    hazards: [wet-floor]\n", f"    {named}\n    energises: true\n", 1)
    (problem,) = check(load(write(tmp_path / "lib", text, cautions)))
    assert (problem.code, problem.line, problem.column) == ("energises", *place(text, blamed))
    assert f'which ends "{ends}"' in problem.message


def test_the_lockout_that_is_taken_twice_is_named(tmp_path: Path) -> None:
    """Of two: the step that runs the machine ends both, and one of them is taken again."""
    cautions = CAUTIONS.replace(
        "hazards:\n", "hazards:\n  press: {title: Water is under pressure}\n"
    )
    cautions += (
        "  held:\n    title: Held\n    signal: WARNING\n    signs: [M021]\n"
        "    covers: [press]\n    lapses: when energised\n    text: Hold it.\n"
        "    confirm: [It is held.]\n    release: [It is let go.]\n"
    )
    text = TREE.replace("    hazards: [wet-floor]\n", "    hazards: [press]\n", 1)
    text = text.replace("    by: operator\n", "    energises: true\n", 1)
    # Moving parts are met once, under a lockout that nobody had taken before.
    assert found(write(tmp_path / "one", text, cautions)) == []
    text = text.replace("hazards: [moving-parts]", "hazards: [moving-parts, press]")
    (problem,) = check(load(write(tmp_path / "two", text, cautions)))
    assert (problem.code, problem.line, problem.column) == (
        "lockout-twice",
        *place(text, "little:\n"),
    )
    assert '"held" was taken' in problem.message


def test_a_lockout_taken_again_and_kept_is_named_once(tmp_path: Path) -> None:
    text = TREE.replace("    hazards: [wet-floor]\n", "    hazards: [moving-parts]\n", 1)
    text = text.replace("    by: operator\n", "    energises: true\n", 1)
    text = text.replace("go: little}", "go: inside}").replace(
        "  broken:\n",
        "  inside:\n    ask: Is it there?\n    hazards: [moving-parts]\n"
        "    passes: none\n    answers: {It is: little, It is not: served}\n\n  broken:\n",
    )
    text = text[: text.index("worked_cases")]
    problems = found(write(tmp_path / "lib", text))
    # The finding behind it has the same lockout still, and nothing ran in between.
    assert problems == [("sample.yaml", "lockout-twice", *place(text, "inside:\n"), "w")]


def test_a_first_lockout_is_no_second_one_however_often_the_machine_ran(tmp_path: Path) -> None:
    text = TREE.replace("    hazards: [wet-floor]\n", "    energises: true\n", 1)
    text = text.replace("    by: operator\n", "    energises: true\n", 1)
    assert found(write(tmp_path / "lib", text)) == []


def test_lockouts_are_not_followed_past_a_caution_that_is_not_known(tmp_path: Path) -> None:
    text = TREE.replace("    hazards: [wet-floor]\n", "    hazards: [moving-parts]\n", 1)
    text = text.replace("    by: operator\n", "    energises: true\n    cautions: [barier]\n", 1)
    assert found(write(tmp_path / "lib", text)) == [
        ("sample.yaml", "unknown-caution", *place(text, "barier"), "e")
    ]


def test_a_hazard_for_service_only_is_told_with_the_key_that_mends_it(tmp_path: Path) -> None:
    text = TREE.replace("[wet-floor]", "[mains]").replace("[moving-parts]", "[mains]")
    assert [problem.message for problem in check(load(write(tmp_path / "lib", text)))] == [
        'Write `by: service`, or delete the hazard: "mains" is for service only.',
        'Write `who: service`, or delete the hazard: "mains" is for service only.',
    ]


def test_a_worked_case_that_leaves_out_a_unit_is_run_in_the_one_that_a_screen_shows(
    tmp_path: Path,
) -> None:
    text = TREE.replace("read: value", "read: solution-temperature")
    for typed, wanted in (("3", [("no-unit", "3", "w")]), ("3 degC", []), ("37.4 °F", [])):
        changed = text.replace('{value: "3"}', f'{{reading: "{typed}"}}')
        at = place(changed, f'"{typed}"')
        problems = [("sample.yaml", code, *at, severity) for code, _, severity in wanted]
        assert found(write(tmp_path / typed[-1], changed)) == problems
    (problem,) = check(load(tmp_path / "3"))
    assert problem.message == 'Write "3 °C" if that is meant: "3" has no unit.'
    changed = text.replace('{value: "3"}', '{reading: "3 kPa"}')
    assert [p.code for p in check(load(write(tmp_path / "wrong", changed)))] == ["worked-case"]


@pytest.mark.parametrize("back", ["first", "second"])
def test_a_route_that_returns_is_told_whole_and_stands_at_the_answer_that_returns(
    tmp_path: Path, back: str
) -> None:
    third = f"  third:\n    ask: And now?\n    answers: {{Left: fourth, Right: served}}\n\n  fourth:\n    ask: So?\n    answers: {{Up: served, Down: {back}}}\n"
    text = TREE.replace("otherwise: enough, go: served", "otherwise: enough, go: third")
    text = text.replace("  broken:\n    finding", f"{third}\n  broken:\n    finding")
    problems = check(load(write(tmp_path / "lib", text)))
    (problem,) = [one for one in problems if one.code == "closed-route"]
    assert (problem.line, problem.column) == place(text, f"{back}}}")
    route = ["first", "second", "third", "fourth"]
    shown = " → ".join([*route[route.index(back) :], back])
    assert problem.message == f"Write a step that leads on: the route {shown} returns."


@pytest.mark.parametrize(
    ("cautions", "said"),
    [
        ("format: 1\nhazards: [", 'Mend cautions.yaml: "{}" is not known while it has errors.'),
        (
            "format: 1\nhazards: {}\ncautions: {}\n",
            'Write a hazard of cautions.yaml: there is no "{}".',
        ),
    ],
)
def test_a_hazard_is_not_blamed_while_the_file_that_knows_it_cannot_be_read(
    tmp_path: Path, cautions: str, said: str
) -> None:
    library = load(write(tmp_path / "lib", cautions=cautions))
    table = None if library.problems else caution_table(library.cautions)
    messages = [one.message for one in tree_problems(library, *library.trees.values(), table)]
    assert messages == [said.format(name) for name in ("wet-floor", "moving-parts", "mains")]


def test_a_circle_of_cautions_is_told_from_the_first_and_stands_where_it_closes(
    tmp_path: Path,
) -> None:
    """Key-out, barrier, lockout; another caution, which stands first, leads into its middle."""

    def more(name: str, includes: str) -> str:
        return (
            f"  {name}:\n    title: On\n    signal: CAUTION\n    covers: []\n"
            f"    includes: [{includes}]\n    lapses: never\n    text: Put it on.\n"
            "    confirm: [It is on.]\n"
        )

    text = CAUTIONS.replace("cautions:\n", "cautions:\n" + more("hat", "barrier"))
    text = text.replace("    title: Key out\n", "    title: Key out\n    includes: [barrier]\n")
    text = text.replace("covers: [wet-floor]\n", "covers: [wet-floor]\n    includes: [lockout]\n")
    text = text.replace("includes: [key-out]", "includes: [gloves, key-out]") + more("gloves", "")
    problems = check(load(write(tmp_path / "lib", cautions=text)))
    (problem,) = [one for one in problems if one.code == "includes-itself"]
    assert (problem.line, problem.column) == place(text, "key-out]")
    assert "Take one out: key-out → barrier → lockout → key-out closes" in problem.message


def test_a_hazard_for_service_only_is_not_told_to_be_covered_twice(tmp_path: Path) -> None:
    text = CAUTIONS.replace("[wet-floor]", "[wet-floor, mains]").replace(
        "covers: [moving-parts]", "covers: [moving-parts, mains]"
    )
    codes = [p.code for p in check(load(write(tmp_path / "lib", cautions=text)))]
    assert codes == ["covers-service-only"] * 2


def test_a_lockout_taken_twice_is_named_at_the_step_that_takes_it_again(tmp_path: Path) -> None:
    text = TREE.replace("    hazards: [wet-floor]\n", "    hazards: [moving-parts]\n", 1)
    text = text.replace("    by: operator\n", "    energises: true\n", 1)
    assert found(write(tmp_path / "lib", text)) == [
        ("sample.yaml", "lockout-twice", *place(text, "little:\n"), "w")
    ]


#: The codes of those below that are warnings.
WARNED = {"cut-text", "unknown-sign"}
CAUTION_CASES = [
    ("covers: [moving-parts]", "covers: [moving-prts]", [("unknown-hazard", "moving-prts", 1)]),
    ("covers: [wet-floor]", "covers: [wet-floor, moving-parts]", [("covered-twice", "moving-parts", 3)]),
    ("covers: [wet-floor]", "covers: [wet-floor, mains]", [("covers-service-only", "mains", 2)]),
    ("includes: [key-out]", "includes: [key-uot]", [("unknown-caution", "key-uot", 1)]),
    ("    covers: [wet-floor]\n", "    covers: [wet-floor]\n    includes: [barrier]\n", [("includes-itself", "barrier", 2)]),
    ("    release: [People are clear.]\n", "    includes: [lockout]\n    release: [People are clear.]\n", [("includes-itself", "key-out", 2)]),
    ("    release: [My own tag is off.]\n", "", [("no-release", "lockout", 1)]),
    ("lapses: never", "lapses: sometimes", [("unknown-word", "sometimes", 1)]),
    ("    lapses: never\n", "", [("missing-key", "title: Floor", 1)]),
    ("signal: WARNING", "signal: WARNUNG", [("unknown-word", "WARNUNG", 1)]),
    ("[W018, M021]", "[W18, M021]", [("unknown-word", "W18", 1)]),
    ("[W018, M021]", "[W080, M060, P074, F019, E070]", []),
    ("text: Put the signs up.", "text: Put sign up # 3", [("cut-text", "# 3", 1)]),
    *(("[W018, M021]", f"[W018, {sign}]", [("unknown-sign", sign, 1)]) for sign in ("W000", "W081", "M061", "P075", "F020", "E071")),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "wanted"), CAUTION_CASES)
def test_each_rule_on_cautions_at_its_place(
    tmp_path: Path, old: str, new: str, wanted: list[tuple[str, str, int]]
) -> None:
    text = CAUTIONS.replace(old, new, 1)
    assert text != CAUTIONS
    problems = [p for p in found(write(tmp_path / "lib", cautions=text)) if p[0] == "cautions.yaml"]
    assert problems == sorted(
        ("cautions.yaml", code, *place(text, at, nth), "w" if code in WARNED else "e")
        for code, at, nth in wanted
    )


def test_a_round_and_a_card_are_checked_too(tmp_path: Path) -> None:
    round_ = (
        "format: 1\nround: evening\ntitle: After the shift\nevery: shift\nitems:\n"
        "  one: {do: Look., hazards: [wet-flor], starts: sampel}\n"
        "  two: {do: Run it., hazards: [moving-parts], energises: true}\n"
        "  three: {do: Open it., hazards: [mains], cautions: [lokout]}\n"
    )
    card = "format: 1\nmachine: dock\ntitle: Dock\ncaution_minutes: {lockuot: 10}\n"
    folder = write(tmp_path / "lib", rounds__evening=round_, machines__dock=card)
    assert found(folder) == [
        ("dock.yaml", "unknown-caution", *place(card, "lockuot"), "e"),
        ("evening.yaml", "unknown-hazard", *place(round_, "wet-flor"), "e"),
        ("evening.yaml", "unknown-symptom", *place(round_, "sampel"), "e"),
        ("evening.yaml", "energises", *place(round_, "moving-parts"), "e"),
        ("evening.yaml", "service-only", *place(round_, "mains"), "e"),
        ("evening.yaml", "unknown-caution", *place(round_, "lokout"), "e"),
    ]


def test_a_library_without_cautions_knows_no_hazard(tmp_path: Path) -> None:
    folder = write(tmp_path / "lib")
    (folder / "cautions.yaml").unlink()
    assert {p[1] for p in found(folder)} == {"unknown-hazard"}


def test_where_cautions_are_broken_a_tree_that_names_a_hazard_says_so(tmp_path: Path) -> None:
    folder = write(tmp_path / "lib", cautions="format: 1\n")
    codes = [(file, code) for file, code, *_ in found(folder)]
    assert codes == [("cautions.yaml", "missing-key")] * 2
    first, second = check(load(folder))
    assert (first.following, second.following) == (3, 0)
    assert "And 3 that follow from it." in f"{first}"


def test_a_file_that_cannot_be_read_whole_is_still_looked_at_by_the_rules(tmp_path: Path) -> None:
    """All that is wrong is said at once, and what a broken step would explain is not blamed."""
    text = TREE.replace("ask: What", "aks: What").replace("[moving-parts]", "[moving-prts]")
    text = text.replace("chance: 10", "chance: none").replace("It looks right: second", "X: 1")
    assert found(write(tmp_path / "lib", text)) == [
        ("sample.yaml", "no-such-step", *place(text, "aks"), "e"),
        ("sample.yaml", "unknown-hazard", *place(text, "moving-prts"), "e"),
        ("sample.yaml", "not-a-number", *place(text, "none"), "e"),
    ]
    (tmp_path / "lib" / "sample.yaml").write_text("format: 1\nsteps: []\n", encoding="utf-8")
    assert {code for _, code, *_ in found(tmp_path / "lib")} == {"missing-key", "wrong-shape"}


def test_every_message_is_one_sentence_that_ends(tmp_path: Path) -> None:
    messages = []
    for number, (old, new, _) in enumerate(BROKEN):
        text = TREE.replace(old, new, 1)
        folder = write(tmp_path / f"lib{number}", text, other=OTHER, machines__dock=CARD)
        messages += [problem.message for problem in check(load(folder))]
    assert len(messages) >= sum(len(wanted) for _, _, wanted in BROKEN)
    for message in messages:
        assert "\n" not in message
        assert message[-1] in ".?"
        assert message[0].isupper() or message[0] in "\"'"


def test_a_thousand_wrong_names_in_one_file_are_each_named(tmp_path: Path) -> None:
    """Only the first are compared with what they may mean: it takes longest where most is wrong."""
    checks = "".join(
        f"  s{n}: {{ask: What?, answers: {{This one: t{n}, That one: broken}}}}\n"
        for n in range(1000)
    )
    text = TREE.replace("\n  first:", f"\n{checks}\n  first:", 1)
    problems = [p for p in check(load(write(tmp_path / "lib", text))) if p.code == "unknown-step"]
    first = text[: text.index("  s0:")].count("\n") + 1
    assert [(p.line, p.column) for p in problems] == [
        (first + n, len(f"  s{n}: {{ask: What?, answers: {{This one: ") + 1) for n in range(1000)
    ]
    assert "Did you mean" not in problems[-1].message


def test_a_change_that_is_not_on_the_disk_is_checked_at_its_own_places(tmp_path: Path) -> None:
    library = load(write(tmp_path / "lib"))
    moved = "# a line more\n" + TREE.replace("start: first", "start: frist")
    put_in(library, moved, "sample.yaml")
    assert [(p.code, p.line, p.column) for p in check(library)] == [
        ("unknown-step", *place(moved, "frist"))
    ]


def test_a_hazard_that_cautions_yaml_itself_does_not_know_is_not_blamed_on_its_errors(
    tmp_path: Path,
) -> None:
    text = CAUTIONS[: CAUTIONS.index("  moving-parts")].replace("hazards:", "hazards: {}")
    text += CAUTIONS[CAUTIONS.index("cautions:") :]
    problems = check(load(write(tmp_path / "lib", cautions=text)))
    said = {p.message for p in problems if p.file.endswith("cautions.yaml")}
    assert said == {
        'Write a hazard of cautions.yaml: there is no "moving-parts".',
        'Write a hazard of cautions.yaml: there is no "wet-floor".',
    }


def test_a_hazard_that_is_covered_three_times_is_left_to_the_first(tmp_path: Path) -> None:
    text = CAUTIONS.replace(
        "    lapses: when energised\n", "    covers: [wet-floor]\n    lapses: when energised\n", 1
    )
    text = text.replace("covers: [moving-parts]", "covers: [moving-parts, wet-floor]")
    problems = check(load(write(tmp_path / "lib", cautions=text)))
    assert [(p.line, p.column) for p in problems] == [
        place(text, "wet-floor", nth) for nth in (3, 4)
    ]
    assert all('in "key-out": it is covered there already' in p.message for p in problems)


#: Files that stand beside the sample, and what is said of each: code, text at its place, severity.
BESIDE = [
    ("other.yaml", TREE.replace("symptom: sample", "symptom: other"), [], "title-twice", "It does"),
    ("machines/dock.yaml", "format: 1\nmachine: dock\ntitle: the  AISLE\n", ["machines/aisle.yaml"], "title-twice", "the  AISLE"),
    ("machines/kinds/small.yaml", "format: 2\nkind: small\ntitle: Large\n", ["machines/kinds/large.yaml"], "title-twice", "Large"),
    ("rounds/weekly.yaml", "format: 1\nround: weekly\ntitle: Daily\nevery: day\nitems: {look: {do: Look.}}\n", ["rounds/daily.yaml"], "title-twice", "Daily"),
    ("machines/dock.yaml", "format: 1\nmachine: dock\ntitle: Dock\nnameplate: {model: M, serial: a-1}\n", ["machines/aisle.yaml"], "serial-twice", "a-1"),
    ("zeta.yaml", TREE.replace("symptom: sample\ntitle: It", "symptom: zeta\ntitle: That").replace("start:", "also_called: [lines, It does not work]\nstart:"), [], "also-called-twice", "It does"),
    ("zeta.yaml", TREE.replace("symptom: sample\ntitle: It", "symptom: zeta\ntitle: That").replace("start:", "also_called: [new, dry]\nstart:"), ["other.yaml"], "also-called-twice", "dry"),
    ("zeta.yaml", TREE.replace("symptom: sample\ntitle: It", "symptom: zeta\ntitle: That").replace("chance: 30", "chance: 0.6").replace("chance: 20", "chance: 0.3").replace("chance: 10", "chance: 0.1"), ["hundred.yaml"], "other-scale", "0.6"),
]  # fmt: skip
#: What else may stand there.
THERE = {
    "machines/aisle.yaml": "format: 1\nmachine: aisle\ntitle: The aisle\nnameplate: {serial: A-1}\n",
    "machines/kinds/large.yaml": "format: 2\nkind: large\ntitle: Large\n",
    "rounds/daily.yaml": "format: 1\nround: daily\ntitle: Daily\nevery: day\nitems: {look: {do: Look.}}\n",
    "other.yaml": TREE.replace("symptom: sample\ntitle: It", "symptom: other\ntitle: This").replace(
        "start:", "also_called: [dry]\nstart:"
    ),
    "hundred.yaml": TREE.replace(
        "symptom: sample\ntitle: It", "symptom: hundred\ntitle: Again it"
    ).replace("chance: 10", "chance: 50"),
}


@pytest.mark.parametrize(("name", "text", "there", "code", "at"), BESIDE)
def test_what_stands_in_two_files_is_named_in_one_of_them(
    tmp_path: Path, name: str, text: str, there: list[str], code: str, at: str
) -> None:
    folder = write(tmp_path / "lib")
    if code == "title-twice" and name == "other.yaml":
        (folder / "sample.yaml").rename(folder / "a.yaml")
        (folder / "a.yaml").write_text(TREE.replace("symptom: sample", "symptom: a"))
    for file, content in ((name, text), *((one, THERE[one]) for one in there)):
        path = folder / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content)
    assert found(folder) == [(Path(name).name, code, *place(text, at), "w")]


def test_what_stands_twice_is_said_with_where_it_stands_first(tmp_path: Path) -> None:
    text = TREE.replace("start:", "also_called: [it DOES not work, dry, dry]\nstart:")
    card = "format: 1\nmachine: dock\ntitle: Dock\nnameplate: {serial: A-1}\n"
    folder = write(tmp_path / "lib", text, other=TREE.replace("symptom: sample", "symptom: other"))
    for machine in ("aisle", "dock"):
        path = folder / "machines" / f"{machine}.yaml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(card.replace("dock", machine))
    assert [problem.message for problem in check(load(folder))] == [
        '"aisle" has the title "Dock" too: write what tells them apart.',
        '"aisle" has the serial number "A-1" too: read it off the nameplate.',
        '"other" has the title "It does not work" too: write what tells them apart.',
        '"it DOES not work" stands in "other" already: keep one of the two.',
        '"dry" stands here already: keep one of the two.',
    ]


def test_a_chance_of_another_scale_is_said_with_what_it_would_mean(tmp_path: Path) -> None:
    text = TREE.replace("chance: 30", "chance: 0.3").replace("chance: 20", "chance: 80")
    (problem,) = check(load(write(tmp_path / "one", text)))
    assert problem.message == (
        "The chances add up to 90.3, so 0.3 is one case in 301: write 30 where a share of one is "
        "meant."
    )
    text = TREE.replace("chance: 30", "chance: 0.3").replace("chance: 20", "chance: 0.6")
    (problem,) = check(load(write(tmp_path / "two", text)))
    assert problem.message == (
        "The other chances add up to 0.9, beside which 10 is nearly all: write 0.1 where cases in "
        "100 are meant."
    )


def test_an_id_that_a_step_had_is_nobody_elses(tmp_path: Path) -> None:
    text = TREE.replace("format: 1", "format: 3", 1)
    text = text.replace(
        "    leave_safe: Park it.\n", "    until_mended: out of use\n    leave_safe: Park it.\n"
    )
    sound = text.replace("    chance: 10\n", "    chance: 10\n    was: [dead, cut-off]\n")
    assert found(write(tmp_path / "lib", sound)) == []
    there = text.replace("    chance: 10\n", "    chance: 10\n    was: [dead, little]\n")
    at = place(there, "little]")
    assert found(write(tmp_path / "lib", there)) == [("sample.yaml", "former-id", *at, "e")]
    twice = sound.replace(
        "    ask: What do you see?\n", "    ask: What do you see?\n    was: [dead]\n"
    )
    at = place(twice, "dead", 2)
    assert found(write(tmp_path / "lib", twice)) == [("sample.yaml", "former-id", *at, "e")]
