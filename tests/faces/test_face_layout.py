"""Rows at any width: nothing too wide, nothing lost, the causes always in sight."""

from __future__ import annotations

import pytest
from drawing import body_of, dialog_of, draw, marked, text_of, texts
from handmade import (
    ALL,
    HEADING,
    KEY_OUT,
    ONE_NEED,
    RANKING,
    caution,
    check,
    end,
    finding,
    item,
    reading,
)
from hypothesis import given
from hypothesis import strategies as st

from diagnose.case.screens import CardLine, Named, phrase
from diagnose.faces import layout
from diagnose.faces.dialog import Dialog
from diagnose.faces.elements import Status, causes_left, elements
from diagnose.faces.face import Heading
from diagnose.faces.layout import LOWEST, NARROWEST
from diagnose.measure.model import Expected
from diagnose.measure.wording import expected_range, percent, with_unit
from diagnose.text import cells, cut, head, printable, tail, wrap

TEXT = st.text(st.sampled_from("abcde  -é°.幅広\u0301"), max_size=120)


@given(text=TEXT, width=st.integers(2, 60), first=st.integers(0, 20))
def test_wrapping_keeps_the_width_and_every_letter(text: str, width: int, first: int) -> None:
    rows = wrap(text, width, first)
    assert rows
    assert "".join("".join(rows).split()) == "".join(text.split())
    assert all(cells(row) <= width for row in rows)
    if width - first >= 2:
        assert cells(rows[0]) <= width - first


@given(text=TEXT, width=st.integers(5, 60))
def test_shortened_text_fits_and_says_so(text: str, width: int) -> None:
    short = cut(text, width)
    assert cells(short) <= width
    assert (short == text) == (cells(text) <= width)
    if short != text:
        assert short.endswith("...")
        assert text.startswith(short.removesuffix("..."))


def test_the_front_and_the_end_of_a_text() -> None:
    assert head("abc", 2) == "ab"
    assert head("幅広", 1) == "幅"  # one letter at least
    assert tail("abc", 2) == "bc"
    assert cut("abcdef", 2) == "ab"


@pytest.mark.parametrize("name", ALL)
@given(columns=st.integers(1, 120), rows=st.integers(1, 60))
def test_a_screen_fills_its_terminal_and_no_more(name: str, columns: int, rows: int) -> None:
    drawn = texts(dialog_of(ALL[name]), columns, rows)
    assert len(drawn) == rows
    assert all(cells(row) <= columns for row in drawn)


@pytest.mark.parametrize("name", ALL)
def test_all_a_screen_says_can_be_scrolled_to_at_any_size(name: str) -> None:
    dialog = dialog_of(ALL[name])
    # The signal word stands above what is scrolled, always.
    signals = [one.text for one in dialog.elements if one.kind == "signal"]
    scrolled = "".join(one.text for one in dialog.elements if one.kind != "signal")
    wanted = "".join(scrolled.split())
    for columns, rows in ((80, 24), (40, 20), (40, 9), (20, 8)):
        dialog = dialog_of(ALL[name])
        told: dict[int, str] = {}
        for _ in range(200):
            drawn = texts(dialog, columns, rows)
            assert all(any(f" {word} " in row for row in drawn) for word in signals)
            sight = dialog.sight
            under = len(layout.draw(dialog, columns, rows)[1].legend) + bool(dialog.prompt()) + 1
            told |= dict(enumerate(drawn[-under - sight.room : -under], start=sight.top))
            if not sight.below:
                break
            dialog.press("down" if len(dialog.typed) < 2 else "pagedown")
        text = "".join("".join(told[at] for at in sorted(told)).split())
        for letter in set(wanted):
            assert text.count(letter) >= wanted.count(letter), (columns, rows, letter)


KEYS = [" ", "enter", "y", "1", "x", "tab", "backspace", "up", "down", "pagedown"]


@pytest.mark.parametrize("name", ALL)
@given(
    keys=st.lists(st.sampled_from(KEYS), max_size=30),
    columns=st.integers(NARROWEST, 100),
    rows=st.integers(LOWEST, 30),
)
def test_what_was_arranged_once_is_drawn_as_if_arranged_anew(
    name: str, keys: list[str], columns: int, rows: int
) -> None:
    once, anew = dialog_of(ALL[name]), dialog_of(ALL[name])
    drawn, arranged = layout.draw(once, columns, rows)
    assert drawn == draw(anew, columns, rows)
    for key in keys:
        said = once.elements
        if once.press(key) is not None:
            return
        anew.press(key)
        drawn, again = layout.draw(once, columns, rows, arranged)
        # What is typed can narrow a list.
        assert (again is arranged) == (once.elements is said)
        arranged = again
        assert drawn == draw(anew, columns, rows)


