"""One event of the log is damaged: that case says so, and everything else goes on."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

import pytest
from strategies.desk import Desk

if TYPE_CHECKING:
    from pathlib import Path

REFER = ("done", "2", "refer")
START = ("start", "lines", "--machine", "dock")
NO_EVENT = '{"event":"told by nobody"}'


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    desk = Desk(tmp_path, monkeypatch)
    desk.card("aisle")
    return desk


def damaged(desk: Desk, body: str | bytes = "{", replies: tuple[str, ...] = REFER) -> str:
    """Walk a case, damage its second event, and return its name."""
    name: str = desk.walk(*START, replies=replies)[0]["case"]
    base = sqlite3.connect(desk.log)
    base.execute(
        'UPDATE events SET body = ? WHERE number = 2 AND "case" = '
        "(SELECT key FROM cases WHERE name = ?)",
        (body, name),
    )
    base.commit()
    base.close()
    return name


def said(name: str) -> str:
    return f"the log is damaged at case {name}, event 2; restore a copy of the file."


def test_lists_mark_the_case_and_go_on(desk: Desk) -> None:
    whole = desk.walk("start", "lines", "--machine", "aisle", replies=REFER)[0]["case"]
    name = damaged(desk)
    listed = {one["name"]: one for one in desk.cases()}
    assert listed[name]["damaged"] == 2
    assert "damaged" not in listed[whole]
    code, out, err = desk("cases")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    at = next(place for place, line in enumerate(lines) if line.startswith(name))
    assert lines[at + 1].strip() == said(name)
    assert out.count("damaged") == 1
    (rows,) = desk.walk("cases", "--open")
    assert {row["machine"]: row["case"] for row in rows} == {"dock": name, "aisle": whole}
    assert [each.get("damaged") for row in rows for each in row["waiting"]].count(2) == 1
    code, out, err = desk("cases", "--open")
    assert (code, err, out.count(said(name))) == (0, "", 1)
    code, out, err = desk("cases", "--machine", "dock")
    assert (code, err) == (0, "")
    assert f"{name}: {said(name)}" in out
    assert "referred: The frame is bent." in out


@pytest.mark.parametrize("body", ["{", "", "no event", b"\xff\xfe", NO_EVENT])
@pytest.mark.parametrize(
    "args", [("cases", "show"), ("resume",), ("handover",), ("cases", "found")], ids=" ".join
)
def test_what_needs_the_event_names_it(
    desk: Desk, args: tuple[str, ...], body: str | bytes
) -> None:
    replies = ("done", "1") if args == ("resume",) else REFER
    name = damaged(desk, body, replies)
    more = ("bent",) if "found" in args else ()
    code, out, err = desk(*args, name, *more)
    assert (code, out) == (3, "")
    assert err == f"diagnose: {desk.log}: {said(name)}\n"
    # Whoever met it has it marked from then on.
    assert desk.cases()[0]["damaged"] == 2


def test_the_machine_is_as_it_was_and_can_be_released(desk: Desk) -> None:
    name = damaged(desk)
    screens = desk.walk(*START, replies=("start anew", "done", "1", "done", "cured"))
    assert (screens[0]["screen"], screens[0]["case"]) == ("state", name)
    assert screens[-1]["outcome"] == "cured"
    code, out, _ = desk("release", "dock", "--name", "Bo")
    assert (code, out) == (0, f"dock: in use, released by Bo (cases {name}).\n")
    assert desk.walk(*START)[0]["screen"] == "caution"
    assert {one["name"]: one.get("damaged") for one in desk.cases()}[name] == 2
    (rows,) = desk.walk("cases", "--open")
    assert rows[0]["state"] == "in use"


def test_others_are_shown_handed_over_and_taken_up(desk: Desk) -> None:
    damaged(desk)
    left = desk.walk("start", "lines", "--machine", "aisle", replies=("done", "1"))[0]["case"]
    assert desk("handover", left)[0] == 0
    assert desk("cases", "show", left)[0] == 0
    assert desk.walk("resume", left, replies=("done", "cured"))[-1]["outcome"] == "cured"
    assert desk("order", "lines")[0] == 0
    assert desk("round", "--due")[0] == 0


def test_a_damaged_summary_is_made_of_the_events_again(desk: Desk) -> None:
    name = desk.walk(*START, replies=REFER)[0]["case"]
    before = desk.walk("cases", "--open")
    base = sqlite3.connect(desk.log)
    base.execute("UPDATE cases SET summary = '{'")
    base.commit()
    assert desk.walk("cases", "--open") == before
    base.execute("UPDATE events SET body = '{' WHERE number = 3")
    base.commit()
    base.close()
    ((row,),) = desk.walk("cases", "--open")
    assert (row["state"], row["case"]) == ("out of use", name)
    assert row["why"] == "the log is damaged at event 3 of this case"
    assert row["waiting"][0]["damaged"] == 3
    assert desk("release", "dock", "--name", "Bo")[0] == 0
