"""JSON lines: the fields of the contract, one object a line, and any kind of standard input."""

from __future__ import annotations

import io
import json
import math
import sys
from typing import TYPE_CHECKING, Any

import msgspec
import pytest
from handmade import ALL, BARRIER, GLOVES, HEADING, KEY_OUT, caution, check, figure, refused, why

from diagnose.case.screens import phrase
from diagnose.faces.face import Heading
from diagnose.faces.json_lines import FIELDS, JsonLinesFace, as_object
from diagnose.faces.streams import LONGEST, is_terminal, read_line
from diagnose.faces.words import NOTICE
from diagnose.measure.model import Expected

if TYPE_CHECKING:
    from collections.abc import Callable

EVERYWHERE = {"screen", "symptom", "in_force", "replies", "case"}

# The contract's table, written out a second time on purpose.
TABLE = {
    "choose": "what options",
    "danger": "text call answers",
    "state": "machine state since why tag case call",
    "caution": "id title phase lines cautions",
    "check": "step ask do look_for tool answers open minutes_left card note_down",
    "reading": "step read do look_for tool needs open minutes_left card note_down",
    "figure": "step read value unit good_to expected band workings",
    "finding": "step finding who checked remedy before_trying leave_safe until_mended probability "
    "likelier minutes parts card",
    "item": "round item number total do look_for card note_down",
    "why": "text ranking",
    "refused": "message",
    "end": "outcome ranking",
}


def said_by(capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


@pytest.mark.parametrize("name", ALL)
def test_fields_are_those_of_the_contract(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    screen = msgspec.structs.replace(ALL[name], notes=())
    JsonLinesFace().show(screen, HEADING)
    (shown,) = said_by(capsys)
    assert set(shown) == EVERYWHERE | set(TABLE[screen.screen].split())
    assert shown["screen"] == screen.screen
    assert shown["case"] == "K7Q2"
    assert [reply["id"] for reply in shown["replies"]] == list(screen.replies)
    assert set(FIELDS) == set(TABLE)


def test_the_first_screen_has_the_notice_and_no_case_means_none() -> None:
    shown = as_object(check(), Heading(first=True))
    assert shown["notice"] == NOTICE
    assert "case" not in shown
    assert "notice" not in as_object(check(), HEADING)


def test_ids_and_titles() -> None:
    shown = as_object(check(in_force=(KEY_OUT,)), HEADING)
    assert shown["in_force"] == [{"id": "key-out", "title": "Key out"}]
    assert shown["answers"][1] == {"id": "Clean", "title": "Clean"}
    assert shown["replies"][0] == {"id": "unsure", "title": "Not sure"}


def test_the_cautions_of_a_screen() -> None:
    shown = as_object(caution(GLOVES, BARRIER), HEADING)
    assert (shown["id"], shown["title"]) == ("gloves", "Gloves on")
    assert (shown["phase"], shown["lines"]) == ("take", "together")
    assert shown["cautions"][1] == {
        "id": "barrier",
        "title": "Floor closed off",
        "signal": "WARNING",
        "signs": ["W011"],
        "text": "Keep people off the wet floor.",
        "confirm": ["Nobody walks where it is wet.", "My shoes grip."],
        "hazards": [{"id": "wet-floor", "title": "Wet floor"}],
    }
    assert [one["id"] for one in shown["cautions"]] == ["gloves", "barrier"]
    assert as_object(caution(), HEADING)["lines"] == "each"


def test_doorway_and_notes_only_where_there_are_any() -> None:
    shown = as_object(
        check(doorway="The blades are worn", notes=(phrase("passed-caution"),)), HEADING
    )
    assert shown["doorway"] == "The blades are worn"
    assert shown["notes"] == ["A step was passed over: its caution cannot be met here."]
    assert not {"doorway", "notes"} & set(as_object(check(), HEADING))


def test_why_and_refused_are_plain_strings() -> None:
    assert as_object(why(), HEADING)["text"].endswith("The hazard: Brushes can turn.")
    assert as_object(refused(), HEADING)["message"] == "Nothing was typed."


def test_what_json_cannot_say_is_null(capsys: pytest.CaptureFixture[str]) -> None:
    face = JsonLinesFace()
    face.show(check(minutes_left=math.nan), HEADING)
    face.show(figure(expected=Expected(low=None, high=math.inf, source="x")), HEADING)
    first, second = said_by(capsys)
    assert first["minutes_left"] is None
    assert second["expected"] == {"low": None, "high": None, "source": "x"}


def test_ascii_and_one_line_whatever_the_text(monkeypatch: pytest.MonkeyPatch) -> None:
    out = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(out, encoding="ascii", newline="\n"))
    JsonLinesFace().show(check(ask="Wie weit, 20 °C?\u2028\x85 \N{BROOM}"), HEADING)
    raw = out.getvalue()
    assert raw.isascii()
    assert raw.count(b"\n") == 1
    assert len(raw.decode().splitlines()) == 1
    assert json.loads(raw)["ask"] == "Wie weit, 20 °C?\u2028\x85 \N{BROOM}"


def fed(monkeypatch: pytest.MonkeyPatch, raw: bytes) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(raw), encoding="ascii"))


