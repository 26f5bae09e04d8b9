"""The terminal face: typed at without a terminal, and in a real one under pexpect and pyte."""

from __future__ import annotations

import errno
import os
import re
import signal
import sys
import time
from typing import TYPE_CHECKING, Any

import pytest
from handmade import (
    HEADING,
    KEY_OUT,
    ONE_NEED,
    caution,
    check,
    choose,
    danger,
    end,
    figure,
    finding,
    library,
    reading,
    refused,
    why,
)
from terminals import PROGRAM, Terminal, TypedAt, typed_at

from diagnose import interrupts
from diagnose.case.screens import phrase
from diagnose.faces.layout import draw
from diagnose.faces.terminal import BURST, FullScreen, TerminalFace, no_color

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

# Without a terminal


def test_a_key_is_a_reply() -> None:
    with typed_at("2", "yf", "y", "\x1b[B\x1b[5~1") as full_screen:
        face = TerminalFace(full_screen)
        assert face.ask(check(), HEADING) == "2"
        assert face.ask(finding(), HEADING) == "cured"
        assert face.ask(caution(again=True), HEADING) == "done"
        assert face.ask(check(), HEADING) == "1"


def test_a_caution_is_ticked_by_keys() -> None:
    with typed_at("y \n\r") as full_screen:
        assert TerminalFace(full_screen).ask(caution(), HEADING) == "done"


def test_values_are_typed_and_pasted() -> None:
    with typed_at(
        "1\t8\x1b[Z0\r\r", "\x1b[200~25.4\nV\x1b[201~\r", "x\x15y\x7fsmears\r"
    ) as full_screen:
        face = TerminalFace(full_screen)
        assert face.ask(reading(), HEADING) == "distance=10 time=8"
        assert face.ask(reading(needs=ONE_NEED), HEADING) == "25.4 V"
        assert face.ask(choose("symptom"), HEADING) == "smears"


def test_a_refused_reply_stands_above_the_same_screen_which_goes_on() -> None:
    with typed_at("x\r", "\x7f25\r", "1") as full_screen:
        face = TerminalFace(full_screen)
        assert face.ask(reading(needs=ONE_NEED), HEADING) == "x"
        face.show(refused("cannot-read", message="it is no number"), HEADING)
        assert face.ask(reading(needs=ONE_NEED), HEADING) == "25"
        assert full_screen.dialogs[1] is full_screen.dialogs[0]
        assert "it is no number" in full_screen.dialogs[1].refused
        assert face.ask(check(), HEADING) == "1"
        assert full_screen.dialogs[2].refused == ""


def test_ticks_are_kept_over_a_reason_and_lost_on_the_way_back() -> None:
    with typed_at("  w", "x", " ", "  b", "1", "   ") as full_screen:
        face = TerminalFace(full_screen)
        assert face.ask(caution(), HEADING) == "why"
        face.show(why(), HEADING)
        assert face.ask(caution(), HEADING) == "done"
        assert face.ask(caution(), HEADING) == "back"
        assert face.ask(check(), HEADING) == "1"
        assert face.ask(caution(), HEADING) == "done"
        assert full_screen.dialogs[-1].ticked == 3


def test_what_is_in_force_stays_in_sight_over_a_reason() -> None:
    with typed_at("w", "x", "\r") as full_screen:
        face = TerminalFace(full_screen)
        face.ask(check(in_force=(KEY_OUT,)), HEADING)
        face.show(why(), HEADING)
        assert full_screen.dialogs[1].status.in_force == ("Key out",)
        face.show(figure(), HEADING)


def test_danger_at_a_figure_is_the_next_reply() -> None:
    with typed_at("!", "1") as full_screen:
        face = TerminalFace(full_screen)
        face.show(figure(), HEADING)
        assert face.ask(check(), HEADING) == "danger"
        assert face.ask(check(), HEADING) == "1"


