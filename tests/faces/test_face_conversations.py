"""Recorded conversations: the same case on all three faces comes to the same meanings.

A face that is added is run on them too: it only has to say how each reply is given to it.
"""

from __future__ import annotations

import io
import json
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest
from handmade import library
from terminals import typed_at

from diagnose.case import walk
from diagnose.case.screens import EndScreen
from diagnose.case.visit import Visit
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import Desk, start
from diagnose.faces.json_lines import JsonLinesFace
from diagnose.faces.plain import PlainFace
from diagnose.faces.terminal import TerminalFace

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from diagnose.case.screens import Screen
    from diagnose.case.state import State, Turn
    from diagnose.faces.face import Face, Heading


@dataclass(frozen=True)
class Move:
    """One reply: the screen it answers, the line for the two line faces, the keys, the meaning.

    A line of None is the end of the input. `keys` has an entry for each screen that takes some: a
    figure and a reason wait for a key of their own. Nothing but the keys is refused on the spot.
    """

    screen: str
    line: str | None
    keys: tuple[str, ...]
    meaning: str


ENDS = (None, ())

CONVERSATIONS: dict[str, tuple[str, list[Move]]] = {
    "cured at once": (
        "cured",
        [
            Move("check", "It is dark", ("1",), "answer It is dark"),
            Move("finding", "cured", ("f",), "cured"),
        ],
    ),
    "a reason, a wrong reply": (
        "left",
        [
            Move("check", "why", ("w", "x"), "nothing"),
            Move("check", "17", (), "nothing"),
            Move("check", "leave", ("7l",), "leave"),
        ],
    ),
    "under a lockout, tried out, referred": (
        "referred",
        [
            Move("check", "2", ("2",), "answer It glows"),
            Move("caution", "done", ("    ",), "done"),
            Move("check", "good", ("2",), "answer Good"),
            Move("caution", "done", ("y",), "done"),
            Move("check", "It is silent", ("2",), "answer It is silent"),
            Move("finding", "refer", ("r",), "refer"),
        ],
    ),
    "a reading, not cured, a second lockout": (
        "left",
        [
            Move("check", "2", ("2",), "answer It glows"),
            Move("caution", "done", ("    ",), "done"),
            Move("check", "2", ("2",), "answer Good"),
            Move("caution", "DONE", ("y",), "done"),
            Move("check", "1", ("1",), "answer It hums"),
            Move("reading", "12", ("12\r", " "), "answer low"),
            Move("finding", "not cured", ("n",), "not cured"),
            Move("caution", "why", ("w", "\r"), "nothing"),
            Move("caution", "done", ("y",), "done"),
            Move("finding", *ENDS, "leave"),
        ],
    ),
    "a reading that cannot be used": (
        "left",
        [
            Move("check", "2", ("2",), "answer It glows"),
            Move("caution", "done", ("    ",), "done"),
            Move("check", "2", ("2",), "answer Good"),
            Move("caution", "done", ("y",), "done"),
            Move("check", "1", ("1",), "answer It hums"),
            Move("reading", "much", ("much\r",), "nothing"),
            Move("reading", "1 2", ("\x15" + "1 2\r",), "nothing"),
            Move("reading", "cannot", ("\x15" + "c\r",), "cannot"),
            Move("finding", *ENDS, "leave"),
        ],
    ),
    "not sure, back, danger": (
        "referred",
        [
            Move("check", "unsure", ("u",), "unsure"),
            Move("caution", "back", ("b",), "back"),
            Move("check", "not sure", ("u",), "unsure"),
            Move("caution", "danger", ("!",), "danger"),
            Move("danger", "danger", (), "nothing"),
            Move("danger", "swollen", (), "nothing"),
            Move("danger", "3", ("!d79x3",), "danger battery"),
        ],
    ),
    "danger while a figure is up": (
        "referred",
        [
            Move("check", "2", ("2",), "answer It glows"),
            Move("caution", "done", ("    ",), "done"),
            Move("check", "2", ("2",), "answer Good"),
            Move("caution", "done", ("y",), "done"),
            Move("check", "1", ("1",), "answer It hums"),
            Move("reading", "12", ("12\r", "!"), "answer low"),
            Move("finding", "danger", (), "danger"),
            Move("danger", "hurt", ("4",), "danger hurt"),
        ],
    ),
    "danger by mistake, with half a reading typed": (
        "left",
        [
            Move("check", "danger", ("!",), "danger"),
            Move("danger", "mistake", ("6",), "mistake"),
            Move("check", "2", ("2",), "answer It glows"),
            Move("caution", "done", ("    y",), "done"),
            Move("check", "2", ("2",), "answer Good"),
            Move("caution", "done", ("y",), "done"),
            Move("check", "1", ("1",), "answer It hums"),
            Move("reading", "danger", ("1!",), "danger"),
            Move("danger", "6", ("6",), "mistake"),
            Move("reading", "12", ("2\r", "x"), "answer low"),
            Move("finding", *ENDS, "leave"),
        ],
    ),
    "danger, and then nobody says anything more": (
        "referred",
        [
            Move("check", "danger", ("!",), "danger"),
            Move("danger", *ENDS, "danger other"),
        ],
    ),
    "a refused caution": (
        "left",
        [
            Move("check", "2", ("2",), "answer It glows"),
            Move("caution", "cannot", ("c",), "cannot"),
            Move("check", "leave", ("l",), "leave"),
        ],
    ),
    "the input ends": (
        "left",
        [Move("check", "2", ("2",), "answer It glows"), Move("caution", *ENDS, "leave")],
    ),
}


