"""Rows at any width: nothing too wide, nothing lost, the causes always in sight."""

from __future__ import annotations

import pytest
from handmade import ALL, HEADING, KEY_OUT, caution, check, finding, reading
from hypothesis import given
from hypothesis import strategies as st

from diagnose.case.screens import Named
from diagnose.faces.body import Marks, Row, body
from diagnose.faces.content import blocks
from diagnose.faces.edges import footer, header
from diagnose.faces.face import Heading
from diagnose.faces.page import LOWEST, NARROWEST, _body, draw
from diagnose.faces.phrases import causes_left
from diagnose.faces.sitting import Sitting
from diagnose.measure.model import Expected
from diagnose.measure.wording import expected_range, percent, with_unit
from diagnose.text import cells, cut, head, printable, tail, wrap

TEXT = st.text(st.sampled_from("abcde  -é°.幅広\u0301"), max_size=120)


def text_of(row: Row) -> str:
    return "".join(text for style, text in row.pieces)


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
    assert short == text or short.endswith("...")


def test_the_front_and_the_end_of_a_text() -> None:
    assert head("abc", 2) == "ab"
    assert head("幅広", 1) == "幅"  # one letter at least
    assert tail("abc", 2) == "bc"
    assert cut("abcdef", 2) == "ab"


@pytest.mark.parametrize("name", ALL)
@given(columns=st.integers(1, 120), rows=st.integers(1, 60))
def test_a_screen_fills_its_terminal_and_no_more(name: str, columns: int, rows: int) -> None:
    sitting = Sitting(ALL[name], HEADING, "9 causes open, about 6 min")
    drawn = draw(sitting, columns, rows)
    assert len(drawn) == max(rows, LOWEST)
    assert all(cells(text_of(row)) <= max(columns, NARROWEST) for row in drawn)


@pytest.mark.parametrize("name", ALL)
def test_all_a_screen_says_can_be_scrolled_to_at_any_size(name: str) -> None:
    screen = ALL[name]
    wanted = "".join("".join(block.text for block in blocks(screen, HEADING)).split())
    for columns, room in ((80, 18), (40, 16), (40, 5), (20, 2)):
        sitting = Sitting(screen, HEADING)
        seen: dict[int, str] = {}
        for _ in range(200):
            drawn = [text_of(row) for row in _body(sitting, columns, room, airy=False)]
            assert len(drawn) == room
            window = sitting.window
            seen |= {window.top + at: drawn[at] for at in range(room)}
            if window.top + window.room >= window.rows:
                break
            sitting.press("down" if len(sitting.typed) < 2 else "pagedown")
        told = "".join("".join(seen[at] for at in sorted(seen)).split())
        for letter in set(wanted):
            assert told.count(letter) >= wanted.count(letter), (columns, room, letter)


@given(
    title=TEXT,
    machine=st.none() | TEXT,
    titles=st.lists(st.text(st.sampled_from("abc "), min_size=1, max_size=12), max_size=9),
    width=st.integers(30, 100),
    most=st.integers(2, 5),
)
def test_the_causes_are_never_cut_away(
    title: str, machine: str | None, titles: list[str], width: int, most: int
) -> None:
    places = [part for part in (title, machine, "case K7Q2") if part]
    rows = header(places, "28 causes open, about 28 min", titles, width, most)
    told = "\n".join(text_of(row) for row in rows)
    assert "28 causes open, about 28 min" in told
    assert len(rows) <= most
    assert all(cells(text_of(row)) <= width for row in rows)
    if titles:
        assert "In force: " in told
    else:
        assert "No caution in force" in told


def header_text(*places: str, width: int, most: int = 4) -> list[str]:
    rows = header(places, "9 causes open, about 6 min", ["Key out"], width, most)
    return [text_of(row) for row in rows]


def test_the_header_in_one_row_or_two() -> None:
    wide = header_text("It streaks", "Dock machine", "case K7Q2", width=80)
    assert wide[0].startswith("It streaks · Dock machine · case K7Q2  ")
    assert wide[0].endswith("  9 causes open, about 6 min")
    assert wide[1:] == ["In force: Key out"]
    narrow = header_text("It streaks in every curve", "Dock machine", "case K7Q2", width=40)
    assert narrow == [
        "It streaks in every curve · case K7Q2",
        "9 causes open, about 6 min",
        "In force: Key out",
    ]
    low = header_text("It streaks in every curve", "Dock machine", "case K7Q2", width=40, most=2)
    assert low == ["case K7Q2     9 causes open, about 6 min", "In force: Key out"]


