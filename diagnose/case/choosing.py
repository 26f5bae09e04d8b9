"""Choosing a machine by a part of its id, its name or its serial number, or by its place."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Final

from diagnose.text import folded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.case.screens import Machine

#: Up to so many machines have a number in their list, of one digit.
MOST_NUMBERED: Final = 9


def numbered(machines: Sequence[Machine]) -> bool:
    """Return whether a list of machines has numbers, which then stand for a place in it.

    Not where a digit could be meant for the part of a name: in a list of more than nine, and where
    one machine's name holds the number at which another stands.
    """
    return len(machines) <= MOST_NUMBERED and not any(
        number != place and number <= len(machines)
        for place, machine in enumerate(machines, start=1)
        for number in _numbers(machine)
    )


def fitting(machines: Sequence[Machine], typed: str) -> list[Machine]:
    """Return the machines of which what is typed is a part: of the id, the name or the serial.

    The one that is meant most likely comes first: the one at that place, where the list has
    numbers; then those of which it is all of a name; then those of which it is a whole word or
    number. Capitals do not count.
    """
    word = folded(typed)
    if not word:
        return []
    found = [one for one in machines if any(word in name for name in _names(one))]
    found.sort(key=lambda one: (word not in _names(one), word not in _parts(one)))
    at = _at_place(machines, word)
    return found if at is None else [at, *(one for one in found if one is not at)]


def taken(machines: Sequence[Machine], typed: str) -> Machine | None:
    """Return the machine that is taken on Enter: the one that what is typed stands for, or None.

    That is the one at that place, the only one of which it is all of a name, the only one of which
    it is a whole word or number, or the only one of which it is a part: what is said first counts.
    """
    word = folded(typed)
    at = _at_place(machines, word)
    if at is not None:
        return at
    found = fitting(machines, word)
    named = [one for one in found if word in _names(one)]
    worded = [one for one in found if word in _parts(one)]
    few = named or worded or found
    return few[0] if len(few) == 1 else None


def at_once(machines: Sequence[Machine], typed: str) -> bool:
    """Return whether a digit stands for a place and for nothing else, so that no Enter is needed.

    Nobody can be about to type more: no part of a name, a longer one, begins with it.
    """
    return _at_place(machines, typed) is not None and not any(
        part.startswith(typed) and part != typed for one in machines for part in _parts(one)
    )


def _at_place(machines: Sequence[Machine], word: str) -> Machine | None:
    if len(word) == 1 and word.isascii() and word.isdigit() and numbered(machines):
        return machines[int(word) - 1] if 1 <= int(word) <= len(machines) else None
    return None


@cache
def _names(machine: Machine) -> tuple[str, ...]:
    return tuple(folded(name) for name in (machine.id, machine.title, machine.serial) if name)


def _parts(machine: Machine) -> list[str]:
    return re.findall(r"[^\W_]+", " ".join(_names(machine)))


def _numbers(machine: Machine) -> list[int]:
    digits = (part for part in _parts(machine) if part.isascii() and part.isdigit())
    return [int(part[:9]) for part in digits]
