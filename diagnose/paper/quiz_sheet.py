"""A quiz on paper: the situations in two columns, and their key on a sheet of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.paper import render
from diagnose.paper.printing import Printed
from diagnose.paper.sheet import MARGIN, SMALLEST, Note, Window
from diagnose.paper.wrap import LEADING, SIZE, lines, pieces

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.paper.quiz import Situation
    from diagnose.paper.sheet import Paper
    from diagnose.paper.wrap import Metrics

_TITLE: Final = 14.0
_TYPE: Final = 9.0
_GUTTER: Final = 20.0
_BETWEEN: Final = 8.0
_LETTERS: Final = "abc"
_BLANK: Final = "____________________________"

_ASKED: Final = ("What next?", "Which cautions first?", "Who may?")

Line = tuple[str, bool]


def sheets_of(
    title: str, situations: Sequence[Situation], foot: str, paper: Paper
) -> tuple[list[Printed], Metrics]:
    """Return the sheets with the situations, then those with the key. Raises `CannotRender`."""
    name = f"Name {_BLANK} Date {_BLANK}"
    asked = [_asked(number, one) for number, one in enumerate(situations, 1)]
    key = [_key(number, one) for number, one in enumerate(situations, 1)]
    said = [(name, False), (foot, False), *(line for block in [*asked, *key] for line in block)]
    heads = [f"Quiz: {title}", f"Key: {title}"]
    texts = [text for text, _ in said]
    metrics = render.measure(texts, [*heads, *(text for text, bold in said if bold)])
    book = _Book(metrics, paper, foot)
    return book.pages(heads[0], name, asked) + book.pages(heads[1], "", key), metrics


def _asked(number: int, one: Situation) -> list[Line]:
    block: list[Line] = [(f"{number}. So far:", True)]
    block += [(f"{question} → {answer}", False) for question, answer in one.so_far]
    block.append((_ASKED[0], True))
    block += [
        (f"[ ] {letter}) {option}", False)
        for letter, option in zip(_LETTERS, one.options, strict=False)
    ]
    return [*block, (f"{_ASKED[1]} {_BLANK}", False), (f"{_ASKED[2]} {_BLANK}", False)]


def _key(number: int, one: Situation) -> list[Line]:
    cautions = ", ".join(one.cautions) or "none"
    held = f" In force: {', '.join(one.in_force)}." if one.in_force else ""
    return [
        (f"{number}. {_LETTERS[one.right]}) {one.options[one.right]}", True),
        (f"{_ASKED[1]} {cautions}.{held}", False),
        (f"{_ASKED[2]} {one.who}", False),
    ]


class _Book:
    def __init__(self, metrics: Metrics, paper: Paper, foot: str) -> None:
        self.metrics = metrics
        self.paper = paper
        self.foot = foot
        self.leading = _TYPE * LEADING / SIZE
        self.wide, _ = paper.inside
        self.column = (self.wide - _GUTTER) / 2

    def pages(self, title: str, under: str, blocks: Sequence[Sequence[Line]]) -> list[Printed]:
        """Return blocks in two columns; one is broken only where it is longer than a column."""
        head = [
            self._note(line, MARGIN, MARGIN + place * _TITLE * 1.2, _TITLE, bold=True)
            for place, line in enumerate(self._lines(title, self.wide, _TITLE, bold=True))
        ]
        begin = head[-1].top + _TITLE * 1.5
        if under:
            head.append(self._note(under, MARGIN, begin, _TYPE))
            begin += 2 * self.leading
        foot = self._lines(self.foot, self.wide, SMALLEST)
        bottom = self.paper.height - MARGIN - len(foot) * SMALLEST * LEADING / SIZE
        for place, line in enumerate(foot):
            head.append(self._note(line, MARGIN, bottom + place * SMALLEST * 1.2, SMALLEST))
        columns: list[list[Note]] = [[]]
        top = begin
        for block in blocks:
            broken = [
                (line, bold)
                for text, bold in block
                for line in self._lines(text, self.column, bold=bold)
            ]
            if columns[-1] and top + len(broken) * self.leading > bottom:
                columns.append([])
                top = begin
            for line, bold in broken:
                if top + self.leading > bottom:
                    columns.append([])
                    top = begin
                left = MARGIN + (len(columns) - 1) % 2 * (self.column + _GUTTER)
                columns[-1].append(self._note(line, left, top, _TYPE, bold=bold))
                top += self.leading
            top += _BETWEEN
        window = Window(paper=self.paper, scale=1.0, left=0.0, top=self.paper.height)
        return [
            Printed(
                dot=render.sheet_text(
                    [], window, [*head, *(note for one in columns[page : page + 2] for note in one)]
                ),
                figures=(),
                type_size=_TYPE,
            )
            for page in range(0, len(columns), 2)
        ]

    def _lines(
        self, text: str, room: float, size: float = _TYPE, *, bold: bool = False
    ) -> list[str]:
        return lines(self.metrics, text, 0.96 * room / size * SIZE, even=False, bold=bold)

    def _note(self, line: str, left: float, top: float, size: float, *, bold: bool = False) -> Note:
        width = self.metrics.width(pieces(line), bold=bold) * size / SIZE
        return Note(left=left, top=top, lines=(line,), width=width, size=size, bold=bold)
