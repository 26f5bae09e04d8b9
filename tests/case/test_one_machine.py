"""What a machine's card takes out of a tree, and what two steps that look at the same share."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest
from strategies.walker import Walker, visit_to

from diagnose.case.screens import CardLine, CheckScreen, FindingScreen, RefusedScreen, phrase
from diagnose.case.view import ranking
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.card import Card
from diagnose.files.reading import read_tree
from diagnose.files.tree import Question
from diagnose.study.plan import passing_answer
from diagnose.study.tailored import tailored

if TYPE_CHECKING:
    from pathlib import Path

    from diagnose.case.screens import Screen
    from diagnose.case.state import State

TREE = """\
format: 2
symptom: dies
title: It dies early
start: kind
steps:
  kind:
    ask: What does the lamp do?
    passes: none
    answers:
      It blinks: {go: pack, applies_to: {battery.kind: [lithium]}}
      It is lit: water
      It is dark: socket
  water:
    ask: Is the water low?
    show_card: [battery.cells, battery.age, charger]
    applies_to: {battery.kind: [flooded]}
    answers: {It is low: dry, It is at the mark: plug}
  socket:
    ask: Is the plug home?
    same_as: plug
    answers: {It is loose: loose, It is home: dead}
  plug:
    ask: Does the plug sit?
    note_down: Number on the plug
    passes: It is home
    answers: {It is home: worn, It is loose: loose}
  pack: {finding: The pack is locked., chance: 10, who: service, leave_safe: Park it.,
         until_mended: out of use}
  dry: {finding: A cell is dry., chance: 30, who: operator, remedy: Fill it.}
  loose: {finding: The plug is loose., chance: 40, who: operator, remedy: Push it home.}
  dead: {finding: The socket is dead., chance: 10, who: operator, remedy: Use another.}
  worn: {finding: It is worn., chance: 10, who: service, leave_safe: Park it.,
         until_mended: Use it for half a shift.}
"""
CARD = """\
format: 2
machine: m
title: M
battery: {{kind: {kind}, cells: 12}}
charger: {{lamps: {{one lamp: charging, two lamps: done}}}}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "dies.yaml").write_text(TREE)
    (tmp_path / "machines").mkdir()
    for kind in ("flooded", "sealed", "lithium"):
        text = CARD.format(kind=kind).replace("machine: m", f"machine: {kind}")
        (tmp_path / "machines" / f"{kind}.yaml").write_text(text)
    return tmp_path


def walk_on(folder: Path, machine: str | None) -> tuple[Walker, State]:
    library = ReadyLibrary(folder)
    library.machine(machine)
    walk = Walker(visit_to(library))
    return walk, walk.open("dies")


def check(walk: Walker, state: State) -> CheckScreen:
    screen = walk.screen(state)
    assert isinstance(screen, CheckScreen)
    return screen


def chances(state: State) -> dict[str, float]:
    return {cause.step: cause.probability for cause in ranking(state.frames[0])}


@pytest.mark.parametrize(
    ("machine", "answers", "causes"),
    [
        (None, ["It blinks", "It is lit", "It is dark"], {"pack", "dry", "loose", "dead", "worn"}),
        ("lithium", ["It blinks", "It is lit", "It is dark"], {"pack", "loose", "dead", "worn"}),
        ("flooded", ["It is lit", "It is dark"], {"dry", "loose", "dead", "worn"}),
        ("sealed", ["It is lit", "It is dark"], {"loose", "dead", "worn"}),
    ],
)
def test_what_does_not_apply_is_not_offered_and_none_of_its_causes_counted(
    folder: Path, machine: str | None, answers: list[str], causes: set[str]
) -> None:
    walk, state = walk_on(folder, machine)
    assert [answer.id for answer in check(walk, state).answers] == answers
    found = chances(state)
    assert set(found) == causes
    given = {"pack": 10, "dry": 30, "loose": 40, "dead": 10, "worn": 10}
    total = sum(given[name] for name in causes)
    assert found == pytest.approx({name: given[name] / total for name in causes})


def test_a_step_that_does_not_apply_is_answered_by_its_passing_answer_and_one_line_says_so(
    folder: Path,
) -> None:
    walk, state = walk_on(folder, "sealed")
    assert walk.screen(state).notes == (phrase("not-here", line="battery.kind"),)
    state = walk.reply(state, "It is lit").state
    assert check(walk, state).step == "plug"
    # It was no answer: the plug's chance is what the lamp said, and no more.
    here = chances(state)
    assert here["loose"] == pytest.approx(40 / (40 + 10 * 0.05 / 0.95 * 2 / 2 + 10 * 2), rel=0.2)
    for kind in (None, "flooded"):
        walk, state = walk_on(folder, kind)
        assert walk.screen(state).notes == ()
        assert check(walk, walk.reply(state, "It is lit").state).step == "water"


