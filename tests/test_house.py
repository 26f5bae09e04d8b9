"""The house: imports run one way, each heavy library has one door, and a start stays light."""

from __future__ import annotations

import ast
import subprocess
import sys
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest
from radon.complexity import cc_visit

from diagnose.app import VERBS, run

HOUSE = Path(__file__).parents[1] / "diagnose"

#: What each room may import of the others (DEVELOPERS.md).
MAY = {
    "files": set(),
    "measure": set(),
    "study": {"files", "measure"},
    "rules": {"files", "measure", "study"},
    "case": {"files", "measure", "study"},
    "round": {"files", "measure", "study", "case"},
    "log": {"files", "measure", "study", "case", "round"},
    "drill": {"files", "measure", "study", "case", "round", "log"},
    "paper": {"files", "measure", "study", "case", "round", "log"},
    "faces": {"files", "measure", "study", "case", "round", "log", "drill"},
    "commands": {
        *("files", "measure", "study", "rules", "case", "round", "log", "drill", "paper", "faces")
    },
}

#: The only modules that may import a heavy library, types included.
DOORS = {
    "networkx": {"study/graph.py"},
    "pint": {"measure/units.py"},
    "graphviz": {"paper/flowchart.py"},
    "pygraphviz": {"paper/render.py"},
    "typst": {"paper/typesetter.py"},
    "fontTools": {"paper/letters.py"},
    "markdown_it": {"paper/handover_print.py"},
    "fontpkg_fira_sans": {"paper/letters.py"},
    "sqlite3": {"log/sqlite.py"},
    "prompt_toolkit": {"faces/terminal.py"},
}

#: The largest cyclomatic complexity of a function, as radon counts it.
MOST_TANGLED = 15

MODULES = {
    str(path.relative_to(HOUSE)): ast.parse(path.read_text(encoding="utf-8"))
    for path in sorted(HOUSE.rglob("*.py"))
}


def imported(name: str) -> set[str]:
    """Return the dotted names that a module imports, for types only too."""
    names = set()
    for node in ast.walk(MODULES[name]):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name} imports relatively"
            names.add(node.module or "")
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def module_of(dotted: str) -> str | None:
    """Return the file of the house that a dotted name stands for, or None."""
    if dotted.split(".", maxsplit=1)[0] != "diagnose":
        return None
    place = "/".join(dotted.split(".")[1:])
    return next((file for file in (f"{place}.py", f"{place}/__init__.py") if file in MODULES), None)


@pytest.mark.parametrize("name", [name for name in MODULES if "/" in name])
def test_imports_run_one_way(name: str) -> None:
    room = name.split("/", maxsplit=1)[0]
    for dotted in imported(name):
        file = module_of(dotted)
        # What stands at the front door is for every room.
        if file is not None and file not in ("__init__.py", "text.py", "interrupts.py"):
            other = file.split("/", maxsplit=1)[0]
            assert other == room or other in MAY[room], f"{name} imports {dotted}"


def circle(arrows: dict[str, set[str]]) -> list[str]:
    """Return the modules of a circle of imports, or none."""
    try:
        list(TopologicalSorter(arrows).static_order())
    except CycleError as error:
        found: list[str] = error.args[1]
        return found
    return []


def arrows() -> dict[str, set[str]]:
    return {
        name: {file for dotted in imported(name) if (file := module_of(dotted)) not in (None, name)}
        for name in MODULES
    }


def test_no_circle_of_imports_types_and_the_inside_of_rooms_included() -> None:
    assert circle(arrows()) == []


def test_a_circle_would_be_found() -> None:
    bent = arrows()
    bent["case/screens.py"] = {*bent["case/screens.py"], "case/walk.py"}
    assert {"case/screens.py", "case/walk.py"} <= set(circle(bent))


@pytest.mark.parametrize("library", DOORS)
def test_each_heavy_library_has_one_door(library: str) -> None:
    users = {
        name
        for name in MODULES
        if any(dotted.split(".")[0] == library for dotted in imported(name))
    }
    assert users == DOORS[library]


@pytest.mark.parametrize("name", MODULES)
def test_no_function_is_too_tangled_to_follow(name: str) -> None:
    source = (HOUSE / name).read_text(encoding="utf-8")
    tangled = [block.fullname for block in cc_visit(source) if block.complexity > MOST_TANGLED]
    assert tangled == []


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