def test_a_danger_by_mistake_brings_back_what_was_typed_and_confirmed() -> None:
    # What follows on the key in one burst is no part of the field, nor does it confirm a line.
    keys = ("2!7", "6", "5\r", " ! ", "6", "  y", "le!", "6", "aks\r")
    with typed_at(*keys) as full_screen:
        face = TerminalFace(full_screen)
        for screen, reply in (
            (reading(needs=ONE_NEED), "25"),
            (caution(), "done"),
            (choose("symptom"), "leaks"),
        ):
            assert face.ask(screen, HEADING) == "danger"
            assert face.ask(danger(), HEADING) == "6"
            assert face.ask(screen, HEADING) == reply
        # The very same, so it comes back as it was left.
        assert all(full_screen.dialogs[at] is full_screen.dialogs[at + 2] for at in (0, 3, 6))


def test_words_of_danger_do_not_stay_in_their_field() -> None:
    """They would lead there once more."""
    with typed_at("smoke\r", "6", "leaks\r") as full_screen:
        face = TerminalFace(full_screen)
        assert face.ask(choose("symptom", 12), HEADING) == "smoke"
        assert face.ask(danger(), HEADING) == "6"
        assert face.ask(choose("symptom", 12), HEADING) == "leaks"


def test_a_danger_is_asked_again_above_itself() -> None:
    with typed_at("!", "1", "1") as full_screen:
        face = TerminalFace(full_screen)
        face.ask(check(), HEADING)
        face.ask(danger(), HEADING)
        face.show(refused("danger-which", last=6), HEADING)
        assert face.ask(danger(), HEADING) == "1"
        assert full_screen.dialogs[-1].refused.startswith("Give its number, 1 to 6.")


def test_a_burst_of_keys_at_a_danger_answers_nothing() -> None:
    """What was pressed before it was on the screen is no answer to it."""
    with typed_at("!123456yl\r", "6", "1") as full_screen:
        face = TerminalFace(full_screen)
        assert face.ask(check(), HEADING) == "danger"
        assert face.ask(danger(), HEADING) == "6"
        assert face.ask(check(), HEADING) == "1"


def test_a_danger_s_question_takes_no_key_at_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """A burst goes on once the question is there; nobody can have read it by then."""
    for burst, keys, reply in ((3600.0, "3\x04", None), (0.0, "3", "3")):
        monkeypatch.setattr(TypedAt, "burst", burst)
        with typed_at("!", keys) as full_screen:
            face = TerminalFace(full_screen)
            assert face.ask(check(), HEADING) == "danger"
            assert face.ask(danger(), HEADING) == reply
    # Any other question takes it, and whoever breaks off at a danger is heard at once.
    monkeypatch.setattr(TypedAt, "burst", 3600.0)
    with typed_at("3\x03", "1") as full_screen:
        face = TerminalFace(full_screen)
        with pytest.raises(KeyboardInterrupt):
            face.ask(danger(), HEADING)
        assert face.ask(check(), HEADING) == "1"
    assert FullScreen.burst == BURST == 0.5


def test_breaking_off() -> None:
    with typed_at("\x03", "\x03") as full_screen:
        face = TerminalFace(full_screen)
        with pytest.raises(KeyboardInterrupt):
            face.ask(check(), HEADING)
        face.show(figure(), HEADING)  # what follows it is broken off
        with pytest.raises(KeyboardInterrupt):
            face.ask(check(), HEADING)


def test_the_input_ends() -> None:
    with typed_at("\x04", "\x04") as full_screen:
        face = TerminalFace(full_screen)
        assert face.ask(check(), HEADING) is None
        face.show(figure(), HEADING)
        assert face.ask(check(), HEADING) is None
    with typed_at() as full_screen:
        assert TerminalFace(full_screen).ask(check(), HEADING) is None


