"""Rules on what stands twice and has to tell one thing from another.

All are warnings: each file works by itself, and which of the two is to be changed nobody knows but
their author.
"""

from __future__ import annotations

from itertools import chain, islice
from typing import TYPE_CHECKING, Final, TypeVar

from diagnose.rules.view import Objection
from diagnose.text import as_seen

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from diagnose.files.places import Path
    from diagnose.rules.view import LibraryView, TreeView

_Where = TypeVar("_Where")

# Of one tree as many words are looked at: a list of more is no list of words.
_MOST: Final = 10_000


def title_twice(view: LibraryView) -> Iterator[Objection]:
    """No two trees have the same title, and no two machines, kinds of machine or rounds.

    Titles are what people choose from. Of two that are the same one is taken by chance: another
    machine's history is written to, or another symptom begun. Capitals do not count.

    Passes:
        machine: sample
        title: Dock machine
    Fails:
        title: It is like another
    """
    library = view.library
    for inside, things in (
        ((), library.trees),
        (("machines",), library.machines),
        (("machines", "kinds"), library.kinds),
        (("rounds",), library.rounds),
    ):
        titles = ((name, one.title) for name, one in things.items())
        for name, title, first in _again(titles):
            message = f'"{first}" has the title "{title}" too: write what tells them apart.'
            parts = (*inside, f"{name}.yaml")
            yield Objection(("title",), message, "warning", parts=parts)


def serial_twice(view: LibraryView) -> Iterator[Objection]:
    """No two machine cards have the same serial number.

    Service finds a machine by it. A card that was copied from another keeps it most easily.

    Passes:
        nameplate: {serial: D-0417}
    Fails:
        nameplate: {serial: S-1}
    """
    cards = view.library.machines
    serials = ((name, card.line("nameplate.serial")) for name, card in cards.items())
    known = ((name, serial) for name, serial in serials if serial is not None)
    for name, serial, first in _again(known):
        message = f'"{first}" has the serial number "{serial}" too: read it off the nameplate.'
        parts = ("machines", f"{name}.yaml")
        yield Objection(("nameplate", "serial"), message, "warning", parts=parts)


def also_called_twice(view: LibraryView) -> Iterator[Objection]:
    """What a symptom is also called stands once, in one tree, and is no tree's title.

    What an operator types is looked up in these words. The same ones in two trees lead to both, and
    twice in one tree they say nothing more.

    Passes:
        also_called: [smears, wet edges]
    Fails:
        also_called: [smears, Smears]
    """
    trees = view.library.trees
    titles: list[tuple[tuple[str, Path], str]] = [
        ((name, ("title",)), tree.title) for name, tree in trees.items()
    ]
    called: Iterator[tuple[tuple[str, Path], str]] = (
        ((name, ("also_called", number)), words)
        for name, tree in trees.items()
        for number, words in enumerate(islice(tree.also_called, _MOST))
    )
    for (name, path), words, (first, _) in _again(chain(titles, called)):
        if path == ("title",):
            continue
        where = "here" if first == name else f'in "{first}"'
        message = f'"{words}" stands {where} already: keep one of the two.'
        yield Objection(path, message, "warning", parts=(f"{name}.yaml",))


def case_twice(view: TreeView) -> Iterator[Objection]:
    """No two worked cases of a tree have the same name.

    The name is what `check` and `compare` call a case by when it no longer ends where it did.

    Passes:
        worked_cases:
          - {name: thin, answers: {second: too little}, finding: little}
          - {name: broken, answers: {first: It is broken}, finding: broken}
    Fails:
        worked_cases:
          - {name: thin, answers: {second: too little}, finding: little}
          - {name: thin, answers: {first: It is broken}, finding: broken}
    """
    names = ((number, case.name) for number, case in enumerate(view.tree.worked_cases))
    for number, name, _ in _again(names):
        message = f'Another case is called "{name}" too: write what this one shows.'
        yield Objection(("worked_cases", number, "name"), message, "warning")


def _again(words: Iterable[tuple[_Where, str]]) -> Iterator[tuple[_Where, str, _Where]]:
    """Yield each text that looks like an earlier one: where it stands, it, where the first does."""
    seen: dict[str, _Where] = {}
    for where, text in words:
        look = as_seen(text)
        if look in seen:
            yield where, text, seen[look]
        else:
            seen[look] = where
