"""What the log tells of the chances: conversations held with the program itself, then counted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from strategies.desk import Desk

from diagnose.log.endings import endings
from diagnose.log.sqlite import SqliteLog
from diagnose.study.chances import CaseEvidence, evidence_of

if TYPE_CHECKING:
    from pathlib import Path

FINDINGS = {"lines": ("dirty", "bent", "other"), "dead": ("stop-in", "flat")}


class Shop(Desk):
    """A shop with two machines, whose cases go into one log."""

    def case(self, machine: str, end: str, *replies: str, verb: str = "start lines") -> str:
        """Hold a conversation that must come to this end, and return the name of the last case."""
        screens = self.walk(*verb.split(), "--machine", machine, replies=replies)
        assert "refused" not in [screen["screen"] for screen in screens]
        assert screens[-1]["outcome"] == end
        names = [screen["case"] for screen in screens if screen["symptom"]]
        return str(names[-1])

    def told(self, symptom: str = "lines", machine: str | None = None) -> CaseEvidence:
        log = SqliteLog(self.log, "ro")
        told = evidence_of(endings(log, machine), symptom, FINDINGS[symptom])
        log.close()
        return told


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shop:
    shop = Shop(tmp_path, monkeypatch)
    shop.card("aisle")
    return shop


def posterior(answer: str) -> dict[str, float]:
    """Return the probabilities of `lines` after one answer, by Bayes' rule.

    Chances 60, 30 and 10; one of three answers points to each; a slip of 0.05 is shared by two.
    """
    chances = {"dirty": 60.0, "bent": 30.0, "other": 10.0}
    joint = {f: c * (0.95 if f == answer else 0.05 / 2) for f, c in chances.items()}
    return {f: value / sum(joint.values()) for f, value in joint.items()}


def test_a_cure_counts_one(shop: Shop) -> None:
    shop.case("dock", "cured", "done", "1", "done", "cured")
    assert shop.told() == CaseEvidence(counts={"dirty": 1, "bent": 0, "other": 0}, cases=1)
    assert shop.told("dead").cases == 0


def test_a_cure_behind_a_doorway_counts_for_both_trees(shop: Shop) -> None:
    shop.case("dock", "cured", "done", "3", "1", "cured")
    assert shop.told() == CaseEvidence(counts={"dirty": 0, "bent": 0, "other": 1}, cases=1)
    assert shop.told("dead") == CaseEvidence(counts={"stop-in": 1, "flat": 0}, cases=1)


def test_a_referral_counts_by_its_closing_probabilities_until_service_reports(shop: Shop) -> None:
    name = shop.case("dock", "referred", "done", "2", "refer")
    told = shop.told()
    assert told.cases == 1
    assert told.counts == pytest.approx(posterior("bent"), rel=1e-12)
    assert shop("cases", "found", name, "dirty")[0] == 0
    assert shop.told() == CaseEvidence(counts={"dirty": 1, "bent": 0, "other": 0}, cases=1)


def test_a_case_referred_for_danger_counts_by_what_was_known_then(shop: Shop) -> None:
    shop.case("dock", "referred", "danger", "mistake", "danger", "smoke")
    assert shop.told().counts == pytest.approx({"dirty": 0.6, "bent": 0.3, "other": 0.1})


def test_what_was_left_counts_nothing_until_it_ends(shop: Shop) -> None:
    name = shop.case("dock", "left", "done", "1", "leave")
    assert shop.told().cases == 0
    shop.walk("resume", name, replies=("done", "cured"))
    assert shop.told() == CaseEvidence(counts={"dirty": 1, "bent": 0, "other": 0}, cases=1)


def test_a_trial_counts_nothing(shop: Shop) -> None:
    shop.case("dock", "left", "done", "1", "leave")
    trial = ("start", "lines", "--machine", "none", "--trial")
    screens = shop.walk(*trial, replies=("done", "1", "done", "cured"))
    assert screens[-1]["outcome"] == "cured"
    assert shop.told().cases == 0


def test_one_machine_is_told_from_the_whole_shop(shop: Shop) -> None:
    shop.case("dock", "cured", "done", "1", "done", "cured")
    shop.case("aisle", "cured", "done", "3", "2", "cured")
    assert shop.told().counts == {"dirty": 1, "bent": 0, "other": 1}
    assert shop.told(machine="dock").counts == {"dirty": 1, "bent": 0, "other": 0}
    assert shop.told(machine="aisle").counts == {"dirty": 0, "bent": 0, "other": 1}
    assert shop.told("dead", "dock").cases == 0
    assert shop.told("dead", "aisle").counts == {"stop-in": 0, "flat": 1}


def test_a_diagnosis_in_a_round_counts_though_the_round_goes_on(shop: Shop) -> None:
    replies = ("done", "not right", "1", "done", "cured", "leave")
    shop.case("dock", "left", *replies, verb="round daily")
    assert shop.told() == CaseEvidence(counts={"dirty": 1, "bent": 0, "other": 0}, cases=1)


def test_a_referral_in_a_round_counts_and_takes_what_service_reports(shop: Shop) -> None:
    replies = ("done", "not right", "2", "refer", "leave")
    name = shop.case("dock", "left", *replies, verb="round daily")
    assert shop.told().counts == pytest.approx(posterior("bent"), rel=1e-12)
    assert shop("cases", "found", name, "dirty")[0] == 0
    assert shop.told() == CaseEvidence(counts={"dirty": 1, "bent": 0, "other": 0}, cases=1)


def test_a_diagnosis_withdrawn_in_a_round_counts_nothing(shop: Shop) -> None:
    replies = ("done", "not right", "back", "done", "leave")
    shop.case("dock", "left", *replies, verb="round daily")
    assert shop.told().cases == 0
