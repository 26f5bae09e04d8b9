"""Every tree and every round, through each answer, on all three faces, with the same screens.

A pilot plans the routes: for each answer, one from the start through it to a finding. Then each
face walks every route from what a person would type there, and what it shows is compared.
"""

from __future__ import annotations

import io
import re
import sys
from dataclasses import dataclass, field
from functools import cache, partial
from itertools import product
from typing import TYPE_CHECKING

import pytest
from faces.terminals import typed_at
from strategies.sampling import some
from strategies.walker import Walker, visit_to

from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    EndScreen,
    FigureScreen,
    FindingScreen,
    ItemScreen,
)
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.round_session import run_round
from diagnose.commands.session import Desk, run
from diagnose.faces.json_lines import JsonLinesFace
from diagnose.faces.plain import PlainFace
from diagnose.faces.terminal import TerminalFace
from diagnose.files.card import Card
from diagnose.files.library import built_in, load
from diagnose.files.tree import Question, Reading, Tree
from diagnose.measure.registry import MEASUREMENTS, MissingLine, Unreadable, compute, parse_reply
from diagnose.round import view as round_view
from diagnose.round import walk as round_walk
from diagnose.round.state import ready_round

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from diagnose.case.screens import Screen
    from diagnose.case.state import State, Trace
    from diagnose.faces.face import Face, Heading

BUILT_IN = load(built_in())
SYMPTOMS = BUILT_IN.symptoms

#: What the machine card may say of the battery; a card that is silent is asked in its place.
KINDS = (None, "flooded", "sealed", "lithium")

Arrow = tuple[str, str]


# The pilot


@dataclass
class Route:
    """One way through a tree: the answers wanted, and each reply with the keys for a terminal."""

    kind: str | None
    wanted: dict[str, str]
    lines: list[str] = field(default_factory=list)
    keys: list[str] = field(default_factory=list)
    passed: list[Arrow] = field(default_factory=list)
    unasked: int = 0


@cache
def walk_of(kind: str | None) -> Walker:
    """A walk by somebody who may do every step, on a machine whose battery is of this kind."""
    library = ReadyLibrary(built_in(), frozenset())
    card = library.machine("dock")
    battery = {key: said for key, said in card.lines["battery"].items() if key != "kind"}
    battery |= {} if kind is None else {"kind": kind}
    library.card = Card(
        machine=card.machine, title=card.title, lines={**card.lines, "battery": battery}
    )
    return Walker(visit_to(library, role="service"))


@cache
def routes(symptom: str) -> list[Route]:
    """The routes that together go through every answer of a tree."""
    tree = walk_of(None).tree(symptom).tree
    left = dict.fromkeys(arrows(tree))
    found = []
    while left:
        arrow = next(iter(left))
        route = next((r for r in candidates(tree, arrow, left) if arrow in r.passed), None)
        assert route is not None, f"{symptom}: no route goes through {arrow}"
        found.append(route)
        for passed in route.passed:
            left.pop(passed, None)
    return found


def arrows(tree: Tree) -> Iterator[Arrow]:
    for name, step in tree.steps.items():
        if isinstance(step, Question):
            for way in step.exits:
                yield str(name), str(way.answer)


def candidates(tree: Tree, arrow: Arrow, left: dict[Arrow, None]) -> Iterator[Route]:
    for path in paths(tree, arrow[0]):
        for kind in KINDS:
            route = Route(kind=kind, wanted=dict([*path, arrow]))
            fly(route, str(tree.symptom), left)
            yield route


def paths(tree: Tree, to: str) -> Iterator[list[Arrow]]:
    """Ways from the start to a step, the shortest first."""
    waiting: list[tuple[str, list[Arrow]]] = [(str(tree.start), [])]
    for _ in range(20_000):
        if not waiting:
            return
        name, path = waiting.pop(0)
        if name == to:
            yield path
            continue
        step = tree.steps[name]  # type: ignore[index]
        if isinstance(step, Question):
            waiting += [(str(w.to), [*path, (name, str(w.answer))]) for w in step.exits]


def fly(route: Route, symptom: str, left: dict[Arrow, None]) -> None:
    """Walk a route: the wanted answers, then those that no route has been through yet."""
    walk = walk_of(route.kind)
    state = walk.open(symptom)
    while state.outcome is None:
        line, keys = move(walk, state, route, symptom, left)
        turn = walk.reply(state, line)
        assert turn.exchange is not None, (symptom, line, turn.interludes)
        route.lines.append(line)
        route.keys += keys
        said = turn.exchange
        if said.kind == "answer" and said.symptom == symptom:
            route.passed.append((said.step, said.answer))
        before = list(looked_at_before(turn.state, said.trail, symptom))
        route.passed += before
        route.unasked += len(before)
        state = turn.state


