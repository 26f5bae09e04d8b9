"""Ten thousand random cases, watched by somebody who knows nothing of the walk.

And the other way round: the same somebody, put before walks that were tampered with, has to notice.
"""

from __future__ import annotations

from collections import Counter
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from strategies import walking
from strategies.libraries import READINGS, libraries
from strategies.observer import Unsafe, files_in
from strategies.sabotage import (
    after_a_note,
    alike,
    another_answer,
    brought_along,
    careless,
    every_answer,
    everything,
    forgetful,
    never_released,
    one_is_none,
    only_the_first,
    taken_as_said,
    unguarded_if_alike,
)
from strategies.sampling import examples, several
from strategies.walking import NOTES, Case, watched
from strategies.written import Written, read

from diagnose.case import cautions, likelier, onward, view, walk
from diagnose.case.cautions import CautionState
from diagnose.case.screens import DangerScreen, EndScreen
from diagnose.files.card import Card
from diagnose.files.replies import BACK, DANGERS, MISTAKE, NOT_IT
from diagnose.log import replay as telling
from diagnose.log.events import Noted, Replied
from diagnose.measure.registry import MEASUREMENTS
from diagnose.study import plan, ready, tailored
from diagnose.study.in_force import CautionTable

if TYPE_CHECKING:
    from diagnose.case.state import State

CASES = 10_000
LIBRARIES = 300
CASES_A_LIBRARY = 50
#: After so many cases in a row that went as others did, a small library has been walked through.
ALIKE = 4


@pytest.mark.many_cases
def test_no_word_of_a_step_is_shown_before_its_cautions() -> None:
    walked: set[tuple[object, ...]] = set()

    @settings(max_examples=several(LIBRARIES))
    @given(libraries(), st.integers(0, 2**32))
    def walk_through(written: Written, seed: int) -> None:
        library, files = read(written), files_in(written)
        random, texts = Random(seed), f"{written}"
        alike = 0
        for _ in range(CASES_A_LIBRARY):
            case = watched(files, library, random)
            before = len(walked)
            walked.add((texts, case.role, *case.told))
            alike = alike + 1 if len(walked) == before else 0
            if alike == ALIKE:
                break

    walk_through()
    # Of two that went alike one counts.
    assert len(walked) >= several(CASES)


@pytest.fixture(scope="module")
def some_libraries() -> list[Written]:
    """Any, and a few for each reading and for what the card answers, which else are too seldom."""
    found = examples(libraries(told=True), 20)
    for name in READINGS:
        found += examples(libraries(read=name), 4)
    return found + examples(libraries(), 80)


@pytest.fixture(scope="module")
def cases(some_libraries: list[Written]) -> list[Case]:
    return walked(some_libraries, 15)


def walked(written: list[Written], cases: int) -> list[Case]:
    random = Random(4)
    found = []
    for texts in written:
        library, files = read(texts), files_in(texts)
        found += [watched(files, library, random) for _ in range(cases)]
    return found


def test_the_random_cases_meet_everything_that_there_is(cases: list[Case]) -> None:
    replied = [event for case in cases for event in case.events if isinstance(event, Replied)]
    kinds = Counter(event.reply for event in replied)
    replies = {"answer", "done", "cannot", "back", "unsure", "danger", "leave", "cured", "refer"}
    assert replies | {"not cured", "not it", "keep looking", "mistake"} <= set(kinds)
    # A danger is reported first, at any kind of screen, and what it was is said then.
    alarms = [event for event in replied if event.reply == "danger"]
    assert {event.answer for event in alarms} == {"", *DANGERS}
    assert {event.shown.screen for event in alarms} == {
        *("caution", "check", "reading", "finding", "danger")
    }
    assert {(event.shown.screen == "danger", event.outcome) for event in alarms} == {
        (False, None),
        (True, "referred"),
    }
    pressed = kinds["danger"] - sum(event.answer != "" for event in alarms)
    assert pressed == kinds["mistake"] + sum(case.state.danger for case in cases)
    assert any(case.resumes for case in cases)
    traces = Counter(trace.what for case in cases for event in case.events for trace in event.trail)
    assert {"passed", "chose", "entered", "returned", "rests", "ended"} <= set(traces)
    whys = {t.why for case in cases for event in case.events for t in event.trail}
    assert {"cannot", "unsure", "by", "caution", "tag", "unchecked", "nothing-left"} <= whys
    phases = {event.shown.phase for event in replied if event.caution}
    assert phases == {"take", "release"}
    # Cautions with a screen of their own and several on one; all of them refused, or one.
    shown = [event for event in replied if event.shown.phase == "take"]
    assert {event.shown.lines for event in shown} == {"each", "together"}
    assert {1, 2} <= {len(event.cautions) for event in shown if event.reply == "done"}
    refusals = {
        (len(event.cautions) > 1, len(event.refused)) for event in shown if event.reply == "cannot"
    }
    assert {(False, 1), (True, 1), (True, 2)} <= refusals
    assert any(
        set(event.refused) <= set(caution.includes)
        for event in shown
        if event.reply == "cannot"
        for caution in event.cautions
    )
    outcomes = Counter(case.state.outcome for case in cases)
    assert set(outcomes) == {"cured", "referred", "left"}


