"""What a key does: one key an answer, a caution line by line, nothing confirmed unseen."""

from __future__ import annotations

import pytest
from drawing import dialog_of, draw, marked, texts
from handmade import (
    ALL,
    BARRIER,
    GLOVES,
    HEADING,
    ONE_NEED,
    caution,
    check,
    choose,
    danger,
    figure,
    finding,
    for_service,
    guard,
    item,
    reading,
    why,
)
from hypothesis import given
from hypothesis import strategies as st

from diagnose.case.screens import CautionScreen, Machine, Named, Screen
from diagnose.faces.dialog import GO_ON, Dialog


def opened(screen: Screen, columns: int = 80, rows: int = 24) -> Dialog:
    dialog = dialog_of(screen)
    draw(dialog, columns, rows)
    return dialog


def pressed(dialog: Dialog, *keys: str) -> str | None:
    """Press keys, the screen drawn after each; return the reply of the last."""
    reply = None
    for key in keys:
        assert reply is None
        reply = dialog.press(key)
        draw(dialog, 80, 24)
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
        (check(), "!", "danger"),
        (check(), "l", "leave"),
        (finding(), "f", "cured"),
        (finding(), "n", "not cured"),
        (for_service(), "r", "refer"),
        (for_service(), "k", "keep looking"),
        (item(), "y", "done"),
        (item(), "n", "not right"),
        (item(), "c", "not now"),
        (caution(), "c", "cannot"),
        (caution(), "!", "danger"),
        (caution(again=True), "y", "done"),
        (caution(phase="release"), "y", "done"),
        (choose(), "2", "2"),
        (choose(), "!", "danger"),
        (reading(), "!", "danger"),
        (figure(), "x", GO_ON),
        (figure(), "enter", GO_ON),
        (why(), " ", GO_ON),
        (why(), "D", GO_ON),
        (why(), "!", "danger"),
        *[(danger(), f"{number}", f"{number}") for number in range(1, 7)],
        (figure(), "!", "danger"),
    ],
)
def test_one_key_is_a_reply(screen: Screen, key: str, reply: str) -> None:
    assert opened(screen).press(key) == reply


@pytest.mark.parametrize(
    ("screen", "key", "hint"),
    [
        (check(), "3", "There is no answer 3."),
        (check(), "0", "There is no answer 0."),
        (check(), "y", "y does nothing here."),
        (check(), "d", "d does nothing here."),
        (item(), "D", "D does nothing here."),
        (caution(), "d", "d does nothing here."),
        (danger(), "!", "! does nothing here."),
        (danger(), "d", "d does nothing here."),
        (danger(), "l", "l does nothing here."),
        (danger(), "enter", "Enter does nothing here."),
        (danger(), "7", "There is no answer 7."),
        (check(), "enter", "Enter does nothing here."),
        (check(), "²", "² does nothing here."),
        (finding(), "1", "1 does nothing here."),
        # The key that confirms a caution claims no cure.
        (finding(), "y", "y does nothing here."),
        (caution(GLOVES, BARRIER), "enter", "Enter does nothing here."),
        (caution(GLOVES, BARRIER), " ", "Space does nothing here."),
        (caution(), "y", "Each line first, with Space or Enter."),
        (caution(again=True), "enter", "Enter does nothing here."),
    ],
)
def test_a_key_that_means_nothing_says_so_and_changes_nothing(
    screen: Screen, key: str, hint: str
) -> None:
    dialog = opened(screen)
    assert dialog.press(key) is None
    assert hint in text(dialog)
    assert dialog.press("pagedown") is None
    assert hint not in text(dialog)


def text(dialog: Dialog, columns: int = 80, rows: int = 24) -> str:
    return "\n".join(texts(dialog, columns, rows))


def test_a_caution_is_done_when_each_line_is() -> None:
    dialog = opened(caution())
    assert pressed(dialog, " ", "enter", "y") is None
    assert ">> is so: Space or Enter (2 of 3)" in text(dialog)
    # The last line completes it.
    assert dialog.press(" ") == "done"


