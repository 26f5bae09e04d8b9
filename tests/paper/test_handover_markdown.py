"""Markdown as others read it: markdown-it-py, a CommonMark parser, finds the text that went in.

Two presets: plain CommonMark 0.31, and one with tables, strikethrough and typographic extras, as
web sites for code render it.
"""

from __future__ import annotations

import json
import re
import unicodedata
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from msgspec.structs import replace

from diagnose.log.events import read, written
from diagnose.log.protocol import LoggedEvent
from diagnose.log.sqlite import SqliteLog
from diagnose.paper.handover import handover
from diagnose.paper.handover_sheet import (
    FULL,
    ONE_PARAGRAPH,
    PACKED,
    SHORT_CHECKS,
    as_json,
    telling,
)
from diagnose.paper.markdown import WIDTH, heading, inline, plain, strong, wrapped

if TYPE_CHECKING:
    from conftest import Desk
    from markdown_it.token import Token

    from diagnose.log.events import Event

PARSERS = [MarkdownIt("commonmark"), MarkdownIt("js-default")]

SNIPPETS = [
    "<b>bold</b>", "<!-- x -->", "<http://a.b>", "&amp;", "&#42;", "|", "a | b", "|---|", ":--",
    "--", "---", "***", "___", "===", "#", "# head", "foo #", "*", "* item", "- item", "+ item",
    "1. one", "2)", "12. x", "> quote", "`code`", "``", "```", "~~~", "~~gone~~", "[a](b)",
    "[a]: b", "![a](b)", "**bold**", "_under_", "__init__", "\\", "\\\\", "\\*", "a\\", "{#id}",
    "$x$", "a_b_c", "!", "[ ]", "[x] done", "(c)", "...", '"q"', "=", ">", "~", "^", ":", "www.a.b",
    "a@b.c", "term\n: meaning", "line\nline", "tab\there", "  lead", "trail  ", "\u00a0", "\u2028",
    "Größe 5 mm", "naïve", "日本語", "🧽", "👩\u200d🔧", "❤️", "4.5 km/h", "57 °C", "x" * 300,
]  # fmt: skip

printable = st.text(
    st.characters(exclude_categories=["C", "Cs"], include_characters="\n\t"), max_size=30
)
hostile = st.lists(st.one_of(st.sampled_from(SNIPPETS), printable), min_size=1, max_size=8).map(
    " ".join
)


def words_of(text: str) -> str:
    """Return the text as a reader sees it: runs of space are one."""
    return " ".join(text.split())


def seen(token: Token) -> str:
    """Return the text of a parsed paragraph, which may hold nothing but text and bold."""
    text = ""
    for child in token.children or []:
        assert child.type in ("text", "softbreak", "strong_open", "strong_close"), child
        text += " " if child.type == "softbreak" else child.content
    return words_of(text)


def shape(tokens: list[Token]) -> list[str]:
    return [token.type for token in tokens]


def has_words(text: str) -> bool:
    return bool(words_of(text))


# Nothing that goes in becomes markup, wherever lines break


@pytest.mark.parametrize("parser", PARSERS, ids=["commonmark", "extras"])
@given(text=hostile.filter(has_words), width=st.integers(12, WIDTH), bold=st.booleans())
@example(text="a | b :--", width=12, bold=False)
@example(text="x 1. y - z", width=12, bold=True)
def test_a_list_item_shows_the_text_that_went_in(
    parser: MarkdownIt, text: str, width: int, bold: bool
) -> None:
    told = strong(text) if bold else inline(text)
    lines = wrapped(f"**Label:** {told} end", first="- ", width=width)
    tokens = parser.parse("\n".join(lines))
    assert shape(tokens) == [
        "bullet_list_open",
        "list_item_open",
        "paragraph_open",
        "inline",
        "paragraph_close",
        "list_item_close",
        "bullet_list_close",
    ]
    assert seen(tokens[3]) == f"Label: {words_of(text)} end"
    strongs = [child for child in tokens[3].children or [] if child.type == "strong_open"]
    assert len(strongs) == (2 if bold else 1)


