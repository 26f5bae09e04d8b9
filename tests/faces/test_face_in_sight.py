"""Nothing is answered before it was in sight, and all of it can be: at every size, on every screen.

What has to be read is told here from the screen, and what was in sight from the rows drawn.
"""

from __future__ import annotations

import copy
from functools import cache
from itertools import product
from typing import TYPE_CHECKING

import pytest
from drawing import dialog_of, draw, text_of
from handmade import ASKED, HEADING
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from strategies.sampling import some
from test_every_answer import BUILT_IN, SYMPTOMS, routes, walk_of

from diagnose.case.danger import danger_screen
from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    ChooseScreen,
    DangerScreen,
    FindingScreen,
    ItemScreen,
    Named,
    ReadingScreen,
    StateScreen,
)
from diagnose.faces.words import DANGERS, REPLIES, STOP
from diagnose.files import replies
from diagnose.round import view as round_view
from diagnose.round import walk as round_walk
from diagnose.round.state import ready_round

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.case.screens import Screen
    from diagnose.faces.dialog import Dialog
    from diagnose.faces.elements import Element
    from diagnose.faces.face import Heading

FREE = {"back", "why", "danger", "leave"}

#: The title of a symptom and its first screen's lines take the most room.
FIRST = replace(HEADING, first=True)


# What has to be read


def question(screen: Screen) -> list[str | None]:
    """The texts that say what is asked."""
    if isinstance(screen, CheckScreen):
        return [screen.do, screen.look_for, screen.tool, screen.ask]
    if isinstance(screen, ReadingScreen):
        needs = [need.title for need in screen.needs]
        return [screen.do, screen.look_for, screen.tool, screen.title, *needs]
    if isinstance(screen, DangerScreen):
        return [STOP, *(one.phone for one in screen.call)]
    if isinstance(screen, FindingScreen):
        safety = [*screen.before_trying, screen.leave_safe, screen.until_mended]
        return [screen.finding, screen.remedy, *safety, *(one.finding for one in screen.likelier)]
    if isinstance(screen, CautionScreen):
        new = [one for one in screen.cautions if screen.phase == "take" and not one.again]
        lines = [line for one in screen.cautions for line in one.confirm]
        return [*(one.text for one in new), *lines]
    if isinstance(screen, ItemScreen):
        return [screen.do, screen.look_for]
    if isinstance(screen, StateScreen):
        return [screen.why.rstrip("."), *(one.phone for one in screen.call)]
    assert isinstance(screen, ChooseScreen)
    return []


def answers(screen: Screen) -> list[str]:
    """The answers of a screen by their numbers."""
    if isinstance(screen, CheckScreen):
        return [answer.title for answer in screen.answers]
    if isinstance(screen, DangerScreen):
        return [DANGERS[answer] for answer in screen.answers]
    return [option.title for option in screen.options] if isinstance(screen, ChooseScreen) else []


def needed(screen: Screen, reply: str) -> list[str]:
    """The texts that must have been in sight before a reply is taken."""
    said = answers(screen)
    if reply.isdecimal() and said:
        said = [said[int(reply) - 1]]
    elif isinstance(screen, CautionScreen) and reply.startswith("cannot"):
        # The lines are confirmed from the first; which of them cannot be is seen at it.
        return []
    elif isinstance(screen, ChooseScreen) and reply == replies.NONE:
        # Nobody reads a list to the end to say that nothing of it is meant.
        said = []
    return [text for text in (*question(screen), *said) if text]


def tall(dialog: Dialog, columns: int, texts: list[str]) -> set[str]:
    """The rows that the elements with these texts take at a width."""
    fresh = dialog_of(dialog.screen, HEADING)
    rows: dict[Element, list[str]] = {}
    for row in draw(fresh, columns, 400):
        if row.part is not None:
            rows.setdefault(row.part[0], []).append(bare(text_of(row)))
    found = set()
    for text in texts:
        named = [one for one in rows if one.text == text]
        named = named or [one for one in rows if text in one.text]
        assert named, text
        found |= {row for one in named for row in rows[one]}
    return found


def bare(row: str) -> str:
    """A row without what stands before a line to confirm or a field."""
    for mark in (">> ", "ok ", "> ", "- "):
        row = row.strip().removeprefix(mark)
    return row.strip()


# What is pressed


def typed(screen: Screen, key: str) -> tuple[str, ...]:
    """The keys that give what one key gives where letters are no text."""
    if isinstance(screen, ReadingScreen):
        return (key, *["enter"] * max(1, len(screen.needs)))
    if isinstance(screen, ChooseScreen) or (key.isdecimal() and len(answers(screen)) > 9):
        return (*key, "enter")
    return (key,)


