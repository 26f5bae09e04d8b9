"""`diagnose draw`: its files, read by other programs, and what it says when it cannot."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import pytest
from drawn import SVG, SYMPTOMS, arrows, pdf_of, read_back, tree_of, words
from PIL import Image

from diagnose import app
from diagnose.paper import render
from diagnose.paper.route import routes_of
from diagnose.paper.sheet import PAPERS

if TYPE_CHECKING:
    from conftest import Desk


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")


def draw(*args: str) -> int:
    return app.run(["draw", *args])


def failed(capsys: pytest.CaptureFixture[str]) -> str:
    """Return the one line on standard error."""
    said = capsys.readouterr().err
    assert said.count("\n") == 1, said
    assert said.startswith("diagnose: ")
    assert "fault of the program" not in said
    return said


# Files


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_a_pdf_has_the_trees_words_and_its_papers_size(
    symptom: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert draw(symptom, "-o", "x.pdf", "--json") == 0
    (said,) = json.loads(capsys.readouterr().out)["files"]
    pdf = pdf_of(Path("x.pdf").read_bytes())
    assert len(pdf.pages) == said["sheets"]
    assert said["type_size"] >= 8.0
    for page in pdf.pages:
        size = (float(page.mediabox.width), float(page.mediabox.height))
        assert size == pytest.approx(PAPERS["a4"], abs=1)
    there = sum((words(page.extract_text()) for page in pdf.pages), Counter())
    tree = tree_of(symptom)
    for step in tree["steps"].values():
        texts = [step.get(key, "") for key in ("do", "ask", "finding", "remedy", "leave_safe")]
        texts += [*step.get("answers", ())]
        for text in texts:
            missing = words(text) - there
            assert not missing, (text, missing)
    total: Counter[str] = Counter()
    for step in tree["steps"].values():
        for key in ("do", "ask", "finding", "remedy", "leave_safe"):
            total += words(step.get(key, ""))
        for answer in step.get("answers", ()):
            total += words(answer)
    # A word that stands three times in the file stands three times on paper, or more often.
    assert not total - there


def test_svgs_are_valid_xml_at_the_papers_size_with_type_that_can_be_read() -> None:
    assert draw("streaking", "-o", "x.svg", "--paper", "letter") == 0
    files = sorted(Path().glob("x-*.svg"))
    assert len(files) > 1
    for number, file in enumerate(files, 1):
        root = ElementTree.parse(file).getroot()
        assert (root.get("width"), root.get("height")) == ("612pt", "792pt")
        view = [float(value) for value in root.get("viewBox", "").split()]
        (scale,) = {
            float(found[1])
            for node in root.iter(f"{SVG}g")
            if (found := re.search(r"scale\(([\d.]+)", node.get("transform", "")))
        }
        texts = list(root.iter(f"{SVG}text"))
        sizes = [float(node.get("font-size", 0)) * scale * 612 / view[2] for node in texts]
        assert min(sizes) >= 8 - 0.05
        said = " ".join(node.text or "" for node in texts)
        assert f"page {number} of {len(files)}" in said


def test_a_png_decodes_and_is_not_blank() -> None:
    assert draw("which-symptom", "-o", "x.png", "--paper", "a3", "--orientation", "landscape") == 0
    file = Path("x-1.png")
    with Image.open(file) as image:
        image.load()
        assert image.size == pytest.approx((420 / 25.4 * 150, 297 / 25.4 * 150), abs=3)
        colours = {colour: n for n, colour in image.convert("RGB").getcolors(1 << 24)}
    assert colours[255, 255, 255] > sum(colours.values()) / 2
    assert colours[0xF0, 0xE4, 0x42] > 500, "a caution's yellow"
    assert colours[0, 0, 0] > 2000


def test_dot_text_is_one_graph_of_the_whole_tree() -> None:
    assert draw("streaking", "-o", "x.dot") == 0
    assert read_back([Path("x.dot").read_text("utf-8")]) == arrows(tree_of("streaking"))


def test_a_browser_shows_an_svg(tmp_path: Path) -> None:
    browser = shutil.which("chromium")
    if browser is None:
        pytest.skip("no chromium here: whether a browser shows the SVG was not tried")
    assert draw("which-symptom", "--wall", "-o", "x.svg") == 0
    subprocess.run(
        [
            browser,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            f"--user-data-dir={tmp_path / 'profile'}",
            "--window-size=1200,1700",
            "--screenshot=shot.png",
            Path("x.svg").resolve().as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    with Image.open("shot.png") as image:
        shot = image.convert("RGB")
    counted = {colour: count for count, colour in shot.getcolors(1 << 24)}
    assert counted[0xE6, 0x9F, 0x00] > 1000, "a warning's panel"
    assert counted[0, 0, 0] > 1000, "text and lines"
    # An XML error in Chromium is a page of its own, with a pink banner.
    assert (255, 221, 221) not in counted


def test_all_symptoms_stand_in_one_pdf(capsys: pytest.CaptureFixture[str]) -> None:
    assert draw("--all", "--short", "--json") == 0
    files = json.loads(capsys.readouterr().out)["files"]
    assert [one["symptom"] for one in files] == list(SYMPTOMS)
    pdf = pdf_of(Path("all-symptoms.pdf").read_bytes())
    assert len(pdf.pages) == sum(one["sheets"] for one in files)
    assert min(one["type_size"] for one in files) >= 8.0


def test_a_part_begins_at_a_step_and_says_what_is_in_force() -> None:
    assert draw("streaking", "--from", "casters", "-o", "x.pdf") == 0
    text = " ".join(page.extract_text() for page in pdf_of(Path("x.pdf").read_bytes()).pages)
    text = " ".join(text.split())
    assert "From step 21 on." in text
    assert "In force here: Key out, Cut gloves on, Machine dead." in text
    assert "What does it leave behind?" not in text
    assert "Turn each small wheel" in text


def test_minutes_and_chances_stand_at_the_steps() -> None:
    assert draw("streaking", "--minutes", "--short", "-o", "x.dot") == 0
    text = Path("x.dot").read_text("utf-8")
    chances = {
        name: float(step["chance"])
        for name, step in tree_of("streaking")["steps"].items()
        if "chance" in step
    }
    share = chances["grit"] / sum(chances.values())
    (label,) = re.findall(
        r'label="([^"]*)"[^\]]*id="n\d+-grit"|id="n\d+-grit"[^\]]*label="([^"]*)"', text
    )
    assert f"{share:.0%} · 3 min" in "".join(label)
    assert "100% · " in text


# A case's route


def test_the_route_of_a_case_is_told_from_its_log(desk: Desk) -> None:
    name = desk.start("alpha", ["Nothing odd", "back", "A puddle", "done", "Free", "leave"], "one")
    from diagnose.log.sqlite import SqliteLog

    log = SqliteLog(desk.log, "rw")
    case = log.case(name)
    assert case is not None
    routes = routes_of(log.events(case))
    assert list(routes) == ["alpha", "beta"]
    assert routes["alpha"].answers == {("look", "A puddle"): 1}
    assert routes["alpha"].steps == {"look": "case: 1", "door": "case: 2"}
    assert routes["beta"].answers == {("hose", "Free"): 3}
    assert routes["beta"].steps["fan"] == "case: 4"
    assert "gauge" not in routes["alpha"].steps


def test_a_cases_route_is_drawn_thick_and_numbered(desk: Desk) -> None:
    name = desk.start("alpha", ["Nothing odd", "23.8 V", "leave"], "one")
    args = ["--log", str(desk.log), "--trees", str(desk.trees)]
    assert draw("--case", name, "-o", "x.dot", *args) == 0
    import pygraphviz

    graph = pygraphviz.AGraph(string=Path("x.dot").read_text("utf-8"))
    thick = {edge.attr["tooltip"] for edge in graph.edges() if float(edge.attr["penwidth"]) > 2}
    assert thick - {"", None} == {"Nothing odd", "low"}
    walked = {
        node.attr["id"].partition("-")[2] for node in graph.nodes() if "case:" in node.attr["label"]
    }
    assert walked == {"look", "gauge", "flat"}


def test_a_case_is_drawn_on_todays_tree(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    name = desk.start("alpha", ["Nothing odd", "leave"], "none")
    assert desk.trees is not None
    file = desk.trees / "alpha.yaml"
    file.write_text(file.read_text("utf-8").replace("Nothing odd", "All as usual"), "utf-8")
    args = ["--log", str(desk.log), "--trees", str(desk.trees)]
    assert draw("--case", name, "-o", "x.pdf", *args) == 0
    assert "in today's tree 1 of the case's steps are missing" in capsys.readouterr().out


# What goes wrong


@pytest.mark.parametrize(
    ("args", "code", "says"),
    [
        ([], 2, "Name a symptom"),
        (["streakin"], 2, 'Did you mean "streaking"?'),
        (["streaking", "--all"], 2, "--all draws whole trees"),
        (["streaking", "-o", "x.jpg"], 2, "has to end in one of .pdf, .svg, .png, .dot"),
        (["streaking", "-o", "x"], 2, "has to end in"),
        (["streaking", "--from", "caster"], 2, 'Did you mean "casters"?'),
        (["streaking", "--paper", "b5"], 2, "--paper"),
        (["streaking", "--wall", "-o", "x.dot"], 2, "A wall chart is a sheet"),
        (["streaking", "--wall", "--minutes"], 2, "A wall chart shows the whole tree"),
        (["streaking", "-o", "nowhere/x.pdf"], 3, "nowhere/x.pdf: "),
        (["streaking", "-o", "/proc/x.pdf"], 3, "/proc/x.pdf: "),
        (["--case", "ZZZZ"], 2, "no case"),
        (["streaking", "--machine", "dck"], 2, 'Did you mean "dock"?'),
    ],
)
def test_what_cannot_be_drawn_is_said_in_one_line(
    args: list[str], code: int, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert draw(*args) == code
    assert says in failed(capsys)
    assert list(Path().iterdir()) == []


def test_a_broken_tree_is_named_and_the_others_are_drawn(
    library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (library / "alpha.yaml").write_text("format: 1\nsymptom: alpha\n", "utf-8")
    assert draw("--all", "--trees", str(library)) == 3
    captured = capsys.readouterr()
    assert "all-symptoms.pdf: beta" in captured.out or "beta.pdf: beta" in captured.out
    assert "alpha.yaml:" in captured.err


def test_an_empty_library_has_nothing_to_draw(tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "empty").mkdir()
    assert draw("--all", "--trees", str(tmp_path / "empty")) == 3
    assert "no symptom tree there" in failed(capsys)


def test_without_graphviz_one_line_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(render, "_program", lambda: None)
    monkeypatch.setitem(sys.modules, "pygraphviz", None)
    assert draw("streaking") == 3
    assert "install pygraphviz" in failed(capsys)


def _program(folder: Path, lines: str) -> None:
    folder.mkdir()
    file = folder / "dot"
    file.write_text(f"#!{sys.executable}\n{lines}", "utf-8")
    file.chmod(0o755)


def test_a_dot_on_the_path_is_preferred(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # It stands in for a system's Graphviz, and writes down that it was called, and how.
    _program(
        tmp_path / "bin",
        "import sys, pygraphviz\n"
        f"open({str(tmp_path / 'calls')!r}, 'a').write(' '.join(sys.argv[1:]) + '\\n')\n"
        "engine, form, *more = (word[2:] for word in sys.argv[1:])\n"
        "graph = pygraphviz.AGraph(string=sys.stdin.buffer.read().decode())\n"
        "args = ' '.join('-G' + word for word in more)\n"
        "sys.stdout.buffer.write(graph.draw(format=form, prog=engine, args=args))\n",
    )
    monkeypatch.setenv("PATH", f"{tmp_path / 'bin'}{os.pathsep}{os.environ['PATH']}")
    render._program.cache_clear()
    try:
        assert draw("which-symptom", "-o", "x.png", "--paper", "a3") == 0
    finally:
        render._program.cache_clear()
    calls = (tmp_path / "calls").read_text("utf-8").splitlines()
    assert calls[0] == "-Knop2 -Tplain"
    assert "-Kdot -Tjson0" in calls
    assert calls[-1] == "-Knop2 -Tpng -Gdpi=150"


def test_a_dot_that_fails_is_said_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _program(tmp_path / "bin", "import sys\nsys.exit('no layout plugin')\n")
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    render._program.cache_clear()
    try:
        assert draw("streaking") == 3
    finally:
        render._program.cache_clear()
    assert "no layout plugin" in failed(capsys)


def test_drawing_imports_no_units_and_no_terminal() -> None:
    code = (
        "import sys; from diagnose import app; code = app.run(sys.argv[1:]);"
        "print(*sys.modules, sep='\\n', file=sys.stderr); sys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "draw", "streaking", "-o", "x.svg"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = set(done.stderr.split())
    assert {"graphviz", "pygraphviz"} <= loaded
    assert not loaded & {"pint", "prompt_toolkit", "numpy", "sqlite3", "pypdf"}


def test_nothing_of_the_libraries_chatter_reaches_the_user() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", "draw", "streaking", "-o", "x.pdf"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    assert done.stdout.startswith("x.pdf: streaking; ")


def test_a_drawing_is_as_open_as_any_new_file() -> None:
    assert draw("which-symptom", "-o", "x.pdf") == 0
    Path("other").write_text("", "utf-8")
    assert Path("x.pdf").stat().st_mode == Path("other").stat().st_mode
    assert [file.name for file in Path().iterdir() if file.name.startswith(".")] == []
