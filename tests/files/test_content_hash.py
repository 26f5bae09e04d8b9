"""The content hash says the same for ever: a logged case knows its tree by it."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from diagnose.files.library import Library, load
from diagnose.files.places import Places
from diagnose.files.reading import content_hash, read_tree
from diagnose.rules.check import check, errors

#: A library in which every kind of value stands.
SAMPLE = {
    "sample.yaml": """\
format: 1
symptom: sample
title: "It leaves: lines"   # with a comment
also_called: [wet lines, smears]
start: look
steps:
  look:
    do: Look along the blade.
    ask: What stands there?
    look_for: >-
      A clean edge
      is straight.
    tool: A torch
    minutes: 2
    slip: 0.03
    by: operator
    from_card: battery.kind
    hazards: [wet-floor]
    cautions: [key-out]
    energises: false
    passes: 'no'
    if_unsure: yes it is
    answers: {yes it is: worn, 'no': measure}
  measure:
    read: value
    do: Measure it.
    after: [look]
    energises: true
    bands:
      - {below: 4.5, call: low, go: worn}
      - {below: 50, call: so-so, go: served}
      - {otherwise: high, go: door}
  worn:
    finding: The blade is worn.
    chance: 12.5
    who: operator
    remedy: Turn it. Ünd – so 🧽.
    minutes: 7
    hazards: [moving-parts]
    parts: [rear blade, front blade]
  served:
    finding: The motor is dead.
    chance: 3
    who: service
    leave_safe: Park it.
    ask_service: Measure it.
    hazards: [mains]
  door: {finding: Another one, chance: 1, continue_with: other}
worked_cases:
  - name: plain
    answers: {look: yes it is}
    finding: worn
  - name: read
    answers: {measure: {value: "3"}}
    finding: worn
""",
    "cautions.yaml": """\
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
    confirm: [The key is in my pocket., The brake is on.]
    release: [People are clear.]
  lockout:
    title: Machine dead
    signal: WARNING
    signs: [W018, M021]
    covers: [moving-parts]
    includes: [key-out]
    lapses: when energised
    minutes: 2.5
    text: Make the machine dead.
    confirm: [The connector is apart.]
    release: [My own tag is off.]
  barrier:
    title: Floor closed off
    signal: NOTICE
    covers: [wet-floor]
    lapses: never
    text: Put the signs up.
    confirm: [The signs are up.]
""",
    "rounds/sample.yaml": """\
format: 1
round: sample
title: After the shift
every: shift
items:
  one: {do: Look., look_for: Nothing., minutes: 3, hazards: [wet-floor], cautions: [key-out], starts: sample}
  two: {do: Run it., energises: true}
""",
    "machines/sample.yaml": """\