def replied(screen: Screen) -> dict[tuple[str, ...], str]:
    """The keys for each reply that answers a screen."""
    keys = {
        typed(screen, REPLIES[reply].key): reply
        for reply in screen.replies
        if reply not in (*FREE, "note")
    }
    if isinstance(screen, CautionScreen) and len(screen.cautions) > 1:
        del keys["c",]
        keys["c", "c"] = "cannot"
    keys |= {
        typed(screen, f"{number}"): f"{number}" for number in range(1, len(answers(screen)) + 1)
    }
    if isinstance(screen, ReadingScreen):
        keys[typed(screen, "7")] = "7" if len(screen.needs) < 2 else f"{screen.needs[0].name}=7"
    return keys


def twin(dialog: Dialog) -> Dialog:
    """The same dialog once more, to try keys at."""
    other = copy.copy(dialog)
    other.sight = copy.deepcopy(dialog.sight, {id(part): part for part in dialog.elements})
    other.typed = [*dialog.typed]
    return other


def pressed(dialog: Dialog, keys: tuple[str, ...], size: tuple[int, int]) -> str | None:
    reply = None
    tried = twin(dialog)
    for key in keys:
        reply = tried.press(key)
        if reply is not None:
            return reply
        draw(tried, *size)
    return reply


def read_through(screen: Screen, size: tuple[int, int], heading: Heading = FIRST) -> int:
    """Read a screen on with Space alone, and try every key at each page. Return the pages."""
    dialog = dialog_of(screen, heading)
    wanted = {
        keys: tall(dialog, size[0], needed(screen, reply))
        for keys, reply in replied(screen).items()
    }
    seen: set[str] = set()
    for page in range(1, 400):
        seen |= {bare(text_of(row)) for row in draw(dialog, *size)}
        given = {keys: one_at_a_time(dialog, keys) for keys in wanted}
        for keys, reply in given.items():
            if reply is not None:
                assert wanted[keys] <= seen, (keys, wanted[keys] - seen)
        for reply in FREE & set(screen.replies):
            keys = typed(screen, REPLIES[reply].key)
            assert pressed(dialog, keys, size) == reply
        if dialog.by_line:
            told = dialog.press(" ")
            if told is not None:
                assert told == "done"
                assert wanted["y",] <= seen
                return page
        elif given == replied(screen):
            return page
        else:
            assert any("Space: read on" in text_of(row) for row in draw(dialog, *size))
            assert dialog.press(" ") is None
    raise AssertionError(f"no end to it: {screen}")


def one_at_a_time(dialog: Dialog, keys: tuple[str, ...]) -> str | None:
    """The reply of keys that come before the screen is drawn anew."""
    tried, reply = twin(dialog), None
    for key in keys:
        reply = reply or tried.press(key)
    return reply


# The screens


@cache
def screens(symptom: str) -> list[Screen]:
    """Every screen of a tree that takes a reply, once each whatever is in force and likely."""
    found: dict[object, Screen] = {}
    for route in routes(symptom):
        walk = walk_of(route.kind)
        state = walk.open(symptom)
        for line in route.lines:
            keep(found, walk.screen(state))
            state = walk.reply(state, line).state
    return list(found.values())


def keep(found: dict[object, Screen], screen: Screen) -> None:
    """Keep a screen that is like no other; the one with the longest notes of those that are."""
    like = replace(screen, in_force=(), notes=())
    if isinstance(like, FindingScreen):
        like = replace(like, probability=0.0, likelier=())
    if isinstance(like, CheckScreen | ReadingScreen):
        like = replace(like, open=0, minutes_left=0.0)
    if like not in found or len(found[like].notes) < len(screen.notes):
        found[like] = screen


def items(name: str) -> Iterator[Screen]:
    walk = walk_of("flooded")
    round_ = ready_round(BUILT_IN.rounds[name], walk.visit.table)
    state, _ = round_walk.opened(walk.visit, round_)
    while state.outcome is None:
        yield round_view.screen(walk.visit, state)
        state = round_walk.reply(walk.visit, state, "done").state


SIZES = [(40, 20), (36, 16), (20, 8)]


