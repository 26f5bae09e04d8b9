"""The cautions and rounds against the public texts that they follow.

Every text here has the status R (the passage was read, in a stored excerpt), but ANSI Z358.1, which
is from memory (M), and is paraphrased:
OSHA 29 CFR 1910.147, 1910.178(g), 1926.441, 1910.151(c), 1910.1200, 1910.22; HSE INDG139;
IEC 62485-3; ANSI Z358.1, Z535.6; ISO 7010.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from strategies.rounds import Told, opened

from diagnose.files.library import built_in

TREES = built_in()
KNOWN = yaml.safe_load((TREES / "cautions.yaml").read_text())["cautions"]
ROUNDS = {
    path.stem: yaml.safe_load(path.read_text())["items"]
    for path in sorted((TREES / "rounds").glob("*.yaml"))
}
DOC = (Path(__file__).parents[2] / "docs" / "cautions.md").read_text(encoding="utf-8")

#: The published texts, by the mark that stands for each in a citation.
TEXTS = (
    *("1910.147", "1910.178(g)", "1926.441", "1910.151(c)", "1910.1200", "1910.22"),
    *("INDG139", "62485-3", "Z358.1", "55-2210-224-12"),
)
NO_SOURCE = "common practice, no published source"


def rows(width: int) -> list[list[str]]:
    found = []
    for line in DOC.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("| `") and len(cells) == width:
            found.append([cell.strip("`") for cell in cells])
    return found


def cited(text: str) -> set[str]:
    flat = " ".join(text.split()).casefold()
    return {mark for mark in (*TEXTS, NO_SOURCE) if mark.casefold() in flat}


def comment_over(caution: str) -> str:
    """The comment right above a caution in cautions.yaml."""
    lines = (TREES / "cautions.yaml").read_text(encoding="utf-8").splitlines()
    at = lines.index(f"  {caution}:", lines.index("cautions:"))
    first = at
    while lines[first - 1].startswith("  #"):
        first -= 1
    return " ".join(line.strip(" #") for line in lines[first:at])


CAUTION_ROWS = {row[0]: row[2] for row in rows(3)}


def test_every_caution_has_its_row_in_the_order_of_the_file() -> None:
    assert [row[0] for row in rows(3)] == list(KNOWN)


@pytest.mark.parametrize("caution", KNOWN)
def test_every_caution_names_the_text_it_follows(caution: str) -> None:
    named = cited(comment_over(caution))
    assert named, f"the comment over {caution} names no text"
    assert named == cited(CAUTION_ROWS[caution])


@pytest.mark.parametrize("row", rows(4), ids=lambda row: f"{row[0]}-{row[1]}")
def test_every_row_of_an_item_names_an_item_and_a_text(row: list[str]) -> None:
    round_, item, _, follows = row
    assert item in ROUNDS[round_]
    assert cited(follows) - {NO_SOURCE}


def test_signal_words_are_the_standards_own() -> None:
    """ANSI Z535.6: NOTICE is not about injury, so no caution may carry it."""
    for name, caution in KNOWN.items():
        assert caution["signal"] in ("DANGER", "WARNING", "CAUTION"), name


def place(lines: list[str], *words: str) -> int:
    """Where the one line stands that has all of these words."""
    (at,) = [
        number
        for number, line in enumerate(lines)
        if all(re.search(word, line, re.IGNORECASE) for word in words)
    ]
    return at


def taken_with(caution: str) -> list[str]:
    """The lines confirmed for a caution, those of what it includes first."""
    lines: list[str] = []
    for name in KNOWN[caution].get("includes", ()):
        lines += taken_with(name)
    return lines + KNOWN[caution]["confirm"]


def test_a_lockout_goes_in_the_order_of_1910_147() -> None:
    """Shut down, isolate, lock or tag, verify; by somebody who may; a pulled key is no lockout."""
    lines = taken_with("lockout")
    order = [
        place(lines, "switched off"),
        place(lines, "allowed"),
        place(lines, "connector is apart"),
        place(lines, "nobody but me"),
        place(lines, "my tag"),
        place(lines, "tried to start"),
    ]
    assert order == sorted(order)
    assert place(lines, "charger is off, then unplugged") < place(lines, "connector is apart")
    assert not any("lockout" in KNOWN["key-out"].get(key, ()) for key in ("includes", "covers"))
    assert "connector" not in " ".join(KNOWN["key-out"]["confirm"])


def test_stored_energy_is_let_down_while_there_is_power() -> None:
    """1910.147 (R) takes stored energy out, there after isolation. That raised parts are lowered or
    blocked before the lockout takes the power: common practice, no published source.
    """
    order = list(KNOWN)
    assert order.index("raised-load") < order.index("lockout")
    assert place(KNOWN["raised-load"]["confirm"], "down or blocked") == 0


def test_a_release_goes_in_the_order_of_1910_147() -> None:
    """Tools out and parts back, then people clear, then one's own device off."""
    lines = KNOWN["lockout"]["release"]
    order = [
        place(lines, "tools are out"),
        place(lines, "back on"),
        place(lines, "stands clear"),
        place(lines, "my own tag"),
    ]
    assert order == sorted(order)


