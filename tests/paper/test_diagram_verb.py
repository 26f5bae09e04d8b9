"""`diagnose draw`: its files, read by other programs, and what it says when it cannot."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import networkx as nx
import pygraphviz
import pymupdf
import pytest
from drawn import AT_ONE_TIME, SVG, SYMPTOMS, arrows, bare, pdf_of, read_back, tree_of, unlabelled
from PIL import Image
from strategies.sampling import some

from diagnose import app
from diagnose.files.library import built_in
from diagnose.log import clock
from diagnose.paper.node_styles import WALKED
from diagnose.paper.route import routes_of

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


#: ISO 216 in points (status M).
PAPERS = {
    name: (wide * 72 / 25.4, high * 72 / 25.4)
    for name, wide, high in (
        ("a4", 210, 297),
        ("a3", 297, 420),
        ("a2", 420, 594),
        ("a1", 594, 841),
        ("a0", 841, 1189),
        ("2a0", 1189, 1682),
    )
}


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", some(SYMPTOMS))
def test_a_pdf_is_one_page_of_a_paper_with_all_the_trees_words(
    symptom: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert draw(symptom, "-o", "x.pdf", "--json") == 0
    (said,) = json.loads(capsys.readouterr().out)["files"]
    pdf = pdf_of(Path("x.pdf").read_bytes())
    (page,) = pdf.pages
    document = pymupdf.open("x.pdf")
    size = (float(page.mediabox.width), float(page.mediabox.height))
    assert sorted(size) == pytest.approx(PAPERS[said["paper"]], abs=1)
    assert said["type_size"] >= 10.0
    assert pdf.metadata is not None
    assert pdf.metadata.title == tree_of(symptom)["title"]
    assert pdf.trailer["/Root"]["/Lang"] == "en"
    assert pdf.trailer["/Root"]["/MarkInfo"]["/Marked"]
    read = [bare(page.extract_text()), bare(document[0].get_text())]
    for step in tree_of(symptom)["steps"].values():
        texts = [step.get(key, "") for key in ("do", "ask", "finding", "remedy", "leave_safe")]
        for text in [*texts, *step.get("answers", ())]:
            assert all(bare(text) in there for there in read), text
    inside = pymupdf.Rect(0, 0, *size)
    for x0, y0, x1, y1, *_ in document[0].get_text("words"):
        assert inside.contains(pymupdf.Rect(x0, y0, x1, y1))
    sizes = {
        round(span["size"], 1)
        for block in document[0].get_text("dict")["blocks"]
        for line in block.get("lines", ())
        for span in line["spans"]
    }
    assert min(sizes) >= 10.0


def test_an_svg_says_what_it_is_in_words_and_leads_to_other_symptoms() -> None:
    assert draw("streaking", "-o", "x.svg") == 0
    root = ElementTree.parse("x.svg").getroot()
    tree = tree_of("streaking")
    assert root.get("role") == "graphics-document document"
    assert root.find(f"{SVG}title").text == tree["title"]  # type: ignore[union-attr]
    about = root.find(f"{SVG}desc").text  # type: ignore[union-attr]
    findings = sum("finding" in step for step in tree["steps"].values())
    assert f"{len(tree['steps']) - findings} questions and {findings} findings" in about
    titles = {node.text for node in root.iter(f"{SVG}title")}
    assert {*tree["steps"]} <= titles
    links = {node.get("{http://www.w3.org/1999/xlink}href") for node in root.iter(f"{SVG}a")}
    on = {step["continue_with"] for step in tree["steps"].values() if "continue_with" in step}
    assert links - {None} == {f"{symptom}.svg" for symptom in on}
    assert {node.get("textLength") is None for node in root.iter(f"{SVG}text")} == {False}


def test_a_png_decodes_and_is_not_blank(capsys: pytest.CaptureFixture[str]) -> None:
    assert draw("which-symptom", "-o", "x.png") == 0
    assert "150 dots an inch" in capsys.readouterr().out
    with Image.open("x.png") as image:
        image.load()
        assert image.info["dpi"] == pytest.approx((150, 150), abs=1)
        colours = {colour: n for n, colour in image.convert("RGB").getcolors(1 << 24)}
    assert colours[255, 255, 255] > sum(colours.values()) / 2
    assert colours[0xE6, 0x9F, 0x00] > 500, "a warning's orange"
    assert colours[0, 0, 0] > 2000


def test_dot_text_is_one_graph_of_the_whole_tree() -> None:
    assert draw("streaking", "-o", "x.dot") == 0
    assert read_back(Path("x.dot").read_text("utf-8")) == arrows(tree_of("streaking"))


def test_a_browser_shows_an_svg(tmp_path: Path) -> None:
    browser = shutil.which("chromium")
    if browser is None:
        pytest.skip("no chromium here: whether a browser shows the SVG was not tried")
    assert draw("which-symptom", "-o", "x.svg") == 0
    # A window that takes the whole picture, which is one however large it is; 96 pixels an inch.
    head = re.search(r'width="(\d+)pt" height="(\d+)pt"', Path("x.svg").read_text("utf-8"))
    assert head is not None
    width, height = (int(points) * 96 // 72 + 40 for points in head.groups())
    subprocess.run(
        [
            browser,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            f"--user-data-dir={tmp_path / 'profile'}",
            f"--window-size={width},{height}",
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


def test_all_symptoms_have_a_file_each(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert draw("--all", "--json", "--trees", str(library), "-o", "all.svg") == 0
    files = json.loads(capsys.readouterr().out)["files"]
    assert [one["symptom"] for one in files] == ["alpha", "beta"]
    assert [one["file"] for one in files] == ["all-alpha.svg", "all-beta.svg"]
    assert all(Path(one["file"]).stat().st_size > 1000 for one in files)


def test_a_part_begins_at_a_step_and_says_what_is_in_force() -> None:
    assert draw("streaking", "--from", "casters", "-o", "x.pdf") == 0
    text = " ".join(page.extract_text() for page in pdf_of(Path("x.pdf").read_bytes()).pages)
    text = " ".join(text.split()).replace("- ", "-")
    assert "From step 27 on." in text
    assert "In force here: Key out, People clear, Cut-resistant gloves on, Locked out." in text
    assert "What was done to it last?" not in text
    assert "Turn each caster" in text


@pytest.mark.parametrize(("symptom", "step"), [("streaking", "casters"), ("alpha", "turn")])
def test_a_part_holds_what_follows_its_step_and_no_more(
    symptom: str, step: str, library: Path
) -> None:
    trees = library if symptom == "alpha" else built_in()
    args = [] if symptom != "alpha" else ["--trees", str(library)]
    assert draw(symptom, "--from", step, "-o", "x.dot", *args) == 0
    tree = tree_of(symptom, trees)
    whole = nx.MultiDiGraph([(one, to) for one, _, to in arrows(tree)])
    follows = {step} | nx.descendants(whole, step)
    wanted = {one: count for one, count in arrows(tree).items() if one[0] in follows}
    text = Path("x.dot").read_text("utf-8")
    assert read_back(text) == wanted
    graph = pygraphviz.AGraph(string=text)
    number = list(tree["steps"]).index(step) + 1
    begin = graph.get_node("begin here")
    assert f"From step {number} on." in unlabelled(begin.attr["label"])
    (first,) = graph.successors(begin)
    assert first.attr["id"].partition(".")[0] == step
    assert draw(symptom, "--from", step, "-o", "x.svg", *args) == 0
    about = ElementTree.parse("x.svg").getroot().find(f"{SVG}desc").text or ""  # type: ignore[union-attr]
    findings = sum("finding" in tree["steps"][one] for one in follows)
    assert f"{len(follows) - findings} questions and {findings} findings" in about
    assert f"It begins at step {number}." in about


def test_a_whole_tree_says_nothing_of_a_part(library: Path) -> None:
    assert draw("alpha", "-o", "x.dot", "--trees", str(library)) == 0
    graph = pygraphviz.AGraph(string=Path("x.dot").read_text("utf-8"))
    assert unlabelled(graph.get_node("begin here").attr["label"]) == "It does the first thing"


def test_the_date_below_the_title_is_the_programs_clocks(
    library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    then = datetime(2031, 5, 6, 12, tzinfo=UTC)
    monkeypatch.setattr(clock, "now", lambda: then)
    assert draw("alpha", "-o", "x.dot", "--trees", str(library)) == 0
    # As the place has it, which may be a day later there.
    assert then.astimezone().date().isoformat() in Path("x.dot").read_text("utf-8")


def test_the_minutes_are_those_worked_out_by_hand(library: Path) -> None:
    """Top takes 1 minute and finds half of the causes; the other half takes 8 more."""
    (library / "gamma.yaml").write_text(GAMMA.replace("And then?", "And?, minutes: 8"), "utf-8")
    assert draw("gamma", "--minutes", "-o", "x.dot", "--trees", str(library)) == 0
    graph = pygraphviz.AGraph(string=Path("x.dot").read_text("utf-8"))
    last = {
        node: node.attr["label"].replace("\\n", "\n").splitlines()[-1]
        for node in graph.nodes()
        if node.attr["class"] not in ("start", "caution", "answer")
    }
    assert last == {
        "top": "100% · 5 min",
        "mid": "50% · 8 min",
        "one": "50% · 5 min",
        "two": "30% · 5 min",
        "three": "20% · 5 min",
    }
    assert "how likely the cause lies behind it" in graph.graph_attr["label"]
    assert draw("gamma", "-o", "y.dot", "--trees", str(library)) == 0
    assert " min" not in Path("y.dot").read_text("utf-8")


def test_minutes_and_chances_stand_at_the_steps() -> None:
    assert draw("streaking", "--minutes", "-o", "x.dot") == 0
    graph = pygraphviz.AGraph(string=Path("x.dot").read_text("utf-8"))
    chances = {
        name: float(step["chance"])
        for name, step in tree_of("streaking")["steps"].items()
        if "chance" in step
    }
    share = chances["grit"] / sum(chances.values())
    assert f"{share:.0%} · 3 min" in graph.get_node("grit").attr["label"]
    assert "100% · " in graph.get_node(tree_of("streaking")["start"]).attr["label"]


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
    assert routes["alpha"].said == {"look": ["back"]}


GAMMA = """
format: 1
symptom: gamma
title: It does the third thing
start: top
steps:
  top: {ask: What is it?, answers: {One thing: one, Another: mid}}
  mid: {ask: And then?, by: battery-trained, answers: {Left: two, Right: three}}
  one: {finding: The first., chance: 50, who: operator, remedy: Mend it., hazards: [brush-drive]}
  two: {finding: The second., chance: 30, who: operator, remedy: Mend it.}
  three: {finding: The third., chance: 20, who: service, leave_safe: Leave it.}
