"""The docs cannot go stale: their commands are run, their pages are those that the code writes."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose import app
from diagnose.files import reference

ROOT = Path(__file__).parents[2]
#: Its blocks build on one another, and have a test of their own.
GROWN = "your-own-trees.md"
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


def sessions() -> list[tuple[str, str]]:
    """Return every console block of the docs: where it stands, and its text."""
    found = []
    for page in PAGES:
        if page.name == GROWN:
            continue
        text = page.read_text(encoding="utf-8")
        for block in re.finditer(r"^```console\n(.*?)^```$", text, re.MULTILINE | re.DOTALL):
            line = text.count("\n", 0, block.start()) + 1
            found.append((f"{page.name}:{line}", block[1]))
    return found


def commands(block: str) -> list[tuple[str, str]]:
    """Return the commands of a block with the output that stands below each."""
    parts = re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]
    return [(part.partition("\n")[0], part.partition("\n")[2]) for part in parts]


def same(wanted: str, got: str) -> bool:
    """Whether the output is as the page says; a line of `…` stands for any lines."""
    pattern = "".join(
        "(?:.*\n)*?" if line.strip() == "…" else re.escape(line.rstrip()) + "\\s*\n"
        for line in wanted.rstrip().splitlines()
    )
    return re.fullmatch(pattern, got.rstrip() + "\n") is not None


@pytest.mark.skipif(
    shutil.which("bash") is None, reason="no bash here: the commands in the docs were not tried"
)
@pytest.mark.parametrize(
    ("where", "block"), sessions(), ids=lambda value: value.split("\n")[0][:40]
)
def test_what_the_docs_show_is_what_happens(where: str, block: str, tmp_path: Path) -> None:
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    environment = {**os.environ, "PATH": path, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"}
    environment["DIAGNOSE_LOG"] = str(tmp_path / "cases.sqlite")
    for command, wanted in commands(block):
        done = subprocess.run(
            ["bash", "-c", command],
            cwd=tmp_path,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            check=False,
        )
        assert same(wanted, done.stdout), f"{where}: $ {command}\n{done.stdout}"


def test_a_session_that_differs_is_noticed() -> None:
    assert same("a\n…\nd\n", "a\nb\nc\nd\n")
    assert not same("a\nd\n", "a\nb\nd\n")
    assert not same("a\n", "a\nb\n")


def test_the_reference_page_is_the_one_that_the_definitions_give() -> None:
    written = (ROOT / "docs" / "format.md").read_text(encoding="utf-8")
    assert written == reference.page(), "python -m diagnose.files.reference > docs/format.md"


def test_every_verb_is_documented() -> None:
    text = "".join(page.read_text(encoding="utf-8") for page in PAGES)
    for verb in app.VERBS:
        assert f"diagnose {verb}" in text, verb


def test_every_page_is_reached_from_the_readme() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    text += (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for page in PAGES[2:]:
        assert f"docs/{page.name}" in text, page.name