def status_rows(status: Status, columns: int = 80, rows: int = 24) -> list[str]:
    drawn, arranged = layout.draw(Dialog(check(), HEADING, status), columns, rows)
    return [text_of(row) for row in drawn[: len(arranged.status)]]


@given(
    title=TEXT,
    machine=st.none() | TEXT,
    titles=st.lists(st.text(st.sampled_from("abc "), min_size=1, max_size=12), max_size=9),
    columns=st.integers(30, 100),
    rows=st.integers(8, 30),
)
def test_the_causes_are_never_cut_away(
    title: str, machine: str | None, titles: list[str], columns: int, rows: int
) -> None:
    place = tuple(part for part in (title, machine, "case K7Q2") if part)
    shown = status_rows(Status(place, "28 causes open, about 28 min", tuple(titles)), columns, rows)
    told = "\n".join(shown)
    assert "28 causes open, about 28 min" in told
    assert len(shown) <= 6
    assert all(cells(row) <= columns for row in shown)
    if len(shown) > 1:
        assert ("In force: " if titles else "No caution in force") in told


def place_rows(*place: str, columns: int, rows: int = 24) -> list[str]:
    return status_rows(Status(place, "9 causes open, about 6 min", ("Key out",)), columns, rows)


def test_the_place_and_the_causes_in_one_row_or_two() -> None:
    wide = place_rows("It streaks", "Dock machine", "case K7Q2", columns=80)
    assert wide[0].startswith("It streaks · Dock machine · case K7Q2  ")
    assert wide[0].endswith("  9 causes open, about 6 min")
    assert wide[1:] == ["In force: Key out"]
    narrow = place_rows("It streaks in every curve", "Dock machine", "case K7Q2", columns=40)
    assert narrow == [
        "It streaks in every curve · case K7Q2",
        "9 causes open, about 6 min",
        "In force: Key out",
    ]
    low = place_rows("It streaks in every curve", "Dock machine", "case K7Q2", columns=40, rows=11)
    assert low == ["case K7Q2     9 causes open, about 6 min", "In force: Key out"]
    # The symptom is shortened to twenty letters, not to fewer: then the machine goes.
    for columns, shown in (
        (47, "It streaks in eve... · Dock machine · case K7Q2"),
        (46, "It streaks in every curve · case K7Q2"),
    ):
        rows = place_rows("It streaks in every curve", "Dock machine", "case K7Q2", columns=columns)
        assert rows[0] == shown


def test_the_cautions_that_do_not_fit_are_counted() -> None:
    titles = tuple(f"Caution number {number}" for number in range(8))
    shown = status_rows(Status(("x",), "9 causes open", titles), 40, 12)
    assert len(shown) == 4
    assert shown[-1].endswith("and 3 more")


def test_keys_lose_their_words_before_danger_is_lost() -> None:
    full = "1-2 answer   u not sure   c cannot   b back   w why   ! danger   l leave"
    assert texts(dialog_of(check()), 80, 24)[-1] == full
    assert texts(dialog_of(check()), 20, 8)[-1] == "! danger   1-2   u"


def test_a_caution_shows_which_line_is_next() -> None:
    dialog = dialog_of(caution())
    draw(dialog, 60, 99)
    dialog.press(" ")
    told = body_of(dialog)
    assert told[0] == "   WARNING  " + "/" * 46
    assert told[-3:] == [
        "  ok  The key is in my pocket.",
        "  >>  The connector is apart.",
        "      My tag is on.",
    ]
    assert body_of(dialog_of(caution(again=True)))[-1] == "  -  My tag is on."


def test_air_goes_before_words_do() -> None:
    full = body_of(dialog_of(check()))
    assert full.count("") == 2
    # Two rows of status, one between, one of keys: the body is left six.
    tight = body_of(dialog_of(check()), 80, 10)
    assert "" not in tight
    assert [row for row in full if row] == tight


