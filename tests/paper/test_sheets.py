"""Sheets read back by what is printed, with pypdf and MuPDF: what stands there, and where."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pymupdf
import pytest
import yaml
from drawn import (
    AT_ONE_TIME,
    SYMPTOMS,
    bare,
    called_cautions,
    caution_rules,
    exits,
    pdf_of,
    tree_of,
)
from fontTools.ttLib import TTFont
from fontTools.ttLib.tables._c_m_a_p import CmapSubtable
from strategies.sampling import some

from diagnose import app
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.faces.words import sign_words
from diagnose.files.library import built_in
from diagnose.files.tree import Exit, Reading
from diagnose.measure.registry import MEASUREMENTS
from diagnose.paper.letters import CannotRender, typeface
from diagnose.paper.sheets import STOP, Letters
from diagnose.paper.step_words import band_range
from diagnose.paper.typesetter import PAPERS, Document

if TYPE_CHECKING:
    from collections.abc import Iterator

SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")


def sheets(*args: str) -> int:
    return app.run(["sheets", *args])


def failed(capsys: pytest.CaptureFixture[str]) -> str:
    said = capsys.readouterr().err
    assert said.count("\n") == 1, said
    assert "fault of the program" not in said
    return said


def set_in_type(*args: str) -> pymupdf.Document:
    assert sheets(*args, "-o", "x.pdf") == 0
    return pymupdf.open("x.pdf")


def columns(document: pymupdf.Document) -> str:
    """Return all words in reading order, less what is on top of and below each sheet again."""
    return bare(" ".join(page.get_text() for page in document))


# What stands there


@pytest.mark.many_cases
@pytest.mark.parametrize(
    "args",
    [("--wall", "--paper", "tabloid"), ("--paper", "letter", "--machine", "dock")],
    ids=" ".join,
)
@pytest.mark.parametrize("symptom", some(SYMPTOMS))
def test_nothing_that_protects_or_mends_is_left_out(symptom: str, args: tuple[str, ...]) -> None:
    document = set_in_type(symptom, *args)
    by_pypdf = bare(
        " ".join(page.extract_text() for page in pdf_of(Path("x.pdf").read_bytes()).pages)
    )
    tree = tree_of(symptom)
    rules = caution_rules()["cautions"]
    # What does not apply to the machine stands on none of its sheets.
    library = ReadyLibrary(built_in(), frozenset({symptom}))
    library.machine("dock" if "dock" in args else None)
    there = library.require(symptom).tree.steps
    for read in (columns(document), by_pypdf):
        for name, step in tree["steps"].items():
            if name not in there:
                continue
            texts = [step.get(key, "") for key in ("do", "ask", "finding", "remedy", "leave_safe")]
            texts += [
                step.get("tool", ""),
                *([] if "--wall" in args else [step.get("look_for", "")]),
            ]
            texts += [MEASUREMENTS[step["read"]].title] if "read" in step else []
            offered = {way.answer for way in getattr(there[name], "exits", ())}
            texts += [answer for answer, _ in exits(step) if answer in offered]
            for text in texts:
                assert bare(text) in read, (name, text)
        for caution in {one for called in called_cautions(tree).values() for one in called}:
            one = rules[caution]
            for text in [one["title"], one["text"], *one["confirm"], *one.get("release", ())]:
                assert bare(text) in read, (caution, text)
            for sign in one.get("signs", ()):
                assert bare(sign_words(sign)) in read
        assert read.count(bare(STOP)) == len(document)
    assert bare("Look for:") not in columns(document) or "--wall" not in args


@cache
def entries(symptom: str, *args: str) -> dict[int, str]:
    """Return the words of each entry by its number: from its head to the next one's."""
    document = set_in_type(symptom, *args)
    toc = [title for level, title, _ in document.get_toc() if level == 2]
    read = columns(document)
    found, at = {}, 0
    heads = [bare(title) for title in toc]
    places = []
    for head in heads:
        at = read.index(head, at)
        places.append(at)
    for head, start, end in zip(heads, places, [*places[1:], len(read)], strict=True):
        number = re.match(r"\d+", head)
        if number:
            found[int(number[0])] = read[start:end]
    return found


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", some(SYMPTOMS))
def test_a_caution_stands_before_the_step_that_it_is_for(symptom: str) -> None:
    tree, rules = tree_of(symptom), caution_rules()["cautions"]
    numbers = {name: place for place, name in enumerate(tree["steps"], 1)}
    called = called_cautions(tree)
    read = entries(symptom, "--wall")
    ways: dict[str, list[str]] = {name: [] for name in tree["steps"]}
    for name, step in tree["steps"].items():
        for _, to in exits(step):
            ways[to].append(name)
    for name, step in tree["steps"].items():
        alone = "finding" in step and len(ways[name]) == 1
        entry = read[numbers[ways[name][0] if alone else name]]
        # A finding's own words begin after its line; its cautions stand between that and what to do.
        first = bare(step.get("finding", "") if "finding" in step else "")
        begin = entry.index(first)
        told = step.get("do") or step.get("remedy") or step.get("leave_safe") or step.get("ask")
        if told is None:
            told = MEASUREMENTS[step["read"]].title if "read" in step else step["continue_with"]
        if "continue_with" in step:
            told = tree_of(step["continue_with"])["title"]
        end = entry.index(bare(told), begin)
        for caution in called[name]:
            panel = bare(f"{rules[caution]['signal']}{rules[caution]['title']}")
            assert panel in entry[begin:end], (name, caution)
            # Its lines stand at the danger too.
            told = entry[entry.index(panel, begin) : end]
            for line in rules[caution]["confirm"]:
                assert bare(line) in told, (name, caution, line)
        seen = {
            c
            for c, one in rules.items()
            if any(f"{signal}{bare(one['title'])}" in entry[begin:end] for signal in SIGNALS)
        }
        assert seen == {*called[name]}


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", some(SYMPTOMS))
def test_every_entry_says_from_where_and_on_which_sheet(symptom: str) -> None:
    tree = tree_of(symptom)
    names = [*tree["steps"]]
    document = set_in_type(symptom)
    sheet = {
        int(found[0]): page
        for level, title, page in document.get_toc()
        if level == 2 and (found := re.match(r"\d+", bare(title)))
    }
    read = entries(symptom)
    assert set(read) == set(sheet)
    for name, step in tree["steps"].items():
        own = names.index(name) + 1
        for answer, to in exits(step):
            there = names.index(to) + 1
            if there in sheet:
                assert f"→{there}sheet{sheet[there]}" in read[own], (name, answer)
                assert bare(f"{own}{answer}(sheet{sheet[own]})") in read[there], (name, answer)


