"""A wall chart on its one sheet: as many words as there is room for, in the largest type."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from diagnose.paper import render
from diagnose.paper.diagram import Figure, Shape
from diagnose.paper.marks import Kind
from diagnose.paper.printing import Printed
from diagnose.paper.sheet import (
    LARGEST,
    MARGIN,
    SMALLEST,
    Box,
    Frame,
    Layout,
    Note,
    Route,
    Window,
)
from diagnose.paper.strips import NARROWEST, WIDEST, Strips
from diagnose.paper.wall import LEGEND
from diagnose.paper.wrap import LEADING, SIZE, lines, pieces

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.paper.column import Column
    from diagnose.paper.diagram import Arrow
    from diagnose.paper.sheet import Paper
    from diagnose.paper.sketch import Sketch
    from diagnose.paper.wall import Chart, Panel
    from diagnose.paper.wrap import Metrics


class TooLarge(Exception):
    """The chart does not fit its sheet in readable type."""


#: The title's type, around a panel's text, and between columns, in points.
_TITLE, _PAD, _GUTTER = 16.0, 3.0, 11.0


def on_one_sheet(chart: Chart, papers: Sequence[Paper]) -> tuple[Printed, Metrics, int]:
    """Return the chart on one sheet, its metrics, and the place of the sketch that it took.

    The fullest sketch that fits one of the papers, in the largest type. Raises `TooLarge`,
    `CannotRender`.
    """
    title = chart.sketches[0].title
    texts = [chart.foot, *chart.codes.values()]
    texts += [text for panel in chart.panels for text in panel.paragraphs]
    texts += [text for sketch in chart.sketches for text in sketch.texts()]
    heads = {entry.texts[0] for sketch in chart.sketches for entry in sketch.entries}
    texts += [f"{head}:" for head in heads]
    metrics = render.measure(texts, [title, *(panel.heading for panel in chart.panels)])
    for which, sketch in enumerate(chart.sketches):
        best: _Fitting | None = None
        for sheet in papers:
            for count in range(1, 8):
                found = _largest(_Fitting(chart, sketch, metrics, sheet, count))
                if found is not None and (best is None or found.scale > best.scale + 0.005):
                    best = found
        if best is not None:
            return best.printed(), metrics, which
    raise TooLarge


def _largest(fitting: _Fitting) -> _Fitting | None:
    """Return the fitting with the largest type that has room, None where the smallest has not."""
    low = SMALLEST / SIZE
    if not fitting.tried(low):
        return None
    high = LARGEST / SIZE
    while high - low > 0.02:
        middle = (low + high) / 2
        if fitting.tried(middle):
            low = middle
        else:
            high = middle
    fitting.tried(low)
    return fitting


class _Fitting:
    """One sketch in `count` columns on one paper; `tried` at a scale."""

    def __init__(
        self, chart: Chart, sketch: Sketch, metrics: Metrics, sheet: Paper, count: int
    ) -> None:
        self.chart = chart
        self.sketch = sketch
        self.metrics = metrics
        self.sheet = sheet
        wide, high = sheet.inside
        self.count = count
        self.column = (wide + _GUTTER) / count - _GUTTER
        self.foot = lines(metrics, chart.foot, 0.96 * wide / (SMALLEST / SIZE), even=False)
        self.head_height = _TITLE * 1.2 + 8.0
        self.foot_height = len(self.foot) * SMALLEST * 1.2 + 4.0
        self.height = high - self.head_height - self.foot_height
        self.scale = 0.0
        self.size = SMALLEST
        self.columns: list[Column] = []
        self.panels: list[tuple[Panel, float, float]] = []

    @property
    def leading(self) -> float:
        """The distance of two lines of a panel, in points."""
        return self.size * LEADING / SIZE

    def tried(self, scale: float) -> bool:
        """Return whether everything has room at this scale; if so it is kept."""
        width = self.column / scale
        if width < NARROWEST:
            return False
        strips = Strips(self.sketch, self.metrics, self.chart.codes, min(width, WIDEST))
        columns = strips.columns(self.height / scale)
        if columns is None or len(columns) > self.count:
            return False
        self.size = scale * SIZE
        free = [column.height * scale + _PAD for column in columns] + [0.0] * (
            self.count - len(columns)
        )
        placed = []
        for panel in self.chart.panels:
            high = self._panel_height(panel) + _PAD
            fits = [column for column, used in enumerate(free) if used + high <= self.height]
            if not fits:
                return False
            placed.append((panel, float(fits[0]), free[fits[0]]))
            free[fits[0]] += high
        self.scale, self.columns, self.panels = scale, columns, placed
        return True

    def _panel_lines(self, panel: Panel) -> list[list[str]]:
        room = self.column - 2 * _PAD
        if panel.legend:
            room = room / 2 - _SAMPLE
        scale = self.size / SIZE
        return [
            lines(self.metrics, text, room / scale, even=panel.legend) for text in panel.paragraphs
        ]

    def _heading(self, panel: Panel) -> list[str]:
        room = (self.column - 2 * _PAD) / self.size * SIZE
        return lines(self.metrics, panel.heading, room, even=False, bold=True)

    def _heading_height(self, panel: Panel) -> float:
        return len(self._heading(panel)) * self.leading + 2.0

    def _panel_height(self, panel: Panel) -> float:
        paragraphs = self._panel_lines(panel)
        if panel.legend:
            high = sum(row for *_, row in self._legend_rows(paragraphs)[::2])
        else:
            high = sum(len(one) for one in paragraphs) * self.leading
        return self._heading_height(panel) + high + 1.5 * _PAD

    def _legend_rows(self, paragraphs: list[list[str]]) -> list[tuple[float, float, float]]:
        """Return the left, the top and the height of each line of the legend, two side by side."""
        rows, top = [], 0.0
        half = (self.column - 2 * _PAD) / 2
        for pair in range(0, len(paragraphs), 2):
            two = paragraphs[pair : pair + 2]
            high = max(_ROW, *(len(one) * self.leading for one in two))
            rows += [(place * half, top, high) for place in range(len(two))]
            top += high
        return rows

    def printed(self) -> Printed:
        """Return the sheet."""
        layout = self._layout()
        window = Window(
            paper=self.sheet,
            scale=self.scale,
            left=-MARGIN / self.scale,
            top=(MARGIN + self.head_height) / self.scale,
        )
        notes, frames = [], []
        for panel, column, top in self.panels:
            left = MARGIN + column * (self.column + _GUTTER)
            down = MARGIN + self.head_height + top
            notes += list(self._panel_notes(panel, left, down))
            high = self._panel_height(panel)
            frames += [
                Frame(left=left, top=down, width=self.column, height=high),
                Frame(
                    left=left,
                    top=down,
                    width=self.column,
                    height=self._heading_height(panel),
                    fill=panel.fill,
                ),
            ]
        title = self._note(MARGIN, MARGIN, [self.sketch.title], _TITLE, bold=True)
        foot_top = self.sheet.height - MARGIN - len(self.foot) * SMALLEST * 1.2
        notes += [title, self._note(MARGIN, foot_top, self.foot, SMALLEST)]
        dot = render.sheet_text([(layout, 0.0, 0.0)], window, notes, frames)
        return Printed(dot=dot, figures=(layout.figure,), type_size=self.scale * SIZE)

    def _panel_notes(self, panel: Panel, left: float, top: float) -> Iterator[Note]:
        yield self._note(left + _PAD, top + 1.0, self._heading(panel), self.size, bold=True)
        down = top + self._heading_height(panel) + _PAD / 2
        paragraphs = self._panel_lines(panel)
        if panel.legend:
            for paragraph, row in zip(paragraphs, self._legend_rows(paragraphs), strict=True):
                x, y, high = row
                middle = down + y + (high - len(paragraph) * self.leading) / 2
                yield self._note(left + _PAD + x + _SAMPLE, middle, paragraph, self.size)
            return
        for paragraph in paragraphs:
            yield self._note(left + _PAD, down, paragraph, self.size)
            down += len(paragraph) * self.leading

    def _note(
        self, left: float, top: float, texts: Sequence[str], size: float, *, bold: bool = False
    ) -> Note:
        width = max(self.metrics.width(pieces(text), bold=bold) for text in texts)
        return Note(
            left=left,
            top=top,
            lines=tuple(texts),
            width=width * size / SIZE,
            size=size,
            bold=bold,
        )

    def _layout(self) -> Layout:
        shapes: list[Shape] = []
        arrows: list[Arrow] = []
        boxes: dict[str, Box] = {}
        routes: list[Route] = []
        for number, column in enumerate(self.columns):
            left = number * (self.column + _GUTTER) / self.scale
            for shape, box in column.shapes:
                shapes.append(shape)
                boxes[shape.name] = replace(box, x=box.x + left, y=-box.y)
            for arrow, route in column.arrows:
                arrows.append(arrow)
                routes.append(_placed(route, left))
        for shape, box in self._samples():
            shapes.append(shape)
            boxes[shape.name] = box
        return Layout(
            figure=Figure(symptom=self.sketch.symptom, shapes=tuple(shapes), arrows=tuple(arrows)),
            boxes=boxes,
            routes=tuple(routes),
            width=0.0,
            height=0.0,
        )

    def _samples(self) -> Iterator[tuple[Shape, Box]]:
        """Yield a small shape for each line of the legend."""
        for panel, column, top in self.panels:
            if not panel.legend:
                continue
            left = column * (self.column + _GUTTER) + _PAD
            down = top + self._heading_height(panel) + _PAD / 2
            rows = self._legend_rows(self._panel_lines(panel))
            for kind, (x, y, high) in zip(LEGEND, rows, strict=True):
                tall = _ROW - 6.0
                wide = tall if kind is Kind.CONNECTOR else _SAMPLE - 9.0
                shape = Shape(
                    name=f"sample-{kind.value}",
                    kind=kind,
                    step="",
                    lines=(),
                    width=wide / self.scale,
                    height=tall / self.scale,
                    signal="CAUTION" if kind is Kind.CAUTION else "",
                )
                middle = (left + x + (_SAMPLE - 9.0) / 2) / self.scale
                level = -(down + y + high / 2) / self.scale
                yield shape, Box(middle, level, shape.width, shape.height)


#: A sample's width with the space after it, and a legend row's least height.
_SAMPLE, _ROW = 36.0, 16.0


def _placed(route: Route, left: float) -> Route:
    def spot(point: tuple[float, float]) -> tuple[float, float]:
        return point[0] + left, -point[1]

    label = None if route.label is None else spot(route.label)
    return Route(tuple(spot(point) for point in route.points), spot(route.tip), label)
