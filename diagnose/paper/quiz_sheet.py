"""A quiz on paper: the situations in two columns, and their key on a sheet of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeAlias

from diagnose.paper import render
from diagnose.paper.sheet import (
    MARGIN,
    SMALLEST,
    Sheet,
    TextBlock,
    Viewport,
    leading,
    set_in_lines,
    text_block,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.paper.quiz import Situation
    from diagnose.paper.sheet import Paper
    from diagnose.paper.wrap import FontMetrics

_TITLE: Final = 14.0
_TYPE: Final = 9.0
_GUTTER: Final = 20.0
_BETWEEN: Final = 8.0
_LETTERS: Final = "abc"
_BLANK: Final = "____________________________"

_ASKED: Final = ("What next?", "Which cautions first?", "Who may?")

#: A paragraph, and whether it is bold.
Paragraph: TypeAlias = tuple[str, bool]


def sheets_of(
    title: str, situations: Sequence[Situation], foot: str, paper: Paper
) -> tuple[list[Sheet], FontMetrics]:
    """Return the sheets with the situations, then those with the key. Raises `CannotRender`."""
    name = f"Name {_BLANK} Date {_BLANK}"
    asked = [_asked(number, one) for number, one in enumerate(situations, 1)]
    key = [_key(number, one) for number, one in enumerate(situations, 1)]
    said = [(name, False), (foot, False), *(one for group in [*asked, *key] for one in group)]
    heads = [f"Quiz: {title}", f"Key: {title}"]
    texts = [text for text, _ in said]
    metrics = render.measure(texts, [*heads, *(text for text, bold in said if bold)])
    pages = _TwoColumns(metrics, paper, foot)
    return pages.sheets(heads[0], name, asked) + pages.sheets(heads[1], "", key), metrics


def _asked(number: int, one: Situation) -> list[Paragraph]:
    options = zip(_LETTERS, one.options, strict=False)
    return [
        (f"{number}. So far:", True),
        *((f"{question} → {answer}", False) for question, answer in one.so_far),
        (_ASKED[0], True),
        *((f"[ ] {letter}) {option}", False) for letter, option in options),
        (f"{_ASKED[1]} {_BLANK}", False),
        (f"{_ASKED[2]} {_BLANK}", False),
    ]


def _key(number: int, one: Situation) -> list[Paragraph]:
    cautions = ", ".join(one.cautions) or "none"
    held = f" In force: {', '.join(one.in_force)}." if one.in_force else ""
    return [
        (f"{number}. {_LETTERS[one.right]}) {one.options[one.right]}", True),
        (f"{_ASKED[1]} {cautions}.{held}", False),
        (f"{_ASKED[2]} {one.who}", False),
    ]


class _TwoColumns:
    """Sets groups of paragraphs in two columns a page."""

    def __init__(self, metrics: FontMetrics, paper: Paper, foot: str) -> None:
        self.metrics = metrics
        self.paper = paper
        self.wide, _ = paper.inside
        self.column = (self.wide - _GUTTER) / 2
        self.foot = set_in_lines(metrics, foot, self.wide, SMALLEST)
        self.bottom = paper.height - MARGIN - len(self.foot) * leading(SMALLEST)

    def sheets(self, title: str, under: str, groups: Sequence[Sequence[Paragraph]]) -> list[Sheet]:
        """Return groups in two columns; one is broken only where it is longer than a column."""
        lines = set_in_lines(self.metrics, title, self.wide, _TITLE, bold=True)
        around = self._stacked(lines, MARGIN, MARGIN, _TITLE, bold=True)
        begin = around[-1].top + _TITLE * 1.5
        if under:
            around += self._stacked([under], MARGIN, begin, _TYPE)
            begin += 2 * leading(_TYPE)
        around += self._stacked(self.foot, MARGIN, self.bottom, SMALLEST)
        columns = self._columns(groups, begin)
        viewport = Viewport(paper=self.paper, scale=1.0, left=0.0, top=self.paper.height)
        return [
            Sheet(
                dot=render.sheet_text(
                    [], viewport, [*around, *(line for one in columns[at : at + 2] for line in one)]
                ),
                type_size=_TYPE,
            )
            for at in range(0, len(columns), 2)
        ]

    def _columns(
        self, groups: Sequence[Sequence[Paragraph]], begin: float
    ) -> list[list[TextBlock]]:
        columns: list[list[TextBlock]] = [[]]
        top = begin
        for group in groups:
            lines = [
                (line, bold)
                for text, bold in group
                for line in set_in_lines(self.metrics, text, self.column, _TYPE, bold=bold)
            ]
            room = len(lines) if columns[-1] else 1
            for line, bold in lines:
                if top + room * leading(_TYPE) > self.bottom:
                    columns.append([])
                    top = begin
                room = 1
                left = MARGIN + (len(columns) - 1) % 2 * (self.column + _GUTTER)
                columns[-1] += self._stacked([line], left, top, _TYPE, bold=bold)
                top += leading(_TYPE)
            top += _BETWEEN
        return columns

    def _stacked(
        self, lines: Sequence[str], left: float, top: float, size: float, *, bold: bool = False
    ) -> list[TextBlock]:
        return [
            text_block(self.metrics, left, top + place * leading(size), [line], size, bold=bold)
            for place, line in enumerate(lines)
        ]