def test_what_is_in_force_is_said_at_each_entry_and_what_to_release() -> None:
    read = entries("streaking")
    names = [*tree_of("streaking")["steps"]]
    casters = read[names.index("casters") + 1]
    assert (
        bare("In force here: Key out, People clear, Cut-resistant gloves on, Locked out") in casters
    )
    assert bare("Before trying it, release: Key out, Locked out") in casters
    steps = tree_of("poor-pickup")["steps"]
    read = entries("poor-pickup")
    running = [n for n, step in enumerate(steps.values(), 1) if step.get("energises") == "true"]
    # A helper listens with suction on; on the way to it the machine is locked out.
    listening = [*steps].index("hiss") + 1
    assert listening in running
    assert (
        bare("Before it runs, release what is in force of: Key out, Locked out") in read[listening]
    )
    first = min(running)
    assert bare("Before it runs") not in read[first].split(bare("Before trying it"))[0]


def test_the_lines_of_what_a_caution_includes_come_with_it_unless_they_were_confirmed() -> None:
    read, rules = entries("streaking"), caution_rules()["cautions"]
    names = [*tree_of("streaking")["steps"]]
    key_out = [bare(line) for line in rules["key-out"]["confirm"]]
    # The lockout includes the key: it is out already at the arm, and still in at the blade.
    caught = read[names.index("what-holds-it") + 1]
    blade = read[names.index("along-blade") + 1]
    for entry, often in ((caught, 1), (blade, 1)):
        panel = entry.index(bare("Locked out"), entry.index(bare("WARNING")))
        assert [entry.count(line) for line in key_out] == [often] * len(key_out)
        assert bare(rules["lockout"]["confirm"][0]) in entry[panel:]
    assert entry.index(key_out[0]) > panel
    assert caught.index(key_out[0]) < caught.index(bare("WARNINGLocked out"))