def test_a_fault_in_drawing_gives_the_terminal_back(monkeypatch: pytest.MonkeyPatch) -> None:
    with typed_at("1") as full_screen:
        face = TerminalFace(full_screen)
        face.ask(check(), HEADING)
        before = sys.stdout

        def broken(*size: object) -> list[object]:
            raise ZeroDivisionError

        monkeypatch.setattr("diagnose.faces.terminal.draw", broken)
        with pytest.raises(ZeroDivisionError):
            face.ask(finding(), HEADING)
        assert sys.stdout is not before


@pytest.mark.parametrize(("number", "gone"), [(errno.EIO, True), (errno.ENOSPC, False)])
def test_a_terminal_that_is_gone_is_the_end_of_the_input(
    number: int, gone: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*size: object) -> list[object]:
        raise OSError(number, "no terminal")

    monkeypatch.setattr("diagnose.faces.terminal.draw", broken)
    with typed_at("1") as full_screen:
        if gone:
            assert TerminalFace(full_screen).ask(check(), HEADING) is None
            return
        with pytest.raises(OSError, match="no terminal"):
            TerminalFace(full_screen).ask(check(), HEADING)


def test_an_end_from_outside_waits_until_the_screen_is_drawn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    drawn = []

    def draws(*args: Any) -> object:
        signal.raise_signal(signal.SIGTERM)
        drawn.append(1)
        return draw(*args)

    monkeypatch.setattr("diagnose.faces.terminal.draw", draws)
    monkeypatch.setattr(interrupts, "_now", interrupts._Now())
    before = signal.signal(signal.SIGTERM, interrupts._came)
    try:
        with typed_at() as full_screen, pytest.raises(KeyboardInterrupt):
            TerminalFace(full_screen).ask(check(), HEADING)
    finally:
        signal.signal(signal.SIGTERM, before)
    assert drawn


def test_ctrl_z_stops_all_that_was_started_together(monkeypatch: pytest.MonkeyPatch) -> None:
    stopped = []

    def kill(process: int, number: int) -> None:
        stopped.append((process, number))
        full_screen.pipe.send_text("1")

    monkeypatch.setattr(os, "kill", kill)
    with typed_at("\x1a") as full_screen:
        assert TerminalFace(full_screen).ask(check(), HEADING) == "1"
    assert stopped == [(0, signal.SIGTSTP)]
    # A system that has no such signal.
    monkeypatch.delattr(signal, "SIGTSTP")
    with typed_at("\x1a2") as full_screen:
        assert TerminalFace(full_screen).ask(check(), HEADING) == "2"
    assert len(stopped) == 1


def test_whoever_prints_finds_the_terminal_restored(capsys: pytest.CaptureFixture[str]) -> None:
    with typed_at("1", "2") as full_screen:
        face = TerminalFace(full_screen)
        streams = sys.stdout, sys.stderr
        assert face.ask(check(), HEADING) == "1"
        assert full_screen._loop is not None
        print("a", "few", "words", file=sys.stderr)
        assert full_screen._loop is None
        assert not sys.stdout.isatty()
        assert face.ask(check(), HEADING) == "2"
        full_screen.close()
        full_screen.close()
        assert (sys.stdout, sys.stderr) == streams
    assert capsys.readouterr().err == "a few words\n"


def test_a_stream_that_is_not_there_stays_away(monkeypatch: pytest.MonkeyPatch) -> None:
    with typed_at("1") as full_screen:
        monkeypatch.setattr(sys, "stderr", None)
        assert TerminalFace(full_screen).ask(check(), HEADING) == "1"
        assert sys.stderr is None


def test_keys_before_the_first_screen_mean_nothing() -> None:
    full_screen = FullScreen()
    full_screen._answer("1")
    assert full_screen._reply is None
    full_screen.close()


