"""`diagnose check`: what it looks at, what it says it has read, and what lies there unread."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from diagnose import app
from diagnose.files.library import built_in

TREE = """\
format: 2
symptom: {name}
title: It does not work, {name}
start: first
steps:
  first: {{ask: What do you see?, answers: {{It is torn: torn, It is cut: cut}}}}
  torn: {{finding: It is torn, chance: 30, who: operator, remedy: Mend it.}}
  cut: {{finding: It is cut, chance: 20, who: operator, remedy: Change it.}}
"""
FILES = {
    "alpha.yaml": TREE.format(name="alpha"),
    "beta.yaml": TREE.format(name="beta"),
    "cautions.yaml": "format: 2\nhazards: {}\ncautions: {}\n",
    "site.yaml": "format: 2\nname: Here\n",
    "machines/dock.yaml": "format: 2\nmachine: dock\ntitle: Dock\nkind: small\n",
    "machines/kinds/small.yaml": "format: 2\nkind: small\ntitle: Small\n",
    "rounds/daily.yaml": (
        "format: 2\nround: daily\ntitle: Daily\nevery: day\nitems: {look: {do: Look.}}\n"
    ),
}
ALL = "2 trees, 1 card, 1 kind of machine, 1 round, the cautions, the site"


def library(folder: Path, **more: str) -> Path:
    """Write a library; `more` are further files or other texts, ``machines__dock_yaml``."""
    for name, text in (FILES | {named(key): text for key, text in more.items()}).items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


def named(key: str) -> str:
    stem, _, ending = key.replace("__", "/").rpartition("_")
    return f"{stem}.{ending}"


@pytest.fixture
def check(capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*args: object) -> tuple[int, list[str], str]:
        code = app.run(["check", *map(str, args)])
        out, err = capsys.readouterr()
        return code, out.splitlines(), err

    return run


@pytest.fixture
def lib(tmp_path: Path) -> Path:
    return library(tmp_path / "lib")


def codes(lines: list[str]) -> list[str]:
    """Return the codes of the problems that were said, with the files in which they are."""
    return [
        f"{Path(one.split(':')[0]).name} {one[one.rindex('[') :]}"
        for one in lines
        if one[-1] == "]"
    ]


def test_it_says_what_it_read_and_where(check: Any, lib: Path) -> None:
    assert check("--trees", lib) == (0, [f"Read in {lib}:", f"{ALL}; no errors, no warnings."], "")
    assert check(lib) == check("--trees", lib)
    code, (said,), _ = check("--trees", lib, "--json")
    counted = {"trees": 2, "machines": 1, "kinds": 1, "rounds": 1, "cautions": 1, "site": 1}
    counted["measurements"] = 0
    wanted = {"libraries": [str(lib)], "trees": 2, "read": counted, "problems": [], "more": []}
    assert (code, json.loads(said)) == (0, wanted)


@pytest.mark.parametrize(
    ("given", "read"),
    [
        (["alpha"], "1 tree"),
        (["alpha", "beta", "alpha"], "2 trees"),
        (["{}/alpha.yaml"], "1 tree"),
        (["{}/machines/dock.yaml"], "1 card"),
        (["{}/machines"], "1 card, 1 kind of machine"),
        (["{}/machines/kinds"], "1 kind of machine"),
        (["{}/machines/kinds/small.yaml"], "1 kind of machine"),
        (["{}/rounds/daily.yaml", "beta"], "1 tree, 1 round"),
        (["{}/cautions.yaml", "{}/site.yaml"], "the cautions, the site"),
        (["machines/dock.yaml", "rounds"], "1 card, 1 round"),
        (["machines"], "1 card, 1 kind of machine"),
        (["{}", "alpha"], ALL),
        (["{}/rounds/../alpha.yaml"], "1 tree"),
    ],
)
def test_a_path_is_looked_at_in_its_library(
    check: Any, lib: Path, given: list[str], read: str
) -> None:
    code, lines, _ = check("--trees", lib, *(word.format(lib) for word in given))
    assert (code, lines) == (0, [f"Read in {lib}:", f"{read}; no errors, no warnings."])


def test_a_path_needs_no_library_in_use_and_is_found_from_anywhere(
    check: Any, lib: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for inside, given, shown in (
        ("", "machines/dock.yaml", "."),
        ("machines", "dock.yaml", str(lib)),
        ("machines", ".", str(lib)),
        ("machines/kinds", "../../alpha.yaml", str(lib)),
        ("", "./alpha.yaml", "."),
        ("..", "lib/rounds", "lib"),
    ):
        monkeypatch.chdir(lib / inside)
        assert check(given)[1][0] == f"Read in {shown}:", given


def test_only_the_problems_of_what_was_named_are_shown(check: Any, tmp_path: Path) -> None:
    lib = library(
        tmp_path / "lib",
        alpha_yaml=FILES["alpha.yaml"].replace("start: first", "start: frist"),
        machines__dock_yaml=FILES["machines/dock.yaml"] + "tanks: {clean: 96}\n",
        machines__old_yml=FILES["machines/dock.yaml"],
    )
    found = ["alpha.yaml [unknown-step]", "dock.yaml [not-a-quantity]", "old.yml [stray]"]
    assert codes(check(lib)[1]) == found
    for given, wanted, code in (
        (["alpha"], found[:1], 1),
        (["beta"], [], 0),
        (["machines"], found[1:], 1),
        (["rounds", "machines/kinds"], [], 0),
        (["machines/old.yml"], found[2:], 1),
        (["alpha.yaml", "machines/dock.yaml"], found[:2], 1),
    ):
        got, lines, _ = check("--trees", lib, *given)
        assert (codes(lines), got) == (wanted, code), given


def test_two_libraries_are_counted_each(check: Any, tmp_path: Path) -> None:
    one, two = library(tmp_path / "one"), library(tmp_path / "two", note_txt="A note.\n")
    code, lines, _ = check(two / "machines", one / "alpha.yaml", two / "note.txt")
    assert (code, lines[1:-1]) == (
        0,
        [
            *(f"Read in {two}:", "1 card, 1 kind of machine; no errors, 1 warning."),
            *(f"Read in {one}:", "1 tree; no errors, no warnings."),
        ],
    )
    said = json.loads(check("--json", one, two)[1][0])
    assert (said["libraries"], said["trees"]) == ([str(one), str(two)], 4)


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        ("lib/gone.yaml", 3, "no such file or folder; name a tree by its id"),
        ("alpha.yml", 3, "no such file or folder"),
        ("alhpa", 2, 'There is no symptom "alhpa" in {lib}. Did you mean "alpha"?'),
        ("{lib}/nothing/../../empty", 3, "no such file or folder"),
        ("{empty}", 3, "belongs to no library; a library is a folder with trees and cautions.yaml."),
        ("{empty}/note.txt", 3, "belongs to no library"),
        ("{lib}/..", 3, 'belongs to no library; a library is a folder with trees and cautions.yaml. '
         'Did you mean "{lib}/../lib"?'),
        ("a/" * 3000, 3, "no such file or folder"),
    ],
)  # fmt: skip
def test_a_path_that_is_no_library_s_is_one_line(
    check: Any, lib: Path, tmp_path: Path, given: str, code: int, said: str
) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    (empty / "note.txt").write_text("A note.\n")
    got, lines, err = check("--trees", lib, given.format(lib=lib, empty=empty))
    assert (got, lines) == (code, [])
    assert said.format(lib=lib) in err
    assert len(err.splitlines()) == 1


def test_warnings_count_where_they_are_to(check: Any, tmp_path: Path) -> None:
    lib = library(tmp_path / "lib", note_txt="A note.\n")
    code, lines, _ = check(lib)
    assert (code, codes(lines), lines[-2]) == (
        *(0, ["note.txt [stray]"]),
        f"{ALL}; no errors, 1 warning.",
    )
    assert check("--strict", lib)[0] == 1
    assert check("--strict", lib, "--json")[0] == 1
    assert check("--strict", lib / "alpha.yaml")[0] == 0


@pytest.mark.parametrize(
    ("name", "severity", "message"),
    [
        ("dock.yml", "error", 'Give it a name that ends with .yaml, or move it: "dock.yml" is not read. '
         'Name it "dock.yaml".'),
        ("gamma.YAML", "error", 'Name it "gamma.yaml".'),
        ("gamma.yaml.txt", "error", 'Name it "gamma.yaml".'),
        ("machines/dock.yml", "error", 'Name it "dock.yaml".'),
        ("Machines/dock.yaml", "error", 'Move this folder: "Machines" is not read. A library has machines, '
         'in it kinds, and rounds. Did you mean "machines"?'),
        ("machine/dock.yml", "error", 'Did you mean "machines"?'),
        ("round/daily.yaml", "error", 'Did you mean "rounds"?'),
        ("machines/kind/small.yaml", "error", 'Did you mean "kinds"?'),
        ("kinds/small.yaml", "error", 'Did you mean "machines/kinds"?'),
        ("trees/gamma.yaml", "error", "Move its files to where they are read."),
        ("rounds/old/daily.yaml", "error", "Move its files to where they are read."),
        ("rounds/machines/dock.yaml", "error", "Move its files to where they are read."),
        ("note.txt", "warning", 'Give it a name that ends with .yaml, or move it: "note.txt" is not read.'),
        ("alpha.yaml~", "warning", '"alpha.yaml~" is not read.'),
        ("pictures/hose.png", "warning", "and rounds."),
    ],
)  # fmt: skip
def test_what_lies_there_unread_is_said_at_its_own_path(
    check: Any, tmp_path: Path, name: str, severity: str, message: str
) -> None:
    """Its first line and column: all of it is meant."""
    lib = library(tmp_path / "lib")
    path = lib / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(FILES["alpha.yaml"])
    known = path.parent in (lib, lib / "machines", lib / "rounds")
    at = path if known else path.parent
    code, lines, _ = check("--trees", lib)
    assert lines[0].startswith(f"{at}:1:1: {severity}: ")
    assert lines[0].endswith(f"{message} [stray]")
    assert (code, len(lines)) == (int(severity == "error"), 4)
    # Whoever names the file, or the folder around it, is told the same.
    assert check(path)[1][0] == lines[0]
    assert check(at)[1][0] == lines[0]


def test_what_other_programs_keep_there_is_theirs(check: Any, tmp_path: Path) -> None:
    lib = library(tmp_path / "lib", CHANGES_md="", _git__config_yml="")
    (lib / "CHANGES.md").rename(lib / "CHANGES")
    (lib / "_git").rename(lib / ".git")
    (lib / ".alpha.yml").write_text("")
    assert check(lib)[0:2] == (0, [f"Read in {lib}:", f"{ALL}; no errors, no warnings."])


def test_a_folder_without_a_tree_is_an_error_and_names_the_library_in_it(
    check: Any, lib: Path
) -> None:
    """What else lies in a wrong folder is nobody's mistake."""
    (lib.parent / "note.txt").write_text("A note.\n")
    code, lines, _ = check("--trees", lib.parent)
    wanted = f'{lib.parent}:1:1: error: Name the folder of a library: no symptom tree is in this one. Did you mean "{lib}"? [empty-library]'
    assert (code, codes(lines), lines[-2]) == (
        *(1, [f"{lib.parent.name} [empty-library]"]),
        "no file; 1 error, no warnings.",
    )
    assert wanted in lines


def test_trees_that_all_end_wrongly_are_named_where_the_library_is_empty(
    check: Any, tmp_path: Path
) -> None:
    (tmp_path / "alpha.yml").write_text(FILES["alpha.yaml"])
    code, lines, _ = check("--trees", tmp_path)
    assert (code, codes(lines)) == (1, [f"{tmp_path.name} [empty-library]", "alpha.yml [stray]"])
    assert check(tmp_path)[1] == lines


def test_the_built_in_library_is_read_whole(check: Any) -> None:
    files = [path for path in built_in().rglob("*.yaml") if path.is_file()]
    read = json.loads(check("--json")[1][0])["read"]
    assert sum(read.values()) == len(files)
