"""Safety signs by their meaning: the number, the standard's words, the hazard it stands at.

ISO 7010: numbers and what they mean (R), in our words. Which hazard of a scrubber a sign is right
for follows from its meaning; where that took a judgement, it stands beside it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import pytest
import yaml

from diagnose.faces.words import SIGNS, sign_words
from diagnose.files.library import built_in

LIBRARY = yaml.safe_load((built_in() / "cautions.yaml").read_text(encoding="utf-8"))
CAUTIONS: dict[str, dict[str, Any]] = LIBRARY["cautions"]


@dataclass(frozen=True)
class Sign:
    """words: a pattern of what the standard's sign says. hazards: those that it is right for.

    asks: a pattern of what a line of the caution then has to ask; none for a warning.
    """

    words: str
    hazards: frozenset[str]
    asks: str = ""


def sign(words: str, hazards: str, asks: str = "") -> Sign:
    return Sign(words, frozenset(hazards.split()), asks)


MEANING = {
    # General warning: right only where no sign of its own is at hand, for cuts and falling parts.
    "W001": sign("^warning$", "sharps raised-load"),
    # Biological hazard: what lives in dirty water.
    "W009": sign("germs", "dirty-water"),
    "W011": sign("slippery", "wet-floor"),
    # Electricity: the current of a shorted battery.
    "W012": sign("electricity", "battery-short mains electrical"),
    "W014": sign("industrial vehicles", "moving-machine"),
    # Hot surface; the standard's sign for what scalds too, as far as was read.
    "W017": sign("hot", "hot-parts hot-water"),
    # Automatic start-up: what can begin to turn or move under the hands.
    "W018": sign("starts by itself", "startup brush-drive squeegee"),
    "W023": sign("corrosive", "acid chemicals"),
    # Crushing of hands: between lids and hinges, and under what comes down.
    "W024": sign("hands.*crushed", "pinch raised-load lift"),
    # Battery charging: the gas that it gives off.
    "W026": sign("battery charging", "battery-gas"),
    # The instructions: a product's data sheet.
    "M002": sign("read the manual", "chemicals", "data sheet"),
    "M004": sign("eye protection", "acid chemicals", "goggles|what the sheet asks for"),
    "M006": sign("unplug.*mains", "brush-drive squeegee mains", "unplugged"),
    "M009": sign(
        "gloves", "dirty-water chemicals sharps hot-water acid", "gloves|what the sheet asks for"
    ),
    "M011": sign("wash your hands", "dirty-water chemicals acid", "wash my hands"),
    # Disconnect before maintenance or repair.
    "M021": sign("disconnect", "brush-drive squeegee electrical", "connector is apart"),
    "M026": sign("apron", "acid chemicals", "apron"),
    "P002": sign("no smoking", "battery-gas", "smoking"),
    "P003": sign("no open flame", "battery-gas", "flame"),
    "P008": sign("no metal.*watches", "battery-short", "watch"),
    "P015": sign("no reaching in", "moving-machine brush-drive squeegee", "reaches in"),
    # Do not alter the state of the switch.
    "P031": sign("leave the switch", "startup brush-drive squeegee"),
    # Not to be serviced by users.
    "P069": sign("not for users", "mains battery-inside electrical lift brakes-steering"),
    # Eyewash: water to flush with.
    "E011": sign("eyewash", "acid chemicals", "flush"),
}


def misused(cautions: dict[str, dict[str, Any]]) -> list[tuple[str, str]]:
    """The signs, each with its caution, that mean no hazard it covers or that no line asks for."""
    wrong = []
    for name, caution in cautions.items():
        lines = " ".join([caution["text"], *caution["confirm"]]).casefold()
        for number in caution.get("signs", ()):
            meaning = MEANING.get(number)
            if (
                meaning is None
                or not meaning.hazards & set(caution["covers"])
                or not re.search(meaning.asks, lines)
            ):
                wrong.append((name, number))
    return wrong


def test_every_sign_stands_at_a_hazard_that_it_means() -> None:
    assert misused(CAUTIONS) == []


@pytest.mark.parametrize("name", CAUTIONS)
def test_every_hazard_under_a_caution_has_a_sign_that_means_it(name: str) -> None:
    signs = [MEANING[number] for number in CAUTIONS[name]["signs"]]
    for hazard in CAUTIONS[name]["covers"]:
        assert any(hazard in one.hazards for one in signs), hazard


def test_the_hazards_are_the_librarys() -> None:
    assert frozenset().union(*(one.hazards for one in MEANING.values())) == set(LIBRARY["hazards"])


@pytest.mark.parametrize("number", MEANING)
def test_a_sign_is_told_in_the_words_of_its_meaning(number: str) -> None:
    assert re.search(MEANING[number].words, SIGNS[number])
    assert sign_words(number) == f"{SIGNS[number]} ({number})"


def test_every_sign_that_is_used_has_words_and_a_meaning() -> None:
    used = {number for caution in CAUTIONS.values() for number in caution["signs"]}
    assert used <= set(MEANING)
    assert set(MEANING) == set(SIGNS)


def with_sign(name: str, number: str) -> dict[str, dict[str, Any]]:
    return CAUTIONS | {name: CAUTIONS[name] | {"signs": [number]}}


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("barrier", "W018"),  # a wet floor does not start by itself
        ("battery-air", "W011"),  # gas makes nothing slippery
        ("battery-eyes", "W012"),  # acid is no electricity
        ("lockout", "W017"),  # what stands still is not hot for that
        ("gloves", "M004"),  # goggles are no help against germs on the hands
        ("scald", "P002"),  # water does not burn
        ("cut-gloves", "E011"),  # an eyewash heals no cut
        ("fingers", "W099"),  # no such sign
        ("fingers", "M009"),  # gloves are the wrong thing at a hinge
        ("battery-eyes", "M011"),  # right for acid, but no line asks for it
    ],
)
def test_a_sabotaged_sign_is_found(name: str, number: str) -> None:
    assert misused(with_sign(name, number)) == [(name, number)]


@pytest.mark.parametrize("name", CAUTIONS)
def test_every_sign_that_means_another_hazard_is_found(name: str) -> None:
    covers = set(CAUTIONS[name]["covers"])
    foreign = [number for number, one in MEANING.items() if not one.hazards & covers]
    assert len(foreign) > len(MEANING) / 2
    for number in foreign:
        assert misused(with_sign(name, number)) == [(name, number)]