def test_the_cautions_that_do_not_fit_are_counted() -> None:
    titles = [f"Caution number {number}" for number in range(8)]
    rows = header(["x"], "9 causes open", titles, 40, 3)
    assert text_of(rows[-1]).endswith("and 5 more")


def test_keys_lose_their_words_before_danger_is_lost() -> None:
    keys = [("1-9", "answer"), ("u", "not sure"), ("d", "danger"), ("l", "leave")]
    assert [text_of(row) for row in footer(keys, 80, 2)] == [
        "1-9 answer   u not sure   d danger   l leave"
    ]
    assert [text_of(row) for row in footer(keys, 20, 1)] == ["d danger   1-9   u"]


def body_text(screen: object, width: int = 60, room: int = 99, **marks: object) -> list[str]:
    said = blocks(screen, HEADING)  # type: ignore[arg-type]
    return [text_of(row) for row in body(said, width, room, Marks(**marks))]  # type: ignore[arg-type]


def test_a_caution_shows_which_line_is_next() -> None:
    told = body_text(caution(), ticked=1, by_line=True)
    assert told[0] == "   WARNING  " + "/" * 46
    assert told[-3:] == [
        "  ok  The key is in my pocket.",
        "  >>  The connector is apart.",
        "      My tag is on.",
    ]
    again = body_text(caution(again=True))
    assert again[-1] == "  -  My tag is on."


def test_air_goes_before_words_do() -> None:
    full = body_text(check())
    assert full.count("") == 2
    tight = body_text(check(), room=6)
    assert "" not in tight
    assert [row for row in full if row] == tight


def test_air_under_the_header_goes_when_just_its_row_is_lacking() -> None:
    names = tuple(Named(f"Answer {n}", f"Answer {n}") for n in range(1, 10))
    rows = len(body_text(check(answers=names), width=80, room=0))
    # Two rows of header, one between, one of keys.
    exact = draw(Sitting(check(answers=names), HEADING), 80, rows + 4)
    airy = draw(Sitting(check(answers=names), HEADING), 80, rows + 5)
    assert text_of(exact[1]) == text_of(airy[1]) == "No caution in force"
    assert text_of(exact[2]) == "  Look along the whole rear blade."
    assert text_of(airy[2]) == ""
    assert text_of(airy[3]) == "  Look along the whole rear blade."
    assert "9  Answer 9" in text_of(exact[-3])


def test_a_long_answer_hangs_under_its_own_text() -> None:
    screen = check(answers=(Named("a", "one two three four five"), Named("b", "b")))
    assert body_text(screen, width=40)[-2:] == ["  1  one two three four five", "  2  b"]
    assert body_text(screen, width=20)[-3:] == ["1 one two three four", "  five", "2 b"]


def test_what_is_typed_stands_behind_its_title_or_below_it() -> None:
    assert body_text(reading(), typed=("10", ""), field=0)[-2:] == [
        "  > distance between the marks, in m: 10",
        "    time between the marks, in s: ",
    ]
    long = body_text(reading(), typed=("1234567890" * 9, ""), field=1)
    assert long[-2] == f"    ...{('1234567890' * 9)[-50:]}"
    assert all(cells(row) <= 60 for row in long)


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
    sitting = Sitting(ALL["item"], Heading(title="Before the shift"), None)
    sitting.in_force = (KEY_OUT,)
    assert [text_of(row) for row in draw(sitting, 80, 24)[:2]] == [
        "Before the shift",
        "In force: Key out",
    ]


def test_a_case_that_is_not_yet_one() -> None:
    drawn = draw(Sitting(ALL["choose machine"], Heading()), 80, 24)
    assert text_of(drawn[0]) == "A new case"
    assert text_of(drawn[1]) == ""
    assert "likely" in "".join(text_of(row) for row in draw(Sitting(finding(), HEADING), 80, 24))