def test_several_are_done_at_once_and_named_by_number() -> None:
    dialog = opened(caution(GLOVES, BARRIER))
    told = text(dialog)
    assert "y: all 4 lines are done" in told
    assert [told.index(part) for part in ("WARNING", "1  Gloves on", "2  Floor closed off")]
    assert dialog.press("y") == "done"


@pytest.mark.parametrize(
    ("keys", "reply"), [("c2", "cannot barrier"), ("c1", "cannot gloves"), ("cc", "cannot")]
)
def test_one_of_several_cannot_be_met_or_all(keys: str, reply: str) -> None:
    dialog = opened(caution(GLOVES, BARRIER))
    assert dialog.press(keys[0]) is None
    assert "Which one? 1-2, or c: all of them" in text(dialog)
    assert dialog.press(keys[1]) == reply


def test_what_is_pressed_instead_of_a_number_means_what_it_always_does() -> None:
    dialog = opened(caution(GLOVES, BARRIER))
    assert pressed(dialog, "c", "!") == "danger"
    assert pressed(opened(caution(GLOVES, BARRIER)), "c", "b") == "back"
    dialog = opened(caution(GLOVES, BARRIER))
    assert pressed(dialog, "c", "3") is None
    assert "3 does nothing here." in text(dialog)
    assert "y: all 4 lines are done" in text(dialog)
    # One alone is not asked for by number.
    assert opened(caution()).press("c") == "cannot"


SIZES = [(80, 24), (40, 20), (36, 16)]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    "screen",
    [
        caution(GLOVES, BARRIER, guard(again=True), guard(id="more", title="More")),
        caution(text="Word " * 60),
        caution(confirm=tuple(f"Line {number} is so and stays so." for number in range(1, 16))),
        caution(phase="release", confirm=tuple(f"Part {n} is off." for n in range(1, 20))),
    ],
)
def test_the_signal_word_stays_and_space_pages(
    screen: CautionScreen, size: tuple[int, int]
) -> None:
    dialog = dialog_of(screen)
    lines = [line for guard in screen.cautions for line in guard.confirm]
    read: list[str] = []
    for _ in range(200):
        told = texts(dialog, *size)
        assert any(row.strip().startswith("WARNING  //") for row in told)
        assert any("! danger" in row for row in told)
        read += told
        if not dialog.by_line and any("y: all" in row for row in told):
            reply = dialog.press("y")
        else:
            # What is to be pressed is named, also where there is more to read.
            assert any("Space" in row for row in told)
            assert dialog.press("y") is None
            reply = dialog.press(" ")
        if reply is not None:
            break
    assert reply == "done"
    words = " ".join(" ".join(read).split())
    assert all(word in words for line in lines for word in line.split())


def test_done_is_no_key_among_the_others_at_a_caution() -> None:
    assert "y done" not in text(opened(caution()))
    assert "y done" in text(opened(item()))


LONG = tuple(f"Line {number} of a long list that does not end soon." for number in range(1, 10))