def looked_at_before(state: State, trail: tuple[Trace, ...], symptom: str) -> Iterator[Arrow]:
    """Answers through which the walk went by itself: the same look was answered elsewhere."""
    frame = state.frames[0]
    for trace in trail:
        if trace.what == "through" and trace.symptom == symptom:
            place = frame.tree.plan.number[trace.step]
            answer, step = frame.closed[place], frame.tree.steps[place]
            if answer is not None and isinstance(step, Question) and step.same_as is not None:
                yield trace.step, step.exits[answer].answer


def keys_for(screen: CautionScreen) -> str:
    """The keys that confirm a caution's screen: one a line, or one for all of them."""
    (first, *_) = screen.cautions
    return " " * len(first.confirm) if screen.lines == "each" else "y"


def move(
    walk: Walker, state: State, route: Route, symptom: str, left: dict[Arrow, None]
) -> tuple[str, list[str]]:
    """What is replied to a screen, as a line and as keys."""
    screen = walk.screen(state)
    if screen.symptom != symptom:
        # Through a doorway: that tree has routes of its own.
        return "leave", ["l"]
    if isinstance(screen, CautionScreen):
        return "done", [keys_for(screen)]
    if isinstance(screen, FindingScreen):
        return ("refer", ["r"]) if screen.who == "service" else ("cured", ["f"])
    step = walk.step(state)
    assert isinstance(step, Question)
    name = screen.step  # type: ignore[attr-defined]
    answers = [str(way.answer) for way in step.exits]
    fresh = [answer for answer in answers if (name, answer) in left]
    wanted = route.wanted.get(name)
    answer = wanted if wanted in answers else (fresh or answers)[0]
    if isinstance(screen, CheckScreen):
        number = f"{answers.index(answer) + 1}"
        return number, [number]
    assert isinstance(step, Reading)
    typed = typed_for(walk, step, answer)
    # A terminal has a field for each input; Enter goes on to the next.
    enter = "\r" * max(1, len(screen.needs))  # type: ignore[attr-defined]
    # A battery of another kind has no such figure.
    return ("unsure", [f"u{enter}"]) if typed is None else (typed, [f"{typed}{enter}", " "])


def typed_for(walk: Walker, step: Reading, answer: str) -> str | None:
    """What is typed so that a reading falls in a band: the examples, with one of them stretched."""
    measurement = MEASUREMENTS[step.read]
    assert walk.visit.card is not None
    asked = {need.name: need.example for need in measurement.needs if need.asked}
    asked = {name: text for name, text in asked.items() if name not in ("other", "temperature")}
    if step.read == "cell-gravities":
        asked["readings"] = ", ".join(["1.280"] * 12)
    for typed in stretched(asked):
        try:
            given = parse_reply(measurement, typed)
            figure = compute(measurement, given, walk.visit.line, bare=True)
        except (Unreadable, MissingLine):
            continue
        if step.band(figure.value).answer == answer:
            return typed
    return None


def stretched(asked: dict[str, str]) -> Iterator[str]:
    factors = [1, *(round(0.02 * n, 2) for n in range(1, 150)), 5, 10, 20]
    for factor, (name, example), whole in product(factors, asked.items(), (False, True)):

        def stretch(number: re.Match[str], factor: float = factor) -> str:
            return f"{float(number[0]) * factor:.4g}"

        text = re.sub(r"\d+(\.\d+)?", stretch, example, count=0 if whole else 1)
        yield " ".join(f"{key}={said}" for key, said in {**asked, name: text}.items())


# The faces


class Watched:
    """A face that is looked at: every screen it is given is kept."""

    def __init__(self, face: Face) -> None:
        self.face = face
        self.seen: list[Screen] = []

    def show(self, screen: Screen, heading: Heading) -> None:
        self.seen.append(screen)
        self.face.show(screen, heading)

    def ask(self, screen: Screen, heading: Heading) -> str | None:
        self.seen.append(screen)
        return self.face.ask(screen, heading)


def played(route: Route, symptom: str, face: Face) -> list[Screen]:
    watched = Watched(face)
    walk = walk_of(route.kind)
    run(Desk(visit=walk.visit, face=watched), walk.open(symptom), None)
    return watched.seen


