"""What a drill's score teaches: what was unsafe and could have happened, what was slow, a guess."""

from __future__ import annotations

from typing import Any

import pytest
from small import drill
from strategies.sampling import several
from strategies.written import Written, read
from trainees import SYMPTOMS, drill_of, played, raw

from diagnose.case.screens import Named
from diagnose.drill.evidence import Evidence
from diagnose.drill.machine import drawn
from diagnose.drill.score import Score, UnsafeMove
from diagnose.faces import drill_words
from diagnose.files.library import built_in
from diagnose.files.tree import Reading


def score_of(own: Any, *replies: str) -> Score:
    position = own.start()
    for reply in replies:
        position = own.reply(position, reply).position
    found: Score = own.screen(position).score
    return found


def move(kind: str, *hazards: tuple[str, str]) -> UnsafeMove:
    named = tuple(Named(*one) for one in hazards)
    return UnsafeMove(kind=kind, step="s", title="A step", whose="service", hazards=named)


def test_of_every_hazard_it_is_said_what_can_happen() -> None:
    for name, hazard in raw(built_in() / "cautions.yaml")["hazards"].items():
        told = drill_words.could_happen(move("not-in-force", (name, hazard["title"])))
        assert "could have" in told, name
        # One thought a sentence, no comma between two.
        assert "," not in told


@pytest.mark.parametrize(
    ("kind", "hazards", "words"),
    [
        ("not-in-force", (), "can be hurt by it."),
        ("not-in-force", (("moon", "Moonlight"),), "Moonlight."),
        ("not-yours", (), "Whoever was not taught this"),
        ("not-ended", (("startup", "x"),), "It could have started while somebody was still at it."),
    ],
)
def test_what_could_have_happened_has_words_for_all(
    kind: str, hazards: tuple[tuple[str, str], ...], words: str
) -> None:
    assert words in drill_words.unsafe(move(kind, *hazards))


def test_an_unsafe_move_names_the_hazards_that_nothing_kept_away() -> None:
    found = score_of(drill("dirty"), "hands", "key-out done", "run", "done", "leave")
    told = [
        (one.kind, one.caution.id, [hazard.id for hazard in one.hazards])
        for one in found.unsafe
        if one.caution
    ]
    assert told == [
        ("not-in-force", "lockout", ["drive"]),
        # No hazard of this step calls for it: what it is over.
        ("not-ended", "key-out", ["startup"]),
        ("not-in-force", "shoes", ["wet"]),
    ]


def test_with_teach_what_was_unsafe_is_told_at_once() -> None:
    replies = ["run", "done", "look", "done"]
    told = [one for one in played(drill("dirty", teach=True), replies) if one["screen"] == "seen"]
    assert [[move["caution"]["id"] for move in one["unsafe"]] for one in told] == [["shoes"], []]
    told = [one for one in played(drill("dirty"), replies) if one["screen"] == "seen"]
    assert [one["unsafe"] for one in told] == [[], []]
    assert score_of(drill("dirty", teach=True), *replies, "leave").taught


def test_open_causes_are_counted_as_one_goes() -> None:
    screens = played(drill("stuck"), ["look", "done", "hands", "lockout done", "look", "done"])
    # Nothing: neither dirty nor other. It sticks: stuck alone.
    assert [one["open"] for one in screens if one["screen"] == "pick"] == [7, 5, 1, 1]
    looks = [one["look"] for one in screens if one["screen"] == "seen"]
    assert [look["ruled_out"] for look in looks] == [2, 4, 0]


def test_slow_is_what_told_nothing_and_the_tree_does_without() -> None:
    found = score_of(
        drill("stuck"),
        *("look", "done", "hands", "lockout done", "figure", "done", "look", "done"),
        *("done", "stuck", "operator", "done"),
    )
    assert found.outcome == "passed"
    # The second look at it was needless too, but the tree looks there.
    assert [look.step for look in found.slow] == ["figure"]
    said = " ".join(drill_words.sheet(found))
    assert "Slow checks: 1." in said
    assert "1 min. It told nothing of what was still open." in said


@pytest.mark.parametrize(
    ("looks", "rival"),
    [
        ((), "dirty"),
        (("look", "done"), "tired"),
        (("hands", "lockout done"), None),
    ],
)
def test_a_guess_does_not_pass(looks: tuple[str, ...], rival: str | None) -> None:
    remedy = "done" if "lockout done" in looks else "lockout done"
    found = score_of(drill("stuck"), *looks, "done", "stuck", "operator", remedy)
    assert (found.outcome == "passed") == (rival is None)
    assert (found.not_parted.id if found.not_parted else None) == rival
    assert ("the cause was a guess" in drill_words.verdict(found)) == (rival is not None)


def test_a_wrong_cause_is_told_as_that() -> None:
    found = score_of(drill("worn"), "done", "tired", "service")
    assert drill_words.verdict(found) == "Drill failed: not the cause, 1 wrong referral."


ONLY = """
format: 1
symptom: only
title: Only
start: look
steps:
  look: {ask: What is it?, answers: {This: one, That: one}}
  one: {finding: One., chance: 1, who: operator, remedy: Do it.}
"""


def test_where_there_is_one_cause_it_is_no_guess() -> None:
    ready = read(Written(trees={"only": ONLY})).ready("only")
    assert ready is not None
    assert Evidence(drawn(ready, 1)).not_parted(ready.plan.number["one"], {}) is None


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_what_a_machine_shows_does_not_speak_against_its_cause(symptom: str) -> None:
    """However a trainee goes about it the right cause stays open; the tree's route leaves it."""
    for seed in range(several(100)):
        own = drill_of(symptom, seed)
        plan, machine = own.ready.plan, own.machine
        route = {leg.step: leg.answer for leg in own.route}
        shown = {
            step: machine.truths[step]
            for step, ways in enumerate(plan.ways)
            # A figure follows from what another reading on the route says.
            if ways and (step in route or not isinstance(own.ready.steps[step], Reading))
        }
        assert machine.cause in own.evidence.open(shown)
        assert own.evidence.not_parted(machine.cause, route) is None
        assert own.evidence.open(route) == {machine.cause}
