"""Ten thousand random cases, watched by somebody who knows nothing of the walk (design, section 4).

And the other way round: the same somebody, put before walks that were tampered with, has to notice.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import walking
from strategies.libraries import ROLES, libraries
from strategies.observer import Files, Observer, Unsafe
from strategies.sampling import examples
from strategies.walking import Case
from strategies.written import Read, Written, read

from diagnose.case import replay as telling
from diagnose.case.walk import Walk
from diagnose.study.in_force import CautionTable

if TYPE_CHECKING:
    from collections.abc import Callable

    from diagnose.case.state import State

TREES = 300
CASES_A_TREE = 34


def watched(files: Files, library: Read, random: Random) -> Case:
    """Walk one case to its end under the observer's eyes, and return it."""
    role = random.choice(ROLES)
    case = Case(
        library=library,
        symptom=random.choice(list(library.trees)),
        random=random,
        role=role,
        observer=Observer(files, role),
    )
    # A reply that moves the walk closes a step for good, but for those that *back* takes back.
    # Between two moves stand at most a release and a confirmation of every caution.
    steps, cautions = len(files.steps), len(files.guards)
    screen = case.show()
    while not case.ended:
        case.step(screen)
        screen = case.show()
        turns = steps + 2 * case.backs + 2 * case.resumes + 1
        assert case.replies <= turns * (2 * cautions + 1) + case.idle
    assert case.state.outcome in ("cured", "referred", "left")
    return case


@settings(max_examples=TREES)
@given(libraries(), st.integers(0, 2**32))
@pytest.mark.many_cases
def test_no_word_of_a_step_is_shown_before_its_cautions(written: Written, seed: int) -> None:
    library, files = read(written), Files(written.trees, written.cautions)
    random = Random(seed)
    for _ in range(CASES_A_TREE):
        watched(files, library, random)


@pytest.fixture(scope="module")
def some_libraries() -> list[Written]:
    return examples(libraries(), 60)


def walked(written: list[Written], cases: int) -> list[Case]:
    random = Random(4)
    found = []
    for texts in written:
        library, files = read(texts), Files(texts.trees, texts.cautions)
        found += [watched(files, library, random) for _ in range(cases)]
    return found


def test_the_random_cases_meet_everything_that_there_is(some_libraries: list[Written]) -> None:
    cases = walked(some_libraries, 20)
    kinds = Counter(event.kind for case in cases for event in case.events)
    replies = {"answer", "done", "cannot", "back", "unsure", "danger", "leave", "cured", "refer"}
    assert replies | {"not cured", "keep looking", "resumed"} <= set(kinds)
    traces = Counter(trace.what for case in cases for event in case.events for trace in event.trail)
    assert {"passed", "chose", "entered", "returned", "rests", "ended"} <= set(traces)
    whys = {t.why for case in cases for event in case.events for t in event.trail}
    assert {"cannot", "unsure", "by", "caution", "tag", "unchecked", "nothing-left"} <= whys
    phases = {
        event.shown["phase"]
        for case in cases
        for event in case.events
        if event.caution and event.shown is not None
    }
    assert phases == {"take", "release"}
    outcomes = Counter(case.state.outcome for case in cases)
    assert set(outcomes) == {"cured", "referred", "left"}


def _outcome_with(method: Any, **changes: Callable[[State, State], Any]) -> Any:
    """Return a method that changes the state which the right one returns."""

    def tampered(walk: Walk, state: State, *rest: Any) -> State:
        after: State = method(walk, state, *rest)
        return replace(after, **{name: change(state, after) for name, change in changes.items()})

    return tampered


def _still(before: State, after: State) -> int:
    return before.in_force | after.in_force


def _careless_replay(*args: Any) -> telling.Resumed:
    told = telling.replay(*args)
    everything = (1 << len(args[0].table.ids)) - 1
    return replace(told, state=replace(told.state, in_force=everything))


SABOTAGE: dict[str, tuple[Any, str, Any]] = {
    "no step needs anything": (CautionTable, "needs", lambda self, step: 0),
    "only the first hazard counts": (
        CautionTable,
        "needs",
        lambda self, step: self.closed(self.cover.get(next(iter(step.hazards), ""), 0)),
    ),
    "a caution brings nothing along": (CautionTable, "closed", lambda self, cautions: cautions),
    "nothing is released": (Walk, "lapsing_now", lambda self, state: 0),
    "a trial ends nothing": (
        Walk,
        "_at_finding",
        _outcome_with(Walk._at_finding, in_force=_still),
    ),
    "back from a remedy ends nothing": (Walk, "_back", _outcome_with(Walk._back, in_force=_still)),
    "back puts the machine as it was": (
        Walk,
        "_back",
        _outcome_with(Walk._back, in_force=lambda before, after: before.before.in_force),
    ),
    "anybody may do anything": (Walk, "_hindrance", lambda self, state, step: ("", None)),
    "a refusal is forgotten": (
        Walk,
        "_at_caution",
        _outcome_with(Walk._at_caution, refused=lambda before, after: 0),
    ),
    "a resume finds all as it was": (walking, "replay", _careless_replay),
}


@pytest.mark.parametrize("what", SABOTAGE)
def test_the_observer_notices(
    what: str, some_libraries: list[Written], monkeypatch: pytest.MonkeyPatch
) -> None:
    target, name, instead = SABOTAGE[what]
    monkeypatch.setattr(target, name, instead)
    with pytest.raises(Unsafe):
        walked(some_libraries, 20)