@pytest.mark.parametrize(
    ("raw", "lines"),
    [
        (b"done\nback\n", ["done", "back"]),
        (b"done\r\nlast line without an end", ["done", "last line without an end"]),
        ("\N{ZERO WIDTH NO-BREAK SPACE}Zwölf\n".encode(), ["Zwölf"]),
        (b"\xff\xfe\n\n", ["\N{REPLACEMENT CHARACTER}" * 2, ""]),
        (b"a" * 1_000_000 + b"\nnext\n", ["a" * 1_000_000, "next"]),
        (b"a" * (2 * LONGEST + 5) + b"\nnext\n", ["a" * LONGEST, "next"]),
        (b"a" * (LONGEST - 1) + b"\nnext\n", ["a" * (LONGEST - 1), "next"]),
        (b"", []),
    ],
    ids=["two", "no end", "mark", "no text", "a megabyte", "too long", "just fits", "empty"],
)
def test_a_line_is_a_reply(monkeypatch: pytest.MonkeyPatch, raw: bytes, lines: list[str]) -> None:
    fed(monkeypatch, raw)
    got = [read_line() for _ in range(len(lines) + 1)]
    assert got == [*lines, None]


def test_ask_shows_and_reads(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    fed(monkeypatch, b"2\n")
    face = JsonLinesFace()
    assert face.ask(check(), HEADING) == "2"
    face.waits("The log is busy.")
    out, err = capsys.readouterr()
    # Whoever waits is told, and the lines of standard output stay screens.
    assert json.loads(out)["screen"] == "check"
    assert err == "The log is busy.\n"


def closed() -> io.TextIOWrapper:
    stream = io.TextIOWrapper(io.BytesIO(b"x"))
    stream.close()
    return stream


class Broken(io.RawIOBase):
    """A stream that fails at every touch."""

    def readline(self, size: int | None = -1, /) -> bytes:
        raise OSError(5, "gone")


@pytest.mark.parametrize("stream", [lambda: None, closed, Broken], ids=["none", "closed", "broken"])
def test_a_stdin_that_cannot_be_read_has_ended(
    monkeypatch: pytest.MonkeyPatch, stream: Callable[[], object]
) -> None:
    monkeypatch.setattr(sys, "stdin", stream())
    assert read_line() is None


def test_no_stdout_is_no_reason_to_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    fed(monkeypatch, b"back\n")
    monkeypatch.setattr(sys, "stdout", None)
    assert JsonLinesFace().ask(check(), HEADING) == "back"


class Deaf(io.StringIO):
    """A pipe whose reader has gone."""

    def flush(self) -> None:
        raise BrokenPipeError


def test_a_broken_pipe_is_the_callers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", Deaf())
    with pytest.raises(BrokenPipeError):
        JsonLinesFace().show(check(), HEADING)


def test_terminals() -> None:
    assert not is_terminal(None)
    assert not is_terminal(closed())
    assert not is_terminal(io.StringIO())
