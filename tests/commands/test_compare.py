"""`diagnose compare` as a technician uses it before an edit goes live."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from diagnose import app
from diagnose.files.library import CHANGES

if TYPE_CHECKING:
    from collections.abc import Callable

CAUTIONS = """\
format: 2
hazards:
  drive: {title: Brushes can turn}
  acid: {title: Acid}
cautions:
  gloves:
    title: Gloves
    signal: CAUTION
    signs: [M009]
    covers: [acid]
    lapses: never
    text: Put gloves on.
    confirm: [Gloves are on.]
  dead:
    title: Machine dead
    signal: WARNING
    signs: [M021]
    covers: [drive]
    lapses: when energised
    lockout: true
    confirm_lines: each
    text: Make it dead before hands go near it.
    confirm: [The connector is apart., My tag is on.]
    release: [My hands are out.]
"""

TREE = """\
format: 2
symptom: still
title: The brush stands still
start: lamp
steps:
  lamp:
    ask: What does the lamp show?
    answers: {It is dark: brush, It glows: motor}
  brush:
    do: Turn the brush by hand.
    ask: Does it turn?
    hazards: [drive]
    answers: {It turns: motor, It is stuck: string}
  motor:
    ask: Is the motor warm?
    hazards: [drive]
    answers: {Warm: overload, Cold: worn}
  string: {finding: String on the hub, chance: 5, who: operator, hazards: [drive], remedy: Cut it.}
  overload: {finding: Too much pressure, chance: 3, who: operator, remedy: Set it lower.}
  worn:
    finding: Worn brushes in the motor
    chance: 2
    who: service
    leave_safe: Leave the key out.
    until_mended: out of use
    ask_service: Ask for the motor's brushes.
worked_cases:
  - {name: string, answers: {lamp: It is dark, brush: It is stuck}, finding: string}
  - {name: pressed, answers: {lamp: It glows, motor: Warm}, finding: overload}
"""

ROUND = """\
format: 2
round: daily
title: Before work
every: day
items:
  look: {do: Look at the hub., hazards: [drive]}
  wipe: {do: Wipe the terminals., hazards: [acid], stops: true}