@dataclass
class Recorder:
    """A face that keeps how the case ended."""

    face: Face
    outcome: str = ""

    def show(self, screen: Screen, heading: Heading) -> None:
        if isinstance(screen, EndScreen):
            self.outcome = screen.outcome
        self.face.show(screen, heading)

    def ask(self, screen: Screen, heading: Heading) -> str | None:
        return self.face.ask(screen, heading)


def walked(
    folder: Path, face: Face, monkeypatch: pytest.MonkeyPatch
) -> tuple[str, list[tuple[str, str]]]:
    """Walk the small library's case; return its outcome, and what was shown and meant."""
    told = []
    reply = walk.reply

    def recorded(visit: Visit, state: State, text: str, screen: Screen) -> Turn:
        turn = reply(visit, state, text, screen)
        said = turn.exchange
        meaning = "nothing" if said is None else f"{said.kind} {said.answer}".strip()
        told.append((screen.screen, meaning))
        return turn

    monkeypatch.setattr(walk, "reply", recorded)
    opened = ReadyLibrary(library(folder))
    recorder = Recorder(face)
    start(Desk(visit=Visit(tree=opened, table=opened.table), face=recorder), "sample")
    return recorder.outcome, told


def lines(face: Callable[[], Any]) -> Callable[..., Any]:
    def play(moves: list[Move], folder: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
        typed = "".join(f"{move.line}\n" for move in moves if move.line is not None)
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        return walked(folder, face(), monkeypatch)

    return play


def terminal(moves: list[Move], folder: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    with typed_at(*(keys for move in moves for keys in move.keys)) as full_screen:
        return walked(folder, TerminalFace(full_screen), monkeypatch)


FACES: dict[str, Callable[..., Any]] = {
    "lines": lines(JsonLinesFace),
    "plain": lines(PlainFace),
    "terminal": terminal,
}


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("name", CONVERSATIONS)
def test_a_conversation_means_the_same_on_every_face(
    name: str, face: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    outcome, moves = CONVERSATIONS[name]
    ended, told = FACES[face](moves, tmp_path, monkeypatch)
    # A key that means nothing is refused by the terminal itself and never becomes a reply.
    skipped = [
        move for move in moves if face != "terminal" or move.keys or move.meaning != "nothing"
    ]
    assert told == [(move.screen, move.meaning) for move in skipped]
    assert ended == outcome


def test_json_lines_of_a_whole_conversation(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _, moves = CONVERSATIONS["a reading, not cured, a second lockout"]
    lines(JsonLinesFace)(moves, tmp_path, monkeypatch)
    shown = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    kinds = [screen["screen"] for screen in shown]
    assert kinds == [
        *("check", "caution", "check", "caution", "check", "reading", "figure", "finding"),
        *("caution", "why", "caution", "finding", "end"),
    ]
    assert [("notice" in screen) for screen in shown] == [True] + [False] * (len(shown) - 1)
    assert shown[3]["phase"] == "release"
    assert [held["id"] for held in shown[2]["in_force"]] == ["key-out", "lockout"]
    assert [held["id"] for held in shown[4]["in_force"]] == ["key-out"]
    assert shown[6]["band"] == "low"
