"""What the log tells of the chances: conversations held with the program itself, then counted."""

from __future__ import annotations

import re
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


# Steps whose ids were changed


def renamed(shop: Shop, symptom: str, ids: dict[str, str]) -> None:
    """Give steps of a tree new ids; each says what it was."""
    path = shop.library / f"{symptom}.yaml"
    text = path.read_text("utf-8").replace("format: 1", "format: 3", 1)
    text = text.replace("    who: service\n", "    who: service\n    until_mended: out of use\n")
    for old, new in ids.items():
        text = text.replace(f"  {old}:\n", f"  {new}:\n    was: [{old}]\n")
        text = re.sub(rf"(: ){old}(?=[,}}\n])", rf"\1{new}", text)
    path.write_text(text, "utf-8")


NEW_IDS = {
    "look": "blade-look",
    "dirty": "blade-dirty",
    "bent": "frame-bent",
    "other": "it-is-dead",
}


@pytest.mark.parametrize(
    "replies",
    [
        ("done", "1"),
        ("done", "1", "done", "not cured"),
        ("done", "2"),
        ("done", "3", "1"),
    ],
)
def test_a_resume_knows_steps_that_were_renamed(shop: Shop, replies: tuple[str, ...]) -> None:
    name = shop.case("dock", "left", *replies, "leave")
    before = shop.walk("resume", name)[0]
    renamed(shop, "lines", NEW_IDS)
    renamed(shop, "dead", {"lamp": "stop-lamp", "stop-in": "stop-is-in"})
    after = shop.walk("resume", name)[0]
    notes = [note for note in after["notes"] if note.startswith("Taken up again")]
    assert notes == [note for note in before["notes"] if note.startswith("Taken up again")]
    assert notes[0].endswith("asked anew: 0.")
    ids = {**NEW_IDS, "lamp": "stop-lamp", "stop-in": "stop-is-in"}
    assert after["screen"] == before["screen"]
    assert after.get("step") == ids.get(before.get("step"), before.get("step"))
    assert after.get("probability") == before.get("probability")


def test_without_what_it_was_a_renamed_step_is_asked_anew(shop: Shop) -> None:
    name = shop.case("dock", "left", "done", "1", "leave")
    renamed(shop, "lines", NEW_IDS)
    path = shop.library / "lines.yaml"
    path.write_text(re.sub(r"    was: .*\n", "", path.read_text("utf-8")), "utf-8")
    assert "asked anew: 1." in "".join(shop.walk("resume", name)[0]["notes"])


def test_a_verdict_may_name_a_finding_by_its_new_id(shop: Shop) -> None:
    name = shop.case("dock", "referred", "done", "2", "refer")
    renamed(shop, "lines", NEW_IDS)
    assert shop("cases", "found", name, "frame-bent")[0] == 0
    assert shop.told().counts == {"dirty": 0, "bent": 1, "other": 0}
    log = SqliteLog(shop.log, "ro")
    told = evidence_of(endings(log), "lines", NEW_IDS.values(), NEW_IDS)
    log.close()
    assert told.counts == {"blade-look": 0, "blade-dirty": 0, "frame-bent": 1, "it-is-dead": 0}


# What the tree lacks