def test_the_end_is_printed_to_stay(capsys: pytest.CaptureFixture[str]) -> None:
    with typed_at("l") as full_screen:
        face = TerminalFace(full_screen)
        face.ask(check(), HEADING)
        face.show(end("left", notes=(phrase("end-resume", case="K7Q2"),)), HEADING)
        assert full_screen._loop is None
    told = capsys.readouterr().out
    assert "Case K7Q2: Left open." in told
    assert "diagnose resume K7Q2" in told


@pytest.mark.parametrize(("value", "wanted"), [("1", True), ("", False), (None, False)])
def test_no_color(monkeypatch: pytest.MonkeyPatch, value: str | None, wanted: bool) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    if value is not None:
        monkeypatch.setenv("NO_COLOR", value)
    assert no_color() is wanted


# In a real terminal


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Terminal]]:
    """Start the program on the small library, or on the built-in one, in a terminal."""
    folder = tmp_path / "small"
    folder.mkdir()
    library(folder)
    running: list[Terminal] = []

    def started(
        *args: str, columns: int = 80, rows: int = 24, small: bool = True, **variables: str
    ) -> Terminal:
        where = ("--trees", str(folder)) if small else ()
        log = ("--log", str(tmp_path / "cases.db"))
        terminal = Terminal((*PROGRAM, *args, *where, *log), columns, rows, **variables)
        running.append(terminal)
        return terminal

    yield started
    for terminal in running:
        terminal.child.close(force=True)


@pytest.mark.parametrize("columns", [80, 40])
def test_a_case_to_its_cure(start: Callable[..., Terminal], columns: int) -> None:
    terminal = start("start", "sample", columns=columns)
    screen = terminal.until(
        *("4 causes open, about ", "No caution in force", r"case \w+", "NOTICE"),
        *("What does the lamp show", "1-2 answer", "t note"),
    )
    assert "\x1b[?1049h" in terminal.raw.decode()
    case = re.search(r"case (\w+)", screen)
    assert case
    terminal.press("2")
    screen = terminal.until(
        *(r"WARNING  /{9}", r"disconnect\s+before\s+work\s+\(M021\)", ">>  It stands level."),
        *("0 of 4", "c cannot"),
    )
    assert "Look at the brush" not in screen
    for ticked in (1, 2, 3):
        terminal.press(" ")
        terminal.until(f"{ticked} of 4", lambda text, n=ticked: text.count("ok  ") == n)
    terminal.press("\r")
    terminal.until("In force: Key out, Locked out", "3 causes open", "Is it worn", "1-2 answer")
    terminal.press("1")
    terminal.until("Fit a new brush.", "-  My tag is off.", r"fixed\?", "f fixed")
    terminal.press("f")
    assert terminal.end() == 0
    # The screen is taken once and given back once: nothing flickers in between.
    assert terminal.raw.count(b"\x1b[?1049l") == terminal.raw.count(b"\x1b[?1049h") == 1
    after = terminal.raw.decode().rpartition("\x1b[?1049l")[2]
    assert f"Case {case[1]}: Fixed." in after
    assert "The brush is worn" in terminal.text()


def paged(terminal: Terminal, wanted: str) -> None:
    """Read on with Space until something is in sight."""
    while not re.search(wanted, terminal.text()):
        before = terminal.text()
        terminal.press(" ")
        terminal.until(lambda text, before=before: text != before)


def test_every_row_of_the_built_in_trees_fits_forty_columns(
    start: Callable[..., Terminal],
) -> None:
    terminal = start("start", "streaking", "--machine", "dock", columns=40, small=False)
    terminal.until("29 causes open, about", "What was done to it last")
    paged(terminal, "4  ")
    terminal.press("4")
    terminal.until("What does it leave behind")
    paged(terminal, "More than one of these")
    terminal.press("7")
    terminal.until("Space: read on|lines are done")
    paged(terminal, "lines are done")
    terminal.press("y")
    terminal.until("In force: People clear, Floor closed off", "What lies where it stopped")


