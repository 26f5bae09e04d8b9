"""Presses on cautions against all presses, over the routes of the built-in worked cases.

`python tests/benchmarks/bench_presses.py [LIBRARY]` prints each figure with the limit that it is
held to, and a row a tree; exit code 1 if one is missed. Presses are those of a person at the
terminal: one a line where lines are confirmed one by one, one for all that a screen shows together,
one a release, one for each question, reading and finding.
"""

from __future__ import annotations

import statistics
import sys
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from figures import Figure, report

from diagnose.case import cautions
from diagnose.case.cautions import CautionState
from diagnose.case.screens import ChooseScreen, Machine, Named
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.faces.dialog import Dialog
from diagnose.faces.elements import StatusLine
from diagnose.faces.face import Heading
from diagnose.faces.layout import draw
from diagnose.files import replies
from diagnose.files.cautions import EACH
from diagnose.files.library import built_in
from diagnose.files.tree import Question
from diagnose.measure.registry import MEASUREMENTS, compute
from diagnose.study.plan import passing_answer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.case.screens import CautionScreen, Screen
    from diagnose.files.tree import Exit, Step, Tree, WorkedCase
    from diagnose.study.in_force import CautionTable

#: What was counted while each line took a press, and each caution one more to end its screen.
BEFORE = "before: 14 presses on the median route, 69 % of all"

#: At most so much of all presses are on cautions, and so many on the median route.
SHARE, MEDIAN = 0.45, 3

#: Keys from `diagnose` to the first question.
FIRST_QUESTION = 3


#: What every caution's screen carries.
SHARED = {"replies": ("done", "cannot", "back", "why", "danger", "leave")}


class Presses(NamedTuple):
    """What a person presses on one route: on cautions, on all else, and to page through cautions."""

    cautions: int
    others: int
    pages: int = 0


def presses(screen: CautionScreen) -> int:
    """Return how often a person presses a key to confirm what a caution's screen shows."""
    return sum(len(guard.confirm) for guard in screen.cautions) if screen.lines == EACH else 1


def pages(screen: CautionScreen) -> int:
    """Return how often a person pages on at 80x24 until everything was in sight."""
    dialog = dialog_of(screen, "Dock machine")
    counted = 0
    for _ in range(200):
        draw(dialog, 80, 24)
        pages_on = dialog.prompt().startswith("Space")
        counted += pages_on
        if dialog.press(" " if pages_on or dialog.by_line else "y") is not None:
            return counted
    raise AssertionError(f"{screen.id} cannot be confirmed")


def dialog_of(screen: Screen, machine: str | None = None) -> Dialog:
    """Return a screen in front of a person."""
    heading = Heading(case=None, title="", machine=machine, first=False)
    return Dialog(screen, heading, StatusLine().status(screen, heading))


def route(tree: Tree, table: CautionTable, worked: WorkedCase) -> Presses:
    """Walk a worked case to its finding, with the screens that come before each step."""
    held = CautionState()
    counted, others, paged = 0, 1, 0
    step = tree.steps[tree.start]
    name = tree.start
    while True:
        pressed, more, held = before(table, step, held)
        counted, paged = counted + pressed, paged + more
        if not isinstance(step, Question):
            assert name == worked.finding, (tree.symptom, worked.name, name)
            return Presses(counted, others, paged)
        others += 1
        name = taken(tree, step, worked.answers.get(name)).to
        step = tree.steps[name]


def before(table: CautionTable, step: Step, held: CautionState) -> tuple[int, int, CautionState]:
    """Return the presses on the cautions before a step, those that page, and what holds then."""
    counted = paged = 0
    needs, energises = table.needs(step), getattr(step, "energises", False)
    while (called := cautions.due(table, held, needs, energises)) is not None:
        screen = cautions.caution_screen(table, held, called, step.hazards, SHARED)
        counted += presses(screen)
        paged += pages(screen)
        held = cautions.replied(table, held, screen, replies.DONE)
    return counted, paged, held


