"""Worked cases as people walk them (stories.yaml): with slips taken back, and first causes that are not it.

A tree's own worked cases name an answer a step and the cause. Here every screen is told in its
turn, the cautions among them, what is advised at a finding, and how the case ends.
"""

from __future__ import annotations

import io
import json
import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from strategies.walker import Walker, visit_to

from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import Desk, run
from diagnose.faces.json_lines import JsonLinesFace
from diagnose.files.library import built_in

if TYPE_CHECKING:
    from collections.abc import Iterator

STORIES = yaml.safe_load(Path(__file__).with_name("stories.yaml").read_text(encoding="utf-8"))

#: Of the ranking at the end, so many are told.
TOLD = 3

#: What a tree with causes of its own is told with, once at least.
WRONG_FIRST = {"back", "not it"}


def named(screen: dict[str, Any], symptom: str) -> str:
    """What a screen is called in a story: its step, or the cautions that it takes or releases."""
    if screen["screen"] == "caution":
        return " ".join((screen["phase"], *(one["id"] for one in screen["cautions"])))
    if screen["screen"] == "refused":
        return str(screen["message"])
    behind = "" if screen["symptom"] == symptom else f"{screen['symptom']}/"
    name = f"{behind}{screen['step']}"
    if screen["screen"] != "finding":
        return name
    unlooked = "" if screen["checked"] else "look first: "
    likelier = ", ".join(one["step"] for one in screen["likelier"])
    advised = f" ({screen['replies'][0]['id']} first; likelier: {likelier})" if likelier else ""
    return f"{unlooked}{name}{advised}"


def screens(told: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Play a story's replies, and yield the screens that the program shows."""
    library = ReadyLibrary(built_in())
    library.machine(told.get("machine", "dock"))
    walk = Walker(visit_to(library, role=told.get("as", "operator")))
    run(Desk(visit=walk.visit, face=JsonLinesFace()), walk.open(told["symptom"]), None)
    assert isinstance(sys.stdout, io.StringIO)
    yield from map(json.loads, sys.stdout.getvalue().splitlines())


def walked(told: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Walk a story on today's trees, and tell it in the words of the file."""
    replies = [reply for turn in told["walk"] for reply in turn.values() if reply is not None]
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{reply}\n" for reply in replies)))
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    left = iter(replies)
    walk: list[dict[str, str | None]] = []
    for screen in screens(told):
        if screen["screen"] == "end":
            causes = [cause["step"] for cause in screen["ranking"][:TOLD]]
            return {**told, "walk": walk, "end": screen["outcome"], "causes": causes}
        if screen["screen"] == "figure":
            walk.append({f"{screen['step']} reads {screen['band']}": None})
        else:
            walk.append({named(screen, told["symptom"]): next(left, None)})
    raise AssertionError("no end was shown")


@pytest.mark.parametrize(
    "told", STORIES, ids=lambda told: f"{told['symptom']}: {told['story']}".replace(" ", "-")
)
def test_a_story_goes_as_it_is_told(told: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    assert walked(told, monkeypatch) == told


def test_each_symptom_is_told_with_what_goes_wrong_first() -> None:
    replies = Counter(
        (told["symptom"], reply)
        for told in STORIES
        for turn in told["walk"]
        for reply in turn.values()
    )
    symptoms = set(ReadyLibrary(built_in()).content.symptoms) - {"which-symptom"}
    assert {(symptom, reply) for symptom in symptoms for reply in WRONG_FIRST} <= set(replies)
