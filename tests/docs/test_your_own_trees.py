"""The page on a library of one's own: it is grown block by block, and every refusal is tried."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest
from test_docs import commands, same

from diagnose import app
from diagnose.files.definitions import CAUTIONS, TREE
from diagnose.files.library import CHANGES, FOLDERS, load
from diagnose.files.reading import read_text
from diagnose.rules.check import check

PAGE = Path(__file__).parents[2] / "docs" / "your-own-trees.md"
TEXT = PAGE.read_text(encoding="utf-8")

#: What the block's mark may say behind the file, and the severities that `check` then finds.
HOW = {
    "": set(),
    "passes": set(),
    "refused": {"error"},
    "warned": {"warning"},
    "noticed": {"error", "warning"},
}
BLOCK = re.compile(r"(?:^<!-- ([^\n]*) -->\n)?^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


class Block(NamedTuple):
    """A block of the page: where, of which language, its text, and for YAML what is done with it."""

    line: int
    language: str
    text: str
    file: str
    how: str
    codes: frozenset[str]


def blocks() -> list[Block]:
    found = []
    for match in BLOCK.finditer(TEXT):
        file, _, said = (match[1] or "").partition(": ")
        how, _, codes = said.partition(" ")
        line = TEXT.count("\n", 0, match.start()) + 1
        wanted = frozenset(codes.replace(",", "").split())
        found.append(Block(line, match[2], match[3], file, how, wanted))
    return found


BLOCKS = blocks()


def entries(text: str, indent: int = 0) -> list[tuple[str, str]]:
    """Return the entries of some lines: the key, and its lines with those above that belong to it."""
    start = re.compile(rf"^(?=(?: {{{indent}}}#.*\n)*{' ' * indent}[\w\"'])", re.MULTILINE)
    pieces, last = [], 0
    for match in start.finditer(text):
        # The comment above an entry begins it: its own line begins none.
        if re.search(rf"^ {{{indent}}}#.*\n\Z", text[last : match.start()], re.MULTILINE):
            continue
        pieces.append(text[last : match.start()])
        last = match.start()
    pieces.append(text[last:])
    named = [(re.sub(r"^ *#.*\n", "", piece, flags=re.MULTILINE), piece) for piece in pieces]
    return [(bare.partition(":")[0].strip(), piece) for bare, piece in named if bare.strip()]


def put(text: str, more: str) -> str:
    """Return a file's text with more put into it: in place of an entry that is there, else last."""
    own = dict(entries(text))
    for key, entry in entries(more):
        inside = [*entries(entry.partition("\n")[2], 2)] if "\n  " in entry else []
        if key not in own or not inside or key not in ("steps", "hazards", "cautions"):
            own[key] = f"{entry.rstrip()}\n" + (
                "\n" if key in own and own[key].endswith("\n\n") else ""
            )
            continue
        head, _, below = own[key].partition("\n")
        held = dict(entries(below, 2)) | dict(inside)
        own[key] = f"{head}\n{chr(10).join(f'{one.rstrip()}{chr(10)}' for one in held.values())}\n"
    return "".join(own.values())


def test_a_block_is_put_in_place_of_what_is_there_or_last() -> None:
    text = "a: 1\n\nsteps:\n  # first\n  one:\n    ask: x\n\n  two: {y: z}\n"
    assert put(text, "a: 2\n") == text.replace("a: 1", "a: 2")
    assert put(text, "b: 2\n") == text + "b: 2\n"
    more = "steps:\n  one: {x: y}\n\n  three:\n    ask: w\n"
    assert (
        put(text, more)
        == "a: 1\n\nsteps:\n  one: {x: y}\n\n  two: {y: z}\n\n  three:\n    ask: w\n\n"
    )


class Desk:
    """A folder with the library of the page, and a shell that remembers what was exported."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.library = folder / "belts"
        self.library.mkdir()
        path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
        self.environment = {**os.environ, "PATH": path, "PYTHONIOENCODING": "utf-8"}
        self.environment["COLUMNS"] = "80"

    def put_in(self, block: Block) -> None:
        file = self.library / block.file
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(
            put(file.read_text("utf-8"), block.text) if file.exists() else block.text, "utf-8"
        )

    def found(self) -> dict[str, set[str]]:
        """Return the codes that `check` finds, by severity."""
        problems = check(load(self.library))
        return {
            severity: {one.code for one in problems if one.severity == severity}
            for severity in ("error", "warning")
        }

    def run(self, block: Block) -> None:
        for command, wanted in commands(block.text):
            if exported := re.match(r"export (\w+)=(.*)", command):
                self.environment[exported[1]] = exported[2]
                continue
            done = subprocess.run(
                ["bash", "-c", command],
                cwd=self.folder,
                env=self.environment,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                encoding="utf-8",
                check=False,
            )
            assert same(wanted, done.stdout), f"line {block.line}: $ {command}\n{done.stdout}"


def test_every_block_is_tried_in_its_turn(tmp_path: Path) -> None:
    if shutil.which("bash") is None:
        pytest.skip("no bash here: the page was not tried")
    desk = Desk(tmp_path)
    following = iter(BLOCKS[1:])
    shown = None
    for block in BLOCKS:
        after = next(following, None)
        if block.language == "console" and block is not shown:
            desk.run(block)
        if block.language != "yaml":
            continue
        assert block.file, f"line {block.line}: say in which file it belongs"
        kept = Path(shutil.copytree(desk.library, tmp_path / "kept"))
        desk.put_in(block)
        found = desk.found()
        severities = {severity for severity, codes in found.items() if codes}
        assert severities <= HOW[block.how], f"line {block.line}: {found}"
        assert {*found["error"], *found["warning"]} == block.codes, f"line {block.line}: {found}"
        if block.how:
            # What is said of it stands below it; then it is taken out again.
            if after is not None and after.language == "console":
                desk.run(shown := after)
            shutil.rmtree(desk.library)
            kept.rename(desk.library)
        else:
            shutil.rmtree(kept)


# What the page says beside its blocks


@pytest.fixture(scope="module")
def grown(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The library as it stands at the end of the page."""
    desk = Desk(tmp_path_factory.mktemp("grown"))
    for block in BLOCKS:
        if block.language == "yaml" and not block.how:
            desk.put_in(block)
    return desk.library