def test_the_random_cases_meet_other_machines_the_same_look_and_notes(cases: list[Case]) -> None:
    said = set().union(*(case.said for case in cases))
    assert {"not-here", "noted", "refused: note-empty", "refused: note-long"} <= said
    noted = [event for case in cases for event in case.events if isinstance(event, Noted)]
    assert {event.text for event in noted} == {note.split(maxsplit=1)[1] for note in NOTES}
    assert {event.what != "" for event in noted} == {True, False}
    # A look that was had elsewhere sends on, where the card does not.
    seen = doors = 0
    for case in cases:
        trees = {symptom: case.library.ready(symptom) for symptom in case.library.trees}
        doors += None in trees.values() and "doorway-shut" in case.said
        for trace in (trace for event in case.events for trace in getattr(event, "trail", ())):
            tree = trees[trace.symptom]
            assert tree is not None
            place = tree.plan.number[trace.step] if trace.what == "through" else None
            if place is not None and place not in tree.from_card:
                seen += (place, 0) in tree.plan.twins
    # A doorway leads to a symptom that this machine cannot have.
    assert seen > 20
    assert doors


def test_the_random_cases_meet_what_the_card_says_and_what_it_lacks(cases: list[Case]) -> None:
    said = set().union(*(case.said for case in cases))
    assert {"from-card", "passed-card", "doorway-shut"} <= said
    assert {"refused: card-list", "refused: cannot-read"} <= said
    readings = [
        event.reading
        for case in cases
        for event in case.events
        if isinstance(event, Replied) and event.reading is not None
    ]
    # A unit tells which measurement it was.
    units = {name: MEASUREMENTS[name].unit for name in READINGS}
    assert len(set(units.values())) == len(READINGS)
    assert {r.figure.unit for r in readings} == {*units.values()}
    # Several inputs are typed, all of them or some; the card has the others.
    by_card = {(len(r.inputs), "from the machine card" in r.figure.workings[0]) for r in readings}
    assert {(1, False), (2, False), (3, False), (1, True), (2, True)} <= by_card
    # A step is asked that the card answers elsewhere, for want of a card, of a line, of an answer.
    wants = {
        "no card" if case.library.card is None else case.library.card.line("battery.kind")
        for case in cases
        for event in case.events
        if isinstance(event, Replied) and event.reply == "answer"
        if getattr(case.library.trees[event.symptom].steps[event.step], "from_card", None)
        == "battery.kind"
    }
    assert {"no card", None, "lithium"} <= wants


def _machine_as_before(method: Any, kinds: tuple[str, ...]) -> Any:
    """Return a reply that leaves the cautions in force as they were, for some kinds."""

    def tampered(visit: Any, state: State, screen: Any, meaning: Any, trail: Any) -> State:
        after: State = method(visit, state, screen, meaning, trail)
        if meaning.kind not in kinds or screen.screen != "finding":
            return after
        return replace(after, cautions=replace(after.cautions, in_force=state.cautions.in_force))

    return tampered


def _trial(method: Any) -> Any:
    """Return a reply with which a look at a finding counts as a trial."""

    def tampered(visit: Any, state: State, screen: Any, meaning: Any, trail: Any) -> State:
        after: State = method(visit, state, screen, meaning, trail)
        if meaning.kind != NOT_IT:
            return after
        return replace(after, cautions=cautions.tried_out(visit.table, after.cautions))

    return tampered


def _back_in_time(method: Any) -> Any:
    """Return a reply with which *back* puts the machine as it was, too."""

    def tampered(visit: Any, state: State, screen: Any, meaning: Any, trail: Any) -> State:
        after: State = method(visit, state, screen, meaning, trail)
        if meaning.kind != BACK or state.before is None:
            return after
        return replace(after, cautions=state.before.cautions)

    return tampered


def _never_again(guard: Any) -> Any:
    """Return a caution's part of a screen on which it is new each time."""
    return lambda *args: replace(guard(*args), again=False)


def _after_a_mistake(**changes: Any) -> Any:
    """Return a reply with which a danger by mistake is not as if nothing had been."""
    reply = walk.reply

    def tampered(*args: Any) -> Any:
        turn = reply(*args)
        if turn.exchange is None or turn.exchange.kind != MISTAKE:
            return turn
        return replace(turn, state=replace(turn.state, **changes))

    return tampered


def _talkative(screen: Any) -> Any:
    """Return the screens, with a word of the step on that of a danger."""

    def tampered(visit: Any, state: State) -> Any:
        shown = screen(visit, state)
        if not isinstance(shown, DangerScreen):
            return shown
        step = screen(visit, replace(state, alarm=False))
        words = getattr(step, "ask", None) or getattr(step, "finding", None)
        return shown if words is None else replace(shown, doorway=words)

    return tampered