@pytest.mark.parametrize("parser", PARSERS, ids=["commonmark", "extras"])
@given(text=hostile.filter(has_words), width=st.integers(12, WIDTH))
def test_a_paragraph_that_begins_with_the_text_is_a_paragraph(
    parser: MarkdownIt, text: str, width: int
) -> None:
    tokens = parser.parse("\n".join(wrapped(inline(text), width=width)))
    assert shape(tokens) == ["paragraph_open", "inline", "paragraph_close"]
    assert seen(tokens[1]) == words_of(text)


@pytest.mark.parametrize("parser", PARSERS, ids=["commonmark", "extras"])
@given(text=hostile.filter(has_words), level=st.integers(1, 6))
def test_a_heading_shows_the_text_that_went_in(parser: MarkdownIt, text: str, level: int) -> None:
    tokens = parser.parse(heading(level, text))
    assert shape(tokens) == ["heading_open", "inline", "heading_close"]
    assert tokens[0].tag == f"h{level}"
    assert seen(tokens[1]) == words_of(text)


@given(text=hostile, width=st.integers(12, WIDTH))
def test_no_line_is_wider_than_the_page_but_for_one_long_word(text: str, width: int) -> None:
    for line in wrapped(inline(text), first="- ", width=width):
        assert len(line) <= width + 1 or " " not in line.strip().removeprefix("- ")


@given(st.text(st.characters(categories=["Cc", "Cf", "Cs", "Co", "Cn"])))
def test_nothing_can_redraw_a_terminal(text: str) -> None:
    for character in plain(text):
        joins = character in "\u200c\u200d"
        assert joins or unicodedata.category(character)[0] != "C"


# A whole page


#: Every text of the small library that a case below shows.
TEXTS = [
    "It does the first thing", "It does the second thing", "Walk round it.", "What do you see?",
    "A puddle", "Nothing odd", "Do the brushes turn?", "They stand still", "What is round the hub?",
    "String", "Nothing there", "Water is not picked up.", "String holds the brush.", "Cut it away.",
    "a new brush", "The brush motor is dead.", "Measure the motor and its leads.", "brush motor",
    "Leave the key out and the tag on.", "Wiring inside", "Nothing can turn", "Key out",
    "My tag hangs on it.", "Machine one", "demo 50", "X-1", "By the gate", "Demo hall",
    "From 6 to 14", "Demo service", "555-0100", "New casters in May", "Is a cell low?",
]  # fmt: skip


@pytest.fixture
def case(desk: Desk) -> tuple[Any, list[LoggedEvent]]:
    replies = ["Nothing odd", "volts=24.6", "They stand still", "done", "String", "not cured"]
    replies += ["keep looking", "keep looking"]
    name = desk.start("alpha", replies, "one")
    desk.resume(name, ["danger", "mistake", "danger", "smoke"])
    log = SqliteLog(desk.log, "rw")
    found = log.case(name)
    assert found is not None
    return found, log.events(found)


def swapped(value: Any, texts: dict[str, str]) -> Any:
    if isinstance(value, dict):
        return {key: swapped(item, texts) for key, item in value.items()}
    if isinstance(value, list):
        return [swapped(item, texts) for item in value]
    return texts.get(value, value) if isinstance(value, str) else value


def with_texts(event: Event, texts: dict[str, str]) -> Event:
    """Return an event with other words in it."""
    return read(json.dumps(swapped(json.loads(written(event)), texts)))


def outline(text: str) -> list[tuple[str, str]]:
    """Return the skeleton of a page, as parsed: what stands in what, and its headings' words."""
    tokens = PARSERS[1].parse(text)
    rows = []
    for place, token in enumerate(tokens):
        is_heading = token.type == "heading_open" and token.tag == "h2"
        rows.append((token.type, tokens[place + 1].content if is_heading else ""))
    return rows


