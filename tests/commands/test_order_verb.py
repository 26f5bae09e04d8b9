"""`diagnose order` as it is used: what it prints, and what it writes into a file."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from strategies.learning import cured
from strategies.ordering import YARDS, cautions_text, tree_with_run
from strategies.written import text_of

from diagnose import app
from diagnose.case.state import Trace
from diagnose.commands import order_writing, rewriting
from diagnose.files.library import built_in, load
from diagnose.log.events import Found, Opened, Outset, Replied, Shown
from diagnose.log.sqlite import SqliteLog
from diagnose.rules.check import check

if TYPE_CHECKING:
    from collections.abc import Callable

    from diagnose.files.library import Library
    from diagnose.files.problems import Problem


@pytest.fixture
def trees(tmp_path: Path) -> Path:
    return Path(shutil.copytree(built_in(), tmp_path / "trees"))


@pytest.fixture
def order(
    trees: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    def run(*args: str) -> tuple[int, str, str]:
        log = tmp_path / "cases.sqlite"
        code = app.run(["order", *args, "--trees", str(trees), "--log", str(log)])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def data(answer: tuple[int, str, str]) -> dict[str, Any]:
    code, out, err = answer
    assert (code, err) == (0, "")
    found: dict[str, Any] = json.loads(out)
    return found


def lines_changed(old: str, new: str) -> list[tuple[str, str]]:
    pairs = zip(old.splitlines(keepends=True), new.splitlines(keepends=True), strict=True)
    return [(before, after) for before, after in pairs if before != after]


@pytest.mark.parametrize("symptom", sorted(load(built_in()).trees))
def test_every_tree_can_be_ordered_anew_in_its_file(order: Any, trees: Path, symptom: str) -> None:
    path = trees / f"{symptom}.yaml"
    old = path.read_text("utf-8")
    before = data(order(symptom, "--json"))
    code, out, err = order(symptom, "--write", "--yes")
    assert (code, err) == (0, "")
    shown = {*old.splitlines(), *path.read_text("utf-8").splitlines()}
    said = [line for line in out.splitlines() if line[1:] not in shown]
    assert all(len(line) < 80 for line in said if str(trees) not in line)
    after = data(order(symptom, "--json"))
    assert after["expected_minutes"] == pytest.approx(before["best_minutes"], rel=0, abs=1e-9)
    assert after["best_minutes"] == pytest.approx(before["best_minutes"], rel=0, abs=1e-9)
    new = path.read_text("utf-8")
    if before["best_minutes"] == before["expected_minutes"]:
        assert new == old
        assert "nothing was written" in out
    else:
        # Only the ends of arrows change.
        changed = lines_changed(old, new)
        assert changed
        for was, now in changed:
            assert was.rpartition(": ")[0] == now.rpartition(": ")[0]
        assert f"{path}." in out
    assert not check(load(trees))
    assert {child.name for child in trees.iterdir()} == {
        child.name for child in built_in().iterdir()
    }


def test_the_json_has_the_minutes_of_the_tree_and_of_each_run(order: Any) -> None:
    found = data(order("streaking", "--json"))
    assert {"symptom", "expected_minutes", "best_minutes", "runs"} <= set(found)
    for run in found["runs"]:
        assert {"steps", "best", "minutes", "best_minutes", "exact"} <= set(run)
        assert sorted(run["steps"]) == sorted(run["best"])
        assert run["minutes"] == found["expected_minutes"]
        assert found["best_minutes"] - 1e-9 <= run["best_minutes"] <= run["minutes"] + 1e-9


def test_a_machine_card_counts(order: Any) -> None:
    plain = data(order("streaking", "--json"))
    card = data(order("streaking", "--json", "--machine", "dock"))
    assert card["expected_minutes"] > plain["expected_minutes"] + 1


@pytest.mark.parametrize(
    "args",
    [
        [],
        ["nothing"],
        ["streaking", "--lockouts", "-1"],
        ["streaking", "--lockouts", "many"],
        ["streaking", "--machine", "nothing"],
        ["streaking", "more"],
    ],
)
def test_wrong_use_is_one_line(order: Any, args: list[str]) -> None:
    code, out, err = order(*args)
    assert (code, out, err.count("\n")) == (2, "", 1)


def test_a_file_with_errors_is_named(order: Any, trees: Path) -> None:
    path = trees / "streaking.yaml"
    path.write_text(path.read_text("utf-8").replace("after: [lower-and-roll]", "after: [arm]"))
    code, out, err = order("streaking")
    assert (code, out, err.count("\n")) == (3, "", 1)
    assert "[after]" in err


def test_a_cap_that_cannot_be_kept_is_said_and_nothing_written(order: Any, trees: Path) -> None:
    before = (trees / "streaking.yaml").read_bytes()
    code, out, _ = order("streaking", "--lockouts", "0", "--write", "--yes")
    assert code == 1
    assert "at most 0 times" in " ".join(out.split())
    assert (trees / "streaking.yaml").read_bytes() == before


SMALL = """\
\N{ZERO WIDTH NO-BREAK SPACE}# Its own words — ünchanged
format: 1
symptom: small
title: t
start:   one    # here
steps:
  # about one
  one: {ask: "Is it?", minutes: 9, answers: {"Yes: so": f1, No: two}}   # flow
  # about two

  two:
    ask: Is it
      then?
    passes: 'No'
    answers:
      Yes it is: f2
      'No': f3     # the rest
  f1: {finding: one, chance: 1, who: operator, remedy: r}
  f2: {finding: two, chance: 4.50, who: operator, remedy: r}
  f3: {finding: three, chance: 2, who: operator, remedy: r}
