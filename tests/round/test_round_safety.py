"""Random rounds, watched by somebody who knows nothing of the walk.

And the other way round: the same somebody, put before rounds that were tampered with, has to
notice.
"""

from __future__ import annotations

from functools import cache
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from strategies import rounds as telling
from strategies import written as reading
from strategies.libraries import ROLES, ROUND, libraries
from strategies.observer import Files, Observer, Unsafe, files_in, files_of
from strategies.rounds import Told, opened
from strategies.sabotage import careless, everything, forgetful, never_released, one_is_none
from strategies.sampling import examples, several
from strategies.walking import RandomRound
from strategies.written import Written, read

from diagnose.case import cautions, onward
from diagnose.case.screens import CautionScreen
from diagnose.case.walk import Meaning, Refusal
from diagnose.files.library import built_in
from diagnose.files.replies import DANGERS, DONE, MISTAKE
from diagnose.log.events import CaseOver, ItemReplied, Opened, Resumed
from diagnose.round import view, walk

if TYPE_CHECKING:
    from collections.abc import Callable

    from strategies.walker import RoundWalker

BUILT_IN = ["before-shift", "after-shift", "weekly", "battery-day"]
LIBRARIES = 100
ROUNDS_A_LIBRARY = 8


def watched(
    walker: Callable[[str], RoundWalker], files: Files, random: Random, ending: float = 0.2
) -> RandomRound:
    """Walk one round to its end under the observer's eyes, and return it."""
    role = random.choice(ROLES)
    observer = Observer(files, role, of_round=True)
    walked = RandomRound(Told(walker(role)), random, observer)
    walked.walk(ending)
    told = walked.told
    assert told.state.outcome in ("walked", "referred", "left")
    # A round that has ended leaves no case behind, but the one in which it was left.
    waiting = [case for case in told.cases if case.outcome == "open"]
    assert len(waiting) <= (told.record.outcome == "open")
    return walked


def some_rounds(written: Written, count: int, random: Random) -> list[RandomRound]:
    library = read(written)
    files = files_in(written)
    return [
        watched(lambda role: library.walk_round(ROUND, role), files, random) for _ in range(count)
    ]


@settings(max_examples=several(LIBRARIES))
@given(libraries(with_round=True), st.integers(0, 2**32))
@pytest.mark.many_cases
def test_no_word_of_an_item_is_shown_before_its_cautions(written: Written, seed: int) -> None:
    some_rounds(written, ROUNDS_A_LIBRARY, Random(seed))


@pytest.mark.many_cases
@given(seed=st.integers(0, 2**32), name=st.sampled_from(BUILT_IN))
def test_nor_is_one_of_the_rounds_that_come_along(seed: int, name: str) -> None:
    watched(lambda role: _built_in(name, role), _built_in_files(), Random(seed), ending=0.5)


@cache
def _built_in(name: str, role: str) -> RoundWalker:
    return opened(built_in(), name, role=role)


@cache
def _built_in_files() -> Files:
    return files_of(built_in())


@pytest.fixture(scope="module")
def some_libraries() -> list[Written]:
    return examples(libraries(with_round=True), 90)


def walked(libraries: list[Written]) -> list[RandomRound]:
    random = Random(4)
    return [one for written in libraries for one in some_rounds(written, 14, random)]


@pytest.mark.many_cases
def test_the_random_rounds_meet_everything_that_there_is(some_libraries: list[Written]) -> None:
    rounds = walked(some_libraries)
    events: list[Any] = [event for one in rounds for event in one.told.events]
    replied = [event for event in events if isinstance(event, ItemReplied)]
    replies = {"done", "not right", "not now", "cannot", "back", "danger", "mistake", "leave"}
    assert {event.reply for event in replied} == replies
    alarms = [event for event in replied if event.reply == "danger"]
    assert {event.answer for event in alarms} == {"", *DANGERS}
    assert {event.shown.screen for event in alarms} == {"caution", "item", "danger"}
    assert {event.shown.phase for event in replied if event.caution} == {"take", "release"}
    ends = [event for event in events if isinstance(event, CaseOver)]
    assert {event.how for event in ends} == {"cured", "referred", "withdrawn", "left", "danger"}
    whys = {trace.why for event in events for trace in event.trail}
    assert {"caution", "tag", "referred", "walked", "danger", "left"} <= whys
    said = set().union(*(one.said for one in rounds))
    assert {"round-noted", "round-with-service", "doorway-shut", "items-passed-caution"} <= said
    assert {"items-passed-referred", "round-after-cured", "round-after-referred"} <= said
    assert {"refused: no-way-back", "refused: round-no-way-back"} <= said
    begun = [(case, one.told.events_of(case)) for one in rounds for case in one.told.cases]
    # A caution goes into a case, and one comes back out; a case is taken up again inside its round.
    assert any(of_case[0].in_force for _, of_case in begun if isinstance(of_case[0], Opened))
    assert any(event.in_force for event in ends if event.how in ("cured", "referred"))
    assert any(isinstance(event, Resumed) for event in events)
    assert any(event.fits for _, of_case in begun for event in of_case if hasattr(event, "fits"))
    assert {one.told.state.outcome for one in rounds} == {"walked", "referred", "left"}