def test_nonsense_keys_change_nothing(start: Callable[..., Terminal]) -> None:
    terminal = start("start", "sample")
    terminal.until("What does the lamp show")
    for keys in ("\x1b", "\x1b[15~", "\x01\x02", "\x1b[200~1\n2\x1b[201~", "\x00", "q"):
        terminal.press(keys)
    terminal.until("What does the lamp show", "q does nothing here")
    terminal.press("9")
    terminal.until("There is no answer 9")


def test_ctrl_c_leaves_the_case_and_says_how_to_go_on(start: Callable[..., Terminal]) -> None:
    terminal = start("start", "sample")
    case = re.search(r"case (\w+)", terminal.until(r"case \w+", "What does the lamp show"))
    assert case
    terminal.press("2")
    terminal.until("0 of 4")
    terminal.press("\x03")
    assert terminal.end() == 0
    after = terminal.raw.decode().rpartition("\x1b[?1049l")[2]
    assert f"diagnose resume {case[1]}" in after
    assert "Traceback" not in terminal.raw.decode()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_end_from_outside_is_the_same(
    start: Callable[..., Terminal], number: signal.Signals
) -> None:
    terminal = start("start", "sample")
    terminal.until("What does the lamp show")
    terminal.press("2")
    terminal.until("0 of 4")
    os.kill(terminal.child.pid, number)
    assert terminal.end() == 0
    assert "diagnose resume" in terminal.raw.decode().rpartition("\x1b[?1049l")[2]


def test_ctrl_d_leaves(start: Callable[..., Terminal]) -> None:
    terminal = start("start", "sample")
    terminal.until("What does the lamp show")
    terminal.press("\x04")
    assert terminal.end() == 0
    told = terminal.text()
    assert "Left." in told
    assert "Nothing was answered, so no case is kept." in " ".join(told.split())


def test_danger_is_one_key_and_its_words_stay(start: Callable[..., Terminal]) -> None:
    terminal = start("start", "sample")
    terminal.until("What does the lamp show")
    terminal.press("!")
    others = "What does the lamp show|case|caution|causes|NOTICE"
    terminal.until("Pressed by mistake", lambda text: not re.search(others, text))
    time.sleep(2 * BURST)
    terminal.press("1")
    assert terminal.end() == 0
    told = terminal.text()
    assert "Referred to service." in told
    assert "Move everybody away" in told
    assert "diagnose handover" in told


SGR = re.compile(r"\x1b\[([\d;]*)m")


def colours(terminal: Terminal) -> set[str]:
    """Return the colours that the program asked for, as SGR parameters."""
    pieces = [code for found in SGR.findall(terminal.raw.decode()) for code in found.split(";")]
    return {code for code in pieces if code in ("38", "48") or re.fullmatch(r"[349]\d", code)}


def test_colour_is_an_addition(start: Callable[..., Terminal]) -> None:
    terminals = []
    for wish in ("1", ""):
        # One after the other: the first makes the log.
        terminal = start("start", "sample", NO_COLOR=wish)
        terminals.append(terminal)
        terminal.until("What does the lamp show")
        terminal.press("2")
        terminal.until("WARNING", "0 of 4", "c cannot.* l leave")
    plain, coloured = terminals
    assert colours(plain) == set()
    assert colours(coloured)
    assert plain.text().split("case")[0] == coloured.text().split("case")[0]
    row = next(at for at, line in enumerate(plain.screen.display) if "WARNING" in line)
    cell = plain.screen.buffer[row][plain.screen.display[row].index("W")]
    assert cell.reverse
    assert cell.bold


def test_a_resize_redraws(start: Callable[..., Terminal]) -> None:
    terminal = start("start", "sample")
    terminal.until("What does the lamp show")
    terminal.resize(40, 16)
    narrow = terminal.until("4 causes open", "What does the lamp show", "l leave")
    assert max(len(line) for line in narrow.splitlines()) <= 40
    terminal.resize(100, 30)
    terminal.until("1-2 answer   u not sure   c cannot   w why   t note   ! danger   l leave")
    terminal.press("1")
    terminal.until("The bulb is dead")


