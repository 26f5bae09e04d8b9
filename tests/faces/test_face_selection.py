"""Which face is chosen, and that nothing is imported for one that is not."""

from __future__ import annotations

import ast
import io
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import diagnose
from diagnose.faces.json_lines import JsonLinesFace
from diagnose.faces.plain import PlainFace
from diagnose.faces.selection import face_for
from diagnose.faces.terminal import TerminalFace


class Tty(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


# Not a fixture: pytest puts its own streams back between the set-up of a test and its call.
def at_terminal(monkeypatch: pytest.MonkeyPatch, **streams: object) -> None:
    for name in ("stdin", "stdout"):
        monkeypatch.setattr(sys, name, streams.get(name, Tty()))
    monkeypatch.setenv("TERM", "xterm")


def test_at_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    at_terminal(monkeypatch)
    assert isinstance(face_for(), TerminalFace)
    assert isinstance(face_for(plain=True), PlainFace)
    assert isinstance(face_for(json=True), JsonLinesFace)
    assert isinstance(face_for(plain=True, json=True), JsonLinesFace)


@pytest.mark.parametrize("term", ["dumb", "", None])
def test_a_terminal_that_cannot_draw(monkeypatch: pytest.MonkeyPatch, term: str | None) -> None:
    at_terminal(monkeypatch)
    if term is None:
        monkeypatch.delenv("TERM")
    else:
        monkeypatch.setenv("TERM", term)
    assert isinstance(face_for(), PlainFace)


@pytest.mark.parametrize("stream", ["stdin", "stdout"])
@pytest.mark.parametrize("other", [io.StringIO(), None], ids=["pipe", "closed"])
def test_a_stream_that_is_no_terminal(
    monkeypatch: pytest.MonkeyPatch, stream: str, other: object
) -> None:
    at_terminal(monkeypatch, **{stream: other})
    assert isinstance(face_for(), PlainFace)


def test_only_the_chosen_face_is_imported() -> None:
    program = (
        "import sys; from diagnose.faces.selection import face_for;"
        "face_for(plain=True); face_for(json=True);"
        "print([m for m in ('prompt_toolkit', 'asyncio') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def imports(path: Path) -> set[str]:
    """Return the modules that a module names in an import, those for types included."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {f"{node.module}", *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


HOUSE = Path(diagnose.__file__).parent


def test_one_module_knows_the_terminal_library() -> None:
    users = {
        path.relative_to(HOUSE).as_posix()
        for path in HOUSE.rglob("*.py")
        if any(name.split(".")[0] == "prompt_toolkit" for name in imports(path))
    }
    assert users == {"faces/terminal.py"}


def test_no_face_imports_in_a_circle() -> None:
    needs = {f"diagnose.faces.{path.stem}": imports(path) for path in HOUSE.glob("faces/*.py")}
    order = list(TopologicalSorter(needs).static_order())  # CycleError names a circle
    assert order.index("diagnose.faces.words") < order.index("diagnose.faces.terminal")
