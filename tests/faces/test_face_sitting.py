"""What a key does: one key an answer, a caution line by line, nothing confirmed unseen."""

from __future__ import annotations

import pytest
from handmade import (
    ALL,
    HEADING,
    ONE_NEED,
    caution,
    check,
    choose,
    figure,
    finding,
    for_service,
    item,
    reading,
    why,
)
from hypothesis import given
from hypothesis import strategies as st

from diagnose.case.screens import CautionScreen, Named, Screen
from diagnose.faces.page import draw
from diagnose.faces.sitting import GO_ON, Sitting


def sat(screen: Screen, columns: int = 80, rows: int = 24) -> Sitting:
    sitting = Sitting(screen, HEADING)
    draw(sitting, columns, rows)
    return sitting


def pressed(sitting: Sitting, *keys: str) -> str | None:
    """Press keys, the screen drawn after each; return the reply of the last."""
    reply = None
    for key in keys:
        assert reply is None
        reply = sitting.press(key)
        draw(sitting, 80, 24)
    return reply


@pytest.mark.parametrize(
    ("screen", "key", "reply"),
    [
        (check(), "1", "1"),
        (check(), "2", "2"),
        (check(), "u", "unsure"),
        (check(), "C", "cannot"),
        (check(), "b", "back"),
        (check(), "w", "why"),
        (check(), "d", "danger"),
        (check(), "!", "danger"),
        (check(), "l", "leave"),
        (finding(), "y", "cured"),
        (finding(), "n", "not cured"),
        (for_service(), "r", "refer"),
        (for_service(), "k", "keep looking"),
        (item(), "y", "done"),
        (item(), "n", "not right"),
        (item(), "c", "not now"),
        (caution(), "c", "cannot"),
        (caution(), "d", "danger"),
        (caution(again=True), "y", "done"),
        (caution(phase="release"), "y", "done"),
        (choose(), "2", "2"),
        (choose(), "!", "danger"),
        (reading(), "!", "danger"),
        (figure(), "x", GO_ON),
        (figure(), "enter", GO_ON),
        (why(), " ", GO_ON),
        (why(), "D", "danger"),
        (figure(), "!", "danger"),
    ],
)
def test_one_key_is_a_reply(screen: Screen, key: str, reply: str) -> None:
    assert sat(screen).press(key) == reply


@pytest.mark.parametrize(
    ("screen", "key", "hint"),
    [
        (check(), "3", "There is no answer 3."),
        (check(), "0", "There is no answer 0."),
        (check(), "y", "y does nothing here."),
        (check(), "enter", "Enter does nothing here."),
        (check(), "²", "² does nothing here."),
        (finding(), "1", "1 does nothing here."),
        (caution(), "y", "Each line first, with Space or Enter."),
        (caution(again=True), "enter", "Enter does nothing here."),
    ],
)
def test_a_key_that_means_nothing_says_so_and_changes_nothing(
    screen: Screen, key: str, hint: str
) -> None:
    sitting = sat(screen)
    assert sitting.press(key) is None
    assert hint in text(sitting)
    assert sitting.press("pagedown") is None
    assert hint not in text(sitting)


def text(sitting: Sitting, columns: int = 80, rows: int = 24) -> str:
    drawn = draw(sitting, columns, rows)
    return "\n".join("".join(piece for _, piece in row.pieces) for row in drawn)


def test_a_caution_is_done_when_each_line_is() -> None:
    sitting = sat(caution())
    assert pressed(sitting, " ", "enter", "y") is None
    assert pressed(sitting, " ", " ") is None
    assert "y: all 3 lines are done" in text(sitting)
    assert sitting.press("y") == "done"


def test_done_is_no_key_among_the_others_at_a_caution() -> None:
    assert "y done" not in text(sat(caution()))
    assert "y done" in text(sat(item()))


LONG = tuple(f"Line {number} of a long list that does not end soon." for number in range(1, 10))