def _as_before_the_case(came_back: Any) -> Any:
    """Tamper with the way out of a case: what lapsed in it is in force again."""

    def tampered(visit: Any, state: Any, case: Any, how: str) -> Any:
        in_force = state.cautions.in_force | case.cautions.in_force
        held = replace(case.cautions, in_force=in_force)
        return came_back(visit, state, replace(case, cautions=held), how)

    return tampered


def _refusals_stay_behind(came_back: Any) -> Any:
    """Tamper with the way out of a case: what was refused in it is forgotten."""

    def tampered(visit: Any, state: Any, case: Any, how: str) -> Any:
        held = replace(case.cautions, refused=0)
        return came_back(visit, state, replace(case, cautions=held), how)

    return tampered


def _all_confirmed(opened: Any) -> Any:
    """Tamper with the way into a case: every caution is in force."""
    return lambda visit, symptom, _, **more: opened(visit, symptom, everything(visit.table), **more)


def _nothing_confirmed(opened: Any) -> Any:
    """Tamper with the way into a case: nothing is in force, and nothing was refused."""
    return lambda visit, symptom, _, **more: opened(visit, symptom, None, **more)


def _confirmed_anyway(replied: Any) -> Any:
    """Tamper with a reply at a caution: a refusal counts as a confirmation."""
    return lambda table, held, screen, *_: replied(table, held, screen, DONE)


def _nothing_needed(ready_round: Any) -> Any:
    """Tamper with a round: its items need nothing."""

    def tampered(*args: Any) -> Any:
        ready = ready_round(*args)
        return replace(ready, needs=(0,) * len(ready.needs))

    return tampered


def _talkative(screen: Any) -> Any:
    """Tamper with a caution's screen: it says already what is to be done."""

    def tampered(visit: Any, state: Any) -> Any:
        shown = screen(visit, state)
        if not isinstance(shown, CautionScreen):
            return shown
        first, *others = shown.cautions
        first = replace(first, text=state.round.items[state.at].do)
        return replace(shown, cautions=(first, *others))

    return tampered


def _passed_over(at_danger: Any) -> Any:
    """Tamper with a danger's question: whatever it was, it was a mistake."""

    def tampered(text: str) -> Any:
        meaning = at_danger(text)
        return meaning if isinstance(meaning, Refusal) else Meaning(kind=MISTAKE)

    return tampered


SABOTAGE: dict[str, tuple[Any, str, Any]] = {
    "an item needs nothing": (reading, "ready_round", _nothing_needed(reading.ready_round)),
    "an item runs under its cautions": (cautions, "due", never_released(cautions.due)),
    "no caution is called": (cautions, "due", lambda *_: None),
    "an item is said before its caution": (view, "screen", _talkative(view.screen)),
    "a refusal is forgotten": (cautions, "replied", forgetful(cautions.replied)),
    "one that was refused is not": (cautions, "refused_by", one_is_none(cautions.refused_by)),
    "line by line for nobody": (cautions, "_by_line", lambda *_: False),
    "a refused caution is none": (cautions, "refused", lambda *_: False),
    "what was refused is in force": (cautions, "replied", _confirmed_anyway(cautions.replied)),
    "back puts the machine as it was": (cautions, "after_back", lambda earlier, held: earlier),
    "a case finds all confirmed": (onward, "opened", _all_confirmed(onward.opened)),
    "a case finds nothing confirmed": (onward, "opened", _nothing_confirmed(onward.opened)),
    "what a case ended is in force": (walk, "came_back", _as_before_the_case(walk.came_back)),
    "a case keeps its refusals": (walk, "came_back", _refusals_stay_behind(walk.came_back)),
    "what waits for service is run": (walk, "with_service", lambda state: frozenset()),
    "a danger is passed over": (walk, "at_danger", _passed_over(walk.at_danger)),
    "a resume finds all as it was": (
        telling,
        "replay_round",
        careless(telling.replay_round),
    ),
    "a resume in a case finds all as it was": (telling, "replay", careless(telling.replay)),
}


@pytest.mark.parametrize("what", SABOTAGE)
def test_the_observer_notices(
    what: str, some_libraries: list[Written], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(*SABOTAGE[what])
    with pytest.raises(Unsafe):
        walked(some_libraries)