def test_air_under_the_status_goes_when_just_its_row_is_lacking() -> None:
    names = tuple(Named(f"Answer {n}", f"Answer {n}") for n in range(1, 10))
    rows = sum(map(bool, body_of(dialog_of(check(answers=names)), 80)))
    # Two rows of status, one between, one of keys.
    exact = texts(dialog_of(check(answers=names)), 80, rows + 4)
    airy = texts(dialog_of(check(answers=names)), 80, rows + 5)
    assert exact[1] == airy[1] == "No caution in force"
    assert exact[2] == "  Look along the whole rear blade."
    assert airy[2] == ""
    assert airy[3] == "  Look along the whole rear blade."
    assert "9  Answer 9" in exact[-3]


def test_no_air_is_kept_under_the_status_of_a_low_terminal() -> None:
    short = check(do=None, look_for=None, tool=None)
    assert texts(dialog_of(short), 80, 16)[2] == ""
    assert texts(dialog_of(short), 80, 15)[2] != ""


def test_a_long_answer_hangs_under_its_own_text() -> None:
    screen = check(answers=(Named("a", "one two three four five"), Named("b", "b")))
    assert body_of(dialog_of(screen), 40)[-2:] == ["  1  one two three four five", "  2  b"]
    assert body_of(dialog_of(screen), 20)[-3:] == ["1 one two three four", "  five", "2 b"]


def test_ten_numbers_stand_right_aligned() -> None:
    names = tuple(Named(f"A{n}", f"A{n}") for n in range(1, 11))
    for columns, rows in ((60, ["   9  A9", "  10  A10"]), (30, [" 9 A9", "10 A10"])):
        assert body_of(dialog_of(check(answers=names)), columns)[-2:] == rows


def test_what_is_typed_stands_behind_its_title_or_below_it() -> None:
    dialog = dialog_of(reading())
    dialog.paste("10")
    assert body_of(dialog)[-2:] == [
        "  > distance between the marks, in m: 10",
        "    time between the marks, in s: ",
    ]
    dialog.paste("1234567890" * 9)
    dialog.press("tab")
    told = body_of(dialog)
    assert told[-2] == f"    ...{('1234567890' * 9)[-50:]}"
    assert all(cells(row) <= 60 for row in told)


def test_the_cursor_stands_behind_what_is_typed() -> None:
    dialog = dialog_of(reading(needs=ONE_NEED))
    dialog.paste("25\x1b")
    (row,) = [row for row in draw(dialog) if marked(row) == 1]
    assert row.pieces[-2:] == (("class:typed", "25\N{REPLACEMENT CHARACTER}"), layout.CURSOR)


def test_numbers_in_words() -> None:
    assert causes_left(0, 3) == "0 causes open"
    assert causes_left(2, float("inf")) == "2 causes open"
    assert percent(0.0049) == "under 1 %"
    assert percent(0.105) == "10 %"
    assert with_unit(25.4321, "V") == "25.43 V"
    assert with_unit(4321.6, "") == "4322"
    ranges = {
        (None, None): "no range is known",
        (None, 6.0): "at most 6 V",
        (3.0, None): "at least 3 V",
        (3.0, 3.0): "3 V",
        (3.0, 6.0): "3 to 6 V",
    }
    for (low, high), words in ranges.items():
        assert expected_range(Expected(low=low, high=high, source=""), "V") == words


def test_control_characters_are_marked() -> None:
    assert printable("a\tb\x1b\u202ec") == "a b\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}c"


def test_a_round_keeps_its_cautions_in_sight() -> None:
    screen = item(in_force=(Named("key-out", "Key out"),))
    drawn = texts(dialog_of(screen, Heading(title="Before the shift")))
    assert drawn[:2] == ["Before the shift", "In force: Key out"]


def test_a_case_that_is_not_yet_one() -> None:
    assert texts(dialog_of(ALL["choose machine"], Heading()))[:2] == ["A new case", ""]


#: The parts that screens are made of: a face gives each its place, its look or its voice.
PARTS = set(
    "notice note refused signal title text aside ask answer field confirm heading line".split()
)


def test_every_part_that_a_screen_says_is_one_that_faces_know() -> None:
    card = (CardLine("stands", "at the dock"),)
    more = [
        check(card=card, note_down="Hours", doorway="It leads here", notes=(phrase("log-waits"),)),
        finding(card=card, likelier=RANKING),
        end(in_force=(KEY_OUT,)),
    ]
    screens = [*ALL.values(), *more]
    first = Heading(first=True)
    said = {one.kind for screen in screens for one in elements(screen, first)}
    assert said == PARTS


def test_a_finding_says_how_likely_it_is() -> None:
    assert "  61 % likely, about 3 min to put right." in texts(dialog_of(finding()))
