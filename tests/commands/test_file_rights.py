"""What lies where a file is wanted: pipes, devices, folders and files that may not be used.

A process that gives up the rights of an administrator shows what anybody else meets.
"""

from __future__ import annotations

import ctypes
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from strategies.learning import cured

from diagnose import app
from diagnose.files.library import built_in
from diagnose.files.regular import NotOrdinary, content

#: Somebody else.
NOBODY = 65_534

# Linux, capabilities(7) and prctl(2): PR_CAPBSET_DROP, CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH.
_DROP, _OVERRIDES = 24, (1, 2)


def without_rights() -> None:
    """Have a child that an administrator starts meet the rights of files as anybody does."""
    if os.geteuid() == 0:
        for right in _OVERRIDES:
            if ctypes.CDLL(None).prctl(_DROP, right, 0, 0, 0):
                raise PermissionError("the rights of an administrator cannot be given up")


def as_anybody(*args: str, **options: Any) -> subprocess.CompletedProcess[str]:
    """Run the program as somebody whom the rights of files hold."""
    return subprocess.run(
        [sys.executable, "-m", "diagnose", *args],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        preexec_fn=without_rights,
        **options,
    )


@pytest.fixture(scope="module", autouse=True)
def rights_hold(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Without this nothing below would be shown: a locked file cannot be read here."""
    locked = tmp_path_factory.mktemp("rights") / "locked"
    locked.touch(0o000)
    try:
        done = subprocess.run(
            [sys.executable, "-c", f"open({str(locked)!r})"],
            capture_output=True,
            check=False,
            preexec_fn=without_rights,
        )
    except subprocess.SubprocessError:
        pytest.skip("the rights of an administrator cannot be given up here")
    assert b"PermissionError" in done.stderr


@pytest.fixture
def library(tmp_path: Path) -> Path:
    return Path(shutil.copytree(built_in(), tmp_path / "library"))


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    code = app.run([*args])
    said = capsys.readouterr()
    return code, said.out, said.err


# What is no ordinary file


@pytest.mark.parametrize("name", ["leak.yaml", "cautions.yaml", "rounds/weekly.yaml"])
def test_a_pipe_in_a_library_is_named_and_never_waited_for(
    name: str, library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (library / name).unlink()
    os.mkfifo(library / name)
    code, out, _ = run(capsys, "check", "--trees", str(library))
    assert code == 1
    where = f"{library / name}:1:1: error"
    assert f"{where}: The file cannot be read: it is no ordinary file." in out


def test_a_folder_and_a_device_are_no_files(tmp_path: Path) -> None:
    for path in (tmp_path, Path(os.devnull)):
        with pytest.raises(NotOrdinary, match="no ordinary file"):
            content(path)


def test_a_file_that_becomes_a_pipe_while_it_is_opened_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    monkeypatch.setattr("diagnose.files.regular.is_ordinary", lambda path: True)
    with pytest.raises(NotOrdinary, match="no ordinary file"):
        content(pipe)


def test_a_pipe_is_no_output_no_font_and_no_log(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pipe = tmp_path / "pipe.dot"
    os.mkfifo(pipe)
    for args in (
        ["draw", "leak", "-o", str(pipe)],
        ["draw", "leak", "-o", str(tmp_path / "x.dot"), "--font", str(pipe)],
        ["cases", "--log", str(pipe)],
        ["start", "leak", "--machine", "none", "--log", str(pipe)],
    ):
        code, out, err = run(capsys, *args)
        assert (code, out) == (3, "")
        assert "no ordinary file" in err
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@pytest.fixture
def case(tmp_path: Path) -> tuple[str, ...]:
    """A log with a case, as arguments."""
    log = tmp_path / "cases.sqlite"
    args = [sys.executable, "-m", "diagnose", "start", "leak", "--machine", "none", "--plain"]
    subprocess.run(
        [*args, "--log", str(log)], input="unsure\n", text=True, check=True, capture_output=True
    )
    listed = subprocess.run(
        [sys.executable, "-m", "diagnose", "cases", "--log", str(log)],
        check=True,
        capture_output=True,
        text=True,
    )
    return listed.stdout.split()[0], "--log", str(log)


def test_the_standard_output_is_written_to_and_never_replaced(
    case: tuple[str, ...], tmp_path: Path
) -> None:
    if not Path("/dev/stdout").exists():
        pytest.skip("no name for the standard output here")
    page = tmp_path / "page"
    with page.open("wb") as out:
        before = os.fstat(out.fileno()).st_ino
        args = [sys.executable, "-m", "diagnose", "handover", *case, "-o", "/dev/stdout"]
        subprocess.run(args, stdout=out, check=True)
    assert page.stat().st_ino == before
    assert page.read_text().startswith("# ")
    assert "is in /dev/stdout" not in page.read_text()
    piped = subprocess.run(args, capture_output=True, check=True, text=True)
    assert (piped.stdout, piped.stderr) == (page.read_text(), "")


# What may not be used


@pytest.mark.parametrize("mode", [0o400, 0o444])
def test_a_file_that_is_not_to_be_written_to_is_not_replaced(
    mode: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever owns it, an administrator too."""
    file = tmp_path / "leak.dot"
    file.write_text("mine")
    file.chmod(mode)
    code, _, err = run(capsys, "draw", "leak", "-o", str(file))
    assert (code, file.read_text()) == (3, "mine")
    assert err == f"diagnose: {file}: this file is not to be written to; name another.\n"


def test_somebody_elses_file_is_not_replaced(tmp_path: Path) -> None:
    if os.geteuid() != 0:
        pytest.skip("every file here is one's own")
    file = tmp_path / "leak.dot"
    file.write_text("mine")
    file.chmod(0o644)
    os.chown(file, NOBODY, NOBODY)
    done = as_anybody("draw", "leak", "-o", str(file))
    assert (done.returncode, file.read_text()) == (3, "mine")
    assert done.stderr == f"diagnose: {file}: this file is not to be written to; name another.\n"


def test_a_tree_that_is_locked_keeps_its_order(
    library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = library / "leak.yaml"
    file.chmod(0o444)
    before = file.read_bytes()
    log = library.parent / "cases.sqlite"
    cured(log, "leak", "dirty-drain-open")
    args = ("order", "leak", "--write-chances", "--yes", "--log", str(log))
    code, _, err = run(capsys, *args, "--trees", str(library))
    assert code == 3
    assert "this file is not to be written to" in err
    assert file.read_bytes() == before


def test_nothing_new_is_made_where_nothing_may_be_written(library: Path) -> None:
    places = [library.parent, library, library / "rounds", library / "cautions.yaml"]
    for path in places:
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        made = as_anybody("new", "library", str(library.parent / "mine"))
        named = {
            what: as_anybody("new", what, "one-more", "--trees", str(library))
            for what in ("symptom", "round", "caution")
        }
    finally:
        for path in places:
            path.chmod(0o755 if path.is_dir() else 0o644)
    wanted = f"{library.parent / 'mine'}: permission denied; name another folder."
    assert (made.returncode, made.stdout, made.stderr) == (3, "", f"diagnose: {wanted}\n")
    for what, file, reason in (
        ("symptom", "one-more.yaml", "permission denied; name another file."),
        ("round", "rounds/one-more.yaml", "permission denied; name another file."),
        ("caution", "cautions.yaml", "this file is not to be written to; name another."),
    ):
        done = named[what]
        assert (done.returncode, done.stdout) == (3, "")
        assert done.stderr == f"diagnose: {library / file}: {reason}\n"


@pytest.mark.parametrize("folder", ["machines", "rounds"])
@pytest.mark.parametrize("mode", [0o000, 0o311], ids=["nothing", "no list"])
def test_a_folder_that_cannot_be_read_is_named(folder: str, mode: int, library: Path) -> None:
    (library / folder).chmod(mode)
    try:
        checked = as_anybody("check", "--trees", str(library))
        machine = as_anybody(
            "start", "leak", "--machine", "dock", "--trial", "--trees", str(library)
        )
        round_ = as_anybody(
            "round", "weekly", "--machine", "none", "--trial", "--trees", str(library)
        )
    finally:
        (library / folder).chmod(0o755)
    named = f"{library / folder}:1:1: error: The folder cannot be read: permission denied."
    assert checked.returncode == 1
    assert f"{named} [unreadable-folder]" in checked.stdout
    wanted = machine if folder == "machines" else round_
    assert wanted.returncode == 3
    assert named in wanted.stderr


@pytest.mark.parametrize("mode", [0o000, 0o444], ids=["nothing", "no search"])
def test_a_library_that_may_not_be_searched_is_no_fault_of_the_program(
    mode: int, library: Path
) -> None:
    inside = library / "trees"
    shutil.copytree(built_in(), inside)
    library.chmod(mode)
    try:
        for verb in (["check"], ["start", "leak"], ["order", "leak"], ["draw", "--all"], ["round"]):
            done = as_anybody(*verb, "--trees", str(inside), cwd=library.parent)
            assert done.returncode == 3
            assert done.stderr == (
                f"diagnose: {inside}: permission denied; name a library with --trees.\n"
            )
        log = as_anybody("cases", "--log", str(inside / "cases.sqlite"))
        assert log.returncode == 3
        assert "permission denied; name another file with --log." in log.stderr
        out = as_anybody("draw", "leak", "-o", str(inside / "leak.dot"))
        assert out.returncode == 3
        assert "permission denied; name another file." in out.stderr
    finally:
        library.chmod(0o755)


def test_a_library_that_may_be_listed_and_not_searched_names_its_files(library: Path) -> None:
    library.chmod(0o644)
    try:
        done = as_anybody("check", "--trees", str(library))
    finally:
        library.chmod(0o755)
    assert (done.returncode, done.stderr) == (1, "")
    leak = f"{library / 'leak.yaml'}:1:1: error: The file cannot be read: permission denied."
    assert leak in done.stdout


# What belongs to its owner


def test_a_log_and_its_folder_are_for_their_owner_alone(tmp_path: Path) -> None:
    log = tmp_path / "of ours" / "cases.sqlite"
    old = os.umask(0)
    try:
        assert app.run(["drill", "leak", "--name", "Ada", "--plain", "--log", str(log)]) in (0, 1)
    finally:
        os.umask(old)
    assert stat.S_IMODE(log.stat().st_mode) == 0o600
    assert stat.S_IMODE(log.parent.stat().st_mode) == 0o700


def test_a_log_that_others_may_read_stays_as_it_is(tmp_path: Path) -> None:
    log = tmp_path / "cases.sqlite"
    log.touch(0o660)
    log.chmod(0o660)
    assert app.run(["drill", "leak", "--name", "Ada", "--plain", "--log", str(log)]) in (0, 1)
    assert stat.S_IMODE(log.stat().st_mode) == 0o660
