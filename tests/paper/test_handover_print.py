"""The handover as PDF, read back by pypdf and MuPDF: what the Markdown says, on one page."""

from __future__ import annotations

import re
from itertools import islice, pairwise
from typing import TYPE_CHECKING, Any

import pymupdf
import pytest
from drawn import bare, pdf_of
from hypothesis import given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from msgspec.structs import replace
from strategies.referrals import referrals
from strategies.sampling import several
from test_handover_markdown import has_words, hostile

from diagnose import app
from diagnose.commands import handover as verb
from diagnose.paper.handover_page import Note, Report
from diagnose.paper.handover_print import as_pdf, outline
from diagnose.paper.handover_sheet import FULL, LONG, ONE_PARAGRAPH, SHORT, telling
from diagnose.paper.letters import typeface
from diagnose.paper.markdown import inline, plain, strong, wrapped

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Desk

    from diagnose.paper.handover_page import Handover

TO_MOTOR = ["Nothing odd", "volts=24.6", "They stand still", "done", "Nothing there"]


def words_of(lines: list[str]) -> str:
    """Return what Markdown shows, less marks of lists and room to write."""
    tokens = MarkdownIt().parse("\n".join(lines))
    inline = [child for token in tokens for child in token.children or ()]
    said = "".join(" " if one.type == "softbreak" else one.content for one in inline)
    return bare(said.replace(LONG, "").replace(SHORT, ""))


def read_back(made: bytes) -> tuple[str, str]:
    """Return the words of a PDF as pypdf and MuPDF read them, less its feet and lists' marks."""
    document = pymupdf.open(stream=made)
    pages = [page.extract_text() for page in pdf_of(made).pages]
    both = "\n".join(pages), "\n".join(page.get_text() for page in document)
    less = re.compile(r"Handover \w+ · page \d+ of \d+|^ *(?:•|\d+\.)\s", re.MULTILINE)
    by_pypdf, by_mupdf = (bare(less.sub("", one)) for one in both)
    return by_pypdf, by_mupdf


@pytest.fixture
def page(desk: Desk) -> Handover:
    return desk.page(desk.start("alpha", TO_MOTOR, "one"))


@pytest.mark.many_cases
def test_nine_of_ten_referrals_take_one_page_that_says_what_the_markdown_says() -> None:
    """Some of the built-in worked cases, walked and referred."""
    sizes = []
    for case in islice(referrals(), 3, None, 36):
        made, pages = as_pdf(case.page, typeface(), "a4")
        tellings = [words_of(telling(case.page, one)) for one in range(FULL, ONE_PARAGRAPH + 1)]
        for read in read_back(made):
            assert read in tellings, case.name
        sizes.append(pages)
        assert len(pdf_of(made).pages) == pages
    assert len(sizes) >= 9
    assert sizes.count(1) / len(sizes) >= 0.9


def test_a_long_case_goes_over_to_a_second_page_whole_and_tagged(page: Handover) -> None:
    notes = tuple(
        Note(at=page.opened, what="", text=f"Note {n} " + "w" * 60 + f" ends {n}.")
        for n in range(30)
    )
    report = Report(at=page.changed, words="Walk round it.", kind="smoke")
    made, pages = as_pdf(replace(page, notes=notes, danger=report), typeface(), "letter")
    assert pages == 2
    for read in read_back(made):
        for note in notes:
            assert bare(note.text) in read
        # What it is about comes first, with the signal word before it.
        assert read.index("DANGERDangerwasreported") < read.index(bare("Site:"))
    document = pymupdf.open(stream=made)
    assert [round(side) for side in document[0].rect[2:]] == [612, 792]
    titles = [title for _, title, _ in document.get_toc()]
    assert titles[0].startswith("Handover ")
    assert titles[-1] == "Service's verdict"
    root: Any = pdf_of(made).trailer["/Root"]
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    assert b"pdfuaid:part>1<" in root["/Metadata"].get_data()
    for sheet in document:
        spans = [
            span
            for block in sheet.get_text("dict")["blocks"]
            for line in block.get("lines", ())
            for span in line["spans"]
        ]
        assert min(span["size"] for span in spans) >= 9.99
        for span in spans:
            assert sheet.rect.contains(pymupdf.Rect(span["bbox"])), span["text"]


def test_lines_to_write_on_stand_apart(page: Handover) -> None:
    made, _ = as_pdf(page, typeface(), "a4")
    rules = [
        item["rect"]
        for item in pymupdf.open(stream=made)[0].get_drawings()
        if item["rect"].width > 60
    ]
    heights = sorted({round(rule.y1, 1) for rule in rules})
    assert len(heights) >= 5
    assert min(b - a for a, b in pairwise(heights)) >= 8 * 72 / 25.4 - 0.1


def test_an_outline_is_headings_and_lists_of_runs() -> None:
    lines = ["# A \\*b\\*", "", "- **Danger**", f"- x **y:** {SHORT}; z", "  1. one", "- `c d`"]
    told = outline([*lines, f"- **n:** {LONG}"], danger=True)
    assert told == {
        "title": "A *b*",
        "danger": [("Danger", "strong")],
        "blocks": [
            {
                "form": "bullet_list",
                "items": [
                    {
                        "runs": [
                            ("x ", "plain"),
                            ("y:", "strong"),
                            (" ", "plain"),
                            (SHORT, "short"),
                            ("; z", "plain"),
                        ],
                        "below": [
                            {
                                "form": "ordered_list",
                                "items": [{"runs": [("one", "plain")], "below": []}],
                            }
                        ],
                    },
                    {"runs": [("c d", "plain")], "below": []},
                    {
                        "runs": [("n:", "strong"), (" ", "plain"), (LONG, "long")],
                        "below": [],
                    },
                ],
            }
        ],
    }


@settings(max_examples=several(60))
@given(hostile.filter(has_words), st.booleans())
def test_an_item_of_the_outline_shows_the_text_that_went_in(text: str, bold: bool) -> None:
    told = strong(text) if bold else inline(text)
    lines = ["# Title", "", *wrapped(f"**Label:** {told} end", first="- ")]
    (block,) = outline(lines, danger=False)["blocks"]
    (item,) = block["items"]
    assert " ".join("".join(words for words, _ in item["runs"]).split()) == (
        f"Label: {' '.join(plain(text).split())} end"
    )


def test_the_verb_writes_it_and_says_how_much_paper_it_takes(
    desk: Desk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = desk.start("alpha", TO_MOTOR, "one")
    file = tmp_path / "x.PDF"
    assert verb.run([name, "-o", str(file), "--log", str(desk.log)]) == 0
    assert capsys.readouterr().out.endswith("x.PDF (1 page of a4).\n")
    assert len(pdf_of(file.read_bytes()).pages) == 1


def test_a_letter_that_no_font_has_is_named_and_nothing_is_written(
    desk: Desk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = desk.start("alpha", ["note The 中 lamp blinks", *TO_MOTOR], "one")
    file = tmp_path / "x.pdf"
    capsys.readouterr()
    assert app.run(["handover", name, "-o", str(file), "--log", str(desk.log)]) == 3
    assert "no letter for U+4E2D" in capsys.readouterr().err
    assert not file.exists()
