"""A workshop with forty machines of three kinds: who is offered what, and what is overdue."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from strategies.desk import NOW, Desk
from strategies.fleet import ONLY, machines, write_fleet

from diagnose import app
from diagnose.files.library import load
from diagnose.rules.check import check

if TYPE_CHECKING:
    from pathlib import Path

DOOR = """\
format: 3
symptom: {name}
title: Something else altogether
start: look
{kinds}steps:
  look:
    ask: Which is it?
    answers: {{Belt: belt, Other: other}}
  belt: {{finding: It is the belt., chance: 50, continue_with: symptom-03}}
  other: {{finding: Unknown., chance: 50, who: operator, remedy: Look again.}}
"""


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    desk = Desk(tmp_path, monkeypatch)
    desk.library = write_fleet(tmp_path / "fleet")
    return desk


def ids(screen: dict[str, Any]) -> list[str]:
    return [one["id"] for one in screen["options"]]


def test_the_fleet_is_sound(desk: Desk) -> None:
    assert check(load(desk.library)) == []


def test_a_machine_is_offered_the_symptoms_of_its_kind(desk: Desk) -> None:
    every = {f"symptom-{number:02}" for number in range(1, 21)}
    for machine, kind in (("walker-01", "walker"), ("rider-20", "rider"), ("none", "")):
        offered = ids(desk.walk("start", "--machine", machine, "--trial")[0])
        assert set(offered) == {name for name in every if not kind or kind in ONLY.get(name, kind)}


def test_a_machine_without_a_kind_is_offered_everything(desk: Desk) -> None:
    desk.card("plain")
    assert len(ids(desk.walk("start", "--machine", "plain", "--trial")[0])) == 20


def test_a_symptom_of_another_kind_is_refused_with_a_line(desk: Desk) -> None:
    said = (
        '"symptom-07" is for other machines: walker-01 is of the kind walker, and it is for the '
        "kind rider or sweeper."
    )
    for verb in ("start", "drill", "quiz", "sheets"):
        output = ("-o", str(desk.folder / "out.pdf")) if verb in ("quiz", "sheets") else ()
        code, out, err = desk(verb, "symptom-07", "--machine", "walker-01", *output)
        assert (code, out) == (2, "")
        assert said in err
    assert desk("drill", "symptom-07", "--machine", "rider-20", "--json")[0] == 1


def test_own_words_fit_only_what_the_machine_can_have(desk: Desk) -> None:
    _, refused, again, *_ = desk.walk(
        "start", "--machine", "walker-01", replies=("hopper jams", "leave")
    )
    assert refused["screen"] == "refused"
    assert "is for other machines: walker-01 is of the kind walker" in refused["message"]
    assert "symptom-07" not in ids(again)
    _, step, *_ = desk.walk("start", "--machine", "rider-20", replies=("hopper jams",))
    assert step["symptom"] == "symptom-07"


def test_a_symptom_that_is_named_offers_its_machines_only(desk: Desk) -> None:
    screens = desk.walk("start", "symptom-03", replies=("walker-01", "27"))
    assert {name.partition("-")[0] for name in ids(screens[0])} == {"rider"}
    assert "walker-01 is of the kind walker, and it is for the kind rider." in screens[1]["message"]
    assert screens[3]["symptom"] == "symptom-03"


def test_a_symptom_that_no_machine_has_is_said(desk: Desk) -> None:
    for path in (desk.library / "machines").glob("rider-*.yaml"):
        path.unlink()
    code, _, err = desk("start", "symptom-03", "--json", replies=("walker-01",))
    assert code == 2
    assert "is for other machines" in err


def test_a_round_of_another_kind_is_refused_and_not_listed(desk: Desk) -> None:
    code, _, err = desk("round", "battery", "--machine", "walker-01")
    assert code == 2
    assert 'The round "battery" is for other machines: walker-01 is of the kind walker' in err
    listed = [row["round"] for row in desk.walk("round", "--machine", "walker-01")[0]]
    assert listed == ["before", "clean", "weekly"]
    assert "battery  every month  1 min  The battery round (rider, sweeper)" in desk("round")[1]
    assert not {name for name in ids(desk.walk("round", "battery")[0]) if "walker" in name}


def test_what_is_overdue_comes_first_and_the_rest_is_counted(desk: Desk) -> None:
    desk("round", "--due")
    walked = {"rider-20": 50, "walker-01": 13, "sweeper-28": 200, "rider-15": 2}
    for machine, hours in walked.items():
        desk.at(NOW - timedelta(hours=hours))
        desk.walk("round", "before", "--machine", machine, replies=("done",))
    desk.at(NOW)
    # Each kind has three rounds, riders and sweepers have a fourth.
    pairs = 3 * 40 + 26
    (entries,) = desk.walk("round", "--due")
    assert len(entries) == pairs
    lines = desk("round", "--due")[1].splitlines()
    # What was never walked takes a line a machine.
    assert len(lines) == 3 + 40 + 1
    assert [line.split()[0] for line in lines[:3]] == ["sweeper-28", "rider-20", "walker-01"]
    assert {line.split()[0] for line in lines[3:-1]} == {*machines()}
    assert "walker-01  never walked: clean, weekly" in lines
    assert lines[-1] == "Not overdue: 1. `--all` lists these too."
    every = desk("round", "--due", "--all")[1].splitlines()
    assert len(every) == pairs
    assert every[-1] == "rider-15  before  last walked 2 h ago, due every shift, in time"
    one = desk("round", "--due", "--machine", "walker-01")[1].splitlines()
    assert [line.split()[1] for line in one] == ["before", "clean", "weekly"]


def test_all_is_for_what_is_due(desk: Desk) -> None:
    code, _, err = desk("round", "--all")
    assert code == 2
    assert "`--all` goes with --due." in err


def test_a_doorway_into_another_kind_is_shut(desk: Desk) -> None:
    (desk.library / "door.yaml").write_text(DOOR.format(name="door", kinds=""))
    open_ = desk.walk("start", "door", "--machine", "rider-20", "--trial", replies=("Belt",))
    assert open_[1]["symptom"] == "symptom-03"
    shut = desk.walk("start", "door", "--machine", "walker-01", "--trial", replies=("Belt",))
    assert shut[1]["symptom"] == "door"
    assert "symptom-03 cannot be opened" in shut[1]["notes"][0]


def test_what_an_item_starts_is_noted_where_the_machine_cannot_have_it(desk: Desk) -> None:
    path = desk.library / "rounds" / "before.yaml"
    path.write_text(path.read_text().replace("symptom-01", "symptom-03"))
    screens = desk.walk("round", "before", "--machine", "walker-01", replies=("not right",))
    assert screens[-1]["outcome"] == "walked"
    assert len(desk.cases()) == 1


@pytest.mark.parametrize(
    ("name", "text", "code", "at"),
    [
        ("door.yaml", DOOR.format(name="door", kinds="kinds: [ridre]\n"), "unknown-kind", (5, 9)),
        ("door.yaml", DOOR.format(name="door", kinds="kinds: [walker]\n"), "other-kinds", (10, 63)),
        (
            "rounds/odd.yaml",
            "format: 3\nround: odd\ntitle: Odd\nevery: day\nkinds: [walker, ridre]\n"
            "items:\n  look: {do: Look., starts: symptom-01}\n",
            "unknown-kind",
            (5, 17),
        ),
        (
            "rounds/odd.yaml",
            "format: 3\nround: odd\ntitle: Odd\nevery: day\nkinds: [walker]\n"
            "items:\n  look: {do: Look., starts: symptom-03}\n",
            "other-kinds",
            (7, 29),
        ),
        ("rounds/odd.yaml", "format: 2\nround: odd\ntitle: Odd\nevery: day\nkinds: [rider]\n"
         "items:\n  look: {do: Look.}\n", "later-key", (5, 1)),
        ("rounds/odd.yaml", "format: 3\nround: odd\ntitle: Odd\nevery: day\nkinds: []\n"
         "items:\n  look: {do: Look.}\n", "too-few", (5, 8)),
    ],
)  # fmt: skip
def test_what_is_wrong_with_kinds(
    desk: Desk, name: str, text: str, code: str, at: tuple[int, int]
) -> None:
    (desk.library / name).write_text(text)
    (problem,) = check(load(desk.library))
    assert (problem.code, problem.line, problem.column) == (code, *at)


def test_machines_out_of_use_are_marked_in_the_list(desk: Desk) -> None:
    desk.walk("start", "symptom-01", "--machine", "rider-27", replies=("danger", "smoke"))
    options = {one["id"]: one for one in desk.walk("start", replies=("leave",))[0]["options"]}
    assert options["rider-27"]["state"] == "out of use"
    assert options["rider-26"]["state"] == ""
    assert "Yard rider 27 (R7813): out of use" in desk("start", "--plain", replies=("leave",))[1]
    # A trial looks nothing up.
    trial = desk.walk("start", "--trial", replies=("leave",))[0]["options"]
    assert {one["state"] for one in trial} == {""}


@pytest.mark.parametrize("face", ["--plain", "--json"])
def test_a_part_is_taken_by_lines_too(desk: Desk, face: str) -> None:
    for part in ("27", "rider-27", "yard RIDER 27", "R7813", "7813"):
        code, out, _ = desk("start", "--trial", face, replies=(part, "leave"))
        assert code == 0
        assert "What is wrong with it" in out or '"what": "symptom"' in out
        assert "No machine here" not in out


def test_what_fits_several_is_asked_again_among_them(desk: Desk) -> None:
    screens = desk.walk("start", "--trial", replies=("sweeper 3", "1", "leave"))
    assert screens[1]["notes"] == ['"sweeper 3" is part of 10 machines. Which is it?']
    assert len(ids(screens[1])) == 10
    having = [one for one in screens[1]["options"] if "1" in f"{one['id']}{one['serial']}"]
    assert ids(screens[2]) == [one["id"] for one in having]
    assert screens[2]["notes"] == [f'"1" is part of {len(having)} machines. Which is it?']
    few = desk.walk("start", "--trial", replies=("sweeper 4", "back", "rider 2", "x", "leave"))
    # Only one machine has it.
    assert few[1]["what"] == "symptom"
    back = desk.walk("start", "--trial", replies=("rider 2", "back", "back", "leave"))
    assert len(ids(back[2])) == 40
    assert back[3]["screen"] == "refused"
    # In the list that is left a number is a place again.
    some = desk.walk("start", "--trial", replies=("walker 0", "none"))
    assert len(ids(some[1])) == 9
    assert some[2]["what"] == "symptom"


def test_nothing_like_it_is_refused_with_what_was_meant(desk: Desk) -> None:
    screens = desk.walk("start", "--trial", replies=("R-7813", "", "rdier-27", "leave"))
    assert "No machine here is" in screens[1]["message"]
    assert 'Did you mean "R7813"?' in screens[1]["message"]
    assert 'Did you mean "rider-27"?' in screens[5]["message"]


def test_sheets_of_a_machine_are_those_of_its_kind(desk: Desk) -> None:
    out = desk.folder / "all.pdf"
    (written,) = desk.walk("sheets", "--all", "--machine", "walker-01", "-o", str(out))
    assert {one["symptom"] for one in written["files"]} == {
        f"symptom-{number:02}" for number in range(1, 21)
    } - {"symptom-03", "symptom-07", "symptom-11"}


def test_the_serials_of_the_fleet_differ(capsys: pytest.CaptureFixture[str]) -> None:
    assert len({serial for _, _, serial in machines().values()}) == 40
    assert app.run(["round", "--json", "--machine", "none"]) == 0
    assert all(not row["kinds"] for row in json.loads(capsys.readouterr().out))