@pytest.mark.many_cases
@pytest.mark.parametrize(("symptom", "size"), some(product(SYMPTOMS, SIZES)))
def test_no_screen_of_a_tree_is_answered_unseen(symptom: str, size: tuple[int, int]) -> None:
    pages = [read_through(screen, size) for screen in screens(symptom)]
    assert len(pages) > 10
    assert max(pages) > 1


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", BUILT_IN.rounds)
def test_no_item_of_a_round_is_marked_unseen(name: str, size: tuple[int, int]) -> None:
    assert [read_through(screen, size) for screen in items(name)]


@pytest.mark.parametrize("size", [*SIZES, (80, 24)])
@pytest.mark.parametrize("name", ASKED)
def test_no_screen_of_any_kind_is_answered_unseen(name: str, size: tuple[int, int]) -> None:
    read_through(ASKED[name], size)


@pytest.mark.parametrize("size", SIZES)
def test_no_reason_for_a_danger_is_given_unseen(size: tuple[int, int]) -> None:
    screen = danger_screen(walk_of("flooded").visit.call, symptom="streaking", in_force=())
    assert (read_through(screen, size) > 1) == (size != (40, 20))


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_what_fits_takes_no_key_more(symptom: str) -> None:
    """At 80 by 24 one key answers all that fits, and most screens do."""
    fit = []
    for screen in screens(symptom):
        dialog = dialog_of(screen)
        draw(dialog, 80, 24)
        if not dialog.sight.below:
            fit.append(screen)
            for keys, reply in replied(screen).items():
                if not dialog.by_line:
                    assert one_at_a_time(dialog, keys) == reply
    assert len(fit) > 0.9 * len(screens(symptom))


# Keys in any order


KEYS = [*"123 ucynfrkxgst", "enter", "up", "down", "pageup", "pagedown", "tab", "escape"]
LONG = tuple(Named(f"Answer {n}", f"Answer {n} is as long as this one is") for n in range(1, 6))


@pytest.mark.parametrize("name", ["check", "finding", "service", "danger", "item", "state"])
@given(
    keys=st.lists(st.sampled_from(KEYS), max_size=40),
    columns=st.lists(st.sampled_from([20, 36, 60]), min_size=1, max_size=3),
    rows=st.integers(8, 16),
)
def test_whatever_is_pressed_answers_nothing_unseen(
    name: str, keys: list[str], columns: list[int], rows: int
) -> None:
    screen = ASKED[name]
    if isinstance(screen, CheckScreen):
        screen = replace(screen, answers=LONG)
    dialog = dialog_of(screen)
    read: set[str] = set()
    width, seen = 0, set[str]()
    for count, key in enumerate(keys):
        now = columns[count * len(columns) // len(keys)]
        # Half a text at one width says nothing of the other half.
        width, seen = now, seen if now == width else set()
        seen |= {bare(text_of(row)) for row in draw(dialog, width, rows)}
        read |= {text for text in needed(screen, "") if tall(dialog, width, [text]) <= seen}
        reply = dialog.press(key)
        if reply is not None:
            assert read >= set(needed(screen, reply))
            return


@pytest.mark.parametrize("name", ["check", "finding", "service", "danger", "reading"])
def test_what_was_jumped_over_is_not_in_sight(name: str) -> None:
    """Keys may come faster than the screen is drawn: the end is there, and what is above is not."""
    size = (20, 8)
    dialog = dialog_of(ASKED[name])
    draw(dialog, *size)
    for _ in range(30):
        dialog.press("pagedown")
    draw(dialog, *size)
    assert not dialog.sight.below
    for keys, reply in replied(dialog.screen).items():
        assert one_at_a_time(dialog, keys) is None, reply
    # Space leads back to the first of it, and from there to the end.
    for _ in range(60):
        dialog.press(" ")
        draw(dialog, *size)
    for keys, reply in replied(dialog.screen).items():
        assert one_at_a_time(dialog, keys) == reply


@pytest.mark.parametrize("jumped", ["before_trying", "remedy", "leave_safe", "until_mended"])
def test_no_line_of_a_finding_is_jumped_over(jumped: str) -> None:
    """All of it but one was in sight."""
    screen = ASKED["service" if jumped in ("leave_safe", "until_mended") else "finding"]
    assert isinstance(screen, FindingScreen)
    long = " ".join(["Word"] * 60)
    screen = replace(screen, **{jumped: (long, "Last.") if jumped == "before_trying" else long})
    dialog = dialog_of(screen)
    (element,) = [one for one in dialog.elements if long in one.text]
    dialog.sight.spare([one for one in dialog.elements if one is not element])
    draw(dialog, 40, 8)
    for keys in replied(screen):
        assert one_at_a_time(dialog, keys) is None
