"""The house: imports run one way, each heavy library has one door, and a start stays light."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.app import VERBS, run

HOUSE = Path(__file__).parents[1] / "diagnose"

#: What each room may import of the others (design: the house).
MAY = {
    "files": set(),
    "measure": set(),
    "study": {"files"},
    "rules": {"files", "measure", "study"},
    "case": {"files", "measure", "study"},
    "drill": {"files", "measure", "study", "case"},
    "paper": {"files", "measure", "study", "case"},
    "faces": {"files", "measure", "study", "case", "drill"},
    "commands": {"files", "measure", "study", "rules", "case", "drill", "paper", "faces"},
}

#: The only modules that may import a heavy library.
DOORS = {
    "networkx": {"study/graph.py"},
    "pint": {"measure/units.py"},
    "graphviz": {"paper/flowchart.py"},
    "pygraphviz": {"paper/render.py"},
    "typst": {"paper/typesetter.py"},
    "fontTools": {"paper/letters.py"},
    "fontpkg_fira_sans": {"paper/letters.py"},
    "sqlite3": {"case/sqlite_log.py"},
}


def imported(path: Path) -> set[str]:
    """Return the dotted names that a module imports when it runs (not those for types only)."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            node.body = []
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add(("." * node.level) + (node.module or ""))
    return names


MODULES = sorted(path for path in HOUSE.rglob("*.py") if path.parent != HOUSE)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(HOUSE)))
def test_imports_run_one_way(path: Path) -> None:
    room = path.relative_to(HOUSE).parts[0]
    for name in imported(path):
        if name.startswith("diagnose."):
            other = name.split(".")[1]
            assert other in (room, "text") or other in MAY[room], f"{room} imports {name}"


@pytest.mark.parametrize("library", DOORS)
def test_each_heavy_library_has_one_door(library: str) -> None:
    users = {
        str(path.relative_to(HOUSE))
        for path in HOUSE.rglob("*.py")
        if any(name.split(".")[0] == library for name in imported(path))
    }
    assert users == DOORS[library]


@pytest.mark.parametrize(
    ("args", "never"),
    [
        (["--version"], ["argparse", "yaml", "networkx", "pint", "prompt_toolkit", "sqlite3"]),
        (
            ["start", "streaking", "--machine", "dock", "--json"],
            ["pint", "prompt_toolkit", "graphviz", "pygraphviz", "numpy"],
        ),
        (["check"], ["pint", "prompt_toolkit", "graphviz", "pygraphviz", "numpy", "sqlite3"]),
        (["measure"], ["pint", "networkx", "prompt_toolkit", "sqlite3"]),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else "",
)
def test_a_command_imports_no_more_than_it_needs(args: list[str], never: list[str]) -> None:
    code = (
        "import sys; from diagnose import app; code = app.run(sys.argv[1:]);"
        "print(*sys.modules, sep='\\n', file=sys.stderr); sys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *args],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=True,
    )
    assert set(done.stderr.split()) & set(never) == set()


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_help(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([verb, "--help"]) == 0
    said = capsys.readouterr().out
    assert said.startswith(f"usage: diagnose {verb}")
    assert len(said.splitlines()) > 5
    assert run(["--help"]) == 0
    assert f"  {verb} " in capsys.readouterr().out