def test_the_passing_answer_stays_what_it_was_where_answers_are_left_out() -> None:
    """Two of three lead on, so none passes; that a machine cannot give one makes none pass."""
    text = TREE.replace("    passes: none\n", "").replace("      It is dark: socket\n", "")
    text = text.replace("go: pack,", "go: socket,").replace(
        "      It is lit: water\n", "      It is lit: water\n      It is dark: pack\n"
    )
    tree, problems = read_tree(text, "dies.yaml")
    assert tree is not None, problems
    card = Card(machine="m", title="M", lines={"battery": {"kind": "sealed"}})
    fitted, _ = tailored(tree, card)
    kind = fitted.steps["kind"]
    assert isinstance(kind, Question)
    assert [way.answer for way in kind.exits] == ["It is lit", "It is dark"]
    assert passing_answer(tree, kind) is None
    assert passing_answer(fitted, kind) is None


def test_the_lines_of_the_card_stand_at_the_step_and_what_it_lacks_does_not(folder: Path) -> None:
    walk, state = walk_on(folder, "flooded")
    screen = check(walk, walk.reply(state, "It is lit").state)
    assert screen.card == (
        CardLine("battery.cells", "12"),
        CardLine("charger", "one lamp: charging; two lamps: done"),
    )
    walk, state = walk_on(folder, None)
    assert check(walk, walk.reply(state, "It is lit").state).card == ()


def test_who_answered_one_of_two_same_looks_is_not_asked_the_other(folder: Path) -> None:
    """The plug was seen to be home on the dark way; *back* from there, the lit way knows it."""
    walk, state = walk_on(folder, None)
    state = walk.reply(walk.reply(state, "It is dark").state, "It is home").state
    frame = state.frames[0]
    plan = frame.tree.plan
    assert frame.closed == {
        plan.number["kind"]: 2,
        plan.number["socket"]: 1,
        plan.number["plug"]: 0,
    }
    screen = walk.screen(state)
    assert isinstance(screen, FindingScreen)
    assert screen.step == "dead"
    state = walk.reply(state, "not cured").state
    seen = []
    while isinstance(screen := walk.screen(state), CheckScreen | FindingScreen):
        seen.append(screen.step)
        state = walk.reply(state, _onward(screen)).state
    assert "plug" not in seen
    assert "worn" in seen


def _onward(screen: Screen) -> str:
    return "It is at the mark" if isinstance(screen, CheckScreen) else _away(screen)


def _away(screen: Screen) -> str:
    return "not cured" if "not cured" in screen.replies else "refer"


def test_two_same_looks_are_one_question_to_belief(folder: Path) -> None:
    """By hand: the causes behind *home* at either step fit it, and it is believed once."""
    walk, state = walk_on(folder, None)
    state = walk.reply(state, "It is dark").state
    before, after = chances(state), chances(walk.reply(state, "It is home").state)
    # Behind *loose* is loose; behind *home*, dead (on this way) and worn (on the other); for the
    # pack and the dry cell it tells nothing, since no answer of the socket's passes.
    said = {"loose": 0.05, "dead": 0.95, "worn": 0.95, "pack": 0.5, "dry": 0.5}
    total = math.fsum(before[name] * said[name] for name in said)
    assert after == pytest.approx({name: before[name] * said[name] / total for name in said})


def test_a_note_is_kept_moves_nothing_and_says_so(folder: Path) -> None:
    walk, state = walk_on(folder, None)
    state = walk.reply(walk.reply(state, "It is lit").state, "It is at the mark").state
    screen = check(walk, state)
    assert screen.note_down == "Number on the plug"
    turn = walk.reply(state, "  Note   P 17,\tgrey  ")
    assert turn.exchange is not None
    assert (turn.exchange.kind, turn.exchange.answer) == ("note", "P 17, grey")
    assert walk.screen(turn.state).notes == (phrase("noted", text="P 17, grey"),)
    assert check(walk, turn.state).step == screen.step
    assert chances(turn.state) == chances(state)
    assert check(walk, walk.reply(turn.state, "back").state).step == "water"
    for text, refused in (
        ("note", phrase("note-empty")),
        ("note   ", phrase("note-empty")),
        ("note " + "x" * 501, phrase("note-long", length=501, most=500)),
    ):
        (shown,) = walk.reply(state, text).interludes
        assert isinstance(shown, RefusedScreen)
        assert shown.message == refused
    assert walk.reply(state, "note " + "x" * 500).exchange is not None
