"""Whatever fails while a file is written, the old one or the new one stands there whole."""

from __future__ import annotations

import errno
import os
import shutil
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from strategies.learning import cured

from diagnose import app
from diagnose.commands import output

if TYPE_CHECKING:
    from collections.abc import Callable

TREE = """\
format: 2
symptom: small
title: It does not work
start: one
steps:
  one:
    ask: What do you see?
    minutes: 10
    answers: {It is bent: bent, It is straight: two}
  two:
    ask: What else do you see?
    minutes: 1
    passes: It is whole
    answers: {It is torn: torn, It is whole: old}
  bent: {finding: It is bent., chance: 1, who: operator, remedy: Turn it.}
  torn: {finding: It is torn., chance: 80, who: operator, remedy: Turn it.}
  old: {finding: It is old., chance: 9, who: operator, remedy: Change it.}
"""
CAUTIONS = "format: 2\nhazards: {}\ncautions: {}\n"

#: What is written, by the command: the file, and the arguments.
COMMANDS = {
    "-o": ("small.dot", ["draw", "small", "-o", "{file}"]),
    "--write": ("small.yaml", ["order", "small", "--write", "--yes"]),
    "--write-chances": ("small.yaml", ["order", "small", "--write-chances", "--yes"]),
}
FULL = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
BROKEN = OSError(errno.EIO, os.strerror(errno.EIO))
REFUSED = PermissionError(errno.EACCES, os.strerror(errno.EACCES))


class Half:
    """A stream that takes half of what it is given, and then fails."""

    def __init__(self, stream: Any, error: BaseException) -> None:
        self._stream, self._error = stream, error

    def __enter__(self) -> Half:
        return self

    def __exit__(self, *_: object) -> None:
        self._stream.close()

    def write(self, content: bytes) -> int:
        self._stream.write(content[: len(content) // 2])
        raise self._error


def opened(error: BaseException, opens: Callable[..., Any] = Path.open) -> Callable[..., Any]:
    """Return an opening that fails for what stands beside a file."""

    def fails(path: Path, *args: Any, **more: Any) -> Any:
        if path.name.startswith(".diagnose-"):
            raise error
        return opens(path, *args, **more)

    return fails


def half_written(error: BaseException, opens: Callable[..., Any] = Path.open) -> Callable[..., Any]:
    def takes_half(path: Path, *args: Any, **more: Any) -> Any:
        stream = opens(path, *args, **more)
        return Half(stream, error) if path.name.startswith(".diagnose-") else stream

    return takes_half


def failing(error: BaseException) -> Callable[..., Any]:
    def fails(*args: object) -> None:
        raise error

    return fails


def replaced_and_failing(
    error: BaseException, replaces: Callable[..., Any] = Path.replace
) -> Callable[..., Any]:
    def does(*args: Any) -> None:
        replaces(*args)
        raise error

    return does


#: Where it fails: what is patched, with what, and whether the new file is there already.
FAULTS: dict[str, tuple[object, str, Callable[[BaseException], Callable[..., Any]], bool]] = {
    "open": (Path, "open", opened, False),
    "write": (Path, "open", half_written, False),
    "fsync": (os, "fsync", failing, False),
    "mode": (shutil, "copymode", failing, False),
    "rename": (Path, "replace", failing, False),
    "after the rename": (Path, "replace", replaced_and_failing, True),
}


@pytest.fixture
def library(tmp_path: Path) -> Path:
    folder = tmp_path / "library"
    folder.mkdir()
    (folder / "small.yaml").write_text(TREE)
    (folder / "cautions.yaml").write_text(CAUTIONS)
    (folder / "small.dot").write_text("what was there")
    cured(tmp_path / "cases.sqlite", "small", "old")
    return folder


def run(command: str, library: Path) -> int:
    file, args = COMMANDS[command]
    given = [one.format(file=library / file) for one in args]
    log = str(library.parent / "cases.sqlite")
    return app.run([*given, "--trees", str(library), "--log", log])


def new_content(command: str, library: Path) -> bytes:
    """Return what the command writes where nothing fails."""
    other = library.with_name("other")
    shutil.copytree(library, other)
    assert run(command, other) == 0
    written = (other / COMMANDS[command][0]).read_bytes()
    shutil.rmtree(other)
    return written


@pytest.mark.parametrize("error", [FULL, BROKEN, REFUSED], ids=["full", "broken", "refused"])
@pytest.mark.parametrize("fault", [one for one, (*_, done) in FAULTS.items() if not done])
@pytest.mark.parametrize("command", COMMANDS)
def test_a_write_that_fails_leaves_the_old_file_and_says_so(
    command: str,
    fault: str,
    error: OSError,
    library: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    names = sorted(path.name for path in library.iterdir())
    file = library / COMMANDS[command][0]
    old = file.read_bytes()
    thing, name, wrapped, _ = FAULTS[fault]
    with monkeypatch.context() as patch:
        patch.setattr(thing, name, wrapped(error))
        code = run(command, library)
    said = capsys.readouterr()
    assert code == 3
    assert said.err.count("\n") == 1
    assert said.err.startswith(f"diagnose: {file}: {error.strerror.lower()}")
    assert file.read_bytes() == old
    assert sorted(path.name for path in library.iterdir()) == names


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("command", COMMANDS)
def test_whoever_interrupts_finds_the_old_file_or_the_new_one(
    command: str, fault: str, library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = sorted(path.name for path in library.iterdir())
    file = library / COMMANDS[command][0]
    old, new = file.read_bytes(), new_content(command, library)
    assert old != new
    thing, name, wrapped, done = FAULTS[fault]
    with monkeypatch.context() as patch:
        patch.setattr(thing, name, wrapped(KeyboardInterrupt()))
        assert run(command, library) == 130
    assert file.read_bytes() == (new if done else old)
    assert sorted(path.name for path in library.iterdir()) == names


def test_what_a_killed_program_left_is_cleared_and_nothing_else(library: Path) -> None:
    long_ago = time.time() - output.LEFT_OVER - 1
    left, young = library / ".diagnose-0123456789ab", library / ".diagnose-ba9876543210"
    others = [library / name for name in (".diagnose-notes", ".diagnose-0123456789abc", ".x")]
    for path in (left, young, *others):
        path.write_text("x")
        if path != young:
            os.utime(path, (long_ago, long_ago))
    assert run("-o", library) == 0
    assert not left.exists()
    assert all(path.exists() for path in (young, *others))