def test_bands_are_ranges_in_rising_order() -> None:
    read = entries("streaking")
    steps = tree_of("streaking")["steps"]
    number = [*steps].index("bend") + 1
    # 15 mm is as it should be: its file says below 15.1, a person "up to 15".
    assert [band["below"] for band in steps["bend"]["bands"][:2]] == ["10", "15.1"]
    calls = [band.get("call") or band["otherwise"] for band in steps["bend"]["bands"]]
    ranges = zip(calls, ["below 10 mm", "10 to 15 mm", "more than 15 mm"], strict=True)
    places = [read[number].index(bare(", ".join(one))) for one in ranges]
    assert places == sorted(places)


@pytest.mark.parametrize(
    ("read", "limits", "ranges"),
    [
        ("blade-level", (3.1,), ["up to 3 mm", "more than 3 mm"]),
        ("brush-current", (20, 120.1), ["below 20 %", "20 to 120 %", "more than 120 %"]),
        (
            "cell-gravities",
            (0.0205, 0.0305),
            ["up to 0.02", "more than 0.02, up to 0.03", "more than 0.03"],
        ),
        ("blade-bend", (3.1, 15), ["up to 3 mm", "more than 3, below 15 mm", "15 mm or more"]),
        # A tenth of a volt tells something, and half a millimetre is no hair.
        ("rest-voltage", (12.1,), ["below 12.1 %", "12.1 % or more"]),
        ("blade-bend", (15.5,), ["below 15.5 mm", "15.5 mm or more"]),
        ("value", (), [""]),
    ],
)
def test_a_limit_just_above_a_round_figure_is_said_by_it(
    read: str, limits: tuple[float, ...], ranges: list[str]
) -> None:
    bands = [Exit(answer=f"{n}", to="x") for n in range(len(limits) + 1)]
    step = Reading(read=read, exits=tuple(bands), limits=tuple(limits))
    ready = ReadyLibrary(built_in(), frozenset({"streaking"})).require("streaking")
    assert [band_range(ready, step, which) for which in range(len(bands))] == ranges


def test_the_card_gives_settings_and_service_or_there_are_lines_to_write_on() -> None:
    read = columns(set_in_type("leak", "--machine", "dock"))
    for text in (
        "second mark of six",
        "Machine desk of Odderby Cross, 555-0142",
        "C1: battery not found",
    ):
        assert bare(text) in read
    document = set_in_type("leak")
    last = document[-1]
    lines = sorted(
        {
            round(item["rect"].y1, 1)
            for item in last.get_drawings()
            if item["rect"].height < 1 and item["rect"].width > 40 and item["rect"].y1 > 150
        }
    )
    blanks = [high - low for low, high in pairwise(lines) if high - low < 60]
    assert blanks
    assert min(blanks) >= 8 * 72 / 25.4