worked_cases:
  - {name: a, answers: {two: Yes it is}, finding: f2}
"""


def test_only_arrows_change_and_passes_is_put_in(order: Any, trees: Path) -> None:
    path = trees / "small.yaml"
    path.write_bytes(SMALL.encode())
    path.chmod(0o640)
    code, _, err = order("small", "--write", "--yes")
    assert (code, err) == (0, "")
    wanted = (
        SMALL.replace("start:   one ", "start:   two ")
        .replace(
            'answers: {"Yes: so": f1, No: two}', 'passes: No, answers: {"Yes: so": f1, No: f3}'
        )
        .replace("'No': f3 ", "'No': one ")
    )
    assert path.read_bytes() == wanted.encode()
    assert path.stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize(
    ("worked", "code", "told"),
    [
        ("answers: {two: Yes it is}, finding: f2", 0, ""),
        # In the new order this case never comes to step one: still true, and the author is told.
        ("answers: {one: No, two: Yes it is}, finding: f2", 0, "never comes to"),
        # Two parts are bad, and the new order finds the other one first.
        ('answers: {one: "Yes: so", two: Yes it is}, finding: f1', 1, "ends at"),
    ],
)
def test_worked_cases_stay_true_or_nothing_is_written(
    order: Any, trees: Path, worked: str, code: int, told: str
) -> None:
    path = trees / "small.yaml"
    text = SMALL.replace("answers: {two: Yes it is}, finding: f2", worked)
    path.write_bytes(text.encode())
    got, out, _ = order("small", "--write", "--yes")
    assert got == code
    assert (path.read_bytes() == text.encode()) == (code == 1)
    assert ("worked-case" in out) == bool(told)
    assert told in " ".join(out.split())


def test_a_long_run_says_how_much_better_another_order_could_be(order: Any, trees: Path) -> None:
    """Key out and lockout in one run of 60 steps: proved to a part of a minute."""
    tree = tree_with_run(Random(7), 60, YARDS["nested"])
    shutil.rmtree(trees)
    trees.mkdir()
    (trees / "alpha.yaml").write_text(text_of(tree))
    (trees / "cautions.yaml").write_text(cautions_text(YARDS["nested"]))
    (run,) = data(order("alpha", "--json"))["runs"]
    code, out, _ = order("alpha")
    assert code == 0
    words = " ".join(out.split())
    said = re.search(r"best found: another could save ([0-9.]+) minutes more at most", words)
    assert (said is None) == run["exact"]
    assert said is not None
    assert float(said[1]) == pytest.approx(run["within"], abs=0.01)
    assert 0 < run["within"] < 0.5


def test_a_folder_that_cannot_be_written_loses_nothing(
    order: Any, trees: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = trees / "small.yaml"
    path.write_bytes(SMALL.encode())

    def full(self: Path, target: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    code, _, err = order("small", "--write", "--yes")
    assert (code, err.count("\n")) == (3, 1)
    assert "no space left" in err
    assert path.read_bytes() == SMALL.encode()
    assert not [child for child in trees.iterdir() if child.name.startswith(".")]


def test_what_somebody_saved_meanwhile_stays(
    order: Any, trees: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = trees / "small.yaml"
    path.write_bytes(SMALL.encode())
    saved = SMALL.replace("about one", "about the first one").encode()

    def saved_while_judged(library: Library) -> list[Problem]:
        path.write_bytes(saved)
        return check(library)

    monkeypatch.setattr(rewriting, "check", saved_while_judged)
    code, _, err = order("small", "--write", "--yes")
    assert (code, err.count("\n")) == (3, 1)
    assert "has changed meanwhile" in err
    assert path.read_bytes() == saved


# Chances from cases


def ended(reply: str, step: str, why: str, **more: Any) -> Replied:
    trace = Trace(what="ended", symptom="small", step="", why=why)
    shown = Shown(screen="finding")
    return Replied(reply=reply, symptom="small", step=step, shown=shown, trail=(trace,), **more)


@pytest.fixture
def log(tmp_path: Path) -> SqliteLog:
    return SqliteLog(tmp_path / "cases.sqlite")


def keep(log: SqliteLog, machine: str | None, *events: Replied | Found) -> None:
    case = log.open_case(machine, Opened(symptom="small", outset=Outset()))
    for number, event in enumerate(events, 2):
        log.append(case, number, event)


def test_the_cases_of_the_log_speak(order: Any, trees: Path, log: SqliteLog) -> None:
    path = trees / "small.yaml"
    path.write_bytes(SMALL.encode())
    closing = {"f1": 0.5, "f2": 0.3, "f3": 0.2}
    cured = ended("cured", "f1", "cured", cures=(("small", "f1"),), closing=closing)
    referred = ended("refer", "f2", "referred", closing=closing)
    keep(log, "dock", cured)
    keep(log, "dock", referred)
    keep(log, "aisle", referred, Found(symptom="small", finding="f3"))
    keep(log, None, ended("leave", "one", "left"))
    keep(log, None)
    log.close()

    def shares(**counts: float) -> dict[str, float]:
        own = {"f1": 1 / 7.5, "f2": 4.5 / 7.5, "f3": 2 / 7.5}
        total = 20 + sum(counts.values())
        return {f: (20 * share + counts.get(f, 0)) / total for f, share in own.items()}

    found = data(order("small", "--json"))
    assert found["cases"] == 3
    assert found["chances"] == pytest.approx(shares(f1=1.5, f2=0.3, f3=1.2))
    assert 0.5 < found["sure"] <= 1
    dock = data(order("small", "--json", "--machine", "dock"))
    assert dock["cases"] == 2
    assert dock["chances"] == pytest.approx(shares(f1=1.5, f2=0.3, f3=0.2))

    code, out, _ = order("small", "--write-chances", "--yes")
    assert code == 0
    assert "with the estimates that they came from" in " ".join(out.split())
    # From the estimates as they are written, to four figures.
    told = {"f1": 20 * 0.1333 + 1.5, "f2": 20 * 0.6 + 0.3, "f3": 20 * 0.2667 + 1.2}
    per_cent = {name: 100 * one / 23 for name, one in told.items()}
    written = SMALL.replace("format: 1", "format: 3")
    rows = (
        ("f1", "1,", "13.33", "1.5"),
        ("f2", "4.50,", "60", "0.3"),
        ("f3", "2,", "26.67", "1.2"),
    )
    for name, was, estimate, cases in rows:
        start = SMALL.index(was, SMALL.index(f"  {name}: {{"))
        old = SMALL[SMALL.index(f"  {name}: {{") : start + len(was)]
        comes_from = f"chance_from: {{estimate: {estimate}, cases: {cases}}},"
        new = old.replace(was, f"{per_cent[name]:.4g}, {comes_from}")
        written = written.replace(old, new)
    assert path.read_bytes() == written.encode()

    # The same cases once more change nothing.
    code, out, _ = order("small", "--write-chances", "--yes")
    assert code == 0
    assert "are so already: nothing was written" in " ".join(out.split())
    assert path.read_bytes() == written.encode()
    again = data(order("small", "--json"))
    assert again["chances"] == pytest.approx(shares(f1=1.5, f2=0.3, f3=1.2), rel=1e-3)


def test_order_and_chances_can_be_written_at_once(order: Any, trees: Path, tmp_path: Path) -> None:
    path = trees / "small.yaml"
    path.write_bytes(SMALL.encode())
    cured(tmp_path / "cases.sqlite", "small", "f2")
    code, _, err = order("small", "--write", "--write-chances", "--yes")
    assert (code, err) == (0, "")
    text = path.read_text("utf-8")
    assert "start:   two " in text
    assert "chance: 12.7, chance_from: {estimate: 13.33, cases: 0}," in text
    assert not [p for p in check(load(trees)) if p.severity == "error"]


def test_a_file_of_format_1_that_learns_says_what_its_causes_for_service_meant(
    order: Any, trees: Path, tmp_path: Path
) -> None:
    """In format 1 a machine with such a cause is out of use; in 3 that has to be written."""
    path = trees / "old.yaml"
    path.write_text(
        "format: 1\nsymptom: old\ntitle: It is old\nstart: a\nsteps:\n"
        "  a: {ask: What is it?, answers: {Bad: f, Good: g}}\n"
        "  f: {finding: It is f, chance: 4, who: operator, remedy: Mend it.}\n"
        "  g: {finding: It is g, chance: 4, who: service, leave_safe: Park it.}\n"
    )
    cured(tmp_path / "cases.sqlite", "old", "f")
    code, _, err = order("old", "--write-chances", "--yes")
    assert (code, err) == (0, "")
    lines = path.read_text("utf-8").splitlines()
    assert lines[0] == "format: 3"
    assert lines[-1].endswith("who: service, until_mended: out of use, leave_safe: Park it.}")
    assert check(load(trees)) == []


# What is asked, sorted, left out


def test_nobody_to_ask_writes_nothing_and_says_so(order: Any, trees: Path, tmp_path: Path) -> None:
    path = trees / "small.yaml"
    path.write_bytes(SMALL.encode())
    cured(tmp_path / "cases.sqlite", "small", "f2")
    for option in ("--write", "--write-chances"):
        code, out, err = order("small", option)
        assert (code, err.count("\n")) == (2, 1)
        assert "--yes writes it" in err
        assert ("in 100 cases" in out) == (option == "--write-chances")
        assert ("\n-start:   one    # here\n+start:   two    # here\n" in out) == (
            option == "--write"
        )
    assert order("small", "--write", "--json")[0] == 2
    assert order("small", "--sort")[0] == 2
    assert path.read_bytes() == SMALL.encode()


@pytest.mark.parametrize(
    ("reply", "done"), [("y", True), ("YES ", True), ("n", False), ("", False)]
)
def test_somebody_at_a_terminal_is_asked(
    order: Any, trees: Path, monkeypatch: pytest.MonkeyPatch, reply: str, done: bool
) -> None:
    path = trees / "small.yaml"
    path.write_bytes(SMALL.encode())
    monkeypatch.setattr(order_writing, "is_terminal", lambda stream: True)
    monkeypatch.setattr(order_writing, "read_line", lambda: reply)
    code, out, err = order("small", "--write")
    assert (code, err) == (0, "")
    assert "y or n" in out
    assert ("Nothing was written" in out) == (not done)
    assert (path.read_bytes() == SMALL.encode()) == (not done)


def test_steps_are_put_into_walking_order_with_their_comments(order: Any, trees: Path) -> None:
    path = trees / "small.yaml"
    path.write_bytes(SMALL.encode())
    code, _, err = order("small", "--write", "--sort", "--yes")
    assert (code, err) == (0, "")
    text = path.read_text("utf-8")
    assert text.index("  # about two") < text.index("  two:") < text.index("  # about one\n  one:")
    assert "# the rest\n  # about one\n" in text
    assert [*load(trees).trees["small"].steps] == ["two", "one", "f1", "f2", "f3"]
    again = path.read_bytes()
    code, out, _ = order("small", "--write", "--sort", "--yes")
    assert "stand in walking order" in " ".join(out.split())
    assert path.read_bytes() == again


def test_an_order_that_saves_little_is_not_worth_a_change(order: Any, trees: Path) -> None:
    path = trees / "small.yaml"
    path.write_bytes(SMALL.encode())
    assert data(order("small", "--json"))["worth"] is True
    assert "Not worth" not in order("small")[1]
    little = SMALL.replace("minutes: 9", "minutes: 1").replace("chance: 4.50", "chance: 1.05")
    path.write_bytes(little.encode())
    found = data(order("small", "--json"))
    assert 0 < found["expected_minutes"] - found["best_minutes"] < 0.1
    assert found["worth"] is False
    assert "Not worth a change: it saves 0.0" in " ".join(order("small")[1].split())
    unsure = SMALL.replace("minutes: 9", "minutes: 8").replace("chance: 4.50", "chance: 0.22")
    path.write_bytes(unsure.encode())
    found = data(order("small", "--json"))
    assert found["best_minutes"] < found["expected_minutes"] - 0.1
    assert 0.5 < found["sure"] < 0.8
    assert found["worth"] is False
    assert "Not worth a change yet" in " ".join(order("small")[1].split())


def test_the_cases_of_a_renamed_finding_count_for_it(
    order: Any, trees: Path, tmp_path: Path
) -> None:
    path = trees / "small.yaml"
    log = tmp_path / "cases.sqlite"
    path.write_bytes(SMALL.replace("f2", "was-f2").encode())
    names = cured(log, "small", "f2", "f2", "f1")
    found = data(order("small", "--json"))
    assert (found["cases"], found["left_out"]) == (1, {"f2": sorted(names[:2])})
    out = " ".join(order("small")[1].split())
    assert f"Left out: cases {', '.join(sorted(names[:2]))}. This tree has no finding f2" in out
    renamed = SMALL.replace("f2", "new").replace("format: 1", "format: 3")
    path.write_bytes(renamed.replace("{finding: two,", "{finding: two, was: [f2],").encode())
    found = data(order("small", "--json"))
    assert (found["cases"], found["left_out"]) == (3, {})
    assert found["chances"]["new"] == pytest.approx((20 * 4.5 / 7.5 + 2) / 23)


def test_a_file_that_has_learned_from_more_cases_than_the_log_has_stays(
    order: Any, trees: Path, tmp_path: Path
) -> None:
    path = trees / "small.yaml"
    text = SMALL.replace("format: 1", "format: 3")
    for name, cases in (("f1", 1), ("f2", 30), ("f3", 0)):
        start = text.index("chance:", text.index(f"  {name}: {{"))
        end = text.index(",", start)
        text = f"{text[:end]}, chance_from: {{estimate: 20, cases: {cases}}}{text[end:]}"
    path.write_bytes(text.encode())
    cured(tmp_path / "cases.sqlite", "small", "f1", "f1")
    code, out, _ = order("small", "--write-chances", "--yes")
    assert code == 0
    assert "learned from 31 cases, this log has 2: nothing was written" in " ".join(out.split())
    assert path.read_bytes() == text.encode()
    found = data(order("small", "--json"))["chances"]
    third = 20 / 3
    assert found == pytest.approx(
        {"f1": (third + 1) / 51, "f2": (third + 30) / 51, "f3": third / 51}
    )


def test_where_after_may_be_missing_is_a_hint(order: Any, trees: Path) -> None:
    path = trees / "small.yaml"
    text = SMALL.replace(
        '{ask: "Is it?", minutes: 9', '{do: Lower the squeegee., ask: "Is it?", minutes: 9'
    )
    path.write_bytes(text.replace("Is it\n      then?", "Does the squeegee bend?").encode())
    (hint,) = data(order("small", "--json"))["hints"]
    assert hint == {"step": "two", "needs": "one", "why": "ready", "words": "squeegee"}
    assert "write `after: [one]` at two" in " ".join(order("small")[1].split())
    path.write_bytes(SMALL.replace("# about two", "# Only once one was seen").encode())
    (hint,) = data(order("small", "--json"))["hints"]
    assert (hint["why"], hint["words"]) == ("comment", "Only once one was seen")
    path.write_bytes(SMALL.encode())
    assert data(order("small", "--json"))["hints"] == []


@pytest.mark.many_cases
def test_simulated_cases_are_the_same_for_the_same_seed(order: Any, trees: Path) -> None:
    args = ("leak", "--outcomes", "--cases", "40", "--json")
    one, two = data(order(*args)), data(order(*args))
    assert one == two
    assert one != data(order(*args, "--seed", "100"))
    assert one["cured"]["of"] + one["named"]["of"] == 40
    low, high = one["cured"]["range"]
    assert low < one["cured"]["well"] / one["cured"]["of"] < high
    bad = 40 - one["cured"]["well"] - one["named"]["well"]
    assert bad
    assert sum(row["bad"] for row in one["missed"]) == bad
    assert all(row["lost"] <= bad for row in one["slips"])
    code, out, err = order(*args[:-1])
    assert (code, err) == (0, "")
    assert "cured" in out
    (trees / "small.yaml").write_bytes(SMALL.encode())
    said = order("small", "--outcomes", "--cases", "5")[1]
    assert "there was no such case" in " ".join(said.split())
    assert all(len(line) < 80 for line in out.splitlines())
    assert order("leak", "--outcomes", "--cases", "0")[0] == 2
