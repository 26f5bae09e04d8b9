"""`diagnose drill`: at all three faces, its results in the log, its exit codes."""

from __future__ import annotations

import io
import json
import os
import sqlite3
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import pexpect
import pyte
import pytest
from driver import Driver

from diagnose import app
from diagnose.files.library import built_in
from diagnose.log.protocol import LogError
from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from pathlib import Path

#: Seed 1 hides a dirty thing: the first draw of `Random(1)` is 0.134.
TREE = """
format: 1
symptom: sample
title: It does not do it
start: look
steps:
  look:
    do: Look at it.
    ask: What do you see?
    answers: {A stain: dirty, Nothing: weigh}
  weigh:
    read: value
    do: Weigh it.
    tool: scales
    minutes: 2
    hazards: [startup]
    bands: [{below: 5, call: light, go: hollow}, {otherwise: heavy, go: broken}]
  dirty: {finding: It is dirty., chance: 30, who: operator, remedy: Wipe it., hazards: [startup]}
  hollow: {finding: It is hollow., chance: 20, who: operator, remedy: Fill it.}
  broken: {finding: It is broken., chance: 50, who: service, leave_safe: Park it., ask_service: Mend.}
"""
BY_KIND = """
format: 1
symptom: by-kind
title: The kind counts twice, and not alike
start: look
steps:
  look: {ask: What is it like?, passes: none, answers: {Odd: here, Even: there}}
  here: {ask: Which kind is it?, from_card: battery.kind, answers: {flooded: one, sealed: two}}
  there: {ask: Which kind is it?, from_card: battery.kind, answers: {flooded: two, sealed: one}}
  one: {finding: One., chance: 1, who: operator, remedy: Do it.}
  two: {finding: Two., chance: 1, who: operator, remedy: Do it.}
"""
CAUTIONS = """
format: 1
hazards: {startup: {title: It can start}}
cautions:
  key-out: {title: Key out, signal: WARNING, covers: [startup], lapses: when energised, minutes: 1,
            text: Stand still., confirm: [Key out.], release: [All clear.]}
"""
CARD = "{format: 1, machine: box, title: The box, battery: {kind: sealed}}"

PASSED = ("look", "done", "done", "dirty", "operator", "key-out done")
UNSAFE = ("weigh", "done", "done", "dirty", "operator", "key-out done")


@pytest.fixture
def trees(tmp_path: Path) -> Path:
    folder = tmp_path / "trees"
    (folder / "machines").mkdir(parents=True)
    for name, text in (
        ("sample.yaml", TREE),
        ("by-kind.yaml", BY_KIND),
        ("cautions.yaml", CAUTIONS),
        ("machines/box.yaml", CARD),
    ):
        (folder / name).write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "cases.sqlite"


class Typed(io.StringIO):
    """A standard input that is no terminal."""


def drilled(
    trees: Path,
    log: Path,
    *args: str,
    replies: tuple[str, ...] = PASSED,
    monkeypatch: pytest.MonkeyPatch,
) -> int:
    monkeypatch.setattr(sys, "stdin", Typed("".join(f"{reply}\n" for reply in replies)))
    return app.run(["drill", "--trees", str(trees), "--log", str(log), *args])


