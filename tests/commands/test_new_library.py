"""`diagnose new library`: whole or not at all, never over anything, and what to do next."""

from __future__ import annotations

import errno
import json
import os
import shutil
import stat
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from diagnose import app
from diagnose.commands import output
from diagnose.commands.skeletons import SMALL_LIBRARY
from diagnose.files.library import built_in, load
from diagnose.files.tree import Check, Finding, Reading
from diagnose.rules.check import check

if TYPE_CHECKING:
    from collections.abc import Callable


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    code = app.run([*args])
    said = capsys.readouterr()
    return code, said.out, said.err


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def yaml_of(folder: Path) -> dict[str, bytes]:
    return {name: text for name, text in contents(folder).items() if name.endswith(".yaml")}


SOURCES = {"a copy": ([], built_in()), "small": (["--empty"], SMALL_LIBRARY)}


@pytest.mark.parametrize(("more", "source"), SOURCES.values(), ids=SOURCES)
def test_the_library_is_whole_and_nothing_is_wrong_with_it(
    more: list[str], source: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "mine"
    code, out, err = run(capsys, "new", "library", str(folder), *more)
    assert (code, err) == (0, "")
    assert contents(folder) == yaml_of(source)
    assert check(load(folder)) == []
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mine"]
    assert f"Open {folder / 'site.yaml'} first" in out
    assert f"export DIAGNOSE_TREES={folder}\n" in out
    assert "diagnose check\n" in out


def test_the_small_library_shows_one_of_each() -> None:
    library = load(SMALL_LIBRARY)
    (tree,) = library.trees.values()
    assert [type(step) for step in tree.steps.values()] == [Check, Reading, *[Finding] * 3]
    assert {step.who for step in tree.steps.values() if isinstance(step, Finding)} == {
        "operator",
        "service",
    }
    assert len(tree.worked_cases) == len(library.machines) == len(library.rounds) == 1
    assert library.site is not None
    assert sum(caution.lockout for caution in library.cautions.cautions.values()) == 1
    assert all("#" in text.decode() for text in yaml_of(SMALL_LIBRARY).values())


def test_what_it_says_can_be_typed_as_it_stands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "our trees"
    _, out, _ = run(capsys, "new", "library", str(folder), "--empty")
    lines = [line.strip() for line in out.splitlines()]
    export = next(line for line in lines if line.startswith("export "))
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", "-c", f"{export} && diagnose check && diagnose new symptom leak-2"],
        env={**os.environ, "PATH": path},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert (folder / "leak-2.yaml").is_file()


def test_other_programs_are_told_in_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "mine"
    code, out, _ = run(capsys, "new", "library", str(folder), "--empty", "--json")
    assert code == 0
    assert json.loads(out) == {
        "made": "library",
        "folder": str(folder),
        "files": sorted(yaml_of(SMALL_LIBRARY)),
        "first": "site.yaml",
    }


# What is there already


def test_an_empty_folder_is_filled_and_stays_the_same_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever stands in it would not see a word of one that was put in its place."""
    folder = tmp_path / "mine"
    folder.mkdir(mode=0o700)
    before = folder.stat().st_ino
    monkeypatch.chdir(folder)
    assert run(capsys, "new", "library", ".", "--empty")[0] == 0
    assert (folder.stat().st_ino, stat.S_IMODE(folder.stat().st_mode)) == (before, 0o700)
    assert contents(Path()) == yaml_of(SMALL_LIBRARY)
    assert sorted(path.name for path in folder.iterdir() if path.name.startswith(".")) == []


def test_a_link_to_an_empty_folder_is_followed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "disk").mkdir()
    (tmp_path / "mine").symlink_to(tmp_path / "disk")
    assert run(capsys, "new", "library", str(tmp_path / "mine"), "--empty")[0] == 0
    assert contents(tmp_path / "disk") == yaml_of(SMALL_LIBRARY)


def a_file(path: Path) -> None:
    path.write_text("mine")


def a_full_folder(path: Path) -> None:
    path.mkdir()
    (path / ".notes").write_text("mine")


def a_pipe(path: Path) -> None:
    os.mkfifo(path)


def a_link_to_itself(path: Path) -> None:
    path.symlink_to(path)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (a_file, "this is no folder; name another."),
        (a_pipe, "this is no folder; name another."),
        (a_full_folder, "this folder is not empty; name a new one."),
        (a_link_to_itself, "it cannot be used; name another folder."),
    ],
)
def test_what_is_there_stays_as_it_is(
    make: Callable[[Path], None], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "mine"
    make(folder)
    before = folder.lstat(), contents(tmp_path) if make is not a_pipe else None
    code, out, err = run(capsys, "new", "library", str(folder))
    assert (code, out) == (3, "")
    assert err.startswith(f"diagnose: {folder}: ")
    assert err.count("\n") == 1
    if make is not a_link_to_itself:  # Its reason is the system's own, and not the same in all.
        assert err == f"diagnose: {folder}: {said}\n"
    assert (folder.lstat(), contents(tmp_path) if make is not a_pipe else None) == before


NAMES = {
    "an end of line": "a\nb",
    "an escape": "a\x1b[8mb",
    "nothing": "",
    "a blank": "  ",
    "no UTF-8": "a\udc80b",
    "turned round": "a\u202eb",
}


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_a_name_that_nobody_could_type_again_is_refused(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, "new", "library", name)
    assert (code, out) == (3, "")
    assert err.endswith("no folder can have this name; use letters that can be seen.\n")
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "reason"),
    [("a" * 300, "file name too long"), ("no/such/folder", "no such file or directory")],
)
def test_a_place_that_the_system_refuses_is_one_line(
    name: str, reason: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run(capsys, "new", "library", str(tmp_path / name))
    assert (code, out) == (3, "")
    assert f": {reason}; name another folder." in err
    assert list(tmp_path.iterdir()) == []


def test_it_says_what_goes_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for args, words in (
        (["library", str(tmp_path / "a"), "--trees", str(SMALL_LIBRARY)], "leave --trees out"),
        (["symptom", "leak-2", "--empty"], "--empty goes with `new library DIR`"),
        ([], "Say what to begin: library DIR; or one of symptom, machine, round, caution"),
        (["library"], "Say how the new library is called: the folder it goes into."),
        (["round"], "Say how the new round is called: its id, such as leak-2."),
        (["libary", "a"], 'Did you mean "library"?'),
        (["library", "my", "trees"], "a name with blanks stands in quotes"),
        (["symptom", "Belt", "slow"], 'Did you mean "belt-slow"?'),
    ):
        code, out, err = run(capsys, "new", *args)
        assert (code, out) == (2, "")
        assert words in err
    assert list(tmp_path.iterdir()) == []


# Whatever fails


def failing(error: BaseException) -> Callable[..., Any]:
    def fails(*args: object, **more: object) -> None:
        raise error

    return fails


def at_second(
    error: BaseException, does: Callable[..., Any], *, before: bool
) -> Callable[..., Any]:
    """Return what does its work, and at the second call fails before it or after it."""
    calls = []

    def fails(*args: Any, **more: Any) -> Any:
        calls.append(args)
        if len(calls) == 2 and before:
            raise error
        result = does(*args, **more)
        if len(calls) == 2:
            raise error
        return result

    return fails


FAULTS: dict[str, tuple[object, str, Callable[[BaseException], Callable[..., Any]]]] = {
    "make a folder": (Path, "mkdir", failing),
    "make a folder in it": (Path, "mkdir", lambda e: at_second(e, Path.mkdir, before=True)),
    "write": (Path, "open", lambda e: at_second(e, Path.open, before=False)),
    "fsync": (os, "fsync", lambda e: at_second(e, os.fsync, before=True)),
    "rename": (Path, "rename", failing),
}
#: Where an empty folder is filled more is moved than once.
MOVES: dict[str, tuple[object, str, Callable[[BaseException], Callable[..., Any]]]] = {
    "second move": (Path, "rename", lambda e: at_second(e, Path.rename, before=True)),
    "after it": (Path, "rename", lambda e: at_second(e, Path.rename, before=False)),
}
FULL = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.mark.parametrize("error", [FULL, KeyboardInterrupt()], ids=["full", "Ctrl-C"])
@pytest.mark.parametrize(
    ("there", "fault"),
    [*((True, fault) for fault in (*FAULTS, *MOVES)), *((False, fault) for fault in FAULTS)],
)
def test_whatever_fails_nothing_is_there(
    there: bool,
    fault: str,
    error: BaseException,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = tmp_path / "mine"
    if there:
        folder.mkdir()
    thing, name, wrapped = {**FAULTS, **MOVES}[fault]
    with monkeypatch.context() as patch:
        patch.setattr(thing, name, wrapped(error))
        code, out, err = run(capsys, "new", "library", str(folder))
    assert out == ""
    if isinstance(error, OSError):
        said = f"diagnose: {folder}: {os.strerror(errno.ENOSPC).lower()}; name another folder.\n"
        assert (code, err) == (3, said)
    else:
        assert code == 130
    assert [path.name for path in tmp_path.iterdir()] == (["mine"] if there else [])
    assert not there or list(folder.iterdir()) == []


def test_what_a_killed_program_left_is_no_content_and_is_cleared(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    long_ago = time.time() - output.LEFT_OVER - 1
    folder = tmp_path / "mine"
    old, young = folder / ".diagnose-0123456789ab", folder / ".diagnose-ba9876543210"
    for path in (old, young):
        (path / "rounds").mkdir(parents=True)
        (path / "leak.yaml").write_text("x")
    os.utime(old, (long_ago, long_ago))
    assert run(capsys, "new", "library", str(folder), "--empty")[0] == 0
    assert not old.exists()
    assert young.exists()
    shutil.rmtree(young)
    assert contents(folder) == yaml_of(SMALL_LIBRARY)


def test_a_source_that_cannot_be_read_is_named_and_nothing_is_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    source = Path(shutil.copytree(SMALL_LIBRARY, tmp_path / "source"))
    (source / "site.yaml").write_bytes(b"\xff")
    monkeypatch.setattr("diagnose.commands.new.built_in", lambda: source)
    code, out, err = run(capsys, "new", "library", str(tmp_path / "mine"))
    assert (code, out) == (3, "")
    assert f"{source / 'site.yaml'}:1:1: error: " in err
    assert not (tmp_path / "mine").exists()


# What was installed


@pytest.fixture
def installed(tmp_path: Path) -> Path:
    """A library as it lies in an installed package."""
    folder = tmp_path / "lib" / "python3" / "site-packages" / "diagnose" / "trees"
    return Path(shutil.copytree(built_in(), folder))


WRITING = {
    "order": ["order", "leak", "--write"],
    "chances": ["order", "leak", "--write-chances"],
    "symptom": ["new", "symptom", "leak-2"],
    "machine": ["new", "machine", "left"],
    "round": ["new", "round", "evening"],
    "caution": ["new", "caution", "apron"],
}


@pytest.mark.parametrize("linked", [False, True], ids=["itself", "by a link"])
@pytest.mark.parametrize("args", WRITING.values(), ids=WRITING)
def test_nothing_is_written_into_an_installed_package(
    args: list[str],
    linked: bool,
    installed: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    before = contents(installed)
    named = installed
    if linked:
        named = tmp_path / "link"
        named.symlink_to(installed)
    code, out, err = run(capsys, *args, "--trees", str(named))
    assert (code, out) == (3, "")
    assert err == (
        f"diagnose: {named}: this library comes with the program; "
        "make a library of your own first: diagnose new library DIR\n"
    )
    assert contents(installed) == before


def test_no_change_is_allowed_in_an_installed_package_and_no_library_made_in_it(
    installed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    allow = ["--allow", "leak", "--because", "so", "--name", "Bo"]
    for args in (
        ["compare", str(built_in()), str(installed), *allow],
        ["new", "library", str(installed.parent / "mine")],
    ):
        code, out, err = run(capsys, *args)
        assert (code, out) == (3, "")
        assert "this library comes with the program" in err
    assert not (installed / "CHANGES").exists()
    assert not (installed.parent / "mine").exists()


def test_what_only_reads_is_done_there_as_anywhere(
    installed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(capsys, "check", "--trees", str(installed))[0] == 0
    assert run(capsys, "order", "leak", "--trees", str(installed))[0] == 0


def test_the_folder_of_a_checkout_may_be_written_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is the one that the program uses where none is named."""
    checkout = Path(shutil.copytree(SMALL_LIBRARY, tmp_path / "trees"))
    monkeypatch.setattr("diagnose.commands.options.built_in", lambda: checkout)
    assert run(capsys, "new", "symptom", "leak-2")[0] == 0
    assert (checkout / "leak-2.yaml").is_file()


# Which library is in use


def test_order_names_the_library_in_use(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "order", "dirt-stays", "--trees", str(SMALL_LIBRARY))
    assert f"\nLibrary: {SMALL_LIBRARY}\n" in out
    _, out, _ = run(capsys, "order", "dirt-stays", "--trees", str(SMALL_LIBRARY), "--json")
    assert json.loads(out)["library"] == str(SMALL_LIBRARY)