"""


@pytest.fixture
def old(tmp_path: Path) -> Path:
    folder = tmp_path / "old"
    (folder / "rounds").mkdir(parents=True)
    (folder / "cautions.yaml").write_text(CAUTIONS, "utf-8")
    (folder / "still.yaml").write_text(TREE, "utf-8")
    (folder / "rounds" / "daily.yaml").write_text(ROUND, "utf-8")
    return folder


@pytest.fixture
def new(old: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(old, tmp_path / "new"))


@pytest.fixture
def compare(
    old: Path, new: Path, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    def run(*args: str, paths: tuple[Path, ...] = (old, new)) -> tuple[int, str, str]:
        code = app.run(["compare", *map(str, paths), *args])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def edit(folder: Path, name: str, was: str, now: str) -> None:
    path = folder / name
    text = path.read_text("utf-8")
    assert text.count(was) == 1, was
    path.write_text(text.replace(was, now), "utf-8")


def test_two_copies_are_the_same(compare: Any) -> None:
    assert compare() == (0, "Nothing that anybody sees or does has changed.\n", "")
    code, out, _ = compare("--format", "md")
    assert (code, out) == (0, "## No caution is lost\n\n")


def test_comments_and_layout_are_no_change(compare: Any, new: Path) -> None:
    edit(new, "still.yaml", "start: lamp\n", "# Where it begins.\nstart:   lamp\n")
    assert compare()[:2] == (0, "Nothing that anybody sees or does has changed.\n")


def test_a_lost_caution_is_first_with_its_route(compare: Any, new: Path) -> None:
    edit(
        new, "still.yaml", "    ask: Is the motor warm?\n    hazards: [drive]\n", "    ask: Warm?\n"
    )
    code, out, err = compare()
    assert (code, err) == (1, "")
    # Who comes by the brush has locked it out there.
    assert out.splitlines() == [
        "People are guarded less in 3 places:",
        "! still, motor: dead is no longer in force on some route.",
        "  lamp (It glows) → motor",
        "! still, overload: dead is no longer in force on some route.",
        "  lamp (It glows) → motor (Warm) → overload",
        "! still, worn: dead is no longer in force on some route.",
        "  lamp (It glows) → motor (Cold) → worn",
        "still: The brush stands still",
        "  step motor: other hazards, ask",
        "  minutes to the finding: 3.2 → 3.0",
        "  lockouts a case: 1.00 → 0.75",
    ]


def test_what_another_program_reads(compare: Any, new: Path) -> None:
    edit(new, "still.yaml", "{It is dark: brush, It glows: motor}", "{Dark: brush, It glows: worn}")
    edit(new, "still.yaml", "chance: 5,", "chance: 6,")
    edit(new, "still.yaml", "lamp: It is dark", "lamp: Dark")
    edit(
        new,
        "still.yaml",
        "  - {name: pressed, answers: {lamp: It glows, motor: Warm}",
        "  - {name: hot, answers: {lamp: Dark, brush: It turns, motor: Warm}",
    )
    code, out, _ = compare("--json")
    data = json.loads(out)
    assert code == 1
    assert set(data) == {"cautions.yaml", "still", "rounds/daily"}
    still = data["still"]
    assert still["findings"] == {
        "added": [],
        "removed": [],
        "changed": [{"id": "string", "keys": ["chance"]}],
        "renamed": [],
    }
    assert still["steps"]["changed"] == [
        {
            "id": "lamp",
            "keys": ["answers"],
            "answers": {
                "added": ["Dark"],
                "removed": ["It is dark"],
                "led": [["It glows", "motor", "worn"]],
            },
        }
    ]
    assert still["cautions"] == [{"step": "worn", "lost": ["dead"], "gained": []}]
    assert still["worked_cases"] == {
        "passed": ["string", "hot"],
        "failed": [],
        "lost": ["pressed"],
        "missing": [],
    }
    assert still["minutes"]["old"] == pytest.approx(3.25)
    assert set(still["lockouts"]) == {"old", "new"}


def test_what_guards_people_less(compare: Any, old: Path, new: Path) -> None:
    lower = "remedy: Set it lower."
    edit(old, "still.yaml", lower, f"{lower}, leave_safe: Park it.")
    edit(new, "cautions.yaml", "signal: WARNING", "signal: CAUTION")
    edit(new, "cautions.yaml", ", My tag is on.]", "]")
    edit(new, "cautions.yaml", "    confirm_lines: each\n", "")
    edit(
        new,
        "still.yaml",
        "    until_mended: out of use\n",
        "    until_mended: Use it on level floors only.\n",
    )
    edit(new, "rounds/daily.yaml", ", stops: true", "")
    code, out, _ = compare()
    assert code == 1
    assert [line for line in out.splitlines() if line.startswith("!")] == [
        "! cautions.yaml, dead: its signal word is CAUTION and was WARNING.",
        "! cautions.yaml, dead: its lines are confirmed together and were confirmed one by one.",
        '! cautions.yaml, dead: the line "My tag is on." is no longer confirmed.',
        "! still, overload: it no longer says how to leave the machine.",
        "! still, worn: the machine is no longer out of use until it is mended.",
        "! rounds/daily, wipe: it no longer stops the round.",
    ]


@pytest.mark.parametrize(
    ("name", "was", "now", "said"),
    [
        (
            "cautions.yaml",
            "    lockout: true\n",
            "",
            "cautions.yaml, dead: it is no lockout any more.",
        ),
        (
            "cautions.yaml",
            "signs: [M009]",
            "signs: []",
            "cautions.yaml, gloves: the sign M009 is gone.",
        ),
        (
            "cautions.yaml",
            "release: [My hands are out.]",
            "release: [Lid is shut.]",
            'cautions.yaml, dead: the line "My hands are out." is no longer confirmed at its release.',
        ),
        (
            "still.yaml",
            "who: service",
            "who: operator\n    remedy: Change them.",
            "still, worn: it was for service and is for operator.",
        ),
        (
            "rounds/daily.yaml",
            "hazards: [acid]",
            "by: operator",
            "rounds/daily, wipe: gloves is no longer in force on any route.",
        ),
    ],
)
def test_each_way_to_guard_less(
    compare: Any, new: Path, name: str, was: str, now: str, said: str
) -> None:
    edit(new, name, was, now)
    code, out, err = compare()
    assert (code, err) == (1, ""), out + err
    assert f"! {said}" in out.splitlines()


def test_a_caution_that_outlasts_what_ended_it(compare: Any, old: Path, new: Path) -> None:
    was = "lapses: never\n    text: Put gloves on."
    now = "lapses: when energised\n    text: Put gloves on.\n    release: [Gloves are off.]"
    edit(old, "cautions.yaml", was, now)
    code, out, _ = compare()
    assert code == 1
    assert "! cautions.yaml, gloves: it no longer ends when the machine runs." in out.splitlines()


def test_a_hazard_that_service_alone_met(compare: Any, old: Path, new: Path) -> None:
    edit(
        old,
        "cautions.yaml",
        "acid: {title: Acid}",
        "acid: {title: Acid}\n  mains: {title: Mains, service_only: true}",
    )
    edit(
        new, "cautions.yaml", "acid: {title: Acid}", "acid: {title: Acid}\n  mains: {title: Mains}"
    )
    edit(new, "cautions.yaml", "covers: [acid]", "covers: [acid, mains]")
    code, out, _ = compare()
    assert code == 1
    assert "! cautions.yaml, mains: it is no longer for service only." in out.splitlines()


def test_an_id_alone_is_no_loss(compare: Any, new: Path) -> None:
    for name in ("still.yaml", "cautions.yaml"):
        path = new / name
        text = (
            path.read_text("utf-8")
            .replace("motor:", "drive-motor:")
            .replace(": motor", ": drive-motor")
        )
        path.write_text(text.replace("dead:", "locked-out:"), "utf-8")
    code, out, err = compare()
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "cautions.yaml",
        "  caution dead: called locked-out now",
        "still: The brush stands still",
        "  step motor: called drive-motor now",
        "No caution is lost, and nothing guards people less.",
    ]


def test_what_names_a_step_by_its_new_id_is_no_change(compare: Any, old: Path, new: Path) -> None:
    more = "    hazards: [drive]\n    after: [lamp]\n    same_as: brush\n    answers: {Warm"
    for folder, brush, lamp in ((old, "brush", "lamp"), (new, "hub", "light")):
        edit(folder, "still.yaml", "    hazards: [drive]\n    answers: {Warm", more)
        edit(
            folder,
            "still.yaml",
            "{Warm: overload, Cold: worn}",
            "{It turns: overload, It is stuck: worn}",
        )
        edit(folder, "still.yaml", "motor: Warm", "motor: It turns")
        path = folder / "still.yaml"
        text = path.read_text("utf-8").replace("lamp", lamp).replace(f"the {lamp}", "the lamp")
        text = text.replace("brush:", f"{brush}:").replace(": brush", f": {brush}")
        path.write_text(text, "utf-8")
    code, out, err = compare()
    assert (code, err) == (0, ""), out + err
    assert out.splitlines() == [
        "still: The brush stands still",
        "  step lamp: called light now",
        "  step brush: called hub now",
        "No caution is lost, and nothing guards people less.",
    ]


def test_a_check_that_becomes_a_reading_and_bands_that_move(
    compare: Any, old: Path, new: Path
) -> None:
    bands = (
        "bands:\n      - {below: 40, call: Cold, go: worn}\n      - {otherwise: Warm, go: overload}"
    )
    asks = "    ask: Is the motor warm?\n    hazards: [drive]\n    answers: {Warm: overload, Cold: worn}"
    edit(new, "still.yaml", asks, f"    read: value\n    hazards: [drive]\n    {bands}")
    code, out, _ = compare()
    assert code == 0
    assert "  step motor: other kind" in out.splitlines()
    shutil.copy(new / "still.yaml", old / "still.yaml")
    edit(new, "still.yaml", "below: 40", "below: 45")
    assert compare()[1].splitlines()[1] == "  step motor: other bands"


def test_steps_that_change_places(compare: Any, new: Path) -> None:
    edit(new, "still.yaml", "start: lamp", "start: brush")
    edit(
        new,
        "still.yaml",
        "{It is dark: brush, It glows: motor}",
        "{It is dark: string, It glows: motor}",
    )
    edit(
        new,
        "still.yaml",
        "{It turns: motor, It is stuck: string}",
        "{It turns: lamp, It is stuck: string}",
    )
    edit(
        new,
        "still.yaml",
        "  - {name: string, answers: {lamp: It is dark, brush",
        "  - {name: string, answers: {brush",
    )
    edit(
        new,
        "still.yaml",
        "  - {name: pressed, answers: {lamp: It glows",
        "  - {name: pressed, answers: {brush: It turns, lamp: It glows",
    )
    code, out, _ = compare()
    assert "  step brush: comes before lamp now" in out.splitlines()
    assert "  step lamp: gains dead" in out.splitlines()
    assert code == 0


def test_trees_and_rounds_that_come_and_go(compare: Any, old: Path, new: Path) -> None:
    (new / "still.yaml").rename(new / "turns.yaml")
    edit(new, "turns.yaml", "symptom: still", "symptom: turns")
    (new / "rounds" / "daily.yaml").unlink()
    assert compare()[1].splitlines() == [
        "still: The brush stands still",
        "  It is gone.",
        "turns: The brush stands still",
        "  It is new.",
        "  warning: finding worn is new, and no worked case ends there",
        "rounds/daily: Before work",
        "  It is gone.",
        "No caution is lost, and nothing guards people less.",
    ]


def test_a_loss_is_allowed_by_name_with_a_reason(compare: Any, new: Path) -> None:
    edit(new, "rounds/daily.yaml", ", hazards: [acid]", "")
    code, _, err = compare("--allow", "wipe")
    assert (code, err) == (2, "diagnose: Say who allows it and why: --name WHO --because WHY.\n")
    code, _, err = compare("--allow", "wype", "--name", "Ana", "--because", "Sealed")
    assert (code, err) == (
        2,
        'diagnose: Nothing of "wype" is lost or weaker. Did you mean "wipe"?\n',
    )
    assert not (new / CHANGES).exists()
    for _ in range(2):
        code, out, err = compare("--allow", "wipe", "--name", "Ana", "--because", "Sealed  cells")
        assert (code, err) == (0, "")
        assert out.splitlines()[0] == (
            "Allowed: rounds/daily, wipe: gloves is no longer in force on any route."
        )
        assert out.splitlines()[-1] == f"Allowed by Ana: noted in {new / CHANGES}."
    said = (new / CHANGES).read_text("utf-8").splitlines()
    # Said again for the same reason, it is not written again.
    assert len(said) == 2
    assert said[0].endswith("  Ana")
    assert said[1] == (
        "  rounds/daily, wipe: gloves is no longer in force on any route: Sealed cells"
    )
    assert app.run(["check", "--trees", str(new)]) == 0


def test_one_that_is_not_allowed_stays_loud(compare: Any, new: Path) -> None:
    edit(new, "rounds/daily.yaml", ", hazards: [acid], stops: true", "")
    edit(new, "rounds/daily.yaml", ", hazards: [drive]", "")
    code, out, _ = compare("--allow", "rounds/daily.wipe", "--name", "A", "--because", "B")
    assert code == 1
    told = out.splitlines()
    assert "! rounds/daily, look: dead is no longer in force on any route." in told
    assert "Allowed: rounds/daily, wipe: gloves is no longer in force on any route." in told
    assert not (new / CHANGES).exists()


def test_a_worked_case_that_ends_elsewhere(compare: Any, new: Path) -> None:
    edit(
        new,
        "still.yaml",
        "answers: {Warm: overload, Cold: worn}",
        "answers: {Warm: worn, Cold: overload}",
    )
    code, out, _ = compare()
    assert code == 1
    assert '  worked case "pressed": it ends elsewhere now' in out.splitlines()


def test_what_cannot_be_compared(compare: Any, old: Path, new: Path, tmp_path: Path) -> None:
    edit(new, "still.yaml", "hazards: [drive], remedy", "hazards: [drve], remedy")
    code, out, err = compare()
    assert (code, err) == (1, "")
    assert "unknown-hazard" in out
    assert out.splitlines()[-1] == "Mend these first: `diagnose check` lists all."
    code, out, _ = compare("--json")
    assert code == 1
    assert [one["code"] for one in json.loads(out)["problems"]] == ["unknown-hazard"]
    # An old tree that had errors says nothing of what it called.
    code, out, err = compare(paths=(new, old))
    assert (code, err) == (1, "")
    assert "! still: the old one had errors, so nobody can say what was lost." in out.splitlines()
    edit(new, "cautions.yaml", "covers: [drive]", "covers: [drve]")
    code, out, err = compare(paths=(new, old))
    assert (code, out) == (3, "")
    assert err.endswith("nobody can say what was lost from it.\n")


@pytest.mark.parametrize(
    ("paths", "code", "said"),
    [
        ((), 2, "Give two folders or two trees, the old one first; or --git REV."),
        (("old",), 2, "Give two folders or two trees, the old one first; or --git REV."),
        (("old", "new/still.yaml"), 2, "Give two folders, or two trees: not one of each."),
        (("old", "nowhere"), 2, "Give two folders, or two trees: not one of each."),
        (("none", "nowhere"), 3, "no library there"),
        (("old/gone.yaml", "new/still.yaml"), 3, "no tree can be read there."),
    ],
)
def test_wrong_paths_are_one_line(
    compare: Any, tmp_path: Path, paths: tuple[str, ...], code: int, said: str
) -> None:
    found = compare(paths=tuple(tmp_path / path for path in paths))
    assert found[:2] == (code, "")
    assert said in found[2]
    assert found[2].count("\n") == 1


def test_two_files_are_two_versions_of_a_tree(compare: Any, old: Path, new: Path) -> None:
    edit(new, "still.yaml", "ask: Does it turn?\n    hazards: [drive]", "ask: Does it turn?")
    (new / "still.yaml").rename(new / "turns.yaml")
    edit(new, "turns.yaml", "symptom: still", "symptom: turns")
    code, out, err = compare(paths=(old / "still.yaml", new / "turns.yaml"))
    assert (code, err) == (1, "")
    assert "! turns, brush: dead is no longer in force on any route." in out.splitlines()
    assert "daily" not in out


def test_a_page_for_a_review(compare: Any, new: Path) -> None:
    edit(new, "rounds/daily.yaml", ", hazards: [acid]", "")
    edit(new, "still.yaml", "ask: Does it turn?", "ask: Does *it* turn?")
    code, out, _ = compare("--format", "md")
    assert code == 1
    assert out.splitlines() == [
        "## People are guarded less in 1 place",
        "",
        "- **rounds/daily, wipe: gloves is no longer in force on any route**",
        "  look → wipe",
        "",
        "### still: The brush stands still",
        "",
        "- step brush: other ask",
        "",
        "### rounds/daily: Before work",
        "",
        "- item wipe: other hazards",
    ]


def test_a_change_log_that_cannot_be_read(compare: Any, new: Path) -> None:
    edit(new, "rounds/daily.yaml", ", hazards: [acid]", "")
    (new / CHANGES).mkdir()
    code, _, err = compare("--allow", "wipe", "--name", "Ana", "--because", "Sealed")
    assert code == 3
    assert err.startswith(f"diagnose: {new / CHANGES}: ")
    assert err.endswith("; nothing was allowed.\n")
    assert err.count("\n") == 1


@pytest.mark.skipif(shutil.which("git") is None, reason="git is not here")
def test_a_library_under_git(compare: Any, new: Path, tmp_path: Path) -> None:
    def git(*args: str) -> None:
        who = (
            "-c",
            "user.name=Bo",
            "-c",
            "user.email=bo@example.org",
            "-c",
            "commit.gpgsign=false",
        )
        subprocess.run(["git", "-C", str(new), *who, *args], check=True, capture_output=True)

    code, _, err = compare("--git", "HEAD", paths=(new,))
    assert code == 3
    assert err.endswith("this folder is not under git; give two folders instead.\n")
    git("init")
    git("add", ".")
    git("commit", "-m", "As it was")
    edit(new, "rounds/daily.yaml", ", hazards: [acid]", "")
    code, out, err = compare("--git", "HEAD", paths=(new,))
    assert (code, err) == (1, "")
    assert "! rounds/daily, wipe: gloves is no longer in force on any route." in out.splitlines()
    assert compare("--git", "HEAD", "--trees", str(new), paths=())[0] == 1
    code, out, _ = compare("--git", "HEAD", paths=(new / "still.yaml",))
    assert (code, out) == (0, "Nothing that anybody sees or does has changed.\n")
    for revision in ("nowhere", "--help", "HEAD~7"):
        code, out, err = compare(f"--git={revision}", paths=(new,))
        assert (code, out) == (2, "")
        assert f'git knows no revision "{revision}" here' in err
    (new / "later").mkdir()
    shutil.copy(new / "still.yaml", new / "later")
    code, _, err = compare("--git", "HEAD", paths=(new / "later",))
    assert code == 2
    assert err.endswith('later: there was nothing of it at "HEAD".\n')
    code, _, err = compare("--git", "HEAD", paths=(new, new))
    assert (code, err) == (
        2,
        "diagnose: With --git the old one is a revision: give one folder or tree.\n",
    )


def test_without_git_it_is_one_line(
    compare: Any, new: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", "")
    code, _, err = compare("--git", "HEAD", paths=(new,))
    assert code == 3
    assert err.endswith("git cannot be run; give two folders instead.\n")


def test_what_was_allowed_before_stays(compare: Any, new: Path) -> None:
    edit(new, "rounds/daily.yaml", ", hazards: [acid]", "")
    (new / CHANGES).write_bytes(b"Kept without an end")
    assert compare("--allow", "wipe", "--name", "Ana", "--because", "Sealed")[0] == 0
    said = (new / CHANGES).read_text("utf-8").splitlines()
    assert said[0] == "Kept without an end"
    assert len(said) == 3


# Machines, their cards and kinds, the site

MACHINES = {
    "site.yaml": (
        "format: 2\nname: Here\naltitude: 300 m\nalso_danger: [fizzing]\n"
        "call:\n  emergency: {name: Gate, phone: 555-0100}\n"
        "  service: {name: Demo service, phone: 555-0111}\n"
    ),
    "machines/kinds/small.yaml": "format: 2\nkind: small\ntitle: A small one\n",
    "machines/kinds/large.yaml": "format: 2\nkind: large\ntitle: A large one\npath_width: 90 cm\n",
    "machines/dock.yaml": (
        "format: 2\nmachine: dock\ntitle: Dock machine\nkind: small\n"
        "battery: {kind: flooded}\ncaution_minutes: {dead: 6}\n"
    ),
    "machines/aisle.yaml": (
        "format: 2\nmachine: aisle\ntitle: Aisle machine\nkind: small\nbattery: {kind: flooded}\n"
    ),
}


@pytest.fixture
def shop(old: Path, new: Path) -> Path:
    """Both versions with machines; the new one, to be edited."""
    for folder in (old, new):
        (folder / "machines" / "kinds").mkdir(parents=True)
        for name, text in MACHINES.items():
            (folder / name).write_text(text, "utf-8")
    return new


def again(folder: Path, name: str, was: str, now: str) -> None:
    """Change a text wherever it stands in a file, and say that the file is of format 3."""
    path = folder / name
    text = path.read_text("utf-8").replace("format: 2", "format: 3", 1)
    assert was in text
    path.write_text(text.replace(was, now), "utf-8")


def test_machines_that_are_the_same_say_nothing(compare: Any, shop: Path) -> None:
    assert compare() == (0, "Nothing that anybody sees or does has changed.\n", "")
    assert set(json.loads(compare("--json")[1])) == {"cautions.yaml", "still", "rounds/daily"}


def test_an_item_that_loses_a_caution_is_first(compare: Any, new: Path) -> None:
    edit(new, "rounds/daily.yaml", "Look at the hub., hazards: [drive]", "Look at the hub.")
    code, out, _ = compare()
    assert code == 1
    assert out.splitlines()[:2] == [
        "People are guarded less in 2 places:",
        "! rounds/daily, look: dead is no longer in force on any route.",
    ]
    assert compare("--allow", "dead", "--name", "Ana", "--because", "The hub is covered.")[0] == 0


def test_the_lines_of_a_card_that_only_tell(compare: Any, shop: Path) -> None:
    edit(shop, "machines/dock.yaml", "{dead: 6}", "{dead: 8}\ncall_out_minutes: 90")
    edit(shop, "machines/kinds/large.yaml", "path_width: 90 cm", "working_speed: 4 km/h")
    edit(shop, "site.yaml", "555-0111", "555-0122")
    (shop / "machines" / "ramp.yaml").write_text("format: 2\nmachine: ramp\ntitle: Ramp one\n")
    (shop / "machines" / "aisle.yaml").unlink()
    code, out, _ = compare()
    assert code == 0
    assert out.splitlines() == [
        "machines/aisle: Aisle machine",
        "  It is gone.",
        "machines/dock: Dock machine",
        "  call_out_minutes: new, 90",
        "  caution_minutes.dead: 8, was 6",
        "machines/ramp: Ramp one",
        "  It is new.",
        "machines/kinds/large: A large one",
        "  working_speed: new, 4 km/h",
        "  path_width: gone, was 90 cm",
        "site.yaml: the site",
        "  call.service.phone: 555-0122, was 555-0111",
        "No caution is lost, and nothing guards people less.",
    ]
    data = json.loads(compare("--json")[1])
    assert data["machines/dock"]["lines"] == {
        "added": {"call_out_minutes": "90"},
        "removed": {},
        "changed": [{"line": "caution_minutes.dead", "old": "6", "new": "8"}],
    }
    assert data["machines/ramp"] == {"added": True}
    assert data["machines/aisle"] == {"removed": True}
    page = compare("--format", "md")[1]
    assert "### machines/dock: Dock machine\n\n- call\\_out\\_minutes: new, 90\n" in page


def test_nobody_to_call_any_more(compare: Any, shop: Path) -> None:
    edit(shop, "site.yaml", "  service: {name: Demo service, phone: 555-0111}\n", "")
    code, out, _ = compare()
    assert code == 1
    assert out.splitlines()[:3] == [
        "People are guarded less in 2 places:",
        "! machines: nobody is named to call for service on aisle, dock.",
        "! site.yaml: it no longer says whom to call (service).",
    ]
    # A card that names somebody itself is enough for its machine.
    edit(shop, "machines/dock.yaml", "kind: small\n", "kind: small\nservice: {phone: 555-0133}\n")
    assert "for service on aisle." in compare()[1]
    names = ("--allow", "service", "--name", "Ana", "--because", "They moved.")
    assert compare(*names)[0] == 0
    said = (shop / CHANGES).read_text("utf-8")
    assert "site.yaml: it no longer says whom to call (service): They moved." in said


def test_a_word_that_means_danger_no_more(compare: Any, shop: Path) -> None:
    edit(shop, "site.yaml", "also_danger: [fizzing]\n", "")
    code, out, _ = compare()
    assert code == 1
    assert '! site.yaml: "fizzing" no longer means danger.' in out
    (shop / "site.yaml").unlink()
    assert compare()[0] == 1


def test_a_kind_that_takes_a_symptom_and_a_round_away(compare: Any, shop: Path) -> None:
    again(shop, "still.yaml", "start: lamp", "kinds: [large]\nstart: lamp")
    again(shop, "rounds/daily.yaml", "every: day", "every: day\nkinds: [large]")
    code, out, _ = compare()
    assert code == 1
    assert out.splitlines()[:3] == [
        "People are guarded less in 2 places:",
        "! still: it is no longer offered on aisle, dock.",
        "! rounds/daily: it is no longer offered on aisle, dock.",
    ]
    away = json.loads(compare("--json")[1])["machines/*"]["taken_away"]
    assert away == [
        {"what": "still", "machines": ["aisle", "dock"]},
        {"what": "rounds/daily", "machines": ["aisle", "dock"]},
    ]
    allowed = ("--allow", "still", "--allow", "rounds/daily", "--name", "Ana", "--because", "Few.")
    assert compare(*allowed)[0] == 0


def test_a_card_that_takes_a_symptom_away(compare: Any, shop: Path, old: Path) -> None:
    for folder in (old, shop):
        where = "start: lamp"
        again(folder, "still.yaml", where, f"applies_to: {{battery.kind: [flooded]}}\n{where}")
    edit(shop, "machines/dock.yaml", "kind: flooded", "kind: sealed")
    code, out, _ = compare()
    assert code == 1
    assert "! still: it is no longer offered on dock.\n" in out
    assert "  battery.kind: sealed, was flooded\n" in out


def test_a_card_that_takes_a_caution_away(compare: Any, shop: Path, old: Path) -> None:
    for folder in (old, shop):
        where = "  brush:\n"
        now = f"{where}    applies_to: {{battery.kind: [flooded]}}\n    passes: It turns\n"
        again(folder, "still.yaml", where, now)
        again(
            folder, "still.yaml", "    ask: Is the motor warm?\n    hazards: [drive]", "    ask: W?"
        )
    assert compare()[0] == 0
    edit(shop, "machines/dock.yaml", "kind: flooded", "kind: lithium")
    code, out, _ = compare()
    assert code == 1
    assert "! still, motor: dead is no longer in force on any route of dock.\n" in out
    assert "  lamp (It is dark) → brush (It turns) → motor\n" in out
    (first, *_) = json.loads(compare("--json")[1])["machines/*"]["cautions"]
    assert first == {"what": "still", "step": "motor", "lost": ["dead"], "machines": ["dock"]}


def test_many_machines_are_named_in_part(compare: Any, shop: Path, old: Path) -> None:
    for folder in (old, shop):
        for number in range(9):
            text = f"format: 2\nmachine: m-{number}\ntitle: Machine {number}\nkind: small\n"
            (folder / "machines" / f"m-{number}.yaml").write_text(text)
    again(shop, "still.yaml", "start: lamp", "kinds: [large]\nstart: lamp")
    assert "no longer offered on aisle, dock, m-0, m-1 and 7 more." in compare()[1]


def test_a_hazard_under_a_weaker_caution(compare: Any, new: Path) -> None:
    edit(new, "cautions.yaml", "    covers: [acid]", "    covers: [acid, drive]")
    edit(new, "cautions.yaml", "    covers: [drive]\n", "")
    out = compare()[1]
    assert (
        "! cautions.yaml, drive: a weaker caution stands over it, gloves instead of dead.\n" in out
    )
    # One that includes the old one is no weaker.
    edit(new, "cautions.yaml", "    lapses: never\n", "    lapses: never\n    includes: [dead]\n")
    assert "weaker caution" not in compare()[1]


# New findings, and ids that were changed


def test_a_new_finding_without_a_worked_case_is_a_warning(compare: Any, new: Path) -> None:
    edit(new, "still.yaml", "Cold: worn}", "Cold: worn, Damp: wet}")
    edit(
        new,
        "still.yaml",
        "worked_cases:",
        "  wet: {finding: Water in the motor, chance: 1, who: operator, remedy: Dry it.}\nworked_cases:",
    )
    code, out, _ = compare()
    assert code == 0
    assert "warning: finding wet is new, and no worked case ends there" in out
    assert json.loads(compare("--json")[1])["still"]["worked_cases"]["missing"] == ["wet"]
    path = new / "still.yaml"
    worked = "  - {name: damp, answers: {lamp: It glows, motor: Damp}, finding: wet}\n"
    path.write_text(path.read_text("utf-8") + worked, "utf-8")
    assert "no worked case ends there" not in compare()[1]


def test_a_new_symptom_names_the_findings_without_a_worked_case(compare: Any, new: Path) -> None:
    text = (new / "still.yaml").read_text("utf-8").replace("symptom: still", "symptom: other")
    (new / "other.yaml").write_text(text, "utf-8")
    code, out, _ = compare()
    assert code == 0
    assert "warning: finding worn is new" in out
    assert "finding string is new" not in out


def test_what_a_step_says_that_it_was_wins_over_its_words(compare: Any, new: Path) -> None:
    path = new / "still.yaml"
    text = path.read_text("utf-8").replace("format: 2", "format: 3")
    # The old words stand at another new step now, which would be taken for the old one.
    text = text.replace(
        "string: {finding: String on the hub", "rope: {was: [string], finding: A rope on the hub"
    )
    text = text.replace("It is stuck: string}", "It is stuck: rope, It slips: thread}")
    text = text.replace("finding: string}", "finding: rope}")
    text = text.replace(
        "worked_cases:",
        "  thread: {finding: String on the hub, chance: 1, who: operator, hazards: [drive], remedy: Cut it.}\n"
        "worked_cases:",
    )
    path.write_text(text, "utf-8")
    code, out, _ = compare("--json")
    assert code == 0
    found = json.loads(out)["still"]["findings"]
    assert found["renamed"] == [{"old": "string", "new": "rope"}]
    assert (found["added"], found["removed"]) == (["thread"], [])
    assert [one["keys"] for one in found["changed"]] == [["finding"]]


def test_a_caution_that_is_lost_under_a_new_id_and_other_words_is_told(
    compare: Any, new: Path
) -> None:
    path = new / "still.yaml"
    text = path.read_text("utf-8").replace("format: 2", "format: 3")
    text = text.replace(
        "  motor:\n    ask: Is the motor warm?\n    hazards: [drive]\n",
        "  warmth:\n    was: [motor]\n    ask: How warm is it?\n",
    )
    text = text.replace("It turns: motor", "It turns: warmth").replace(
        "It glows: motor", "It glows: warmth"
    )
    path.write_text(text.replace("motor: Warm", "warmth: Warm"), "utf-8")
    code, out, _ = compare()
    assert code == 1
    assert "still, warmth: dead is no longer in force" in out