def lines(capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_a_drill_over_json_lines(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    args = ("sample", "--seed", "1", "--json", "--machine", "box", "--name", "Anna")
    replies = ("weigh", "lockout", "key-out", "done", *PASSED[:-1], "done")
    assert drilled(trees, log, *args, replies=replies, monkeypatch=monkeypatch) == 0
    screens = lines(capsys)
    assert [screen["screen"] for screen in screens] == (
        "pick guard refused guard guard seen pick guard seen pick cause hands guard score".split()
    )
    first, guard, refused, _, marked, seen = screens[:6]
    # A contract: other programs drive a drill by these.
    fields = "screen notice symptom in_force checks open used replies"
    assert set(first) == {*fields.split()}
    assert "drill" in first["notice"]
    assert first["checks"][0] == {"id": "weigh", "title": "A plain number", "state": ""}
    assert first["replies"] == [
        {"id": "done", "title": "Done"},
        {"id": "danger", "title": "Danger"},
        {"id": "leave", "title": "Leave"},
    ]
    assert set(guard) == {
        *("screen", "symptom", "in_force", "replies", "work", "step", "title", "do", "tool"),
        *("cautions", "hands", "take_minutes", "used"),
    }
    assert (guard["do"], guard["tool"], guard["work"]) == ("Weigh it.", "scales", "check")
    assert 'No answer is "lockout"' in refused["message"]
    assert marked["cautions"] == [{"id": "key-out", "title": "Key out", "state": "take"}]
    assert marked["take_minutes"] == 1
    assert set(seen) == {
        *("screen", "symptom", "in_force", "replies", "step", "title", "answer", "value", "unit"),
        *(
            "good_to",
            "inputs",
            "cautions",
            "ruled_out",
            "unsafe",
            "minutes",
            "caution_minutes",
            "used",
        ),
    }
    assert (seen["value"] < 5) == (seen["answer"] == "light")
    assert (seen["minutes"], seen["caution_minutes"], seen["used"]) == (3, 1, 3)
    cause, hands, remedy, score = screens[-4:]
    assert cause["causes"][1] == {"id": "dirty", "title": "It is dirty."}
    assert hands["cause"] == {"id": "dirty", "title": "It is dirty."}
    assert hands["hands"][2] == {"id": "service", "title": "Licensed service"}
    assert (remedy["work"], remedy["do"]) == ("remedy", None)
    assert set(score) == {
        *"screen symptom in_force replies seed slips taught outcome cause case".split(),
        *("named", "hands", "whose", "minutes", "tree_minutes", "best_minutes", "unsafe"),
        *("wrong_referrals", "not_parted", "route", "tree_route"),
    }
    assert (score["outcome"], score["seed"], score["minutes"]) == ("passed", 1, 4)
    assert score["replies"] == []


def test_a_drill_in_plain_lines(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    args = ("sample", "--seed", "1", "--plain")
    # Weigh it with the key out, look at it, done; the first cause, the operator, begin.
    replies = ("1", "1", "y", "2", "y", "y", "2", "1", "y")
    assert drilled(trees, log, *args, replies=replies, monkeypatch=monkeypatch) == 0
    said = " ".join(capsys.readouterr().out.split())
    for words in (
        "A drill: the program plays the machine. Do nothing of it at a real one.",
        "Question: What do you check? Reply done once you know the cause.",
        "A plain number: Weigh it. Take: scales",
        "Question: What do you put in force, or end, before it? Then done: you begin.",
        "1. Key out: you take it",
        "The cautions you take cost 1 min.",
        "It took 3 min, of them 1 min for cautions. Used so far: 3 min.",
        "1. Key out: in force",
        "Look at it. You see: A stain. It took 1 min.",
        "2. Look at it. You saw: A stain",
        "Question: What is the cause? 1. It is broken. 2. It is dirty. 3. It is hollow.",
        "It is dirty. Question: Who puts it right? 1. The operator",
        "Question: You put it right. What do you put in force, or end, before? Then done.",
        "The drill is over. Your route: 0 min A plain number [Key out] -> ",
        "The cause: It is dirty. You named it.",
        "Minutes: 4 min used; 1 min on the tree's own route; 1 min in the best order.",
        "Slow checks: none.",
        "Drill passed.",
    ):
        assert words in said, words


@pytest.mark.parametrize(
    ("replies", "code", "words"),
    [
        (PASSED, 0, ["Drill passed.", "You named it.", "Unsafe moves: none.", "1 min used"]),
        (
            UNSAFE,
            1,
            [
                'Unsafe moves: 1. 1. "Key out" was not in force: A plain number. '
                "The machine could have started beside you.",
                "Drill failed: 1 unsafe move, the cause was a guess.",
            ],
        ),
        (("done", "broken", "service"), 1, ["You named: It is broken.", "To licensed service"]),
        (("done", "broken", "operator"), 1, ["Not yours, but for licensed service"]),
        ((), 1, ["Drill left.", "Minutes: 0 min used."]),
        (("danger",), 1, ["Drill left.", "Move everybody away"]),
        (("weigh", "done", "leave"), 1, ["Drill failed: 1 unsafe move."]),
        (
            ("done", "dirty", "operator", "key-out done"),
            1,
            ["Nothing that you saw parts your cause"],
        ),
    ],
)
def test_the_sheet_at_the_end_and_the_exit_code(
    trees: Path,
    log: Path,
    replies: tuple[str, ...],
    code: int,
    words: list[str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    args = ("sample", "--seed", "1", "--plain")
    assert drilled(trees, log, *args, replies=replies, monkeypatch=monkeypatch) == code
    said = " ".join(capsys.readouterr().out.split())
    for one in words:
        assert one in said
    assert "The same drill again: diagnose drill sample --seed 1" in said
    if "left" in words[0]:
        # The secret is kept.
        assert "It is dirty." not in said.partition("The drill is over.")[2]


def test_helpers_and_what_ends_are_said_in_words(
    capsys: pytest.CaptureFixture[str], log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    replies = ("gravities", "service lockout", "done", "hours", "key-out", "leave")
    args = ("low-runtime", "--seed", "3", "--plain", "--machine", "dock")
    drilled(built_in(), log, *args, replies=replies, monkeypatch=monkeypatch)
    said = " ".join(capsys.readouterr().out.split())
    assert "People trained for batteries do this check" in said
    assert "Licensed service does this check: chosen" in said
    assert "Key out: you end it" in said
    assert "In force: Key out" in said
    assert "To licensed service; it is for people trained for batteries:" in said
    assert "From the machine card: battery kind is flooded." in said
    assert "for cautions." in said
    assert said.endswith("--seed 3 --machine dock Drill left.")


def test_no_seed_means_a_new_one_that_is_told(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    drilled(trees, log, "sample", "--json", replies=(), monkeypatch=monkeypatch)
    seed = lines(capsys)[-1]["seed"]
    assert 0 <= seed < 100_000


def test_without_a_symptom_it_is_asked_for(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    args = ("--seed", "1", "--json")
    assert drilled(trees, log, *args, replies=("2", *PASSED), monkeypatch=monkeypatch) == 0
    screens = lines(capsys)
    assert (screens[0]["screen"], screens[1]["symptom"]) == ("choose", "sample")
    # Who leaves there has begun no drill.
    assert drilled(trees, log, *args, replies=(), monkeypatch=monkeypatch) == 0
    assert len(SqliteLog(log, "rw").drills()) == 1


@pytest.mark.parametrize("face", ["--json", "--plain"])
def test_a_danger_at_the_choice_is_asked_about_and_keeps_no_case(
    trees: Path,
    log: Path,
    face: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    for replies in (("danger", "6", "!", "danger"), ("danger", "smoke"), ("smoke", "mistake")):
        assert drilled(trees, log, face, replies=replies, monkeypatch=monkeypatch) == 0
        said = capsys.readouterr().out
        assert "Pressed by mistake" in said
        assert ("Move everybody away" in said) == (replies[-1] != "mistake")
    assert not log.exists()


def test_a_danger_within_a_drill_asks_nothing(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    args = ("sample", "--seed", "1", "--json")
    assert drilled(trees, log, *args, replies=("danger", "1"), monkeypatch=monkeypatch) == 1
    screens = lines(capsys)
    assert [screen["screen"] for screen in screens] == ["pick", "score"]
    assert screens[-1]["outcome"] == "left"


def test_results_go_to_a_table_of_their_own_and_no_case_is_touched(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    args = ("sample", "--seed", "1", "--json")
    drilled(trees, log, *args, "--name", " Anna\x1b[2J  Ö ", monkeypatch=monkeypatch)
    drilled(trees, log, *args, "--name", "anna [2j ö", replies=UNSAFE, monkeypatch=monkeypatch)
    drilled(trees, log, *args, "--machine", "none", replies=UNSAFE, monkeypatch=monkeypatch)
    drilled(trees, log, *args, "--name", "Bo", replies=("leave",), monkeypatch=monkeypatch)
    base = sqlite3.connect(log)
    assert base.execute("SELECT count(*) FROM cases").fetchone() == (0,)
    assert base.execute("SELECT count(*) FROM events").fetchone() == (0,)
    base.close()
    kept = SqliteLog(log, "rw")
    assert kept.cases() == []
    assert [(one.trainee, one.passed) for one in kept.drills()] == [
        ("Anna [2J Ö", True),
        ("anna [2j ö", False),
        ("", False),
    ]
    assert {one.machine for one in kept.drills()} == {None}
    assert [one.passed for one in kept.drills("ANNA [2J ö")] == [True, False]
    capsys.readouterr()
    assert app.run(["drill", "--scores", "--log", str(log)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert len(said) == 6
    assert "Anna [2J Ö  sample  passed  1 min (tree 1 min)  0 unsafe  seed 1" in said[0]
    assert said[1].endswith("seed 1  try 2, a repeat")
    assert said[3].endswith(": 1 drill, 1 passed, 1 unsafe move, 1 repeat beside.")
    assert said[4] == "No name: 1 drill, 0 passed, 1 unsafe move."
    assert said[5] == 'The commonest unsafe move: "Key out" was not in force, 2 times.'
    assert app.run(["drill", "--scores", "--log", str(log), "--name", "ANNA [2J ö", "--json"]) == 0
    (told,) = lines(capsys)
    assert [one["body"]["outcome"] for one in told] == ["passed", "failed"]
    assert app.run(["drill", "other", "--scores", "--log", str(log)]) == 0
    assert capsys.readouterr().out == "No drill yet.\n"


def test_a_drill_left_after_an_unsafe_move_is_kept_as_failed(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    args = ("sample", "--seed", "1", "--slips")
    replies = ("weigh", "done", "leave")
    assert drilled(trees, log, *args, replies=replies, monkeypatch=monkeypatch) == 1
    capsys.readouterr()
    app.run(["drill", "--scores", "--log", str(log)])
    assert "failed  2 min  1 unsafe  seed 1 with slips" in capsys.readouterr().out


def test_no_log_yet_means_no_drill_yet(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert app.run(["drill", "--scores", "--log", str(log)]) == 0
    assert capsys.readouterr().out == "No drill yet.\n"
    assert not log.exists()


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (["sampel"], 2, 'There is no symptom "sampel"'),
        (["sample", "--machine", "bx"], 2, 'There is no machine "bx"'),
        (["sample", "--seed", "-1"], 2, "a seed is a whole number from 0 to 9223372036854775807"),
        (["sample", "--seed", "1.5"], 2, "a seed is a whole number"),
        (["sample", "--seed", "9223372036854775808"], 2, "a seed is a whole number"),
        (["sample", "--seed", "9" * 5000], 2, "a seed is a whole number"),
        (["sample", "--seed", "²"], 2, "a seed is a whole number"),
        (["by-kind", "--machine", "box"], 3, "box.yaml: no cause of by-kind fits"),
        (["sample", "--as", "nobody"], 2, "invalid choice"),
    ],
)
def test_wrong_use_is_one_line(
    trees: Path,
    log: Path,
    args: list[str],
    code: int,
    words: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert app.run(["drill", "--trees", str(trees), "--log", str(log), *args]) == code
    told = capsys.readouterr().err
    assert words in told
    assert told.count("\n") == 1


def test_a_library_without_a_symptom_is_said(
    tmp_path: Path, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert app.run(["drill", "--trees", str(tmp_path), "--log", str(log)]) == 3
    assert "no symptom tree there" in capsys.readouterr().err


def test_a_log_that_cannot_be_used_is_said_before_the_first_screen(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    log.write_bytes(b"no log at all" * 100)
    assert drilled(trees, log, "sample", "--json", monkeypatch=monkeypatch) == 3
    told = capsys.readouterr()
    assert (told.out, told.err.count("\n")) == ("", 1)


def test_a_log_that_fails_at_the_end_does_not_take_the_score_away(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(*_: object) -> None:
        raise LogError("the disk is full; make room.")

    monkeypatch.setattr(SqliteLog, "add_drill", full)
    args = ("sample", "--seed", "1", "--json")
    assert drilled(trees, log, *args, monkeypatch=monkeypatch) == 3
    told = capsys.readouterr()
    assert json.loads(told.out.splitlines()[-1])["outcome"] == "passed"
    assert told.err == "diagnose: the disk is full; make room.\n"


def test_a_result_that_was_damaged_is_named(trees: Path, log: Path) -> None:
    SqliteLog(log).close()
    base = sqlite3.connect(log)
    base.execute(
        "INSERT INTO drills (at, trainee, symptom, machine, seed, slips, passed, body)"
        " VALUES ('2026-11-25', '', 'sample', NULL, 1, 0, 1, '{')"
    )
    base.commit()
    base.close()
    with pytest.raises(LogError, match="the log is damaged at a drill of 2026-11-25"):
        SqliteLog(log, "rw").drills()


def test_the_same_seed_in_two_processes_is_the_same_drill(trees: Path, log: Path) -> None:
    told = []
    args = ("drill", "sample", "--seed", "42", "--slips", "--json")
    for hashes in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-m", "diagnose", *args, "--trees", str(trees), "--log", str(log)],
            input="weigh\ndone\nlook\ndone\nweigh\ndone\ndone\nbroken\nservice\n",
            env={**os.environ, "PYTHONHASHSEED": hashes},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 1
        told.append(done.stdout)
    assert told[0] == told[1]


def test_another_program_drives_a_drill(trees: Path, log: Path) -> None:
    driver = Driver("drill", "sample", "--seed", "1", "--trees", str(trees), log=log)
    assert driver.screen()["screen"] == "pick"
    assert driver.reply("look")["screen"] == "guard"
    assert driver.reply("done")["screen"] == "seen"
    assert driver.screen()["screen"] == "pick"
    assert driver.reply("leave")["outcome"] == "left"
    assert driver.end() == (1, "")


def test_a_drill_on_a_real_terminal_takes_few_keys(trees: Path, log: Path) -> None:
    command = ["-m", "diagnose", "drill", "sample", "--seed", "1"]
    child = pexpect.spawn(
        sys.executable,
        [*command, "--trees", str(trees), "--log", str(log)],
        env={**os.environ, "TERM": "xterm", "PROMPT_TOOLKIT_NO_CPR": "1", "NO_COLOR": "1"},
        dimensions=(24, 80),
        encoding="utf-8",
        timeout=20,
    )
    screen = pyte.Screen(80, 24)
    stream = pyte.Stream(screen)

    def shown(words: str) -> None:
        """Wait for words on the screen, as a person would see them."""
        while words not in " ".join(" ".join(screen.display).split()):
            stream.feed(child.read_nonblocking(4096, timeout=20))

    # Look at it: no caution, begin. Done looking: dirty, the operator, key out, begin.
    for words, key in (
        ("What do you check", "2"),
        ("Look at it. What do you put in force", "y"),
        ("You see: A stain", "y"),
        ("What is the cause", "2"),
        ("Who puts it right", "1"),
        ("You put it right", "1"),
        ("you take it", "y"),
    ):
        shown(words)
        child.send(key)
    child.expect("What the tree would have done:")
    child.expect("Drill passed.")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0


def test_breaking_off_leaves_the_drill(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", broken)
    args = ("sample", "--seed", "1", "--plain")
    assert drilled(trees, log, *args, monkeypatch=monkeypatch) == 1
    assert "Drill left." in capsys.readouterr().out


def test_the_route_is_drawn_into_the_tree(
    trees: Path,
    log: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    where = tmp_path / "route.dot"
    args = ("sample", "--seed", "1", "--plain", "--draw", str(where))
    assert drilled(trees, log, *args, monkeypatch=monkeypatch) == 0
    text = where.read_text(encoding="utf-8")
    assert "drill: 1" in text
    assert "drill: named" in text
    assert "drill: 2" not in text
    assert f"Theroute:{where}" in "".join(capsys.readouterr().out.split())
    # Who left after a look has a route without a cause.
    drilled(trees, log, *args, replies=("look", "done"), monkeypatch=monkeypatch)
    text = where.read_text(encoding="utf-8")
    assert "drill: 1" in text
    assert "drill: named" not in text
    where.unlink()
    # What was unsafe stands at its step.
    drilled(trees, log, *args, replies=UNSAFE, monkeypatch=monkeypatch)
    said = " ".join(where.read_text(encoding="utf-8").replace("\\n", " ").split())
    assert 'unsafe: \\"Key out\\" was not in force' in said
    where.unlink()
    # Nothing was looked at.
    drilled(trees, log, *args, replies=(), monkeypatch=monkeypatch)
    assert not where.exists()
    capsys.readouterr()
    assert app.run(["drill", "sample", "--trees", str(trees), "--draw", "route.txt"]) == 2
    assert "has to end in one of" in capsys.readouterr().err


def test_a_seed_that_nobody_chose_is_one_that_the_trainee_has_not_had(
    trees: Path, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    args = ("sample", "--plain", "--name", "Anna")
    assert drilled(trees, log, *args, "--seed", "1", monkeypatch=monkeypatch) == 0
    coming = iter([1, 1, 6])
    monkeypatch.setattr("secrets.randbelow", lambda _: next(coming))
    drilled(trees, log, *args, replies=("leave",), monkeypatch=monkeypatch)
    assert "--seed 6" in capsys.readouterr().out
    # Chosen all the same, it is a repeat.
    assert drilled(trees, log, *args, "--seed", "1", monkeypatch=monkeypatch) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "A repeat: this was try 2 of this machine." in said
    assert said.endswith("Drill passed.")


@pytest.mark.parametrize("teach", [True, False])
def test_teaching_says_at_once_what_could_have_happened(
    teach: bool, log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    args = ("streaking", "--seed", "11", "--plain", *(["--teach"] if teach else []))
    replies = ("speed", "done", "done", "grit", "operator", "done")
    drilled(built_in(), log, *args, replies=replies, monkeypatch=monkeypatch)
    said = " ".join(capsys.readouterr().out.split())
    told = (
        'Unsafe. "People clear" was not in force: Speed over a measured distance. '
        "The machine could have hit somebody."
    )
    assert (told in said) == teach
    # The figure comes with what it was read from.
    assert "You read: distance between the marks 10 m, time between the marks 8.0 s." in said
    assert "What the tree would have done: 0 min Look in the machine's log" in said
