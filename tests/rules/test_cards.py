"""What a card says: whatever passes the checker works in the walk, and what does not is named."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import Phase, find, given, settings
from hypothesis import strategies as st

from diagnose.commands.options import Unusable
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.definitions import CARD_LINES, line_kind
from diagnose.files.kinds import Quantity
from diagnose.files.library import load, put_in
from diagnose.measure.registry import MEASUREMENTS, MissingLine, Unreadable, compute
from diagnose.rules.check import check

if TYPE_CHECKING:
    from pathlib import Path

    from diagnose.files.problems import Problem

TREE = """\
format: 2
symptom: sample
title: It does not work
start: first
steps:
  first: {ask: What do you see?, answers: {It is torn: torn, It is cut: cut}}
  torn: {finding: It is torn, chance: 30, who: operator, remedy: Mend it.}
  cut: {finding: It is cut, chance: 20, who: operator, remedy: Change it.}
"""


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("cards")
    (made / "sample.yaml").write_text(TREE)
    return made


def text_of(head: str, lines: dict[str, str]) -> str:
    """Return a card, kind or site that says these lines, by their dotted paths."""
    sections: dict[str, list[str]] = {}
    for path, value in lines.items():
        section, _, key = path.rpartition(".")
        sections.setdefault(section, []).append(f'{key}: "{value}"')
    alone = sections.pop("", [])
    return "\n".join([head, *alone, *(f"{k}: {{{', '.join(v)}}}" for k, v in sections.items())])


def problems_of(folder: Path, **files: str) -> list[Problem]:
    """Return the errors of a library with these files, ``machines__dock``."""
    library = load(folder)
    for name, text in files.items():
        *inside, last = name.split("__")
        put_in(library, text, *inside, f"{last}.yaml")
    return [problem for problem in check(library) if problem.severity == "error"]


#: The units that a card may be written in, line by line.
UNITS = {
    "site.altitude": "mm cm m in inch ft feet yd",
    "tanks.clean": "mL L l ml m3 gal imperial_gallon gallons litres",
    "tanks.dirty": "mL L l ml m3 gal imperial_gallon gallons litres",
    "working_speed": "km/h m/s m/min mph ft/min kph",
    "flow.rate": "L/min l/min mL/min L/h gpm gal/min lpm",
    "suction.rated": "Pa kPa mbar hPa inH2O mmH2O inHg psi",
    "warmest_solution": "degC degF °C °F C F",
    "brushes.current": "A mA amps",
    "battery.capacity": "Ah C",
    "battery.age": "s min h day days month months year years",
    "battery.lowest_charge": "% percent",
}
#: A number that is in range in all units of the line.
NUMBER = {"warmest_solution": "40"}


@pytest.mark.parametrize("line", UNITS)
def test_a_line_is_written_in_any_unit_of_its_kind_and_in_no_other(folder: Path, line: str) -> None:
    own = UNITS[line].split()
    head = "format: 2\nmachine: dock\ntitle: Dock"
    for unit in sorted({unit for units in UNITS.values() for unit in units.split()}):
        text = text_of(head, {line: f"{NUMBER.get(line, '3')} {unit}"})
        found = problems_of(folder, machines__dock=text)
        assert [p.code for p in found] == ([] if unit in own else ["card-value"]), unit


@pytest.mark.parametrize(
    ("file", "text", "at", "said"),
    [
        ("machines__dock", "format: 2\nmachine: dock\ntitle: Dock\npath_width: 75 kg\n", (4, 13),
         "Write what a reading can use: 'kg' measures a mass; expected a length above 0 and up to "
         "2000 cm, such as 75 cm."),
        ("machines__dock", "format: 2\nmachine: dock\ntitle: Dock\ntanks: {dirty: 96 Pa}\n", (4, 16),
         "Write what a reading can use: 'Pa' measures a pressure."),
        ("machines__dock", "format: 2\nmachine: dock\ntitle: Dock\ntanks: {dirty: -96 L}\n", (4, 16),
         "Write what a reading can use: '-96 L' is out of range."),
        ("machines__dock", "format: 2\nmachine: dock\ntitle: Dock\nbattery: {age: 2 moons}\n", (4, 16),
         "Write what a reading can use: 'moons' is no unit that is known here."),
        ("machines__dock", 'format: 2\nmachine: dock\ntitle: Dock\ntanks: {clean: "1,500 L"}\n', (4, 16),
         "Write what a reading can use: '1,500' can be read two ways, use a point or no comma; expected a "
         "volume from 0 to 5000 L, such as 110 L."),
        ("machines__dock", "format: 2\nmachine: dock\ntitle: Dock\nbattery: {charge_factor: 1.9}\n", (4, 26),
         "Write what a reading can use: '1.9' is out of range; expected a number from 1 to 1.5, such as 1.2."),
        ("machines__kinds__small", "format: 2\nkind: small\ntitle: S\nsuction: {rated: 300 kPa}\n", (4, 18),
         "Write what a reading can use: '300 kPa' is out of range; expected a pressure above 0 and up to "
         "101.325 kPa, such as 45 inH2O."),
        ("site", "format: 2\nname: Here\naltitude: 9000 m\n", (3, 11),
         "Write what a reading can use: '9000 m' is out of range; expected a length from -500 to 6000 m, "
         "such as 320 m."),
        ("machines__dock", "format: 2\nmachine: dock\ntitle: D\ndetergent: {ratio: 2 %}\n", (4, 20),
         "Write what a reading can use: '2 %' is no ratio; expected a ratio from 1 to 5000, such as 1:40."),
    ],
)  # fmt: skip
def test_a_line_that_no_reading_can_use_is_named_at_its_value(
    folder: Path, file: str, text: str, at: tuple[int, int], said: str
) -> None:
    (problem,) = problems_of(folder, **{file: text})
    assert (problem.code, (problem.line, problem.column)) == ("card-value", at)
    assert problem.message == said


#: What stands before a unit, ordinary, odd and out of all bounds.
_numbers = st.sampled_from(
    "0 1 2 3 4 5 8 12 24 0.5 1,5 .5 5. 1,500 1e3 1e-9 1e-300 1e300 -1 +2 020 100 240 1000 5000 99999".split()
)
_units = st.sampled_from(sorted({unit for units in UNITS.values() for unit in units.split()}))
_words = st.sampled_from(
    ["flooded", "sealed", "lithium", "Flooded", "1:40", "1:0", "1 : 100", "many"]
)
_EXAMPLES = {
    need.card: need.example
    for measurement in MEASUREMENTS.values()
    for need in measurement.needs
    if need.card is not None
}
_LINES = sorted(
    {path for path in CARD_LINES if isinstance(line_kind(path), Quantity)} | set(_EXAMPLES)
)


@st.composite
def lines(draw: Any) -> dict[str, str]:
    """What a card says at lines that measurements read, or are quantities.

    In half of the cards all is right; in the others each line may be anything.
    """
    wild = draw(st.booleans())
    said = {}
    for path in draw(st.lists(st.sampled_from(_LINES), min_size=1, unique=True)):
        unit = draw(st.sampled_from(UNITS[path].split()) if path in UNITS else st.just(""))
        if not wild or draw(st.booleans()):
            said[path] = f"{NUMBER.get(path, '3')} {unit}" if unit else _EXAMPLES[path]
        elif draw(st.integers(0, 3)):
            said[path] = f"{draw(_numbers)} {draw(st.just(unit) | _units)}".strip()
        else:
            said[path] = draw(_words)
    return said


def taken(measurement: Any, card: Any) -> str | None:
    """Take a measurement with its own examples; return what is said against the card, if anything."""
    given = {need.name: need.example for need in measurement.needs if need.asked}
    try:
        compute(measurement, given, card=card.line, bare=True)
    except MissingLine as problem:
        return f"{problem}" if "cannot be used" in f"{problem}" else None
    except Unreadable:
        return None  # What was typed does not fit this machine; another figure would.
    return None


@given(
    own=lines(), shared=lines(), altitude=st.none() | st.builds("{} {}".format, _numbers, _units)
)
def test_whatever_passes_the_checker_can_be_computed_with(
    folder: Path, own: dict[str, str], shared: dict[str, str], altitude: str | None
) -> None:
    """Over cards, kinds and sites, and all measurements; what cannot be used is no news to a walk."""
    library = load(folder)
    high = "" if altitude is None else f'\naltitude: "{altitude}"'
    put_in(
        library,
        text_of("format: 2\nmachine: dock\ntitle: Dock\nkind: small", own),
        "machines",
        "dock.yaml",
    )
    put_in(
        library,
        text_of("format: 2\nkind: small\ntitle: Small", shared),
        "machines",
        "kinds",
        "small.yaml",
    )
    put_in(library, f"format: 2\nname: Here{high}", "site.yaml")
    wrong = [problem for problem in check(library) if problem.severity == "error"]
    card = library.card("dock")
    said = {} if card is None else {one.name: taken(one, card) for one in MEASUREMENTS.values()}
    if not wrong:
        assert card is not None
        assert set(said.values()) == {None}
    # And what a measurement cannot use was said, at the line.
    if any(said.values()):
        assert "card-value" in {problem.code for problem in wrong}


def test_the_cards_above_hold_both(folder: Path) -> None:
    """A test in which no card ever passed, or each did, would show nothing."""
    library = load(folder)

    def passes(said: dict[str, str]) -> bool:
        library.problems, library.machines = [], {}
        put_in(
            library, text_of("format: 2\nmachine: dock\ntitle: Dock", said), "machines", "dock.yaml"
        )
        return all(p.severity != "error" or "dock" not in p.file for p in check(library))

    quick = settings(max_examples=200, phases=[Phase.generate])
    long = find(lines(), lambda said: passes(said) and len(said) > 3, settings=quick)
    assert len(long) > 3
    assert find(lines(), lambda said: not passes(said), settings=quick)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("machines/dock.yaml", "format: 2\nmachine: dock\ntitle: Dock\nkind: small\ntanks: {clean: 9 Pa}\n"),
        ("machines/kinds/small.yaml", "format: 2\nkind: small\ntitle: S\npath_width: 9 Pa\n"),
        ("site.yaml", "format: 2\nname: Here\naltitude: 9 Pa\n"),
    ],
)  # fmt: skip
def test_a_machine_with_such_a_line_is_refused_before_a_case(
    tmp_path: Path, name: str, text: str
) -> None:
    files = {
        "sample.yaml": TREE,
        "machines/dock.yaml": "format: 2\nmachine: dock\ntitle: Dock\nkind: small\n",
        "machines/kinds/small.yaml": "format: 2\nkind: small\ntitle: S\n",
        name: text,
    }
    for file, content in files.items():
        (tmp_path / file).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / file).write_text(content)
    with pytest.raises(
        Unusable, match=rf"{name}:\d+:\d+: error: Write what a reading can use: 'Pa'"
    ):
        ReadyLibrary(tmp_path, frozenset()).machine("dock")


@pytest.mark.parametrize("caution", ["lockout", "lokout"])
def test_a_caution_of_a_card_is_not_judged_while_the_cautions_have_errors(
    tmp_path: Path, caution: str
) -> None:
    (tmp_path / "machines").mkdir()
    (tmp_path / "sample.yaml").write_text(TREE)
    (tmp_path / "cautions.yaml").write_text(
        "format: 2\nhazards: {}\ncautions:\n  hat: {title: H, signal: CAUTION, lapses: never, "
        "text: t, confirm: [c]}\n"
    )
    (tmp_path / "machines" / "dock.yaml").write_text(
        f"format: 2\nmachine: dock\ntitle: Dock\ncaution_minutes: {{{caution}: 3}}\n"
    )
    with pytest.raises(Unusable, match="Write a caution of cautions"):
        ReadyLibrary(tmp_path, frozenset()).machine("dock")
    (tmp_path / "cautions.yaml").write_text("format: 2\n")
    assert ReadyLibrary(tmp_path, frozenset()).machine("dock") is not None
