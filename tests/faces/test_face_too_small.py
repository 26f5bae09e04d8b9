"""A terminal too small for any screen says so, and takes no key for what nobody can see."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest
from drawing import dialog_of, text_of
from handmade import ALL, ASKED, HEADING, ONE_NEED, caution, check, danger, library, reading
from hypothesis import given
from hypothesis import strategies as st
from prompt_toolkit.application import create_app_session
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput
from terminals import PROGRAM, Terminal, TypedAt

from diagnose.faces import layout
from diagnose.faces.terminal import FullScreen, TerminalFace
from diagnose.faces.words import STOP, TOO_SMALL
from diagnose.text import cells

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from prompt_toolkit.application import Application

    from diagnose.case.screens import Screen

SIZES = [(columns, rows) for columns in range(1, 26) for rows in range(1, 11)]


def too_small(size: tuple[int, int]) -> bool:
    return size[0] < 20 or size[1] < 8


def test_below_twenty_columns_or_eight_rows_one_sentence_says_so() -> None:
    for size in SIZES:
        dialog = dialog_of(check())
        rows, arranged = layout.draw(dialog, *size)
        told = [text_of(row) for row in rows]
        assert len(told) == size[1]
        assert all(cells(row) <= size[0] for row in told)
        assert (arranged is None) == too_small(size)
        if too_small(size):
            said = " ".join(" ".join(told).split())
            # Whole where there is room for it, else as much as there is.
            assert said in TOO_SMALL or (size[0] < 9 and TOO_SMALL[-1].startswith(said))
            # Nothing of the screen counts as seen.
            assert not dialog.sight.read
    assert (
        " ".join(text_of(row) for row in layout.draw(dialog_of(check()), 80, 7)[0]).strip()
        == (TOO_SMALL[0])
    )


def test_at_a_danger_it_says_the_stop() -> None:
    for size in filter(too_small, SIZES):
        told = " ".join(text_of(row) for row in layout.draw(dialog_of(danger()), *size)[0])
        said = " ".join(told.split())
        assert said.startswith(STOP[: min(4, size[0])])


class Sized(DummyOutput):
    """A terminal of a size that can change."""

    size = (80, 24)

    def get_size(self) -> Size:
        columns, rows = self.size
        return Size(rows=rows, columns=columns)


KEYS = "yf12 \rcunkrxtl5é\t\x7f\x15"


@pytest.mark.parametrize("name", ASKED)
@given(size=st.sampled_from([*filter(too_small, SIZES)]), keys=st.text(KEYS, min_size=1))
def test_no_key_does_anything_where_the_screen_cannot_be_seen(
    name: str, size: tuple[int, int], keys: str
) -> None:
    dialog = pressed(ASKED[name], size, keys)[1].dialogs[0]
    fresh = dialog_of(ASKED[name])
    assert vars_of(dialog) == vars_of(fresh)


def vars_of(dialog: object) -> dict[str, object]:
    kept = ("ticked", "which", "typed", "field", "note", "alarmed", "hint")
    return {name: getattr(dialog, name) for name in kept}


def pressed(screen: Screen, size: tuple[int, int], keys: str) -> tuple[str | None, TypedAt]:
    """Ask a screen at a terminal of a size, press keys, at last Ctrl-D; return what was replied."""
    output = Sized()
    output.size = size
    with create_pipe_input() as pipe, create_app_session(input=pipe, output=output):
        full_screen = TypedAt(pipe, [f"{keys}\x04"])
        try:
            reply = TerminalFace(full_screen).ask(screen, HEADING)
        finally:
            full_screen.close()
    return reply, full_screen


@pytest.mark.parametrize(
    ("screen", "keys", "reply"),
    [
        (check(), "1", "1"),
        (caution(again=True), "y", "done"),
        (reading(needs=ONE_NEED), "5\r", "5"),
    ],
    ids=["check", "caution", "reading"],
)
def test_the_same_keys_are_taken_at_a_size_that_shows_it(
    screen: Screen, keys: str, reply: str
) -> None:
    """So it is the size that keeps them off."""
    assert pressed(screen, (80, 24), keys)[0] == reply
    assert pressed(screen, (80, 7), keys)[0] is None
    assert pressed(screen, (19, 24), keys)[0] is None


@pytest.mark.parametrize("name", ALL)
def test_danger_and_the_end_of_the_input_are_heard_at_any_size(name: str) -> None:
    if ALL[name].screen in ("danger", "end", "refused"):
        return
    face_reply, full_screen = pressed(ALL[name], (9, 3), "1y!")
    assert face_reply == "danger"
    assert full_screen.dialogs[0].alarmed
    assert pressed(ALL[name], (9, 3), "1y")[0] is None


def test_a_danger_that_comes_into_sight_takes_no_key_at_first() -> None:
    """Its time does not run while the window is too small for it."""

    seen: list[float] = []

    class Enlarged(TypedAt):
        def _rendered(self, app: Application[None]) -> None:
            FullScreen._rendered(self, app)
            assert self._drawn is not None
            seen.append(self._drawn)
            output.size = (80, 24)
            if len(seen) > 1:
                self.pipe.close()
            app.invalidate()

    output = Sized()
    output.size = (19, 24)
    with create_pipe_input() as pipe, create_app_session(input=pipe, output=output):
        full_screen = Enlarged(pipe, [])
        assert TerminalFace(full_screen).ask(danger(), HEADING) is None
    first, second = seen[:2]
    assert second > first


def test_pasted_text_goes_nowhere_either() -> None:
    _, full_screen = pressed(reading(needs=ONE_NEED), (80, 7), "\x1b[200~25\x1b[201~")
    assert full_screen.dialogs[0].typed == [""]


# In a real terminal


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    folder = tmp_path / "small"
    folder.mkdir()
    library(folder)
    command = (*PROGRAM, "start", "sample", "--trial", "--trees", str(folder))
    opened = Terminal(command, 30, 7, HOME=os.environ["HOME"])
    yield opened
    opened.child.close(force=True)


def test_a_larger_window_shows_all_as_it_was(terminal: Terminal) -> None:
    terminal.until("too small")
    terminal.press("2")
    terminal.resize(80, 24)
    terminal.until("What does the lamp show", "0 of 4|1-2 answer")
    terminal.press("2")
    terminal.until("0 of 4")
    terminal.press("  ")
    terminal.until("2 of 4")
    terminal.resize(19, 24)
    terminal.until("too", lambda text: "2 of 4" not in text)
    terminal.press("  \r\r")
    terminal.resize(40, 24)
    terminal.until("WARNING", "2 of 4", lambda text: text.count("ok  ") == 2)
    terminal.resize(80, 5)
    terminal.until("too small")
    terminal.press("!")
    terminal.until("Stop. Get off.")
    terminal.press("1")
    terminal.resize(80, 24)
    terminal.until("Pressed by mistake")
    terminal.resize(10, 2)
    terminal.until("Stop", lambda text: "Pressed" not in text)
    terminal.press("\x03")
    assert terminal.end() == 0