"""

#: Replies, whether the person may open a battery, and the route: what stands at its steps, and
#: the answers given.
ROUTES = [
    ("unsure, leave", False, "top: 1, one: 2", {}),
    ("unsure, done, leave", False, "top: 1, one: 2", {}),
    # Not cured: on to the next by itself, over a step that is for somebody else.
    ("unsure, done, not cured, leave", False, "top: 1, one: 2, mid: passed over, two: 3", {}),
    ("unsure, done, not cured, leave", True, "top: 1, one: 2, mid: 3", {}),
    # Keep looking: service's is set aside, and the next one stands there.
    (
        "Another, Right, keep looking, leave",
        True,
        "top: 1, mid: 2, three: 3, two: 4",
        {("top", "Another"): 1, ("mid", "Right"): 2},
    ),
    # Back: what was withdrawn is no part of it.
    ("Another, Left, back, leave", True, "top: 1, mid: 2", {("top", "Another"): 1}),
    (
        "Another, Left, back, back, One thing, done, leave",
        True,
        "top: 1, one: 2",
        {("top", "One thing"): 1},
    ),
    # A case at its end.
    ("One thing, done, cured", True, "top: 1, one: 2", {("top", "One thing"): 1}),
    # A caution's screen is part of its step.
    ("One thing, cannot, leave", True, "top: 1, one: 2, mid: 3", {("top", "One thing"): 1}),
]


@pytest.mark.parametrize(("replies", "trained", "steps", "answers"), ROUTES)
def test_a_route_holds_what_was_shown_passed_over_and_answered(
    desk: Desk, replies: str, trained: bool, steps: str, answers: dict[tuple[str, str], int]
) -> None:
    from diagnose.log.sqlite import SqliteLog

    assert desk.trees is not None
    (desk.trees / "gamma.yaml").write_text(GAMMA, "utf-8")
    more = ("--as", "battery-trained") if trained else ()
    name = desk.start("gamma", replies.split(", "), "one", *more)
    log = SqliteLog(desk.log, "rw")
    case = log.case(name)
    assert case is not None
    (route,) = routes_of(log.events(case)).values()
    wanted = dict(one.split(": ") for one in steps.split(", "))
    assert route.steps == {step: f"case: {text}" for step, text in wanted.items()}
    assert route.answers == answers


@pytest.mark.parametrize(
    ("replies", "said"),
    [
        ("unsure, leave", {"top": "case: 1, not sure"}),
        ("unsure, done, not cured, leave", {"one": "case: 2, not cured", "mid": "case: 3"}),
        ("One thing, done, cured", {"top": "case: 1", "one": "case: 2, cured"}),
        ("One thing, cannot, leave", {"one": "case: 2, cannot"}),
        ("One thing, done, not it, leave", {"one": "case: 2, not it"}),
        ("Another, Right, keep looking, leave", {"three": "case: 3, set aside"}),
        ("Another, Left, back, leave", {"top": "case: 1", "mid": "case: 2, back"}),
        ("unsure, back, unsure, back, unsure, leave", {"top": "case: 1, not sure, back"}),
        # What *back* left is no part of the route: nothing is said there.
        ("Another, Left, not cured, back, back, leave", {"mid": "case: 2, back", "two": None}),
    ],
)
def test_a_route_says_what_was_replied_besides_answers(
    desk: Desk, replies: str, said: dict[str, str | None]
) -> None:
    from diagnose.log.sqlite import SqliteLog

    assert desk.trees is not None
    (desk.trees / "gamma.yaml").write_text(GAMMA, "utf-8")
    name = desk.start("gamma", replies.split(", "), "one", "--as", "battery-trained")
    log = SqliteLog(desk.log, "rw")
    case = log.case(name)
    assert case is not None
    (route,) = routes_of(log.events(case)).values()
    assert {one: route.words(one) if one in route.steps else None for one in said} == said
    args = ["--log", str(desk.log), "--trees", str(desk.trees)]
    assert draw("--case", name, "-o", "x.svg", *args) == 0
    drawn = Path("x.svg").read_text("utf-8")
    assert all(words in drawn for words in said.values() if words is not None)


def test_a_step_that_is_asked_again_keeps_its_number(desk: Desk) -> None:
    """Its words changed while the case was left."""
    from diagnose.log.sqlite import SqliteLog

    assert desk.trees is not None
    file = desk.trees / "gamma.yaml"
    file.write_text(GAMMA, "utf-8")
    name = desk.start("gamma", ["Another", "Right", "leave"], "one", "--as", "battery-trained")
    file.write_text(GAMMA.replace("What is it?", "What is it now?"), "utf-8")
    desk.resume(name, ["One thing", "done", "leave"])
    log = SqliteLog(desk.log, "rw")
    case = log.case(name)
    assert case is not None
    (route,) = routes_of(log.events(case)).values()
    assert (route.steps["top"], route.steps["mid"]) == ("case: 1", "case: 2")
    assert route.steps["one"] == "case: 3"


def test_a_cases_route_is_drawn_thick_and_numbered(desk: Desk) -> None:
    name = desk.start("alpha", ["Nothing odd", "23.8 V", "leave"], "one")
    args = ["--log", str(desk.log), "--trees", str(desk.trees)]
    assert draw("--case", name, "-o", "x.dot", *args) == 0
    graph = pygraphviz.AGraph(string=Path("x.dot").read_text("utf-8"))
    thick = {
        graph.get_node(edge[1]).attr["label"].partition("\\n")[0]
        for edge in graph.edges()
        if float(edge.attr["penwidth"] or 1) > 2 and edge.attr["arrowhead"] == "none"
    }
    assert thick == {"Nothing odd", "low"}
    walked = {node.attr["id"] for node in graph.nodes() if "case:" in (node.attr["label"] or "")}
    assert walked == {"look", "gauge", "flat"}


def test_shapes_and_cautions_on_the_route_have_thick_lines(desk: Desk) -> None:
    assert desk.trees is not None
    (desk.trees / "gamma.yaml").write_text(GAMMA, "utf-8")
    name = desk.start("gamma", ["unsure", "done", "not cured", "leave"], "one")
    args = ["--log", str(desk.log), "--trees", str(desk.trees)]
    assert draw("--case", name, "-o", "x.dot", *args) == 0
    assert draw("gamma", "-o", "plain.dot", *args) == 0
    route, plain = (
        pygraphviz.AGraph(string=Path(file).read_text("utf-8")) for file in ("x.dot", "plain.dot")
    )

    def times(node: str) -> float:
        widths = [float(one.get_node(node).attr["penwidth"] or 1) for one in (route, plain)]
        return widths[0] / widths[1]

    shown = {"top", "mid", "one", "two", "one cautions"}
    assert {node: times(node) for node in plain.nodes()} == {
        node: pytest.approx(WALKED if node in shown else 1) for node in plain.nodes()
    }
    assert WALKED >= 2
    # Nobody gave an answer, but the caution of a step that was shown was passed.
    thick = [edge for edge in route.edges() if float(edge.attr["penwidth"] or 1) > 1]
    assert thick == [("one cautions", "one")]
    assert "case: passed over" in route.get_node("mid").attr["label"]


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
        (["streaking", "--wall"], 2, "--wall"),
        (["streaking", "--font", "none.ttf"], 3, "none.ttf: this is no font"),
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
    assert "beta.pdf: beta" in captured.out
    assert "alpha.yaml:" in captured.err


def test_an_empty_library_has_nothing_to_draw(tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "empty").mkdir()
    assert draw("--all", "--trees", str(tmp_path / "empty")) == 3
    assert "no symptom tree there" in failed(capsys)


def test_without_graphviz_one_line_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "pygraphviz", None)
    assert draw("streaking") == 3
    assert "install pygraphviz" in failed(capsys)


@pytest.mark.parametrize("raised", [None, ValueError("no memory"), OSError("no memory")])
def test_what_graphviz_refuses_is_said_in_one_line(
    raised: Exception | None, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def refused(*_: object, **__: object) -> bytes:
        if raised is not None:
            raise raised
        return b""

    monkeypatch.setattr(pygraphviz.AGraph, "draw", refused)
    assert draw("streaking", "-o", "x.svg") == 3
    said = failed(capsys)
    assert "Graphviz could not draw this" in said
    assert raised is None or "no memory" in said


def test_a_letter_that_no_font_has_is_named_and_nothing_written(
    library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = library / "alpha.yaml"
    file.write_text(file.read_text("utf-8").replace("A puddle", "A puddle 中"), "utf-8")
    for name in ("x.svg", "x.png", "x.pdf", "x.dot"):
        assert draw("alpha", "--trees", str(library), "-o", name) == 3
        assert "no letter for U+4E2D" in failed(capsys)
    assert list(Path().iterdir()) == []


def _large(folder: Path) -> None:
    steps = "".join(
        f"  q{n}: {{ask: How does part {n} look?, answers: {{Worn: f{n}, Right: q{n + 1}}}}}\n"
        f"  f{n}: {{finding: Part {n} is worn., chance: 1, who: operator, remedy: Change it.}}\n"
        for n in range(120)
    )
    end = "  q120: {finding: None is worn., chance: 1, who: operator, remedy: Go on.}\n"
    head = "format: 1\nsymptom: large\ntitle: A large one\nstart: q0\nsteps:\n"
    (folder / "large.yaml").write_text(head + steps + end, "utf-8")


def test_what_fits_no_paper_is_said_and_can_be_drawn_as_svg(
    library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _large(library)
    assert draw("large", "--trees", str(library)) == 3
    assert "larger than 2A0" in failed(capsys)
    assert draw("large", "--trees", str(library), "-o", "x.svg") == 0


def test_a_drawing_is_the_same_where_no_font_is_installed(tmp_path: Path) -> None:
    empty = tmp_path / "fonts.conf"
    empty.write_text("<fontconfig></fontconfig>", "utf-8")
    made = []
    for more in ({}, {"FONTCONFIG_FILE": str(empty), "HOME": str(tmp_path)}):
        for file in ("x.svg", "x.pdf", "x.png"):
            code = [sys.executable, "-c", AT_ONE_TIME, "draw", "which-symptom", "-o", file]
            subprocess.run(code, check=True, capture_output=True, env=os.environ | more)
            made.append(Path(file).read_bytes())
    assert made[:3] == made[3:]


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
    assert "pygraphviz" in loaded
    assert not loaded & {"pint", "prompt_toolkit", "numpy", "sqlite3", "typst"}


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