def test_whom_the_site_calls_stands_on_every_sheet_and_the_cards_own_service_before_the_sites(
    library: Path,
) -> None:
    site = yaml.load((built_in() / "site.yaml").read_text("utf-8"), Loader=yaml.BaseLoader)
    said = {who: bare(f"{one['name']}, {one['phone']}") for who, one in site["call"].items()}
    for page in set_in_type("leak"):
        read = bare(page.get_text())
        assert f"Emergency:{said['emergency']}" in read
        assert f"Shiftlead:{said['shift_lead']}" in read
        assert f"Licensedservice:{said['service']}" in read
    for name in ("", "Somebody"):
        call = {"emergency": {"name": "Fire", "phone": "1"}, "service": {"name": "S", "phone": "2"}}
        made = {"format": "2", "name": "Hall", "call": call}
        (library / "site.yaml").write_text(yaml.safe_dump(made), "utf-8")
        card = library / "machines" / "one.yaml"
        if not name:
            text = re.sub(r"^service:.*?(?=^\S)", "", card.read_text("utf-8"), flags=re.M | re.S)
            card.write_text(text, "utf-8")
        else:
            text = card.read_text("utf-8")
            card.write_text(f"{text}\nservice: {{name: {name}, phone: '3'}}\n", "utf-8")
        read = columns(set_in_type("alpha", "--trees", f"{library}", "--machine", "one"))
        assert "Emergency:Fire,1" in read
        assert f"Licensedservice:{'Somebody,3' if name else 'S,2'}" in read
        assert "Shiftlead:Licensed" in read


# How large, and where