def shown_in(markdown: str) -> str:
    """Return the text of a page as a reader sees it, without its spaces."""
    texts = [
        " " if child.type == "softbreak" else child.content
        for token in PARSERS[1].parse(markdown)
        if token.type == "inline"
        for child in token.children or []
    ]
    return words_of(" ".join(texts)).replace(" ", "")


@pytest.mark.many_cases
@pytest.mark.parametrize("detail", range(FULL, ONE_PARAGRAPH + 1))
def test_a_page_keeps_its_outline_and_its_words_whatever_the_texts_are(
    case: tuple[Any, list[LoggedEvent]], detail: int
) -> None:
    record, events = case
    harmless = "\n".join(telling(handover(record, events), detail))

    size = {"min_size": len(TEXTS), "max_size": len(TEXTS)}
    different = st.lists(hostile.filter(has_words), unique_by=words_of, **size)

    @given(different)
    def judge(drawn: list[str]) -> None:
        texts = dict(zip(TEXTS, drawn, strict=True))
        bodies = [
            LoggedEvent(number=e.number, at=e.at, event=with_texts(e.event, texts)) for e in events
        ]
        page = handover(record, bodies)
        markdown = "\n".join(telling(page, detail))
        assert outline(markdown) == outline(harmless)
        shown = shown_in(markdown)
        kept = {texts["Machine one"], texts["By the gate"], texts["They stand still"]}
        kept |= {texts["Measure the motor and its leads."], texts["Nothing can turn"]}
        if detail < PACKED:
            kept |= {texts["The brush motor is dead."]}
        if detail < SHORT_CHECKS:
            kept |= {entry["words"] for entry in as_json(page)["story"]}
        if detail == FULL:
            kept |= {texts["Cut it away."]}
        for text in kept:
            assert "".join(text.split()) in shown

    judge()


#: The headings of a page of the case above, as fully as it can be told, and as shortly.
FULLY = [
    "Read and noted",
    "Checks",
    "Remedies tried",
    "Passed over",
    "Cautions confirmed",
    "What service is asked to do",
    "Service's verdict",
]
SHORTLY = ["Read, checked, tried", *FULLY[-2:]]


@pytest.mark.parametrize("detail", range(FULL, ONE_PARAGRAPH + 1))
def test_the_page_is_made_of_headings_lists_and_room_to_write(
    case: tuple[Any, list[LoggedEvent]], detail: int
) -> None:
    tokens = PARSERS[0].parse("\n".join(telling(handover(*case), detail)))
    heads = [tokens[n + 1].content for n, t in enumerate(tokens) if t.type == "heading_open"]
    assert heads[1:] == (SHORTLY if detail >= SHORT_CHECKS else FULLY)
    kinds = {token.type for token in tokens}
    assert kinds <= {
        f"{kind}_{end}"
        for kind in ("heading", "paragraph", "bullet_list", "ordered_list", "list_item")
        for end in ("open", "close")
    } | {"inline"}


@pytest.mark.parametrize(
    ("words", "first"),
    [
        ("Is a cell low?", "Is a cell low?"),
        ("Is a cell low? Look at it.", "Is a cell low?"),
        ("It is off! Put it on.", "It is off!"),
        ("It is 1.5 mm too low. It drags", "It is 1.5 mm too low."),
        ("It is off", "It is off."),
        ("It is off.", "It is off."),
    ],
)
def test_where_room_is_short_a_cause_is_its_first_sentence_with_one_mark_at_its_end(
    case: tuple[Any, list[LoggedEvent]], words: str, first: str
) -> None:
    page = handover(*case)
    likely = [
        replace(group, causes=tuple(replace(one, finding=words) for one in group.causes))
        for group in page.likely
    ]
    told = "\n".join(telling(replace(page, likely=tuple(likely)), PACKED))
    assert re.search(rf" % {re.escape(first)}\n", told)
