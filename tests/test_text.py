"""Words as such, at their limits: what is near, what is cut and where, how wide it is."""

from __future__ import annotations

import doctest
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from wcwidth import wcwidth

from diagnose import text
from diagnose.text import (
    cells,
    cut,
    did_you_mean,
    folded,
    head,
    nearest,
    printable,
    shortened,
    tail,
    widths,
    wrap,
    wrap_each,
)

#: Letters of one, two and no cells, a blank, and what no terminal may get.
ANY = st.text(st.sampled_from("ab泡é\u0301 \n\t\x1b\u202e"), max_size=30)


def test_the_examples_of_the_docstrings() -> None:
    assert doctest.testmod(text).failed == 0


def test_the_nearest_word_is_asked_for_and_a_far_one_is_not() -> None:
    assert did_you_mean("streeking", ["leak", "streaking"]) == ' Did you mean "streaking"?'
    assert did_you_mean("zzz", ["leak", "streaking"]) == ""
    assert nearest("zzz", ["leak"]) == ""
    assert nearest("leaks", iter(["leaky", "leak", "leaks"])) == "leaks"
    assert nearest("leak", []) == ""


def test_a_word_of_more_than_eighty_letters_is_no_typing_mistake() -> None:
    assert nearest("a" * 80, ["a" * 79]) == "a" * 79
    assert nearest("a" * 81, ["a" * 79]) == ""


def test_words_are_compared_without_capitals_and_odd_spaces() -> None:
    assert folded(" \tNot\n SURE  Straße ") == "not sure strasse"


@pytest.mark.parametrize(
    ("length", "shown"),
    [(39, "a" * 39), (40, "a" * 40), (41, "a" * 39 + "…"), (99, "a" * 39 + "…")],
)
def test_a_word_inside_a_message_has_forty_letters_at_most(length: int, shown: str) -> None:
    assert shortened("a" * length) == shown


def test_a_word_is_cut_to_any_length_and_holds_nothing_hidden() -> None:
    assert shortened("abc", 3) == "abc"
    assert shortened("abcd", 3) == "ab…"
    assert shortened("a\x1b\n", 3) == "a\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}"


def test_what_could_move_a_cursor_becomes_a_blank_or_a_mark() -> None:
    assert (
        printable("a\tb\nc\x1bd\u202ee")
        == "a b c\N{REPLACEMENT CHARACTER}d\N{REPLACEMENT CHARACTER}e"
    )
    assert printable("plain") == "plain"


def test_no_letter_that_can_be_printed_has_less_than_no_width() -> None:
    letters = (chr(number) for number in range(sys.maxunicode + 1))
    assert all(wcwidth(letter) >= 0 for letter in letters if letter.isprintable())


def test_the_width_of_a_text_in_cells() -> None:
    assert cells("") == 0
    assert cells("ab") == 2
    assert cells("a\n") == 2
    assert cells("é") == 1
    assert cells("e\u0301") == 1
    assert cells("\u0301") == 0
    assert widths(["", "ab", "泡泡"]) == [0, 2, 4]


@pytest.mark.parametrize(
    ("said", "width", "first", "rows"),
    [
        ("", 5, 0, [""]),
        ("ab cd", 5, 0, ["ab cd"]),
        ("ab cd", 4, 0, ["ab", "cd"]),
        ("ab cd ef", 5, 0, ["ab cd", "ef"]),
        # The first row begins behind something: no room for a word, or for a letter.
        ("ab cd", 5, 3, ["ab", "cd"]),
        ("ab cd", 5, 2, ["ab", "cd"]),
        ("ab cd", 5, 1, ["ab", "cd"]),
        ("ab", 4, 3, ["a", "b"]),
        ("ab", 4, 4, ["a", "b"]),
        ("ab", 4, 9, ["a", "b"]),
        # A word that is longer than a row is broken.
        ("abcdef", 3, 0, ["abc", "def"]),
        ("abcdefg", 3, 1, ["ab", "cde", "fg"]),
        ("x abcdef y", 3, 0, ["x", "abc", "def", "y"]),
        ("泡泡泡", 4, 0, ["泡泡", "泡"]),
        ("  two   blanks ", 20, 0, ["two blanks"]),
    ],
)
def test_a_text_is_broken_into_rows(said: str, width: int, first: int, rows: list[str]) -> None:
    assert wrap(said, width, first) == rows
    assert wrap_each([(said, width, first), ("z", 1, 0)]) == [rows, ["z"]]


@given(ANY, st.integers(2, 12), st.integers(0, 14))
def test_no_row_is_too_wide_and_no_letter_is_lost(said: str, width: int, first: int) -> None:
    rows = wrap(said, width, first)
    assert "".join("".join(rows).split()) == "".join(said.split())
    for number, row in enumerate(rows):
        room = max(1, width - first) if number == 0 else width
        assert cells(row) <= max(room, 2)


@pytest.mark.parametrize(
    ("width", "shown"),
    [(9, "abcdefghi"), (8, "abcde..."), (5, "ab..."), (4, "abcd"), (3, "abc"), (1, "a"), (0, "a")],
)
def test_a_text_is_cut_with_dots_where_there_is_room_for_them(width: int, shown: str) -> None:
    assert cut("abcdefghi", width) == shown


def test_no_blank_stands_before_the_dots() -> None:
    assert cut("ab cdefgh", 6) == "ab..."
    assert cut("泡泡泡泡", 7) == "泡泡..."


def test_the_front_and_the_end_of_a_text() -> None:
    assert head("abc", 2) == "ab"
    assert head("abc", 3) == "abc"
    assert head("泡泡", 3) == "泡"
    assert head("泡", 1) == "泡"
    assert head("", 3) == ""
    assert tail("abc", 2) == "bc"
    assert tail("a泡泡", 3) == "泡"
    assert tail("a泡泡", 5) == "a泡泡"