def test_papers_are_those_of_the_standards() -> None:
    """ISO 216 (status M): each half of the one above, in whole millimetres; Y14.1: in inches."""
    assert PAPERS["a4"] == (210, 297)
    for larger, smaller in pairwise(("2a0", "a0", "a1", "a2", "a3", "a4")):
        wide, high = PAPERS[larger]
        assert PAPERS[smaller] == (high // 2, wide)
    for name, inches in (("letter", (8.5, 11)), ("legal", (8.5, 14)), ("tabloid", (11, 17))):
        assert PAPERS[name] == pytest.approx([25.4 * side for side in inches])


def test_columns_fill_what_the_margins_leave() -> None:
    """By hand: type of 10 points in columns of 26 times that, 91.7 mm, between margins of 10 mm."""
    face = typeface()
    letters = Letters.read_at(0.5, face)
    assert letters.message == 10
    for wide, columns in ((210.0, 2), (297.0, 3), (841.0, 8)):
        assert letters.on((wide, 1189.0), face)["columns"] == columns


@pytest.mark.parametrize(
    ("args", "distance"),
    [
        ((), 0.5),
        (("--wall",), 1.0),
        (("--read-at", "150 cm", "--paper", "a3"), 1.5),
        (("--wall", "--read-at", "6 ft", "--paper", "a2", "--orientation", "landscape"), 1.8288),
    ],
)
def test_letters_are_as_large_as_the_distance_asks_for(
    args: tuple[str, ...], distance: float, capsys: pytest.CaptureFixture[str]
) -> None:
    """ANSI Z535.2 (status R, quoted by sign makers): 1/150 for signal words, 1/300 for the rest.

    The height of a capital is 0.689 of the type size, by the outline of the font's own H (below).
    """
    document = set_in_type("which-symptom", *args, "--json")
    (said,) = json.loads(capsys.readouterr().out)["files"]
    assert said["sheets"] == len(document)
    seen = 0
    for page in document:
        for block in page.get_text("dict")["blocks"]:
            for line in block.get("lines", ()):
                for span in line["spans"]:
                    high = span["size"] * 0.689 * 0.0254 / 72
                    signal = span["text"].strip() in SIGNALS
                    ratio = 1 / 150 if signal else 1 / 300
                    assert high >= distance * ratio * 0.999, span["text"]
                    seen += signal
    assert seen >= len(document)


def test_the_height_of_a_capital_is_the_fonts_own() -> None:
    import fontpkg_fira_sans

    font = TTFont(fontpkg_fira_sans.ROOT / "files" / "FiraSans-Regular.ttf")
    letter = font["glyf"][font.getBestCmap()[ord("H")]]
    assert letter.yMax / font["head"].unitsPerEm == pytest.approx(0.689)
    assert typeface().cap_height == pytest.approx(0.689)


ODD_TREE = {
    "format": "1",
    "symptom": "odd",
    "title": "An odd one " + "w" * 60,
    "start": "many",
    "steps": {
        "many": {
            "do": "Look at " + "x" * 60 + " and at the rest.",
            "ask": "Which of these is it?",
            "hazards": ["wet"],
            "answers": {f"Answer number {n}": f"f{n}" for n in range(30)},
        },
        **{
            f"f{n}": {
                "finding": f"Cause {n} " + "y" * 60,
                "chance": "1",
                "who": "operator",
                "remedy": "Do this at once. " * (60 if n == 3 else 1),
                "hazards": ["wet"] if n % 2 else [],
            }
            for n in range(30)
        },
    },
}
ODD_CAUTIONS = {
    "format": "1",
    "hazards": {"wet": {"title": "Wet " + "z" * 60}},
    "cautions": {
        "dry": {
            "title": "Keep dry " + "v" * 60,
            "signal": "WARNING",
            "signs": ["W011"],
            "covers": ["wet"],
            "lapses": "when energised",
            "text": "A very long caution goes on and on. " * 40,
            "confirm": ["It is " + "u" * 60, *(f"Line {n} holds." for n in range(40))],
            "release": ["All is dry."],
        }
    },
}


@pytest.fixture
def odd(tmp_path: Path) -> Path:
    folder = tmp_path / "odd"
    folder.mkdir()
    (folder / "odd.yaml").write_text(yaml.safe_dump(ODD_TREE, sort_keys=False), "utf-8")
    (folder / "cautions.yaml").write_text(yaml.safe_dump(ODD_CAUTIONS, sort_keys=False), "utf-8")
    return folder


def lines_of(page: pymupdf.Page) -> Iterator[tuple[pymupdf.Rect, str]]:
    for block in page.get_text("dict")["blocks"]:
        for line in block.get("lines", ()):
            for span in line["spans"]:
                if span["text"].strip():
                    # The ink of a line, without the room that a font asks for above and below.
                    x0, _, x1, _ = span["bbox"]
                    base, size = span["origin"][1], span["size"]
                    yield pymupdf.Rect(x0, base - 0.7 * size, x1, base + 0.15 * size), span["text"]


def assert_in_place(document: pymupdf.Document) -> None:
    """No words leave a page or stand on other words."""
    for page in document:
        lines = sorted(lines_of(page), key=lambda one: one[0].y0)
        for place, (box, text) in enumerate(lines):
            assert page.rect.contains(box), text
            for other, below in lines[place + 1 :]:
                if other.y0 >= box.y1:
                    break
                both = pymupdf.Rect(box).intersect(other)
                assert both.is_empty or min(both.width, both.height) < 0.6, (text, below)


@pytest.mark.parametrize("paper", PAPERS)
def test_no_words_leave_the_page_or_stand_on_others(paper: str, odd: Path) -> None:
    wall = ["--wall"] if paper in ("a3", "tabloid") else []
    document = set_in_type("odd", "--trees", str(odd), "--paper", paper, *wall)
    assert_in_place(document)
    for page in document:
        if "Answer number" in page.get_text():
            # What the step is and which caution comes before it is said wherever it goes on.
            read = bare(page.get_text())
            assert bare("First: WARNING Keep dry") in read or bare("WARNINGKeep dry") in read
            assert bare("CHECK many") in read
            assert bare("Which of these is it?") in read
    read = columns(document)
    for text in (ODD_TREE["title"], ODD_TREE["steps"]["f3"]["remedy"], "y" * 60):  # type: ignore[index]
        assert bare(text) in read


def long_library(folder: Path) -> tuple[list[str], list[str]]:
    """Write a tree with a remedy of 6,000 letters behind one answer and another behind two.

    Returns the remedies and a caution's 60 lines, no two alike.
    """
    remedies = []
    for which in ("Alone", "Shared"):
        said = [f"{which} sentence {n} says what to turn by hand." for n in range(140)]
        remedies.append(" ".join(said)[:6000])
    lines = [f"Line {n} holds, and I have looked at it." for n in range(60)]
    finding = {"chance": "1", "who": "operator", "hazards": ["wet"]}
    answers = {
        "It is one": "alone",
        "It is two": "shared",
        "It is three": "shared",
        "It is none of these": "later",
    }
    tree = {
        "format": "1",
        "symptom": "long",
        "title": "A long one",
        "start": "first",
        "steps": {
            "first": {
                "do": "Look at it.",
                "ask": "Which is it?",
                "passes": "It is none of these",
                "answers": answers,
            },
            "later": {
                "do": "Wipe it.",
                "ask": "How is it now?",
                "hazards": ["wet"],
                "answers": {"It is one": "alone-too", "It is two": "shared"},
            },
            "alone": {"finding": "It is alone.", "remedy": remedies[0], **finding},
            "alone-too": {"finding": "It is alone too.", "remedy": "Wipe it.", **finding},
            "shared": {"finding": "It is shared.", "remedy": remedies[1], **finding},
        },
    }
    caution = {
        "title": "Keep it dry",
        "signal": "WARNING",
        "signs": ["W011"],
        "covers": ["wet"],
        "lapses": "when energised",
        "text": "Water and hands do not go together here.",
        "confirm": lines,
        "release": [f"Release {n} is done." for n in range(60)],
    }
    cautions = {"format": "1", "hazards": {"wet": {"title": "Wet"}}, "cautions": {"dry": caution}}
    for name, data in (("long", tree), ("cautions", cautions)):
        (folder / f"{name}.yaml").write_text(json.dumps(data, indent=1), "utf-8")
    return remedies, lines


AGAIN = [(1, "CHECK", "first"), (2, "CHECK", "later"), (5, "OPERATOR", "shared")]


@pytest.mark.parametrize(
    "args",
    [("--paper", "a4"), ("--paper", "letter"), ("--wall",), ("--wall", "--paper", "tabloid")],
)
def test_what_is_longer_than_a_page_is_whole_and_says_on_each_what_goes_on(
    args: tuple[str, ...], tmp_path: Path
) -> None:
    remedies, lines = long_library(tmp_path)
    document = set_in_type("long", "--trees", f"{tmp_path}", *args)
    assert_in_place(document)
    by_pypdf = [bare(page.extract_text()) for page in pdf_of(Path("x.pdf").read_bytes()).pages]
    by_mupdf = [bare(page.get_text()) for page in document]
    # What stands on top of each page and column, and at its foot, comes between.
    tops = [f"{n} {kind} {name} goes on" for n, kind, name in AGAIN]
    tops += ["Look at it. Which is it?", "OPERATOR It is alone.", "It is shared."]
    tops += ["WARNING Keep it dry (Wet) goes on", "In force here: Keep it dry"]
    tops += ["First: WARNING Keep it dry", "WARNING Keep it dry (Wet)"]
    for pages in (by_pypdf, by_mupdf):
        read = re.sub(r"Along?onesheet.*?Licensedservice:", "", "".join(pages))
        read = re.sub(r"Siterules,.*?printed\d{4}-\d\d-\d\d\.", "", read)
        for top in tops:
            read = read.replace(bare(top), "")
        for remedy in remedies:
            assert bare(remedy) in read
        # At the finding behind one answer, at the one behind two, and at the second step.
        for line in lines:
            assert read.count(bare(line)) == 3, line
        for n in range(60):
            assert bare(f"Release {n} is done.") in read
    for page in by_mupdf:
        if bare("Alone sentence") in page:
            assert bare("It is alone.") in page
            assert bare("WARNINGKeep it dry") in page
            assert bare("Which is it?") in page
        if bare("Shared sentence") in page:
            assert bare("It is shared.") in page
            assert bare("WARNING Keep it dry") in page
        if re.search(r"Line\d+holds", page):
            assert bare("WARNING Keep it dry") in page
    if args == ("--paper", "a4"):
        whole = "".join(by_mupdf)
        assert bare("5 OPERATOR shared goes on") in whole
        assert bare("Keep it dry (Wet) goes on") in whole


def assert_named_at_the_danger(document: pymupdf.Document, symptom: str) -> None:
    """On each sheet that says what to do, each caution that comes before it is named."""
    steps, called = tree_of(symptom)["steps"], called_cautions(tree_of(symptom))
    rules = caution_rules()["cautions"]
    told = [bare(step.get("do") or step.get("remedy") or "") for step in steps.values()]
    seen = 0
    for page in document:
        read = bare(page.get_text())
        for name, what in zip(steps, told, strict=True):
            if what and told.count(what) == 1 and what in read:
                for caution in called[name]:
                    assert bare(f"{rules[caution]['signal']}{rules[caution]['title']}") in read
                    seen += 1
    assert seen >= len(called) / 4


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", some(SYMPTOMS))
def test_no_words_of_the_library_stand_on_others(symptom: str) -> None:
    for args in ((), ("--wall", "--read-at", "2 m", "--machine", "dock")):
        document = set_in_type(symptom, *args)
        assert_in_place(document)
        if args and symptom != "which-symptom":
            assert_named_at_the_danger(document, symptom)


# For everybody, everywhere


@pytest.mark.many_cases
def test_a_pdf_has_title_language_tags_and_bookmarks(capsys: pytest.CaptureFixture[str]) -> None:
    assert sheets("--all", "--json") == 0
    said = json.loads(capsys.readouterr().out)["files"]
    pdf = pdf_of(Path("all-symptoms-sheets.pdf").read_bytes())
    root: Any = pdf.trailer["/Root"]
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"pdfuaid:part>1<" in root["/Metadata"].get_data()
    assert pdf.metadata is not None
    assert pdf.metadata.title == "All symptoms"
    document = pymupdf.open("all-symptoms-sheets.pdf")
    toc = document.get_toc()
    begins = [(title, page) for level, title, page in toc if level == 1]
    assert [bare(title) for title, _ in begins] == [bare(tree_of(one)["title"]) for one in SYMPTOMS]
    assert [one["symptom"] for one in said] == list(SYMPTOMS)
    ends = [page for _, page in begins[1:]] + [len(document) + 1]
    assert [one["sheets"] for one in said] == [
        end - page for (_, page), end in zip(begins, ends, strict=True)
    ]


def test_a_sheet_is_the_same_where_no_font_is_installed(tmp_path: Path) -> None:
    empty = tmp_path / "fonts.conf"
    empty.write_text("<fontconfig></fontconfig>", "utf-8")
    made = []
    for more in ({}, {"FONTCONFIG_FILE": str(empty), "HOME": str(tmp_path)}):
        command = [sys.executable, "-c", AT_ONE_TIME, "sheets", "which-symptom", "-o", "x.pdf"]
        subprocess.run(command, check=True, capture_output=True, env=os.environ | more)
        made.append(Path("x.pdf").read_bytes())
    assert made[0] == made[1]


def font_of(letter: str, file: Path) -> None:
    """Write a font of another family with one letter, which looks like an H."""
    import fontpkg_fira_sans

    made = TTFont(fontpkg_fira_sans.ROOT / "files" / "FiraSans-Regular.ttf")
    glyph = made.getBestCmap()[ord("H")]
    table = CmapSubtable.newSubtable(12)
    table.platformID, table.platEncID, table.language = 3, 10, 0
    table.cmap = {ord(letter): glyph}
    made["cmap"].tables = [table]
    for record in made["name"].names:
        if record.nameID in (1, 4, 6, 16):
            record.string = "Other" if record.nameID == 6 else "Quite Another"
    made.save(file)


@pytest.mark.parametrize("letter", ["中", "🧽"])
def test_a_letter_that_no_font_has_is_named_and_another_font_adds_it(
    letter: str, library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = library / "alpha.yaml"
    file.write_text(file.read_text("utf-8").replace("Walk", f"{letter} Walk"), "utf-8")
    for verb, out in (("sheets", "x.pdf"), ("draw", "x.pdf"), ("draw", "x.svg")):
        args = [verb, "alpha", "--trees", str(library), "-o", out]
        assert app.run(args) == 3
        assert f"no letter for U+{ord(letter):04X}" in failed(capsys)
        assert list(Path().iterdir()) == []
    more = tmp_path / "another.ttf"
    font_of(letter, more)
    for verb in ("sheets", "draw"):
        assert (
            app.run([verb, "alpha", "--trees", str(library), "-o", "x.pdf", "--font", f"{more}"])
            == 0
        )
        assert f"{letter}Walkround" in columns(pymupdf.open("x.pdf"))
        fonts = {font[3] for page in pymupdf.open("x.pdf") for font in page.get_fonts()}
        assert any("Other" in font for font in fonts)
    Path("x.pdf").unlink()


def test_pages_are_svg_or_png_as_well(capsys: pytest.CaptureFixture[str]) -> None:
    for ending, begin in (("svg", b"<svg"), ("png", b"\x89PNG")):
        assert sheets("which-symptom", "-o", f"x.{ending}", "--json") == 0
        (said,) = json.loads(capsys.readouterr().out)["files"]
        files = sorted(Path().glob(f"x-*.{ending}"))
        assert len(files) == said["sheets"] > 1
        assert all(file.read_bytes().startswith(begin) for file in files)


@pytest.mark.parametrize(
    ("args", "code", "says"),
    [
        ([], 2, "Name a symptom, or --all"),
        (["streaking", "--all"], 2, "Name a symptom, or --all"),
        (["streakin"], 2, 'Did you mean "streaking"?'),
        (["streaking", "-o", "x.dot"], 2, "has to end in one of .pdf, .svg, .png"),
        (["streaking", "--read-at", "1"], 2, "has no unit"),
        (["streaking", "--read-at", "1 km"], 2, "out of range"),
        (["streaking", "--read-at", "15 m"], 3, "take a larger --paper"),
        # Where what stands on top leaves no room for a caution below it.
        (["streaking", "--read-at", "2 m"], 3, "take a larger --paper"),
        (["streaking", "--read-at", "1.5 m", "--paper", "letter"], 3, "take a larger --paper"),
        (["streaking", "--paper", "b5"], 2, "--paper"),
        (["streaking", "--machine", "dck"], 2, 'Did you mean "dock"?'),
        (["streaking", "--font", "none.ttf"], 3, "none.ttf: this is no font"),
        (["streaking", "-o", "nowhere/x.pdf"], 3, "nowhere/x.pdf: "),
    ],
)
def test_what_cannot_be_set_is_said_in_one_line(
    args: list[str], code: int, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert sheets(*args) == code
    assert says in failed(capsys)
    assert list(Path().iterdir()) == []


def test_without_the_typesetter_one_line_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "typst", None)
    assert sheets("streaking") == 3
    assert "install typst" in failed(capsys)


def test_a_page_that_cannot_be_set_is_said_in_one_line() -> None:
    with pytest.raises(CannotRender, match="could not be set"):
        Document("sheets", {"message": 10}, typeface()).pages("pdf")


def test_a_broken_tree_is_named_and_the_others_are_set(
    odd: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (odd / "bad.yaml").write_text("format: 1\nsymptom: bad\n", "utf-8")
    assert sheets("--all", "--trees", str(odd)) == 3
    captured = capsys.readouterr()
    assert "odd-sheets.pdf: odd" in captured.out
    assert "bad.yaml:" in captured.err


def test_a_far_reader_on_small_paper_is_refused() -> None:
    with pytest.raises(CannotRender, match="larger --paper"):
        Letters.read_at(10, typeface()).on(PAPERS["a4"], typeface())
    near = Letters.read_at(0.3, typeface())
    assert near.message == 10
    assert near.on(PAPERS["a3"], typeface())["columns"] > 1