format: 1
machine: sample
title: Dock
nameplate: {model: D-1, built: 2019}
tanks: {clean: 110 L}
battery: {kind: flooded, cells: 12, exponent: 1.2, capacity: 240 Ah}
squeegee: {rear_edges: 4}
charger: {programme: A, lamps: {green: full, red: fault}}
caution_minutes: {lockout: 10}
""",
}

#: Taken on 26 November 2026 with the program of that day, which kept places in its words. Anew since
#: format 2: cautions (a lockout is named) and trees that show a list of the card (a key of its own).
SAMPLE_HASHES = {
    "cautions.yaml": "801b470007ac816748bdf09dc401e5e55bd380ff9ac1a8e0776281dcd37d86aa",
    "sample.yaml": "8ca7703ca241dfd48dbaf48fb9e421cd547c64f86f2ce60895551e684e5a6aec",
    "machines/sample.yaml": "d9443add6c5cf94a72016816755dafcb8e30dbe9a95422a171016891d9a79a03",
    "rounds/sample.yaml": "0eefb2d11ff5a8ce5ba2498de2983e6a9776669dae49e6bc5610224f9f1ca4eb",
}

#: The built-in library as it was in format 1.
FROZEN = Path(__file__).with_name("format_1")

#: As above, of what is frozen there: file, the front of the SHA-256 of its text, content hash.
HASHES = [
    (
        "brushes-stopped.yaml",
        "2b61676147284888",
        "64522c238baa727bd0defac19db9e80e0a6c6c3e5c24cfb3601f229231e10180",
    ),
    (
        "dirt-stays.yaml",
        "01c6924a8eafd86e",
        "30274899ddd3799df013917c81a37db0b0a63f888e14868761b408eac4c5044f",
    ),
    (
        "exhaust-foam.yaml",
        "4acc35345a9b26c1",
        "152d9d3feeb39eec64ea49deab73c3c85fd5b809c0788534f8765da023abda20",
    ),
    (
        "leak.yaml",
        "752c2f26f4ca2a99",
        "e278979715866a0a515fa526a15542c78804c13ac5d1826dfb11ddaaad9a66d1",
    ),
    (
        "low-runtime.yaml",
        "fa5f5447331faa4c",
        "8798727feec807bb7792680670b77a444aa7a9d8361981949e39a0fdcbbf82d2",
    ),
    (
        "machines/aisle.yaml",
        "1ee63beb78cb6bc3",
        "6d4b038fd0028ebc27162d146d510b480193d593b410b5773bc13eccb1c57a99",
    ),
    (
        "machines/dock.yaml",
        "69b749385067d42d",
        "43bcea7e3301a8b031d30ad6e7e420213032eb63e65b86e3c93561797a493539",
    ),
    (
        "no-charge.yaml",
        "7123d99dd7df6ac8",
        "2782e3c1fb30125097b7d1a81ee1a12ab727d2a91bf9471d72f0a9974e3a67f4",
    ),
    (
        "no-drive.yaml",
        "9c287b68bbac86a0",
        "a17040608ddd0aecd010ddd207e6a542dc705c39199434f3a66d4250adf56565",
    ),
    (
        "no-solution-flow.yaml",
        "20c17606bbcdfed4",
        "4c3117d6ddb03dca6c483071a59641e2f2619db1ef72e340360ca72ff51a08e5",
    ),
    (
        "poor-pickup.yaml",
        "9c0841a4a2ddd6fe",
        "f220056fb58c1a759ad51277b0f8379b6fce29811e4e9aaaac109fcf80198fac",
    ),
    (
        "rounds/after-shift.yaml",
        "6c667115cfbd2237",
        "c40d5666c5ecf54a4b156b9e000ada3a178947d829bd362803c6c3a05e5e3157",
    ),
    (
        "rounds/battery-day.yaml",
        "433491c9e97f7134",
        "ea5ff3633c9430e045895c56991a0b6d32d979212a476cbd4b808a11c9b038eb",
    ),
    (
        "rounds/before-shift.yaml",
        "86be248501ab9f59",
        "9d6dff5f8d0ac56676a2e4d948226c5486475897a75e7b1a619fbc0555b1f446",
    ),
    (
        "rounds/weekly.yaml",
        "a857d696c3b9c4a3",
        "56d7b73996ad441bf9e115f5b1f8fbf13f1fb9577b2e852621320bc0615a7538",
    ),
    (
        "streaking.yaml",
        "bd2ddad594baffe7",
        "9b89b32d271a8fbd613ab68dd2d20f1e7cf83fba95414e49c2d24da402b71b3b",
    ),
    (
        "which-symptom.yaml",
        "d39a224eb419d5c0",
        "17196b722a4fc95c7138c9efc11691b9c68afa260d17aaf205b3b8842c6949ff",
    ),
]


def hashes(library: Library) -> dict[str, str]:
    assert library.problems == []
    meanings: dict[str, object] = {"cautions.yaml": library.cautions}
    meanings |= {f"{name}.yaml": tree for name, tree in library.trees.items()}
    if library.site is not None:
        meanings["site.yaml"] = library.site
    meanings |= {f"machines/{name}.yaml": card for name, card in library.machines.items()}
    meanings |= {f"machines/kinds/{name}.yaml": kind for name, kind in library.kinds.items()}
    meanings |= {f"rounds/{name}.yaml": own for name, own in library.rounds.items()}
    return {name: content_hash(meaning) for name, meaning in meanings.items()}


def test_a_sample_of_every_key_has_the_hash_that_it_had(tmp_path: Path) -> None:
    for name, text in SAMPLE.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert hashes(load(tmp_path)) == SAMPLE_HASHES


@pytest.fixture(scope="module")
def today() -> dict[str, str]:
    return hashes(load(FROZEN))


@pytest.mark.parametrize(("name", "text", "digest"), HASHES, ids=lambda v: v if "." in v else "")
def test_a_file_of_format_1_has_the_hash_that_it_had(
    name: str, text: str, digest: str, today: dict[str, str]
) -> None:
    assert hashlib.sha256((FROZEN / name).read_bytes()).hexdigest().startswith(text)
    assert today[name] == digest


def test_a_library_of_format_1_means_what_it_meant(tmp_path: Path) -> None:
    """Lists of the card are shown, what is service's is out of use, lines are confirmed singly."""
    library = load(FROZEN)
    assert errors(check(library)) == []
    log = library.trees["low-runtime"].steps["charger"]
    assert (log.from_card, log.show_card) == (None, ("charger",))
    kind = library.trees["low-runtime"].steps["kind"]
    assert (kind.from_card, kind.show_card) == ("battery.kind", ())
    findings = [s for t in library.trees.values() for s in t.steps.values() if hasattr(s, "who")]
    assert {one.until_mended for one in findings if one.who == "service"} == {"out of use"}
    assert {one.until_mended for one in findings if one.who != "service"} == {None}
    cautions = library.cautions.cautions
    assert {one.confirm_lines for one in cautions.values()} == {"each"}
    assert [name for name, one in cautions.items() if one.lockout] == ["lockout"]


def test_a_library_of_format_2_means_what_it_meant() -> None:
    """The built-in library as it was in format 2: file, SHA-256 of its text, content hash."""
    frozen = Path(__file__).with_name("format_2")
    taken = (frozen.with_name("format_2.hashes")).read_text(encoding="utf-8").split()
    rows = list(zip(taken[::3], taken[1::3], taken[2::3], strict=True))
    library = load(frozen)
    assert errors(check(library)) == []
    assert hashes(library).items() == {(file, meaning) for file, _, meaning in rows}
    texts = {(file, hashlib.sha256((frozen / file).read_bytes()).hexdigest()) for file, *_ in rows}
    assert texts == {(file, text) for file, text, _ in rows}


def test_neither_equality_nor_the_hash_sees_where_the_words_stand() -> None:
    tree, problems = read_tree(SAMPLE["sample.yaml"], "a.yaml")
    moved = "# one line more\n" + SAMPLE["sample.yaml"].replace("start: look", "start:     look")
    again, more = read_tree(moved, "b.yaml")
    assert (problems, more) == ([], [])
    assert tree == again
    assert content_hash(tree) == content_hash(again)
    assert hash(tree.steps["worn"]) == hash(again.steps["worn"])
    assert Places(SAMPLE["sample.yaml"]).at(("start",)) == (5, 8)
    assert Places(moved).at(("start",)) == (6, 12)