def taken(tree: Tree, step: Question, given: object) -> Exit:
    """Return the way that a worked case takes: by its answer, its inputs, or the passing answer."""
    if isinstance(given, str) or given is None:
        way = step.exit(given or passing_answer(tree, step) or "")
    else:
        figure = compute(MEASUREMENTS[step.read], given, card=lambda _: None, bare=True, si=False)
        way = step.band(figure.value)
    assert way is not None
    return way


def routes(library: ReadyLibrary) -> dict[str, list[Presses]]:
    """Return the presses of each worked case, by symptom."""
    counted: dict[str, list[Presses]] = {}
    for symptom in library.content.symptoms:
        tree = library.require(symptom).tree
        counted[symptom] = [route(tree, library.table, one) for one in tree.worked_cases]
    return {symptom: found for symptom, found in counted.items() if found}


def share(counted: list[Presses]) -> float:
    """Return which part of all presses is on cautions."""
    on_cautions = sum(one.cautions for one in counted)
    return on_cautions / sum(one.cautions + one.others for one in counted)


def median(counted: list[Presses]) -> float:
    """Return the presses on cautions of the median route."""
    return statistics.median(one.cautions for one in counted)


def keys_to_the_first_question(library: ReadyLibrary) -> dict[str, int]:
    """Return the keys that a person presses from `diagnose` to the first question of each symptom.

    A machine and the symptom are chosen by number (the one that takes most keys, of machines); the
    cautions before the first question are confirmed.
    """
    machines, symptoms = len(library.machines), library.content.symptoms
    to_a_machine = max(typed("machine", machines, number) for number in range(1, machines + 1))
    keys = {}
    for number, symptom in enumerate(symptoms, start=1):
        keys[symptom] = to_a_machine + typed("symptom", len(symptoms), number)
        tree = library.require(symptom).tree
        keys[symptom] += before(library.table, tree.steps[tree.start], CautionState())[0]
    return keys


def typed(what: str, count: int, number: int) -> int:
    """Return the keys with which one of so many is chosen by its number."""
    dialog = chosen(what, count)
    for keys, key in enumerate((*f"{number}", "enter"), start=1):
        if dialog.press(key) is not None:
            return keys
    raise AssertionError(f"no {what} can be chosen")


def chosen(what: str, count: int) -> Dialog:
    """Return the screen on which the last of so many is chosen."""
    kind = Machine if what == "machine" else Named
    options = tuple(kind(f"{number}", f"{number}") for number in range(1, count + 1))
    screen = ChooseScreen(what=what, options=options, replies=("danger", "leave"))
    dialog = dialog_of(screen)
    draw(dialog, 80, 24)
    return dialog


def figures(library: ReadyLibrary) -> Iterator[Figure]:
    """Yield the figures of a library, and a row a tree."""
    by_tree = routes(library)
    everything = [one for counted in by_tree.values() for one in counted]
    told = f"{len(everything)} routes; {BEFORE}"
    yield "presses on cautions / all presses", share(everything), SHARE, told
    yield "presses on cautions, median route", median(everything), MEDIAN, ""
    paged = [Presses(one.cautions + one.pages, one.others) for one in everything]
    yield "  share with Space to page at 80x24", share(paged), float("inf"), ""
    yield "  median with Space to page at 80x24", median(paged), float("inf"), ""
    keys = keys_to_the_first_question(library)
    most = max(keys, key=keys.__getitem__)
    told = f"most: {most}"
    yield "keys from `diagnose` to the first question", keys[most], FIRST_QUESTION, told
    for symptom, counted in by_tree.items():
        shown = f"median {median(counted):g}, {len(counted)} routes"
        yield f"  share in {symptom}", share(counted), float("inf"), shown


def main() -> int:
    """Print the figures of a library: the one named, else the built-in one."""
    library = ReadyLibrary(Path(sys.argv[1]) if sys.argv[1:] else built_in(), frozenset())
    return report(lambda: figures(library))


if __name__ == "__main__":
    sys.exit(main())