@given(
    keys=st.lists(
        st.sampled_from([" ", "enter", "y", "up", "down", "pageup", "pagedown", "x"]), max_size=60
    ),
    sizes=st.lists(
        st.tuples(st.sampled_from([8, 40, 80]), st.integers(3, 40)), min_size=1, max_size=4
    ),
    drawn=st.lists(st.booleans(), min_size=60, max_size=60),
    how=st.sampled_from(["each", "again", "several"]),
)
def test_no_line_of_a_caution_is_confirmed_unseen(
    keys: list[str], sizes: list[tuple[int, int]], drawn: list[bool], how: str
) -> None:
    screen = caution(confirm=LONG, again=how == "again", text="Word " * 40)
    if how == "several":
        parts = [guard(confirm=LONG[:4], text="Word " * 30), guard(id="more", confirm=LONG[4:])]
        screen = caution(*parts)
    dialog = dialog_of(screen)
    shown = [set[str]() for _ in LONG]
    for count, key in enumerate(keys):
        # The observer looks at the rows that were drawn, not at what the dialog remembers.
        # Keys may come faster than the screen is drawn; the first one never does.
        size = sizes[count * len(sizes) // len(keys)]
        for row in draw(dialog, *size) if drawn[count] or not count else ():
            mark = marked(row)
            if mark is not None:
                shown[mark - 1] |= {word for _, text in row.pieces for word in text.split()}
        unseen = [n for n, line in enumerate(LONG) if not set(line.split()) <= shown[n]]
        before = dialog.ticked
        reply = dialog.press(key)
        assert dialog.ticked - before in (0, 1)
        assert not [number for number in unseen if number < dialog.ticked]
        if reply is not None:
            assert (reply, unseen) == ("done", [])
            assert key in ((" ", "enter") if how == "each" else ("y",))
            assert dialog.ticked == (len(LONG) if how == "each" else 0)
            return


@pytest.mark.parametrize("size", [(80, 24), (40, 24), (40, 10), (20, 8)])
@pytest.mark.parametrize("again", [True, False])
def test_a_caution_can_be_confirmed_at_any_size(size: tuple[int, int], again: bool) -> None:
    dialog = dialog_of(caution(confirm=LONG, again=again))
    for _ in range(400):
        draw(dialog, *size)
        reply = dialog.press("y" if again else " ")
        if reply:
            break
    assert reply == "done"


def test_the_remedy_is_read_before_it_is_said_to_have_failed() -> None:
    dialog = dialog_of(finding(before_trying=LONG))
    draw(dialog, 40, 12)
    assert dialog.press("n") is None
    assert "Space: read on to the end first." in text(dialog, 40, 12)
    draw(dialog, 40, 12)
    top = dialog.sight.top
    assert dialog.press(" ") is None
    assert dialog.sight.top > top
    for _ in range(20):
        draw(dialog, 40, 12)
        reply = dialog.press("n")
        if reply:
            break
    assert reply == "not cured"
    assert dialog.sight.top > 0
    fresh = dialog_of(finding(before_trying=LONG))
    draw(fresh, 40, 12)
    assert fresh.press("!") == "danger"  # danger waits for nothing


def test_a_long_figure_is_paged_before_it_goes() -> None:
    dialog = dialog_of(figure(workings=LONG))
    draw(dialog, 40, 10)
    assert dialog.press("x") is None
    assert dialog.sight.top > 0


def test_more_above_and_below_is_said() -> None:
    dialog = dialog_of(check(answers=tuple(Named(line, line) for line in LONG)))
    assert "more below" in text(dialog, 40, 12)
    dialog.press("down")
    both = text(dialog, 60, 12)
    assert "more below" in both
    for _ in range(9):
        dialog.press("pagedown")
        last = text(dialog, 60, 12)
    assert "more below" not in last
    assert "more above" in last
    dialog.press("pageup")
    dialog.press("up")
    assert "more below" in text(dialog, 60, 12)


MANY = check(answers=tuple(Named(f"Colour {n}", f"Colour {n}") for n in range(1, 13)))


def test_more_than_nine_answers_take_a_number_and_enter() -> None:
    dialog = opened(MANY)
    assert "A number, 1 to 12, then Enter" in text(dialog)
    assert pressed(dialog, "1", "2", "enter") == "12"
    assert opened(MANY).press("u") == "unsure"


def test_words_for_a_symptom() -> None:
    # A number of two digits that no longer one begins with takes no Enter.
    dialog = opened(choose("symptom", 12))
    assert pressed(dialog, " ", "1", "x", "backspace", "1") == "11"
    for number in ("1", "2", "9"):
        assert pressed(opened(choose("symptom", 12)), number, "enter") == number
    assert pressed(opened(choose("symptom", 12)), "1", "3", "enter") == "13"
    assert pressed(opened(choose("symptom", 4)), "d", "enter") == "d"
    assert pressed(opened(choose("symptom", 4)), *"lines", "!") == "danger"


@pytest.mark.parametrize("count", [4, 12])
@pytest.mark.parametrize(
    "words", ["leaves 2 lines", "2 wheels spin", "24 volt alarm", "1", "4", "0", "400", "²", "٣"]
)
def test_words_for_a_symptom_may_begin_with_a_digit(words: str, count: int) -> None:
    assert pressed(opened(choose("symptom", count)), *words, "enter") == words


def test_a_machine_takes_one_digit_unless_a_name_begins_with_it() -> None:
    assert pressed(opened(choose()), "2") == "2"
    assert pressed(opened(choose()), "7", "enter") == "7"
    assert pressed(opened(choose()), "n", "enter") == "none"
    assert "A digit; or part of its name, then Enter" in text(opened(choose()))
    halls = (Machine("hall", "Hall"), Machine("floor", "2nd floor"))
    assert pressed(opened(choose(options=halls)), "1") == "1"
    assert pressed(opened(choose(options=halls)), "2", "enter") == "2"
    assert pressed(opened(choose(options=halls)), *"2nd floor", "enter") == "2nd floor"
    # Nothing here has so long a number.
    dialog = opened(choose())
    dialog.paste("1" * 5000)
    assert pressed(dialog, "1", "enter") == "1" * 5001


def test_one_value_is_sent_as_it_is() -> None:
    dialog = opened(reading(needs=ONE_NEED))
    assert pressed(dialog, *"25.4 V", "enter") == "25.4 V"
    assert pressed(opened(reading(needs=ONE_NEED)), "u", "enter") == "unsure"
    assert pressed(opened(reading(needs=ONE_NEED)), *"volts=25", "enter") == "volts=25"
    assert pressed(opened(reading(needs=())), "enter") == ""


def test_several_values_are_sent_by_name() -> None:
    dialog = opened(reading())
    assert pressed(dialog, *"10 m", "enter", *"8", "enter") == "distance=10 m time=8"
    assert pressed(opened(reading()), "enter", *"8", "enter") == "time=8"
    typed = pressed(opened(reading()), *"distance=10 time=8", "enter", "enter")
    assert typed == "distance=10 time=8"
    assert pressed(opened(reading()), "c", "enter", "enter") == "cannot"


def test_moving_between_the_fields() -> None:
    dialog = opened(reading())
    pressed(dialog, "1", "tab", "2", "tab", "0", "down", "0", "up", "c-u", "5", "s-tab", "s-tab")
    assert dialog.typed == ["5", "20"]
    assert dialog.field == 0


def test_what_is_pasted_is_typed() -> None:
    dialog = opened(reading(needs=ONE_NEED))
    dialog.paste("25.4\r\nV\x1b")
    assert dialog.press("enter") == "25.4 V\x1b"
    unmoved = opened(check())
    unmoved.paste("1")
    assert unmoved.typed == []


def test_the_same_screen_again_keeps_what_was_done() -> None:
    dialog = opened(caution())
    pressed(dialog, " ", " ")
    dialog.reopen(dialog.screen, HEADING, "No such reply.")
    assert "!  No such reply." in text(dialog)
    assert dialog.ticked == 2
    fields = opened(reading())
    pressed(fields, *"x", "enter")
    fields.reopen(fields.screen, HEADING, "")
    assert (fields.typed, fields.field) == (["x", ""], 0)
    chosen = opened(choose())
    pressed(chosen, *"xyz")
    chosen.reopen(chosen.screen, HEADING, "")
    assert chosen.typed == [""]


def test_a_new_width_begins_at_the_top_and_keeps_the_ticks() -> None:
    dialog = dialog_of(caution(confirm=LONG))
    for _ in range(6):
        draw(dialog, 40, 12)
        dialog.press(" ")
    ticked = dialog.ticked
    assert ticked > 1
    draw(dialog, 60, 12)
    assert dialog.ticked == ticked


@pytest.mark.parametrize("name", ALL)
@given(keys=st.lists(st.sampled_from(["1", "9", "z", " ", "enter", "tab", "up", "²", "\u200b"])))
def test_no_key_breaks_a_screen(name: str, keys: list[str]) -> None:
    dialog = dialog_of(ALL[name])
    for key in keys:
        draw(dialog, 40, 10)
        if dialog.press(key) is not None:
            return
    assert draw(dialog, 40, 10)


def test_a_caution_that_is_released_is_no_list_to_tick() -> None:
    screen = caution(phase="release")
    assert isinstance(screen, CautionScreen)
    assert not dialog_of(screen).by_line
    assert "Locked out ends now" in text(opened(screen))


def test_rows_that_were_jumped_over_were_not_in_sight() -> None:
    dialog = dialog_of(caution(confirm=LONG, again=True))
    draw(dialog, 40, 10)
    for _ in range(9):  # faster than the screen is drawn
        dialog.press("pagedown")
    draw(dialog, 40, 10)
    assert dialog.sight.top > dialog.sight.unread
    assert dialog.press("y") is None
    draw(dialog, 40, 10)
    assert dialog.sight.top < dialog.sight.unread  # back to the first row not seen


def test_impatience_skips_nothing_and_blocks_nothing() -> None:
    dialog = dialog_of(caution(confirm=LONG, again=True))
    replies = []
    for _ in range(20):
        draw(dialog, 40, 10)
        replies += [dialog.press("y") for _ in range(5)]
        assert dialog.sight.top <= dialog.sight.unread
    assert replies[0] is None
    assert "done" in replies


def test_a_line_longer_than_the_window_is_read_from_its_beginning() -> None:
    dialog = dialog_of(caution(confirm=("Short.", "Word " * 60)))
    for _ in range(60):
        draw(dialog, 40, 10)
        if dialog.ticked == 1:
            break
        dialog.press(" ")
    assert dialog.sight.top <= dialog.sight.unread
    assert dialog.press(" ") is None
    assert dialog.ticked == 1


def test_what_was_seen_stays_seen() -> None:
    screen = finding(before_trying=LONG)
    dialog = dialog_of(screen)
    draw(dialog, 80, 40)
    for columns, rows in ((80, 16), (40, 12)):
        draw(dialog, columns, rows)
        assert dialog.sight.read.issuperset(dialog.elements)
    dialog.reopen(screen, HEADING, "A refusal. " * 60)
    draw(dialog, 40, 12)
    assert dialog.press("f") == "cured"


def test_half_a_paragraph_seen_at_another_width_is_not_seen() -> None:
    dialog = dialog_of(finding(remedy="Word " * 80))
    draw(dialog, 40, 12)
    seen = dialog.sight.unread
    draw(dialog, 60, 12)
    draw(dialog, 40, 12)
    dialog.press(" ")
    draw(dialog, 40, 12)
    assert dialog.sight.unread > seen
    draw(dialog, 50, 12)
    remedy = next(one for one in dialog.elements if one.text.startswith("Word"))
    assert remedy not in dialog.sight.read


def test_a_new_size_keeps_what_stands_first() -> None:
    dialog = dialog_of(finding(before_trying=LONG))
    draw(dialog, 40, 12)
    for _ in range(2):
        dialog.press(" ")
        drawn = draw(dialog, 40, 12)
    first = next(row.part for row in drawn if row.part is not None)
    for columns, rows in ((40, 11), (60, 11), (40, 12)):
        (again, *_) = [row.part for row in draw(dialog, columns, rows) if row.part is not None]
        assert again[0] == first[0]


def test_a_line_out_of_the_window_is_brought_back_before_it_is_confirmed() -> None:
    dialog = dialog_of(caution(confirm=LONG))
    while dialog.ticked < 3:
        draw(dialog, 40, 12)
        dialog.press(" ")
    ticked = dialog.ticked
    draw(dialog, 40, 12)
    for _ in range(9):
        dialog.press("pageup")
    told = text(dialog, 40, 12)
    assert ">>" not in told
    assert "Space: read on" in told
    assert dialog.press(" ") is None
    assert dialog.ticked == ticked
    assert ">>  Line" in text(dialog, 40, 12)
    dialog.press(" ")
    assert dialog.ticked == ticked + 1