@given(
    keys=st.lists(
        st.sampled_from([" ", "enter", "y", "up", "down", "pageup", "pagedown", "x"]), max_size=60
    ),
    sizes=st.lists(
        st.tuples(st.sampled_from([8, 40, 80]), st.integers(3, 40)), min_size=1, max_size=4
    ),
    drawn=st.lists(st.booleans(), min_size=60, max_size=60),
    again=st.booleans(),
)
def test_no_line_of_a_caution_is_confirmed_unseen(
    keys: list[str], sizes: list[tuple[int, int]], drawn: list[bool], again: bool
) -> None:
    screen = caution(confirm=LONG, again=again, text="Word " * 40)
    sitting = Sitting(screen, HEADING)
    shown = [set[str]() for _ in LONG]
    for count, key in enumerate(keys):
        # The observer looks at the rows that were drawn, not at what the sitting remembers.
        # Keys may come faster than the screen is drawn; the first one never does.
        size = sizes[count * len(sizes) // len(keys)]
        for row in draw(sitting, *size) if drawn[count] or not count else ():
            if row.mark is not None:
                shown[row.mark - 1] |= {word for _, text in row.pieces for word in text.split()}
        unseen = [n for n, line in enumerate(LONG) if not set(line.split()) <= shown[n]]
        before = sitting.ticked
        reply = sitting.press(key)
        assert sitting.ticked - before in (0, 1)
        assert not [number for number in unseen if number < sitting.ticked]
        if reply is not None:
            assert (reply, key, unseen) == ("done", "y", [])
            assert again or sitting.ticked == len(LONG)
            return


@pytest.mark.parametrize("size", [(80, 24), (40, 24), (40, 10), (20, 6), (8, 3)])
@pytest.mark.parametrize("again", [True, False])
def test_a_caution_can_be_confirmed_at_any_size(size: tuple[int, int], again: bool) -> None:
    sitting = Sitting(caution(confirm=LONG, again=again), HEADING)
    for _ in range(400):
        draw(sitting, *size)
        reply = sitting.press("y" if again or sitting.ticked == 9 else " ")
        if reply:
            break
    assert reply == "done"


def test_the_remedy_is_read_before_it_is_said_to_have_failed() -> None:
    sitting = Sitting(finding(before_trying=LONG), HEADING)
    draw(sitting, 40, 12)
    assert sitting.press("n") is None
    assert "Read on to the end first." in text(sitting, 40, 12)
    for _ in range(20):
        draw(sitting, 40, 12)
        reply = sitting.press("n")
        if reply:
            break
    assert reply == "not cured"
    assert sitting.window.top > 0
    fresh = Sitting(finding(before_trying=LONG), HEADING)
    draw(fresh, 40, 12)
    assert fresh.press("d") == "danger"  # danger waits for nothing


def test_a_long_figure_is_paged_before_it_goes() -> None:
    sitting = Sitting(figure(workings=LONG), HEADING)
    draw(sitting, 40, 10)
    assert sitting.press("x") is None
    assert sitting.window.top > 0


def test_more_above_and_below_is_said() -> None:
    sitting = Sitting(check(answers=tuple(Named(line, line) for line in LONG)), HEADING)
    assert "more below" in text(sitting, 40, 12)
    sitting.press("down")
    both = text(sitting, 60, 12)
    assert "more below" in both
    for _ in range(9):
        sitting.press("pagedown")
        last = text(sitting, 60, 12)
    assert "more below" not in last
    assert "more above" in last
    sitting.press("pageup")
    sitting.press("up")
    assert "more below" in text(sitting, 60, 12)


MANY = check(answers=tuple(Named(f"Colour {n}", f"Colour {n}") for n in range(1, 13)))


def test_more_than_nine_answers_take_a_number_and_enter() -> None:
    sitting = sat(MANY)
    assert "A number, 1 to 12, then Enter" in text(sitting)
    assert pressed(sitting, "1", "2", "enter") == "12"
    assert sat(MANY).press("u") == "unsure"


def test_words_for_a_symptom() -> None:
    sitting = sat(choose("symptom", 12))
    assert pressed(sitting, " ", "1", "x", "backspace", "1", "enter") == "11"
    sitting = sat(choose("symptom", 4))
    assert pressed(sitting, *"leaves 2 lines", "enter") == "leaves 2 lines"
    assert pressed(sat(choose("symptom", 4)), "d", "enter") == "danger"
    assert pressed(sat(choose()), "n", "enter") == "none"
    assert pressed(sat(choose()), "7", "enter") == "7"


def test_one_value_is_sent_as_it_is() -> None:
    sitting = sat(reading(needs=ONE_NEED))
    assert pressed(sitting, *"25.4 V", "enter") == "25.4 V"
    assert pressed(sat(reading(needs=ONE_NEED)), "u", "enter") == "unsure"
    assert pressed(sat(reading(needs=ONE_NEED)), *"volts=25", "enter") == "volts=25"
    assert pressed(sat(reading(needs=())), "enter") == ""


def test_several_values_are_sent_by_name() -> None:
    sitting = sat(reading())
    assert pressed(sitting, *"10 m", "enter", *"8", "enter") == "distance=10 m time=8"
    assert pressed(sat(reading()), "enter", *"8", "enter") == "time=8"
    typed = pressed(sat(reading()), *"distance=10 time=8", "enter", "enter")
    assert typed == "distance=10 time=8"
    assert pressed(sat(reading()), "c", "enter", "enter") == "cannot"


def test_moving_between_the_fields() -> None:
    sitting = sat(reading())
    pressed(sitting, "1", "tab", "2", "tab", "0", "down", "0", "up", "c-u", "5", "s-tab", "s-tab")
    assert sitting.typed == ["5", "20"]
    assert sitting.field == 0


def test_what_is_pasted_is_typed() -> None:
    sitting = sat(reading(needs=ONE_NEED))
    sitting.paste("25.4\r\nV\x1b")
    assert sitting.press("enter") == "25.4 V\x1b"
    unmoved = sat(check())
    unmoved.paste("1")
    assert unmoved.typed == []


def test_the_same_screen_again_keeps_what_was_done() -> None:
    sitting = sat(caution())
    pressed(sitting, " ", " ")
    sitting.again(HEADING, "No such reply.")
    assert "!  No such reply." in text(sitting)
    assert sitting.ticked == 2
    fields = sat(reading())
    pressed(fields, *"x", "enter")
    fields.again(HEADING, "")
    assert (fields.typed, fields.field) == (["x", ""], 0)
    chosen = sat(choose())
    pressed(chosen, *"xyz")
    chosen.again(HEADING, "")
    assert chosen.typed == [""]


def test_a_new_width_begins_at_the_top_and_keeps_the_ticks() -> None:
    sitting = Sitting(caution(confirm=LONG), HEADING)
    for _ in range(6):
        draw(sitting, 40, 12)
        sitting.press(" ")
    ticked = sitting.ticked
    assert ticked > 1
    draw(sitting, 60, 12)
    assert sitting.ticked == ticked


@pytest.mark.parametrize("name", ALL)
@given(keys=st.lists(st.sampled_from(["1", "9", "z", " ", "enter", "tab", "up", "²", "\u200b"])))
def test_no_key_breaks_a_screen(name: str, keys: list[str]) -> None:
    sitting = Sitting(ALL[name], HEADING)
    for key in keys:
        draw(sitting, 40, 10)
        if sitting.press(key) is not None:
            return
    assert draw(sitting, 40, 10)


def test_a_caution_that_is_released_is_no_list_to_tick() -> None:
    screen = caution(phase="release")
    assert isinstance(screen, CautionScreen)
    assert not Sitting(screen, HEADING).by_line
    assert "Machine dead ends now" in text(sat(screen))


def test_rows_that_were_jumped_over_were_not_in_sight() -> None:
    sitting = Sitting(caution(confirm=LONG, again=True), HEADING)
    draw(sitting, 40, 10)
    for _ in range(9):  # faster than the screen is drawn
        sitting.press("pagedown")
    draw(sitting, 40, 10)
    assert sitting.window.top > sitting.window.seen
    assert sitting.press("y") is None
    draw(sitting, 40, 10)
    assert sitting.window.top < sitting.window.seen  # back to the first row not seen


def test_impatience_skips_nothing_and_blocks_nothing() -> None:
    sitting = Sitting(caution(confirm=LONG, again=True), HEADING)
    replies = []
    for _ in range(20):
        draw(sitting, 40, 10)
        replies += [sitting.press("y") for _ in range(5)]
        assert sitting.window.top <= sitting.window.seen
    assert replies[0] is None
    assert "done" in replies


def test_a_line_longer_than_the_window_is_read_from_its_beginning() -> None:
    sitting = Sitting(caution(confirm=("Short.", "Word " * 60)), HEADING)
    for _ in range(60):
        draw(sitting, 40, 10)
        if sitting.ticked == 1:
            break
        sitting.press(" ")
    assert sitting.window.top <= sitting.window.seen
    assert sitting.press(" ") is None
    assert sitting.ticked == 1


def test_other_rows_have_not_been_seen_yet() -> None:
    sitting = Sitting(finding(before_trying=LONG), HEADING)
    draw(sitting, 80, 40)
    assert sitting.window.seen == sitting.window.rows
    # The same width, but lower: some air goes, and the rows have other numbers.
    draw(sitting, 80, 16)
    assert sitting.window.seen < sitting.window.rows
    draw(sitting, 80, 40)
    sitting.again(HEADING, "A refusal. " * 60)
    draw(sitting, 80, 24)
    assert sitting.window.seen <= sitting.window.room
    assert sitting.press("y") is None
