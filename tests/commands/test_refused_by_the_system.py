"""What the system refuses is said in one line that names the file, and is no fault of the program."""

from __future__ import annotations

import errno
import io
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from diagnose import app
from diagnose.commands import check, output, rewriting
from diagnose.commands.options import Unusable
from diagnose.files.library import built_in, load
from diagnose.files.strays import strays

if TYPE_CHECKING:
    from collections.abc import Callable

LONG = "a" * 300


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str]:
    code = app.run([*args])
    return code, capsys.readouterr().err


def refusing(name: str, of: Callable[..., Any]) -> Callable[..., Any]:
    """Return a method of paths that refuses those of a name."""

    def method(path: Path, *args: Any, **more: Any) -> Any:
        if path.name == name:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
        return of(path, *args, **more)

    return method


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["check", "--trees", LONG], "file name too long; name a library with --trees."),
        (["check", "--trees", "a\0b"], "it cannot be used; name a library with --trees."),
        (["cases", "--log", LONG], "file name too long; name another file with --log."),
        (["cases", "--log", "a\0b"], "it cannot be used; name another file with --log."),
        (["cases", "--log", "a\udcff"], "this name is not UTF-8; name another file with --log."),
        (["cases", "--log", os.devnull], "this is no ordinary file; name another with --log."),
        (["cases", "--log", "/"], "this is no ordinary file; name another with --log."),
    ],
)
def test_a_name_that_cannot_be_used_is_said(
    args: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, err = run(capsys, *args)
    assert code == 3
    assert err.endswith(f": {said}\n")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (PermissionError(errno.EACCES, "No right", "/a/file"), "/a/file: No right; name another."),
        (OSError(errno.ENAMETOOLONG, "Too long", "/a/file"), "/a/file: Too long; name another."),
        (OSError(errno.ENOSPC, "No room"), "The output cannot be written: No room."),
        (OSError(errno.EBADF, "Bad", "/a/file"), "This is a fault of the program (OSError)"),
        (PermissionError(errno.EACCES, "No right"), "This is a fault of the program (Permission"),
        (ValueError("x"), "This is a fault of the program (ValueError)"),
    ],
)
def test_what_nobody_expected_is_told_from_what_the_system_refuses(
    error: Exception,
    said: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fails(args: object) -> int:
        raise error

    monkeypatch.setattr(check, "run", fails)
    monkeypatch.setattr(app, "_swallow_output", lambda: None)
    code, err = run(capsys, "check")
    assert code == 3
    assert err.startswith(f"diagnose: {said}")


def test_a_report_of_a_fault_is_for_its_owner_alone(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(args: object) -> int:
        raise ValueError

    monkeypatch.setattr(check, "run", fails)
    old = os.umask(0)
    try:
        _, err = run(capsys, "check")
    finally:
        os.umask(old)
    path = Path(err.split()[-1].rstrip("."))
    assert (path.stat().st_mode & 0o777, path.parent.stat().st_mode & 0o777) == (0o600, 0o700)


@pytest.mark.parametrize("folder", ["machines", "rounds"])
def test_a_folder_that_cannot_be_listed_is_a_problem(
    folder: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Path, "iterdir", refusing(folder, Path.iterdir))
    library = load(built_in())
    (problem,) = library.problems
    assert (problem.file, problem.code) == (library.file(folder), "unreadable-folder")
    args = ["start", "leak", "--trial", "--machine", "dock"]
    if folder == "rounds":
        args = ["round", "weekly", "--trial", "--machine", "none"]
    code, err = run(capsys, *args)
    assert code == 3
    assert "The folder cannot be read: permission denied." in err


def test_what_cannot_be_looked_at_is_taken_for_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Path, "is_dir", refusing("machines", Path.is_dir))
    (problem,) = strays(load(built_in()))
    assert problem.message == (
        'Give it a name that ends with .yaml, or move it: "machines" is not read.'
    )


def test_a_tree_that_cannot_be_read_again_is_not_changed(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="no such file or directory; nothing was changed"):
        rewriting._raw(tmp_path / "gone.yaml")


def test_the_standard_output_by_another_name_is_written_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = tmp_path / "page"
    with page.open("wb") as raw, io.TextIOWrapper(raw) as out:
        monkeypatch.setattr("sys.stdout", out)
        out.write("first ")
        assert output.write(str(page), b"then") is False
        out.flush()
        monkeypatch.undo()
    assert page.read_bytes() == b"first then"


def test_standard_errors_that_are_closed_are_told_nothing(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stderr", None)
    assert app.run(["strat"]) == 2
    assert capsys.readouterr().out == ""