def test_batteries_as_the_texts_ask() -> None:
    """1910.178(g), 1926.441, INDG139, 62485-3; flushing: 1910.151(c); its 15 minutes: Z358.1 (M)."""
    air = " ".join(KNOWN["battery-air"]["confirm"])
    assert "fresh air" in air
    assert re.search("flame, spark", air)
    eyes = " ".join([KNOWN["battery-eyes"]["text"], *KNOWN["battery-eyes"]["confirm"]])
    for word in ("15 minutes", "trained", "Goggles", "gloves", "apron", "water is within reach"):
        assert word in eyes
    metal = " ".join(KNOWN["battery-metal"]["confirm"])
    for word in ("Rings", "metal", "charger is off"):
        assert word in metal


def test_a_barrier_comes_before_a_sign_and_products_are_never_mixed() -> None:
    """1910.22 and 1910.1200."""
    lines = KNOWN["barrier"]["confirm"]
    assert place(lines, "barrier") < place(lines, "signs")
    lines = KNOWN["data-sheet"]["confirm"]
    assert place(lines, "data sheet") < place(lines, "never mix")


# The rounds


def texts() -> list[tuple[str, str, str]]:
    return [(r, name, item["do"]) for r, items in ROUNDS.items() for name, item in items.items()]


def test_a_charger_is_off_before_a_plug_is_touched_and_on_after() -> None:
    unplug = [do for _, _, do in texts() if re.search("unplug", do, re.IGNORECASE)]
    assert len(unplug) >= 2
    for do in unplug:
        assert re.search(r"charger off\..*unplug", do), do
    (plug,) = [do for _, name, do in texts() if name == "charger-on"]
    assert re.search(r"plug home\..*plug the charger in, then switch it on", plug, re.IGNORECASE)


def test_battery_day_is_dressed_aired_and_isolated_before_the_hood_is_up() -> None:
    items = list(ROUNDS["battery-day"])
    hood = items.index("hood-up")
    for first in ("place-ready", "charger-unplugged", "dressed", "connector-tagged"):
        assert items.index(first) < hood
    assert items.index("charge-finished") < items.index("gravities-read")
    assert items.index("gravities-read") < items.index("water-added") < items.index("caps-on")
    water = ROUNDS["battery-day"]["water-added"]
    assert "distilled" in water["do"]
    assert "Never add acid" in water["look_for"]


@pytest.mark.parametrize("name", ROUNDS)
def test_an_open_battery_is_under_every_battery_caution(name: str) -> None:
    """From the hood up to the hood closed: gas, acid and, until the caps are on, short circuits."""
    items = ROUNDS[name]
    for item in items.values():
        hazards = set(item.get("hazards", ()))
        if "acid" in hazards:
            assert {"battery-gas", "raised-load"} <= hazards
        if re.search("acid|gravity|each cell|all caps", item["do"]):
            assert {"acid", "battery-gas", "battery-short"} <= hazards


def route(name: str) -> list[str]:
    told = Told(opened(TREES, name, role="battery-trained"))
    seen: list[str] = []
    screen: Any = told.screen
    while screen.screen != "end":
        seen.append(told.at)
        told.say("done")
        screen = told.screen
    return seen


@pytest.mark.parametrize(
    ("name", "lockouts"),
    [("before-shift", 0), ("after-shift", 1), ("weekly", 1), ("battery-day", 1)],
)
def test_no_lockout_before_the_shift_and_one_in_each_other_round(name: str, lockouts: int) -> None:
    """1910.147: one isolation for all that needs it, and none where no hand goes near."""
    taken = [
        step.removeprefix("take ")
        for step in route(name)
        if step.startswith("take ") and "lockout" in closure(step.removeprefix("take "))
    ]
    released = [step for step in route(name) if step == "release lockout"]
    assert (len(taken), len(released)) == (lockouts, lockouts)


def closure(caution: str) -> set[str]:
    return {caution}.union(*(closure(name) for name in KNOWN[caution].get("includes", ())))


def test_water_goes_in_before_the_product() -> None:
    """Common practice, no published source: the product would foam under the stream."""
    items = list(ROUNDS["before-shift"])
    assert items.index("fill-water") < items.index("fill-dose")
    assert "chemicals" in ROUNDS["before-shift"]["fill-dose"]["hazards"]
