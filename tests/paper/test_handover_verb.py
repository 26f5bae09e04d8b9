"""`diagnose handover`: what is printed, what is written, and what is refused in one line."""

from __future__ import annotations

import errno
import json
import os
import shutil
import stat
from typing import TYPE_CHECKING

import pytest

from diagnose import app
from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Desk


@pytest.fixture
def name(desk: Desk, capsys: pytest.CaptureFixture[str]) -> str:
    name = desk.start("alpha", ["Nothing odd", "volts=24.6", "They stand still", "done"], "one")
    capsys.readouterr()
    return name


def handed(desk: Desk, *args: str) -> int:
    return app.run(["handover", *args, "--log", str(desk.log)])


def refused(capsys: pytest.CaptureFixture[str]) -> str:
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "Traceback" not in said.err
    return said.err


def test_the_page_is_printed_as_markdown(
    desk: Desk, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert handed(desk, name) == 0
    assert capsys.readouterr().out == desk.markdown(name)


def test_capitals_do_not_matter(desk: Desk, name: str) -> None:
    assert handed(desk, name.lower()) == 0


@pytest.mark.parametrize("asked", [["--json"], ["--format", "json"]])
def test_the_json_has_the_facts(
    desk: Desk, name: str, asked: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert handed(desk, name, *asked) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["case"] == name
    assert data["machine"]["nameplate"]["serial"] == "X-1"
    assert [entry["answer"] for entry in data["story"]] == [
        "Nothing odd",
        "enough",
        "They stand still",
    ]
    assert data["cautions"][0]["confirm"][-1] == "My tag hangs on it."
    assert data["standing"]["state"] == "out of use"
    assert data["zone"] == "UTC"


def test_a_handover_never_needs_the_tree(
    desk: Desk, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = desk.markdown(name)
    assert desk.trees is not None
    shutil.rmtree(desk.trees)
    assert handed(desk, name, "--trees", str(desk.trees)) == 0
    assert capsys.readouterr().out == before


def test_a_file_holds_the_whole_page_and_nothing_lies_beside_it(
    desk: Desk, name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "out"
    folder.mkdir()
    file = folder / "page.md"
    assert handed(desk, name, "-o", str(file)) == 0
    assert file.read_text("utf-8") == desk.markdown(name)
    assert capsys.readouterr().out == f"The handover of case {name} is in {file}.\n"
    assert list(folder.iterdir()) == [file]


def test_a_file_that_was_there_is_replaced_and_keeps_its_permissions(
    desk: Desk, name: str, tmp_path: Path
) -> None:
    file = tmp_path / "page.md"
    file.write_text("old")
    file.chmod(0o640)
    link = tmp_path / "link.md"
    link.symlink_to(file)
    assert handed(desk, name, "-o", str(link)) == 0
    assert link.is_symlink()
    assert file.read_text("utf-8") == desk.markdown(name)
    assert stat.S_IMODE(file.stat().st_mode) == 0o640


def test_a_folder_is_refused(
    desk: Desk, name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert handed(desk, name, "-o", str(tmp_path)) == 3
    assert f"{tmp_path}: this is a folder" in refused(capsys)


def test_the_case_log_is_not_overwritten(
    desk: Desk, name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = desk.log.read_bytes()
    for file in (tmp_path / "other-name", tmp_path / "other.md"):
        os.link(desk.log, file)
        assert handed(desk, name, "-o", str(file)) == 3
        assert "this is the case log" in refused(capsys)
    assert handed(desk, name, "-o", str(desk.log)) == 2
    assert "is written as .md, .txt, .json or .pdf" in refused(capsys)
    assert desk.log.read_bytes() == before


@pytest.mark.parametrize("ending", ["html", "docx", "yaml", "md.gz", "pdf.gz"])
def test_an_ending_that_promises_another_kind_of_file_is_refused(
    desk: Desk, name: str, tmp_path: Path, ending: str, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / f"page.{ending}"
    file.write_text("old")
    assert handed(desk, name, "-o", str(file)) == 2
    assert refused(capsys) == (
        f"diagnose: {file}: a handover is written as .md, .txt, .json or .pdf; name such a file.\n"
    )
    # Whether there is such a case does not matter then.
    assert handed(desk, "ZZZZ", "-o", str(file)) == 2
    assert "a handover is written as" in refused(capsys)
    assert file.read_text() == "old"


@pytest.mark.parametrize("file", ["page.md", "page.txt", "PAGE.MD", "page", ".page"])
def test_what_may_hold_markdown_holds_it(desk: Desk, name: str, tmp_path: Path, file: str) -> None:
    assert handed(desk, name, "-o", str(tmp_path / file)) == 0
    assert (tmp_path / file).read_text("utf-8") == desk.markdown(name)


def test_a_file_that_is_called_json_holds_the_facts(
    desk: Desk, name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert handed(desk, name, "-o", str(tmp_path / "page.json")) == 0
    assert json.loads((tmp_path / "page.json").read_text("utf-8"))["case"] == name
    assert handed(desk, name, "--json", "-o", str(tmp_path / "facts")) == 0
    assert json.loads((tmp_path / "facts").read_text("utf-8"))["case"] == name
    capsys.readouterr()
    for form, file in (("md", "other.json"), ("json", "other.md")):
        assert handed(desk, name, "--format", form, "-o", str(tmp_path / file)) == 2
        assert "do not go together" in refused(capsys)
        assert not (tmp_path / file).exists()


def test_a_dash_is_the_screen(
    desk: Desk,
    name: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path / "library")
    assert handed(desk, name, "-o", "-") == 0
    assert capsys.readouterr().out == desk.markdown(name)
    assert not (tmp_path / "library" / "-").exists()


def test_what_is_no_ordinary_file_is_refused_and_left(
    desk: Desk, name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert handed(desk, name, "-o", str(pipe)) == 3
    assert "no ordinary file" in refused(capsys)
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@pytest.mark.parametrize("place", ["missing/page.md", "file/page.md", "x" * 300])
def test_a_place_that_cannot_be_written_is_refused(
    desk: Desk, name: str, tmp_path: Path, place: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("")
    assert handed(desk, name, "-o", str(tmp_path / place)) == 3
    assert refused(capsys).startswith(f"diagnose: {tmp_path / place}: ")


def test_a_full_disk_leaves_the_old_page(
    desk: Desk,
    name: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    file = tmp_path / "out" / "page.md"
    file.parent.mkdir()
    file.write_text("old")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    assert handed(desk, name, "-o", str(file)) == 3
    assert "no space left on device" in refused(capsys)
    assert file.read_text() == "old"
    assert list(file.parent.iterdir()) == [file]


def test_a_case_that_is_not_there_gets_one_line(
    desk: Desk, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert handed(desk, "ZZZZ") == 2
    assert 'There is no case "ZZZZ"' in refused(capsys)
    assert handed(desk) == 2
    assert "Name a case" in refused(capsys)


def test_a_log_that_is_not_there_gets_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    nowhere = tmp_path / "none.sqlite"
    assert app.run(["handover", "K7Q2", "--log", str(nowhere)]) == 2
    assert "There is no case" in refused(capsys)
    assert not nowhere.exists()


def test_a_format_that_is_none_gets_one_line(
    desk: Desk, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert handed(desk, name, "--format", "pdf") == 2
    assert "--format" in refused(capsys)


@pytest.mark.parametrize("outcome", ["referred", "cured", "open"])
def test_the_commands_on_the_page_are_the_programs_own(
    desk: Desk, outcome: str, capsys: pytest.CaptureFixture[str]
) -> None:
    replies = ["Nothing odd", "volts=24.6", "They stand still", "done"]
    replies += {"referred": ["danger", "smoke"], "cured": ["String", "cured"], "open": []}[outcome]
    name = desk.start("alpha", replies, "one")
    lines = desk.markdown(name).splitlines()
    commands = [line.split("`")[1] for line in lines if line.startswith(("- **Then", "- **To go"))]
    assert len(commands) == (0 if outcome == "cured" else 1)
    for command in commands:
        verb, *rest = command.removeprefix("diagnose ").split()
        assert verb in app.VERBS
        if verb == "cases":
            rest[-1] = "motor"
            assert app.run([verb, *rest, "--log", str(desk.log)]) == 0
            assert "The brush motor is dead." in capsys.readouterr().out


def test_each_tree_of_a_case_is_in_the_log_once(desk: Desk) -> None:
    name = desk.start("alpha", ["note E3", "A puddle", "back"], "one")
    desk.resume(name, ["A puddle"])
    log = SqliteLog(desk.log, "rw")
    case = log.case(name)
    assert case is not None
    kept = [tree for logged in log.events(case) for tree in getattr(logged.event, "trees", ())]
    assert kept == ["alpha", "beta"]
