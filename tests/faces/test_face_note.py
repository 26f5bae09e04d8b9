"""The field for a note at a terminal: at the bottom of the same screen, and back to it as it was."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from drawing import dialog_of, draw, texts
from handmade import HEADING, ONE_NEED, caution, check, danger, finding, item, reading, refused
from msgspec.structs import replace
from terminals import PROGRAM, Terminal, typed_at
from test_face_in_sight import SYMPTOMS, items, screens

from diagnose.case.screens import CheckScreen, ItemScreen, Named, ReadingScreen, Screen, phrase
from diagnose.case.walk import LONGEST_NOTE
from diagnose.faces import layout
from diagnose.faces.layout import CURSOR
from diagnose.faces.terminal import TerminalFace
from diagnose.files.library import built_in, load

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from diagnose.faces.dialog import Dialog


def noting(screen: Any) -> Any:
    """A screen that takes a note too."""
    return replace(screen, replies=(*screen.replies[:-2], "note", *screen.replies[-2:]))


def opened(screen: Screen, *keys: str) -> Dialog:
    dialog = dialog_of(noting(screen))
    draw(dialog)
    for key in keys:
        assert dialog.press(key) is None
        draw(dialog)
    return dialog


WHERE = [check(), caution(), caution(again=True), finding(), item()]


@pytest.mark.parametrize("screen", WHERE)
def test_a_note_is_typed_at_the_bottom_and_handed_in(screen: Screen) -> None:
    dialog = opened(screen)
    assert "t note" in " ".join(texts(dialog))
    dialog = opened(screen, "t", *" the lamp blinks 3 times, u", "x", "backspace")
    told = texts(dialog)
    assert told[-2] == "Note: the lamp blinks 3 times, u"
    assert told[-1] == "Enter note it   Esc back   ! danger"
    assert dialog.press("enter") == "note the lamp blinks 3 times, u"


def test_a_letter_in_a_field_opens_it_too_and_is_no_value() -> None:
    dialog = opened(reading(needs=ONE_NEED), "t", "enter", *"odd smell")
    assert dialog.press("enter") == "note odd smell"
    assert dialog.typed == [""]
    dialog = opened(reading(), "t", "enter", "enter", *"odd")
    assert (dialog.note, dialog.typed, dialog.field) == ("odd", ["", ""], 0)


@pytest.mark.parametrize("keys", [["escape"], ["enter"], [" ", " ", "enter"], [*"half", "escape"]])
def test_back_to_the_screen_as_it_was(keys: list[str]) -> None:
    ticked = opened(caution(), " ", "enter")
    before = texts(ticked)
    for key in ("t", *keys):
        assert ticked.press(key) is None
        draw(ticked)
    assert texts(ticked) == before
    # What else was typed, and the place in the fields.
    fields = opened(reading(), *"12", "tab", *"5")
    fields.note = ""
    for key in keys:
        assert fields.press(key) is None
    assert (fields.typed, fields.field) == (["12", "5"], 1)


@pytest.mark.parametrize("size", [(40, 10), (36, 9), (20, 8)])
def test_the_place_in_what_is_read_is_kept(size: tuple[int, int]) -> None:
    dialog = dialog_of(
        noting(finding(before_trying=tuple(f"Line {n} of many." for n in range(12))))
    )
    draw(dialog, *size)
    for _ in range(3):
        dialog.press(" ")
        draw(dialog, *size)
    before = texts(dialog, *size)
    dialog.press("t")
    assert any(row.startswith("Note:") for row in texts(dialog, *size))
    dialog.press("escape")
    assert texts(dialog, *size) == before


def test_keys_in_the_field_are_letters_but_for_danger() -> None:
    dialog = opened(check(), "t", *"1 b w l u c t")
    assert dialog.note == "1 b w l u c t"
    dialog.press("c-u")
    assert dialog.note == ""
    for key in ("tab", "up", "pagedown", "down", "f1"):
        assert dialog.press(key) is None
    assert dialog.note == ""
    assert dialog.press("!") == "danger"
    assert dialog.note == ""


def test_pasted_lines_become_one() -> None:
    dialog = opened(check(), "t")
    dialog.paste("  first line!\r\n\tsecond  line\n\n")
    assert dialog.press("enter") == "note first line! second line"


@pytest.mark.parametrize("size", [(80, 24), (40, 20), (36, 16), (20, 8)])
def test_one_row_holds_the_end_of_a_long_note(size: tuple[int, int]) -> None:
    dialog = opened(check(), "t", *"Es piept. " * 20, *"幅広\x1b")
    drawn = draw(dialog, *size)
    (row,) = [row for row in drawn if ("class:prompt", "Note:") in row.pieces]
    assert row.pieces[-1] == CURSOR
    assert row.pieces[-2][1].endswith("piept. 幅広\N{REPLACEMENT CHARACTER}"[-4:])
    assert row.pieces[-2][1].startswith("...")
    assert len(drawn) == size[1]
    # No other field shows a cursor meanwhile.
    fields = opened(reading())
    fields.note = "x"
    assert [piece for row in draw(fields) for piece in row.pieces].count(CURSOR) == 1


NOTED = phrase("noted", text="lamp three blinks")


def test_the_same_screen_stands_again_with_what_was_ticked() -> None:
    before, after = noting(caution()), replace(noting(caution()), notes=(NOTED,))
    with typed_at(" tlamp three blinks\r", "  ", "1") as full_screen:
        face = TerminalFace(full_screen)
        assert face.ask(before, HEADING) == "note lamp three blinks"
        assert face.ask(after, HEADING) == "done"
        first, second = full_screen.dialogs
        assert first is second
        assert "Noted: lamp three blinks" in [one.text for one in second.elements]
        # A screen that only looks like it, once more, begins anew.
        assert face.ask(check(), HEADING) == "1"
        assert full_screen.dialogs[2] is not first


def test_values_are_kept_over_a_note() -> None:
    before = noting(reading())
    dialog = opened(reading(), *"10", "tab")
    dialog.note = "odd"
    assert dialog.press("enter") == "note odd"
    after = replace(before, notes=(phrase("noted", text="odd"),))
    assert dialog.comes_again(after)
    dialog.reopen(after, HEADING, "")
    assert (dialog.typed, dialog.note) == (["10", ""], None)
    many = check(answers=tuple(Named(f"Colour {n}", f"Colour {n}") for n in range(1, 13)))
    digits = opened(many, "1", "t", "x")
    digits.reopen(replace(noting(many), notes=(NOTED,)), HEADING, "")
    assert digits.typed == ["1"]
    assert digits.press("2") is None
    assert digits.press("enter") == "12"


def test_a_refused_note_is_there_to_be_mended() -> None:
    screen = noting(check())
    with typed_at("tmuch too long\r", "\x7f\x7f\x7f\x7f\x7f\r", "1") as full_screen:
        face = TerminalFace(full_screen)
        assert face.ask(screen, HEADING) == "note much too long"
        face.show(refused("note-long", most=500, length=501), HEADING)
        assert face.ask(screen, HEADING) == "note much too"
        assert "501" in full_screen.dialogs[1].refused
        assert face.ask(replace(screen, notes=(NOTED,)), HEADING) == "1"
        assert full_screen.dialogs[2].refused == ""


def test_a_danger_by_mistake_brings_the_note_back() -> None:
    screen = noting(check())
    with typed_at("tsmell of!", "6", " rubber\r") as full_screen:
        face = TerminalFace(full_screen)
        assert face.ask(screen, HEADING) == "danger"
        assert face.ask(danger(), HEADING) == "6"
        assert face.ask(screen, HEADING) == "note smell of rubber"


def test_nothing_is_asked_anew_after_a_note() -> None:
    """What had been in sight answers, though the note has pushed it out of the window."""
    answers = tuple(Named(f"Answer {n}", f"Answer {n}") for n in range(1, 6))
    screen = noting(check(answers=answers))
    dialog = dialog_of(screen)
    while dialog.press("5") is None:
        draw(dialog, 36, 16)
    dialog.note = "x"
    dialog.reopen(replace(screen, notes=(phrase("noted", text="x " * 200),)), HEADING, "")
    draw(dialog, 36, 16)
    assert dialog.press("5") == "5"


SIZES = [(80, 24), (40, 20), (36, 16)]


@pytest.mark.many_cases
@pytest.mark.parametrize("size", SIZES)
def test_the_key_stands_where_something_is_to_be_noted(size: tuple[int, int]) -> None:
    asked = [s for symptom in SYMPTOMS for s in screens(symptom)]
    asked += [s for name in load(built_in()).rounds for s in items(name)]
    wanted = [
        screen
        for screen in asked
        if isinstance(screen, CheckScreen | ReadingScreen | ItemScreen) and screen.note_down
    ]
    assert len(wanted) >= 8
    for screen in wanted:
        told = texts(dialog_of(screen), *size)
        assert any("t note" in row for row in told), told
        assert any("! danger" in row for row in told)


def test_elsewhere_the_key_takes_no_row_of_what_is_read() -> None:
    for columns in range(20, 100):
        with_it = layout.draw(dialog_of(noting(check())), columns, 30)[1].legend
        without = layout.draw(dialog_of(check()), columns, 30)[1].legend
        assert len(with_it) <= len(without)
    asked = noting(check(note_down="Fault code as shown"))
    assert texts(dialog_of(asked), 20, 8)[-1] == "! danger   t note"


# In a real terminal


@pytest.fixture
def terminal(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Terminal]:
    columns, rows = request.param
    command = (*PROGRAM, "start", "streaking", "--log", str(tmp_path / "cases.db"))
    one = Terminal((*command, "--machine", "dock"), columns, rows, NO_COLOR="1")
    yield one
    one.child.close(force=True)


@pytest.mark.parametrize("terminal", [(80, 24), (40, 20), (36, 16)], indirect=True)
def test_a_note_at_a_terminal(terminal: Terminal, tmp_path: Path) -> None:
    first = terminal.until(r"case \w+", "29 causes open", "! danger", "l leave")
    terminal.press("t")
    terminal.until("^Note:|\nNote:", "Enter note it   Esc back   ! danger")
    terminal.press("x\x1b")
    terminal.until("u not sure", lambda text: "Note:" not in text)
    terminal.press("t")
    terminal.until("\nNote:", "Esc back")
    terminal.press("w" * (LONGEST_NOTE + 1) + "\r")
    terminal.until(r"Write\s+less", "A note has up to", r"\nNote: \.\.\.w+", "Esc back")
    terminal.press("\x15\x1b[200~squealed\nat noon\x1b[201~")
    terminal.until("\nNote: squealed at noon", "Esc back")
    terminal.press("\r")
    terminal.until("Noted: squealed at noon", "u not sure", lambda text: "Write" not in text)
    terminal.press("l")
    assert terminal.end() == 0
    case = re.search(r"case (\w+)", first)
    assert case
    log = ("--log", str(tmp_path / "cases.db"))
    shown = Terminal((*PROGRAM, "cases", "show", case[1], *log), 100, 50)
    shown.end()
    assert "squealed at noon" in shown.text()
