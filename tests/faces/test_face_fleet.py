"""Choosing among forty machines: in the list, on a full screen, and in a real terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from drawing import dialog_of, draw, text_of
from hypothesis import given
from hypothesis import strategies as st
from strategies.fleet import machines, write_fleet
from terminals import PROGRAM, Terminal

from diagnose.case import choosing
from diagnose.case.screens import ChooseScreen, Machine

if TYPE_CHECKING:
    from pathlib import Path

FLEET = tuple(
    Machine(name, title, serial) for name, (title, _, serial) in sorted(machines().items())
)
FEW = FLEET[:3]
SIZES = [(80, 24), (40, 20)]
#: Keys from the choice of a machine to the first question: two of its number and Enter, then the
#: symptom's number and Enter. A symptom that is on the list's next page takes a key more.
MOST_KEYS = 5


def chosen_from(options: tuple[Machine, ...], **changes: Any) -> ChooseScreen:
    replies = ("none", "danger", "leave")
    return ChooseScreen(what="machine", options=options, replies=replies, **changes)


def typed(options: tuple[Machine, ...], keys: str, columns: int = 80, rows: int = 24) -> Any:
    """Return the reply that keys come to, and the rows that are drawn then."""
    dialog = dialog_of(chosen_from(options))
    shown = draw(dialog, columns, rows)
    reply = None
    for key in keys:
        assert reply is None
        reply = dialog.press({"\r": "enter", "<": "backspace"}.get(key, key))
        shown = draw(dialog, columns, rows)
    return reply, [text_of(row).strip() for row in shown]


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_any_of_forty_machines_takes_three_keys(columns: int, rows: int) -> None:
    """The property that the figure in the README stands for."""
    for machine in FLEET:
        number = machine.id[-2:]
        reply, _ = typed(FLEET, f"{number}\r", columns, rows)
        meant = choosing.taken(FLEET, reply)
        assert meant is not None
        assert meant.id == machine.id


@given(st.sampled_from(FLEET), st.data())
def test_a_part_that_only_one_machine_has_takes_it(machine: Machine, data: Any) -> None:
    name = data.draw(st.sampled_from([machine.id, machine.title, machine.serial]))
    start = data.draw(st.integers(0, len(name) - 1))
    part = name[start : data.draw(st.integers(start + 1, len(name)))].strip()
    having = [
        one
        for one in FLEET
        if any(part.casefold() in text.casefold() for text in (one.id, one.title, f"{one.serial}"))
    ]
    found = choosing.fitting(FLEET, part)
    assert sorted(one.id for one in found) == sorted(one.id for one in having if part)
    if part and having == [machine]:
        assert choosing.taken(FLEET, part) is machine
        assert choosing.taken(FLEET, part.upper()) is machine


@given(st.integers(0, 99999))
def test_no_digit_is_a_place_in_a_list_of_forty(number: int) -> None:
    assert not choosing.numbered(FLEET)
    meant = choosing.taken(FLEET, f"{number}")
    names = meant and (meant.id, meant.title, meant.serial)
    assert meant is None or any(f"{number}" in f"{name}" for name in names or ())


def test_a_list_has_no_numbers_where_one_would_be_another_machines() -> None:
    two = (Machine("dock-2", "Dock 2"), Machine("dock-12", "Dock 12"))
    assert not choosing.numbered(two)
    taken = choosing.taken(two, "2")
    assert taken is not None
    assert taken.id == "dock-2"
    assert choosing.numbered(two[::-1])
    assert choosing.numbered(FEW)


def test_what_is_typed_narrows_the_list() -> None:
    _, shown = typed(FLEET, "27")
    assert next(row for row in shown if row.startswith("-")) == "-  Yard rider 27 (R7813)"
    assert len([row for row in shown if row.startswith("-")]) == 5
    assert "Enter: Yard rider 27" in shown
    _, shown = typed(FLEET, "278")
    assert [row for row in shown if row.startswith("-")] == ["-  Hall rider 15 (R2785)"]
    _, shown = typed(FLEET, "278<<<")
    assert len([row for row in shown if row.startswith("-")]) > 10
    _, shown = typed(FLEET, "278x")
    assert "No machine has that in its name." in shown
    assert not [row for row in shown if row.startswith("-")]


def test_pasted_serials_narrow_too() -> None:
    dialog = dialog_of(chosen_from(FLEET))
    draw(dialog)
    dialog.paste("R7813")
    rows = [text_of(row).strip() for row in draw(dialog)]
    assert "-  Yard rider 27 (R7813)" in rows
    assert dialog.press("enter") == "R7813"


def test_a_letter_alone_is_still_a_reply() -> None:
    assert typed(FLEET, "n\r")[0] == "none"
    assert typed(FLEET, "l\r")[0] == "leave"
    assert typed(FLEET, "no\r")[0] == "no"


def test_a_few_machines_take_one_digit_where_no_name_goes_on_from_it() -> None:
    few = (Machine("aisle", "Aisle", "A-93"), Machine("dock", "Dock", "2041"))
    assert typed(few, "1")[0] == "1"
    # It may be the beginning of the serial number.
    reply, shown = typed(few, "2")
    assert reply is None
    assert "Enter: Dock" in shown
    assert typed(few, "2041\r")[0] == "2041"


def test_machines_out_of_use_and_of_one_name_are_told_apart() -> None:
    twins = (
        Machine("a", "Scrubber", state="out of use"),
        Machine("b", "Scrubber", state="use with care"),
        Machine("c", "Other"),
    )
    _, shown = typed(twins, "")
    assert "1  Scrubber (a): out of use" in shown
    assert "2  Scrubber (b): use with care" in shown
    assert "3  Other" in shown


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_from_the_start_to_the_first_question_in_a_real_terminal(
    tmp_path: Path, columns: int, rows: int
) -> None:
    folder = write_fleet(tmp_path / "library")
    command = [*PROGRAM, "start", "--trees", str(folder), "--log", str(tmp_path / "log")]
    terminal = Terminal(command, columns, rows)
    terminal.until("Which machine is it")
    keys = 0
    for key, wanted in (
        ("2", "> 2"),
        ("7", "Enter: Yard rider 27"),
        ("\r", "What is wrong with it"),
        ("5", "> 5"),
        ("\r", "What do you see"),
    ):
        terminal.press(key)
        terminal.until(wanted)
        keys += 1
    assert keys == MOST_KEYS
    terminal.press("l")
    assert terminal.end() == 0