def title_of(value: str) -> str | None:
    """Return the title that a tree has with a value as it is typed, None where it is refused."""
    first = next(block.text for block in BLOCKS if block.file == "belt-slow.yaml")
    tree, problems = read_text(TREE, put(first, f"title: {value}\n"), "belt-slow.yaml")
    assert (tree is None) == bool(problems)
    return None if tree is None else str(tree.title)


BEGINNINGS = [
    "* ",
    "*",
    "&",
    "!",
    "[",
    "]",
    "{",
    "}",
    ">",
    "|",
    "@",
    "`",
    "%",
    '"',
    "'",
    ",",
    "#",
    "- ",
    "? ",
]


@pytest.mark.parametrize("begins", BEGINNINGS)
def test_a_text_that_begins_so_wants_quotes(begins: str) -> None:
    listed = re.search(r"begins with one of\s+`` (.*?) ``", TEXT, re.DOTALL)
    assert listed is not None
    assert begins.strip() in [*listed[1].split(), "-", "?"]
    text = f"{begins}it crawls"
    assert title_of(text) != text
    quoted = "'" + text.replace("'", "''") + "'"
    assert title_of(quoted) == text


def test_every_beginning_that_the_page_lists_was_tried() -> None:
    listed = re.search(r"begins with one of\s+`` (.*?) ``", TEXT, re.DOTALL)
    assert listed is not None
    assert {*listed[1].split()} <= {begins.strip() for begins in BEGINNINGS}


@pytest.mark.parametrize("begins", [*"abcXYZ019().;:/~^_+=<$-?äß€", "…"])
def test_a_text_that_begins_otherwise_wants_none(begins: str) -> None:
    text = f"{begins}it crawls"
    assert title_of(text) == text


def test_a_comment_cuts_a_text_off_and_nobody_says_so() -> None:
    assert title_of("The belt # 3 crawls") == "The belt"
    assert title_of('"The belt # 3 crawls"') == "The belt # 3 crawls"
    assert title_of("The belt #3 crawls") == "The belt"
    assert title_of("The belt no.#3 crawls") == "The belt no.#3 crawls"


@pytest.mark.parametrize("text", ["Yes", "no", "On", "off", "12:30", "010", "1.0", "~", "null"])
def test_words_and_figures_are_text(text: str) -> None:
    assert title_of(text) == text


@pytest.mark.parametrize(("text", "whole"), [("a, b", False), ("a] b", False), ('"a, b] c"', True)])
def test_inside_brackets_a_comma_and_a_bracket_want_quotes(text: str, whole: bool) -> None:
    first = next(block.text for block in BLOCKS if block.file == "belt-slow.yaml")
    tree, _ = read_text(TREE, put(first, f"also_called: [{text}]\n"), "belt-slow.yaml")
    assert ((tree is not None) and tree.also_called == (text.strip('"'),)) is whole


def test_the_key_makes_a_lockout_and_the_sign_alone_did_so_in_format_1(grown: Path) -> None:
    text = (grown / "cautions.yaml").read_text("utf-8")
    bare = re.sub(r"    (lockout|confirm_lines): .*\n", "", text)
    assert "M021" in bare
    for said, wanted in (("3", False), ("2", False), ("1", True)):
        cautions, problems = read_text(CAUTIONS, bare.replace("format: 3", f"format: {said}"), "c")
        assert problems == []
        assert cautions.cautions["lockout"].lockout is wanted
    unsigned = text.replace("signs: [W018, M021]", "signs: []")
    cautions, _ = read_text(CAUTIONS, unsigned, "c")
    assert cautions.cautions["lockout"].lockout


def test_the_shape_of_the_folder_is_the_one_that_was_grown(grown: Path) -> None:
    shape = next(block.text for block in BLOCKS if block.language == "text")
    lines = [line.split()[0] for line in shape.splitlines()]
    assert lines[0] == f"{grown.name}/"
    files = {str(path.relative_to(grown)) for path in grown.rglob("*.yaml")}
    assert files == {*lines[1:]} - {"machines/kinds/", CHANGES}
    assert set(FOLDERS) == {"machines/kinds", "machines", "rounds"}


def test_the_log_lies_where_the_page_says(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if not sys.platform.startswith("linux"):
        pytest.skip("the page names the place on Linux")
    monkeypatch.delenv("DIAGNOSE_LOG")
    monkeypatch.delenv("XDG_DATA_HOME")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert "`~/.local/share`" in TEXT
    assert "`diagnose/cases.sqlite`" in TEXT
    assert app.run(["cases"]) == 0
    wanted = tmp_path / ".local" / "share" / "diagnose" / "cases.sqlite"
    assert str(wanted) in capsys.readouterr().out