def test_a_cause_that_the_tree_lacks_counts_for_nothing_and_is_listed(shop: Shop) -> None:
    assert shop.cases("--unknown") == []
    assert "No cause that the trees lack" in shop("cases", "--unknown")[1]
    name = shop.case("dock", "referred", "done", "2", "refer")
    code, out, err = shop("cases", "found", name, "--other", "  A split\tseam ", "--name", "Bo")
    assert (code, err) == (0, "")
    assert f"{name}: service found A split seam" in out
    told = shop.told()
    assert (told.cases, told.others) == (0, (name,))
    (row,) = shop.cases("--unknown")
    assert (row["case"], row["other"], row["machine"]) == (name, "A split seam", "dock")
    assert "A split seam" in shop("cases", "--unknown")[1]
    assert shop.cases("--unknown", "--machine", "aisle") == []
    assert "found A split seam" in shop("cases", "show", name)[1]
    assert "service found: A split seam" in shop("cases", "--machine", "dock")[1]
    assert "A split seam, which no finding is" in shop("handover", name)[1]
    (case,) = [one for one in shop.cases() if one["name"] == name]
    assert case["found"] == "A split seam"
    # A later verdict takes its place.
    assert shop("cases", "found", name, "dirty")[0] == 0
    assert shop.cases("--unknown") == []
    assert shop.told() == CaseEvidence(counts={"dirty": 1, "bent": 0, "other": 0}, cases=1)


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("found", "{}", "dirty", "--other", "x"), "in place of a finding"),
        (("found", "{}", "--other", " "), "Say what it was"),
        (("found", "{}"), "--other"),
        (("found", "{}", "spam"), "--other"),
        (("show", "{}", "--other", "x"), "--other goes with"),
        (("found", "{}", "dirty", "--worked"), "--worked goes with"),
    ],
)
def test_wrong_use_of_verdicts_is_one_line(shop: Shop, args: tuple[str, ...], said: str) -> None:
    name = shop.case("dock", "referred", "done", "2", "refer")
    code, out, err = shop("cases", *(one.format(name) for one in args))
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err


# As worked cases


def test_a_case_is_printed_as_worked_cases(shop: Shop) -> None:
    name = shop.case("dock", "cured", "done", "3", "1", "cured")
    code, out, err = shop("cases", "show", name, "--worked")
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "  # For worked_cases in lines.yaml:",
        f"  - name: 'case {name}, cured'",
        "    answers:",
        "      look: Something else",
        "    finding: other",
        "  # For worked_cases in dead.yaml:",
        f"  - name: 'case {name}, cured'",
        "    answers:",
        "      lamp: It is on",
        "    finding: stop-in",
    ]
    (one, two) = shop.walk("cases", "show", name, "--worked")[0]
    assert (one["symptom"], two["symptom"], two["finding"]) == ("lines", "dead", "stop-in")


def test_what_was_not_answered_or_led_elsewhere_is_remarked(shop: Shop) -> None:
    name = shop.case("dock", "referred", "done", "1", "done", "not cured", "refer")
    assert shop("cases", "found", name, "bent")[0] == 0
    out = shop("cases", "show", name, "--worked")[1]
    assert '  # look: it was answered "It is dirty", which does not lead there' in out
    assert "      look: It is clean\n    finding: bent" in out
    unsure = shop.case("aisle", "cured", "done", "unsure", "done", "cured")
    out = shop("cases", "show", unsure, "--worked")[1]
    assert '  # look: it was not answered; "It is dirty" leads there' in out


def test_what_names_no_cause_is_no_worked_case(shop: Shop) -> None:
    left = shop.case("dock", "left", "done", "1", "leave")
    code, out, err = shop("cases", "show", left, "--worked")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "makes no worked case" in err


def test_a_trial_is_written_as_a_worked_case(shop: Shop) -> None:
    file = shop.folder / "worked.yaml"
    args = ("start", "lines", "--machine", "none", "--trial", "--worked", str(file), "--json")
    code, out, err = shop(*args, replies=("done", "2", "back", "1", "done", "cured"))
    assert code == 0
    assert str(file) in err
    assert file.read_text("utf-8").splitlines()[1:] == [
        "  - name: a trial",
        "    answers:",
        "      look: It is dirty",
        "    finding: dirty",
    ]
    assert not shop.log.exists()
    file.unlink()
    code, out, err = shop(*args, replies=("done",))
    assert (code, err.count("\n")) == (2, 1)
    assert not file.exists()
    code, out, err = shop("start", "lines", "--worked", str(file))
    assert (code, out, err.count("\n")) == (2, "", 1)
