"""`diagnose drill --scores` and `--report`: what was asked for, tries, and a trainee's page."""

from __future__ import annotations

import json
import sqlite3
from typing import TYPE_CHECKING, Any

import pytest

from diagnose import app
from diagnose.case.screens import Named, as_data
from diagnose.drill.score import Look, Score, UnsafeMove
from diagnose.log.drills import DrillRecord
from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from pathlib import Path

KEY_OUT = UnsafeMove(
    kind="not-in-force",
    step="rinse",
    title="Rinse it.",
    caution=Named("key-out", "Key out"),
    hazards=(Named("startup", "The machine can start"),),
)
NOT_YOURS = UnsafeMove(kind="not-yours", step="open", title="Open it.", whose="service")
SLOW = Look(step="read", title="Read it", answer="So", minutes=4, caution_minutes=0)


def score(seed: int, *unsafe: UnsafeMove) -> Score:
    return Score(
        seed=seed,
        slips=False,
        taught=False,
        outcome="failed" if unsafe else "passed",
        cause=Named("dry", "It is dry."),
        case="",
        named=Named("dry", "It is dry."),
        hands="operator",
        whose="operator",
        minutes=9.0,
        tree_minutes=5.0,
        best_minutes=None,
        unsafe=unsafe,
        wrong_referrals=(),
        not_parted=None,
        route=(SLOW,),
        tree_route=(),
    )