def on_every_face(
    play: Callable[[Face], list[Screen]],
    lines: Sequence[str],
    keys: Sequence[str],
    monkeypatch: pytest.MonkeyPatch,
) -> list[Screen]:
    """Play lines and keys, and return the screens that all three faces were given."""
    seen = []
    for face in (JsonLinesFace(), PlainFace()):
        monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        seen.append(play(face))
    with typed_at(*keys) as full_screen:
        seen.append(play(TerminalFace(full_screen)))
    assert seen[0] == seen[1]
    assert seen[0] == seen[2]
    return seen[0]


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", some(SYMPTOMS))
def test_every_answer_shows_the_same_on_every_face(
    symptom: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    tree = walk_of(None).tree(symptom).tree
    passed = set()
    for route in routes(symptom):
        screens = on_every_face(
            partial(played, route, symptom), route.lines, route.keys, monkeypatch
        )
        answered = [s for s in screens if isinstance(s, CheckScreen | FigureScreen)]
        # What was seen elsewhere is not asked again, so some of it stands on no screen.
        assert len(answered) >= len(route.passed) - route.unasked
        assert screens[-1].screen == "end"
        assert "refused" not in {screen.screen for screen in screens}
        passed |= set(route.passed)
    capsys.readouterr()
    assert passed == set(arrows(tree))


# Rounds

KEYS = {"done": "y", "not right": "n", "not now": "c", "back": "b"}


@pytest.mark.many_cases
@pytest.mark.parametrize("reply", ["done", "not right", "not now"])
@pytest.mark.parametrize("name", BUILT_IN.rounds)
def test_every_item_shows_the_same_on_every_face(
    name: str, reply: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """*Not right* goes into the item's symptom, and *back* to the item, which is then done.

    An item that would stop the round is done: that it stops is looked at for itself.
    """
    walk = walk_of("flooded")
    round_ = ready_round(BUILT_IN.rounds[name], walk.visit.table)
    stopping = {item for item, own in zip(round_.names, round_.items, strict=True) if own.stops}
    start, _ = round_walk.opened(walk.visit, round_)
    lines, keys, asked = [], [], set()
    state, case = start, None
    while state.outcome is None:
        if state.begins is not None and case is None:
            case, _ = walk.opened(state.begins, state.cautions, returns=True)
        screen = walk.screen(case) if case else round_view.screen(walk.visit, state)
        say = reply
        ticks = ""
        if isinstance(screen, CautionScreen):
            say, ticks = "done", keys_for(screen)
        if case is not None:
            say, ticks = "back", ""
        elif isinstance(screen, ItemScreen):
            if screen.item in asked or (reply == "not right" and screen.item in stopping):
                say = "done"
            asked.add(screen.item)
        lines.append(say)
        keys.append(ticks or KEYS[say])
        if case is None:
            state = round_walk.reply(walk.visit, state, say).state
            continue
        left = walk.reply(case, say).state
        assert left.outcome == "withdrawn"
        state, _ = round_walk.came_back(walk.visit, state, left, "withdrawn")
        case = None

    def play(face: Face) -> list[Screen]:
        watched = Watched(face)
        run_round(Desk(visit=walk.visit, face=watched), start, None)
        return watched.seen

    screens = on_every_face(play, lines, keys, monkeypatch)
    capsys.readouterr()
    assert {s.item for s in screens if isinstance(s, ItemScreen)} == set(round_.names)
    assert isinstance(screens[-1], EndScreen)
    assert screens[-1].outcome == "walked"


STOPPING = [
    (name, item)
    for name, round_ in BUILT_IN.rounds.items()
    for item, own in round_.items.items()
    if own.stops
]


def test_brake_steering_and_emergency_stop_have_to_be_right() -> None:
    """Written from what a scrubber may not be driven without, and not from the rounds."""
    assert STOPPING == [
        ("before-shift", "stop-standing"),
        ("before-shift", "brake-tried"),
        ("before-shift", "steering-tried"),
        ("weekly", "brake-tried"),
        ("weekly", "steering-tried"),
        ("weekly", "stop-tried"),
    ]


@pytest.mark.parametrize(("name", "item"), STOPPING)
def test_an_item_that_stops_ends_its_round_on_every_face(
    name: str, item: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    walk = walk_of("flooded")
    round_ = ready_round(BUILT_IN.rounds[name], walk.visit.table)
    start, _ = round_walk.opened(walk.visit, round_)
    lines, keys = [], []
    state = start
    while state.outcome is None:
        screen = round_view.screen(walk.visit, state)
        stops = isinstance(screen, ItemScreen) and screen.item == item
        say = "not right" if stops else "done"
        lines.append(say)
        keys.append(keys_for(screen) if isinstance(screen, CautionScreen) else KEYS[say])
        state = round_walk.reply(walk.visit, state, say).state

    def play(face: Face) -> list[Screen]:
        watched = Watched(face)
        run_round(Desk(visit=walk.visit, face=watched), start, None)
        return watched.seen

    *_, last, end = on_every_face(play, lines, keys, monkeypatch)
    said = " ".join(capsys.readouterr().out.split())
    assert isinstance(last, ItemScreen)
    assert last.item == item
    assert isinstance(end, EndScreen)
    assert end.outcome == "referred"
    assert [note.id for note in end.notes] == ["end-stops", "end-call"]
    assert said.count("It is out of use until it is released.") == 3