@pytest.mark.parametrize(("columns", "rows"), [(30, 8), (20, 8)])
def test_a_small_terminal_is_still_of_use(
    start: Callable[..., Terminal], columns: int, rows: int
) -> None:
    terminal = start("start", "sample", columns=columns, rows=rows)
    terminal.until("4 causes", "Space: read on", "! danger")
    terminal.press("2")
    terminal.until("read on to")  # its answer was not in sight yet
    paged(terminal, "2 +It glows")
    terminal.press("2")
    terminal.until("WARNING", "Space: read on")
    paged(terminal, "Worn")
    terminal.until("In force: Key out")


def test_keys_typed_ahead_answer_nothing(start: Callable[..., Terminal]) -> None:
    terminal = start("start", "sample")
    terminal.press("1y")  # the program is still starting
    terminal.until("What does the lamp show")
    terminal.press("q")
    terminal.until("What does the lamp show", "q does nothing here")


def test_an_error_in_between_is_read_on_the_normal_screen(tmp_path: Path) -> None:
    program = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from handmade import check, HEADING\n"
        "from diagnose.faces.selection import face_for\n"
        "face = face_for()\n"
        "face.ask(check(), HEADING)\n"
        "print('the log is full', file=sys.stderr)\n"
        "raise SystemExit(3)\n"
    )
    here = os.path.dirname(__file__)  # noqa: PTH120
    terminal = Terminal((sys.executable, "-c", program, here), HOME=str(tmp_path))
    terminal.until("Is anything stuck under it")
    terminal.press("1")
    assert terminal.end() == 3
    after = terminal.raw.decode().rpartition("\x1b[?1049l")[2]
    assert after.strip().endswith("the log is full")


def test_plain_lines_at_a_keyboard(start: Callable[..., Terminal]) -> None:
    for args, term in ((["--plain"], "xterm"), ([], "dumb")):
        terminal = start("start", "sample", *args, TERM=term)
        terminal.until("Reply:")
        terminal.press("9\r")
        terminal.until('No answer is "9"')
        terminal.press("2\r")
        terminal.until("1 of 4: It stands level")
        for line in ("2 of 4", "3 of 4", "4 of 4"):
            terminal.press("\r")
            terminal.until(line)
        terminal.press("done\r")
        terminal.until("Is it worn")
        terminal.press("l\r")
        assert terminal.end() == 0
        told = terminal.raw.decode()
        assert "\x1b" not in told
        assert "Left open." in told


def test_a_reading_is_typed_and_its_figure_waits(start: Callable[..., Terminal]) -> None:
    terminal = start("start", "sample")
    terminal.until("What does the lamp show")
    terminal.press("2")
    terminal.until("0 of 4")
    terminal.press("    ")
    terminal.until("Is it worn")
    terminal.press("2")
    terminal.until("Locked out ends now")
    terminal.press("y")
    terminal.until("Does it hum")
    terminal.press("1")
    terminal.until("Read the display")
    terminal.press("12x\r")
    terminal.until("That reading cannot be used")
    terminal.press("\x7f\r")
    terminal.until("In force: Key out", "12: low", "Any key goes on")
    terminal.press(" ")
    terminal.until("The battery is flat")


def test_own_words_lead_to_a_case_and_back_to_the_choice(start: Callable[..., Terminal]) -> None:
    terminal = start("start", "--machine", "none")
    terminal.until("your own words")
    terminal.press("it stands still\r")
    terminal.until(r'Your words: "it stands still"\.', "What does the lamp show", "b back")
    terminal.press("b")
    terminal.until("your own words", lambda text: "b back" not in text)
    terminal.press("l\r")
    assert terminal.end() == 0
