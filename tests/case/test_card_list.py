"""Charger lamps and codes are looked up on the machine card where the charger is read."""

from __future__ import annotations

from pathlib import Path

from strategies.walker import Walker, visit_to

from diagnose.case.screens import CardLine, CheckScreen, FindingScreen, RefusedScreen
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.reading import read_tree
from diagnose.study.ready import made_ready

TREES = Path(__file__).parents[2] / "trees"


def walk_on(machine: str | None) -> Walker:
    library = ReadyLibrary(TREES)
    library.machine(machine)
    return Walker(visit_to(library))


def shown(walk: Walker) -> tuple[CardLine, ...]:
    state = walk.open("no-charge")
    screen = walk.screen(state)
    assert isinstance(screen, CheckScreen)
    while screen.step != "charger-shows":
        state = walk.reply(
            state, "unsure" if screen.step != "cord-look" else "Whole, dry and clean"
        ).state
        while not isinstance(screen := walk.screen(state), CheckScreen):
            state = walk.reply(state, "done").state
    return screen.card


def test_the_screen_shows_what_the_card_lists_in_one_line() -> None:
    (line,) = shown(walk_on("dock"))
    assert line.line == "charger"
    assert "; C2: battery too warm; " in line.value
    assert shown(walk_on(None)) == ()


def test_a_lamp_or_code_that_is_typed_is_looked_up_and_asked_again() -> None:
    walk = walk_on("dock")
    state = walk.reply(walk.open("low-runtime"), "None of these").state
    for typed in ("c2", "C2", "  Amber   blinking "):
        turn = walk.reply(state, typed)
        (shown,) = turn.interludes
        assert isinstance(shown, RefusedScreen)
        assert shown.message.id == "card-list"
        assert turn.state is state
        assert turn.exchange is None
    assert walk.reply(state, "c9").interludes[0].message.id == "no-such-answer"  # type: ignore[attr-defined]


def test_why_and_a_refusal_keep_in_sight_what_is_in_force() -> None:
    walk = walk_on("dock")
    state = walk.open("streaking")
    while not walk.screen(state).in_force:
        screen = walk.screen(state)
        state = walk.reply(state, "unsure" if isinstance(screen, CheckScreen) else "done").state
    for text in ("why", "nonsense"):
        (shown,) = walk.reply(state, text).interludes
        assert shown.in_force == walk.screen(state).in_force


def test_what_lies_behind_an_answer_of_the_card_is_not_lost_to_whoever_is_not_sure() -> None:
    text = """
format: 1
symptom: x
title: It does not run
start: look
steps:
  look: {ask: What do you see?, answers: {Dirt: dirty, Nothing: kind}}
  kind: {ask: Which kind is it?, from_card: battery.kind, answers: {flooded: cell, sealed: block}}
  dirty: {finding: It is dirty., chance: 15, who: operator, remedy: Wipe it.}
  cell: {finding: A cell is dry., chance: 80, who: operator, remedy: Fill it.}
  block: {finding: A block is dead., chance: 5, who: operator, remedy: Change it.}
"""
    tree, problems = read_tree(text, "x.yaml")
    assert tree is not None, problems
    library = ReadyLibrary(TREES)
    card = library.machine("dock")
    ready = made_ready(tree, library.table, card=card)
    walk = Walker(visit_to(library, tree=lambda _: ready))
    screen = walk.screen(walk.reply(walk.open("x"), "unsure").state)
    assert isinstance(screen, FindingScreen)
    assert screen.step == "cell"