def _next_answer(plan: Any, step: int, answer: int) -> int:
    return (answer + 1) % len(plan.ways[step])


def _with_cautions(made: Any) -> Any:
    return lambda visit, state: replace(state, cautions=made(visit.table))


def _allowed(_visit: Any, state: State) -> State:
    return replace(state, cautions=replace(state.cautions, refused=0))


SABOTAGE: dict[str, list[tuple[Any, str, Any]]] = {
    "no step needs anything": [(CautionTable, "needs", lambda self, step: 0)],
    "only the first hazard counts": [
        (
            CautionTable,
            "needs",
            lambda self, step: self.closed(self.cover.get(next(iter(step.hazards), ""), 0)),
        )
    ],
    "a caution brings nothing along": [(CautionTable, "closed", lambda self, cautions: cautions)],
    "nothing is released": [(cautions, "due", never_released(cautions.due))],
    "a trial ends nothing": [
        (walk, "_done", _machine_as_before(walk._done, ("cured", "not cured")))
    ],
    "a look ends what a trial ends": [(walk, "_done", _trial(walk._done))],
    "anybody looks at what is service's": [(likelier, "_may_look", lambda *_: True)],
    "back from a remedy ends nothing": [(walk, "_done", _machine_as_before(walk._done, ("back",)))],
    "back puts the machine as it was": [(walk, "_done", _back_in_time(walk._done))],
    "anybody may do anything": [(onward, "_hindrance", lambda visit, state, step: ("", None))],
    "a refusal is forgotten": [(cautions, "replied", forgetful(cautions.replied))],
    "one that was refused is not": [(cautions, "refused_by", one_is_none(cautions.refused_by))],
    "of several the first is in force": [(cautions, "replied", only_the_first(cautions.replied))],
    "all share one screen": [(cautions, "_stands_alone", lambda *_: False)],
    "none share a screen": [(cautions, "_stands_alone", lambda *_: True)],
    "line by line for nobody": [(cautions, "_by_line", lambda *_: False)],
    "the second time as the first": [(cautions, "_guard", _never_again(cautions._guard))],
    "no caution is called": [(cautions, "due", lambda *_: None)],
    "a danger is passed over": [(walk, "at_danger", lambda text: walk.Meaning(kind=MISTAKE))],
    "a danger by mistake ends what is in force": [
        (walk, "reply", _after_a_mistake(cautions=cautions.CautionState()))
    ],
    "a danger by mistake swallows what was said": [(walk, "reply", _after_a_mistake(notes=()))],
    "a danger is not asked about": [
        (view, "danger_screen", lambda *_, **__: EndScreen(outcome="referred", ranking=()))
    ],
    "a danger's screen says what was to be done": [(view, "screen", _talkative(view.screen))],
    "every step is for every machine": [(ready, "tailored", lambda tree, _: (tree, {}))],
    "every answer is for every machine": [(tailored, "_fitted", every_answer(tailored._fitted))],
    "what is for no such machine is not passed": [
        (tailored, "passing_answer", another_answer(tailored.passing_answer))
    ],
    "no card says anything against it": [(Card, "fits", lambda *_: True)],
    "the same look is asked again": [(plan, "_twins", lambda *_: {})],
    "the same look as the card's is asked": [(tailored, "_told", lambda _: {})],
    "the same look says nothing": [
        (onward, "answered", alike(onward.answered, lambda *_: None)),
    ],
    "the same look says something else": [
        (onward, "answered", alike(onward.answered, _next_answer)),
    ],
    "the same look needs no caution": [
        (CautionTable, "needs", unguarded_if_alike(CautionTable.needs))
    ],
    "the same look brings cautions along": [(walk, "answered", brought_along(walk.answered))],
    "a note is the reply that it says": [
        (walk, "_understood", taken_as_said(walk._understood)),
    ],
    "a note ends what is in force": [
        (walk, "reply", after_a_note(walk.reply, _with_cautions(lambda _: CautionState())))
    ],
    "a note confirms everything": [
        (walk, "reply", after_a_note(walk.reply, _with_cautions(everything)))
    ],
    "a note is one more way back": [
        (walk, "reply", after_a_note(walk.reply, lambda _, state: replace(state, before=state)))
    ],
    "a note allows what was refused": [(walk, "reply", after_a_note(walk.reply, _allowed))],
    "a resume finds all as it was": [(walking, "replay", careless(telling.replay))],
}


@pytest.mark.parametrize("what", SABOTAGE)
def test_the_observer_notices(
    what: str, some_libraries: list[Written], monkeypatch: pytest.MonkeyPatch
) -> None:
    for target, name, instead in SABOTAGE[what]:
        monkeypatch.setattr(target, name, instead)
    with pytest.raises(Unsafe):
        walked(some_libraries, 15)