def record(name: str, symptom: str, seed: int, *unsafe: UnsafeMove) -> DrillRecord:
    return DrillRecord(
        trainee=name,
        symptom=symptom,
        machine=None,
        seed=seed,
        slips=False,
        passed=not unsafe,
        body=as_data(score(seed, *unsafe)),
    )


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A class: Anna twice at one machine and once at another, Bo, and somebody without a name."""
    path = tmp_path / "log.sqlite"
    kept = SqliteLog(path)
    for one in (
        record("Anna", "leak", 7, KEY_OUT),
        record("ANNA", "leak", 7),
        record("Anna", "streaking", 7, KEY_OUT, NOT_YOURS),
        record("Bo", "leak", 7),
        record("", "leak", 7),
        record("", "leak", 7),
    ):
        kept.add_drill(one)
    kept.close()
    base = sqlite3.connect(path)
    base.execute("UPDATE drills SET at = '2026-10-05T12:00:00+00:00' WHERE number <= 2")
    base.execute("UPDATE drills SET at = '2026-11-06T12:00:00+00:00' WHERE number > 2")
    base.commit()
    base.close()
    return path


def scores(log: Path, *args: str, capsys: pytest.CaptureFixture[str]) -> list[str]:
    assert app.run(["drill", *args, "--scores", "--log", str(log)]) == 0
    return capsys.readouterr().out.splitlines()


@pytest.mark.parametrize(
    ("args", "count"),
    [
        ((), 6),
        (("--name", "anna"), 3),
        (("leak",), 5),
        (("leak", "--name", "Anna"), 2),
        (("--seed", "7"), 6),
        (("--seed", "8"), 0),
        (("--date", "2026-10"), 2),
        (("--date", "2026-11-06"), 4),
        (("--date", "2026"), 6),
        (("--date", "2025"), 0),
    ],
)
def test_what_is_asked_for_is_listed(
    log: Path, args: tuple[str, ...], count: int, capsys: pytest.CaptureFixture[str]
) -> None:
    told = scores(log, *args, capsys=capsys)
    assert sum(line.startswith("2026-") for line in told) == count
    (as_json,) = [json.loads(one) for one in scores(log, *args, "--json", capsys=capsys)]
    assert len(as_json) == count


def test_a_seed_that_a_trainee_has_seen_is_a_repeat(
    log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = scores(log, capsys=capsys)
    assert [line.endswith("try 2, a repeat") for line in told[:6]] == [False, True, *[False] * 4]
    # Passing at the second try is no pass.
    assert told[6] == "Anna: 2 drills, 0 passed, 3 unsafe moves, 1 repeat beside."
    assert told[7] == "Bo: 1 drill, 1 passed, 0 unsafe moves."
    # Without a name nobody knows who has seen it.
    assert told[8] == "No name: 2 drills, 2 passed, 0 unsafe moves."
    assert told[9] == 'The commonest unsafe move: "Key out" was not in force, 2 times.'
    assert len(told) == 10
    # The number of a try does not hang on what is listed.
    assert scores(log, "--name", "Anna", "--date", "2026-10", capsys=capsys)[1].endswith("a repeat")
    (as_json,) = [json.loads(one) for one in scores(log, "--json", capsys=capsys)]
    assert [one["try"] for one in as_json] == [1, 2, 1, 1, 1, 1]


def test_a_page_on_a_trainee(log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from pypdf import PdfReader

    out = tmp_path / "anna.pdf"
    assert app.run(["drill", "--report", "anna", "-o", str(out), "--log", str(log)]) == 0
    assert capsys.readouterr().out == f"{out}: the drills of Anna.\n"
    (page,) = PdfReader(out).pages
    text = " ".join(page.extract_text().split())
    for words in (
        "Drills of Anna",
        "2 drills, 0 passed, 3 unsafe moves, 1 repeat beside.",
        "2026-11-06 streaking 7 1 failed 9 min 5 min 2",
        "2026-10-05 leak 7 2 passed 9 min 5 min 0",
        '2 × "Key out" was not in force. The machine could have started beside you.',
        "1 × Not yours, but for licensed service. Whoever was not taught this",
        "3 × Read it. It told nothing of what was still open: 12 min.",
        "Not passed at first sight yet: leak, streaking.",
    ):
        assert words in text.replace("“", '"').replace("”", '"'), (words, text)


def test_a_page_stays_one_page(log: Path, tmp_path: Path) -> None:
    from pypdf import PdfReader

    kept = SqliteLog(log, "rw")
    for seed in range(40):
        kept.add_drill(record("Cy", "a-symptom-with-a-name-as-long-as-names-may-be", seed, KEY_OUT))
    kept.close()
    out = tmp_path / "cy.pdf"
    assert app.run(["drill", "--report", "Cy", "-o", str(out), "--log", str(log)]) == 0
    (page,) = PdfReader(out).pages
    assert "And 24 earlier." in page.extract_text()


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (["--report", "Dee"], 2, "There is no drill of Dee"),
        (["--report", "Anna", "-o", "x.doc"], 2, "has to end in one of"),
        (["--report", "Anna", "-o", "nowhere/x.pdf"], 3, "nowhere/x.pdf"),
    ],
)
def test_a_page_that_cannot_be_is_said_in_one_line(
    log: Path, args: list[str], code: int, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert app.run(["drill", *args, "--log", str(log)]) == code
    told = capsys.readouterr().err
    assert words in told
    assert told.count("\n") == 1


def test_a_letter_that_no_font_has_is_said(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = SqliteLog(log, "rw")
    kept.add_drill(record("王", "leak", 1))
    kept.close()
    assert app.run(["drill", "--report", "王", "--log", str(log)]) == 3
    assert "--font" in capsys.readouterr().err


def test_a_score_that_was_damaged_is_named(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    body: dict[str, Any] = {**as_data(score(1)), "unsafe": [{"kind": 3}]}
    base = sqlite3.connect(log)
    base.execute("UPDATE drills SET body = ? WHERE number = 1", (json.dumps(body),))
    base.commit()
    base.close()
    assert app.run(["drill", "--scores", "--log", str(log)]) == 3
    assert "the log is damaged at a drill of 2026-10-05" in capsys.readouterr().err


def test_a_drill_from_before_checks_were_weighed_names_none_as_slow(
    log: Path, tmp_path: Path
) -> None:
    from pypdf import PdfReader

    base = sqlite3.connect(log)
    for number, text in base.execute("SELECT number, body FROM drills").fetchall():
        body = json.loads(text)
        for look in body["route"]:
            del look["ruled_out"], look["inputs"], look["cautions"]
        base.execute("UPDATE drills SET body = ? WHERE number = ?", (json.dumps(body), number))
    base.commit()
    base.close()
    out = tmp_path / "anna.pdf"
    assert app.run(["drill", "--report", "Anna", "-o", str(out), "--log", str(log)]) == 0
    assert "It told nothing" not in PdfReader(out).pages[0].extract_text()
