"""A wall chart on its one sheet: as many words as there is room for, in the largest type."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from diagnose.paper import render
from diagnose.paper.flowchart import Flowchart, Node
from diagnose.paper.layout import Box, Layout, Placement, Spline
from diagnose.paper.node_styles import NodeKind
from diagnose.paper.sheet import (
    LARGEST,
    MARGIN,
    SMALLEST,
    Rectangle,
    Sheet,
    TextBlock,
    Viewport,
    leading,
    set_in_lines,
    text_block,
)
from diagnose.paper.wall import LEGEND
from diagnose.paper.wall_rows import NARROWEST, WIDEST, RowBuilder
from diagnose.paper.wrap import SIZE, wrapped

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from diagnose.paper.flowchart import Edge
    from diagnose.paper.flowchart_text import FlowchartText
    from diagnose.paper.layout import Point
    from diagnose.paper.sheet import Paper
    from diagnose.paper.wall import Panel, WallChart
    from diagnose.paper.wall_column import Column
    from diagnose.paper.wrap import FontMetrics


class TooLarge(Exception):
    """The chart does not fit its sheet in readable type."""


#: The title's type, around a panel's text, and between columns, in points.
_TITLE, _PAD, _GUTTER = 16.0, 3.0, 11.0

#: A legend sample's width with the space after it, and a legend row's least height.
_SAMPLE, _ROW = 36.0, 16.0

#: More columns than this are never wider than a row has to be.
_MOST_COLUMNS = 7


def on_one_sheet(chart: WallChart, papers: Sequence[Paper]) -> tuple[Sheet, FontMetrics, int]:
    """Return the chart on one sheet, its metrics, and the place of the text that it took.

    The fullest text that fits one of the papers, in the largest type. Raises `TooLarge`,
    `CannotRender`.
    """
    metrics = _measured(chart)
    for which, text in enumerate(chart.flowcharts):
        best = _best(
            _Fitting(chart, text, metrics, paper, count)
            for paper in papers
            for count in range(1, _MOST_COLUMNS + 1)
        )
        if best is not None:
            return best.sheet(), metrics, which
    raise TooLarge


def _measured(chart: WallChart) -> FontMetrics:
    texts = [chart.foot, *chart.codes.values()]
    texts += [paragraph for panel in chart.panels for paragraph in panel.paragraphs]
    for text in chart.flowcharts:
        texts += [*text.texts(), *(f"{step.texts[0]}:" for step in text.steps)]
    headings = [panel.heading for panel in chart.panels]
    return render.measure(texts, [chart.flowcharts[0].title, *headings])


def _best(fittings: Iterable[_Fitting]) -> _Fitting | None:
    """Return the fitting with the largest type, the first of those about as large."""
    best: _Fitting | None = None
    for fitting in fittings:
        if fitting.largest() and (best is None or fitting.scale > best.scale + 0.005):
            best = fitting
    return best


class _Fitting:
    """One text in `count` columns on one paper, at the last scale that had room."""

    def __init__(
        self,
        chart: WallChart,
        text: FlowchartText,
        metrics: FontMetrics,
        paper: Paper,
        count: int,
    ) -> None:
        self.chart = chart
        self.text = text
        self.metrics = metrics
        self.paper = paper
        wide, high = paper.inside
        self.count = count
        self.column = (wide + _GUTTER) / count - _GUTTER
        self.foot = set_in_lines(metrics, chart.foot, wide, SMALLEST)
        self.head_height = leading(_TITLE) + 8.0
        self.foot_height = len(self.foot) * leading(SMALLEST) + 4.0
        self.height = high - self.head_height - self.foot_height
        self.scale = 0.0
        self.size = SMALLEST
        self.columns: list[Column] = []
        self.panels: list[tuple[Panel, int, float]] = []

    def largest(self) -> bool:
        """Find the largest type that has room; return whether the smallest has."""
        low, high = SMALLEST / SIZE, LARGEST / SIZE
        if not self.has_room(low):
            return False
        while high - low > 0.02:
            middle = (low + high) / 2
            if self.has_room(middle):
                low = middle
            else:
                high = middle
        return self.has_room(low)

    def has_room(self, scale: float) -> bool:
        """Return whether everything has room at this scale; if so it is kept."""
        width = self.column / scale
        if width < NARROWEST:
            return False
        rows = RowBuilder(self.text, self.metrics, self.chart.codes, min(width, WIDEST))
        columns = rows.columns(self.height / scale)
        if columns is None or len(columns) > self.count:
            return False
        self.size = scale * SIZE
        used = [column.height * scale + _PAD for column in columns]
        used += [0.0] * (self.count - len(columns))
        panels = []
        for panel in self.chart.panels:
            high = self._panel_height(panel) + _PAD
            fits = [column for column, top in enumerate(used) if top + high <= self.height]
            if not fits:
                return False
            panels.append((panel, fits[0], used[fits[0]]))
            used[fits[0]] += high
        self.scale, self.columns, self.panels = scale, columns, panels
        return True

    def _panel_lines(self, panel: Panel) -> list[list[str]]:
        room = self.column - 2 * _PAD
        if panel.legend:
            room = room / 2 - _SAMPLE
        scale = self.size / SIZE
        return [
            wrapped(self.metrics, text, room / scale, even=panel.legend)
            for text in panel.paragraphs
        ]

    def _heading(self, panel: Panel) -> list[str]:
        room = (self.column - 2 * _PAD) / self.size * SIZE
        return wrapped(self.metrics, panel.heading, room, even=False, bold=True)

    def _heading_height(self, panel: Panel) -> float:
        return len(self._heading(panel)) * leading(self.size) + 2.0

    def _panel_height(self, panel: Panel) -> float:
        paragraphs = self._panel_lines(panel)
        if panel.legend:
            high = sum(row for *_, row in self._legend_rows(paragraphs)[::2])
        else:
            high = sum(len(one) for one in paragraphs) * leading(self.size)
        return self._heading_height(panel) + high + 1.5 * _PAD

    def _legend_rows(self, paragraphs: list[list[str]]) -> list[tuple[float, float, float]]:
        """Return the left, the top and the height of each line of the legend, two side by side."""
        rows, top = [], 0.0
        half = (self.column - 2 * _PAD) / 2
        for pair in range(0, len(paragraphs), 2):
            two = paragraphs[pair : pair + 2]
            high = max(_ROW, *(len(one) * leading(self.size) for one in two))
            rows += [(place * half, top, high) for place in range(len(two))]
            top += high
        return rows

    def sheet(self) -> Sheet:
        """Return the sheet."""
        layout = self._layout()
        viewport = Viewport(
            paper=self.paper,
            scale=self.scale,
            left=-MARGIN / self.scale,
            top=(MARGIN + self.head_height) / self.scale,
        )
        texts, rectangles = [], []
        for panel, column, top in self.panels:
            left = MARGIN + column * (self.column + _GUTTER)
            down = MARGIN + self.head_height + top
            texts += list(self._panel_texts(panel, left, down))
            high = self._panel_height(panel)
            rectangles += [
                Rectangle(left=left, top=down, width=self.column, height=high),
                Rectangle(
                    left=left,
                    top=down,
                    width=self.column,
                    height=self._heading_height(panel),
                    fill=panel.fill,
                ),
            ]
        foot_top = self.paper.height - MARGIN - len(self.foot) * leading(SMALLEST)
        texts += [
            text_block(self.metrics, MARGIN, MARGIN, [self.text.title], _TITLE, bold=True),
            text_block(self.metrics, MARGIN, foot_top, self.foot, SMALLEST),
        ]
        dot = render.sheet_text([Placement(layout, 0.0, 0.0)], viewport, texts, rectangles)
        return Sheet(dot=dot, type_size=self.scale * SIZE, flowcharts=(layout.flowchart,))

    def _panel_texts(self, panel: Panel, left: float, top: float) -> Iterator[TextBlock]:
        inside = left + _PAD
        heading = self._heading(panel)
        yield text_block(self.metrics, inside, top + 1.0, heading, self.size, bold=True)
        down = top + self._heading_height(panel) + _PAD / 2
        paragraphs = self._panel_lines(panel)
        if panel.legend:
            for lines, (x, y, high) in zip(paragraphs, self._legend_rows(paragraphs), strict=True):
                middle = down + y + (high - len(lines) * leading(self.size)) / 2
                yield text_block(self.metrics, inside + x + _SAMPLE, middle, lines, self.size)
            return
        for lines in paragraphs:
            yield text_block(self.metrics, inside, down, lines, self.size)
            down += len(lines) * leading(self.size)

    def _layout(self) -> Layout:
        nodes: list[Node] = []
        edges: list[Edge] = []
        boxes: dict[str, Box] = {}
        splines: list[Spline] = []
        for number, column in enumerate(self.columns):
            left = number * (self.column + _GUTTER) / self.scale

            def upright(point: Point, left: float = left) -> Point:
                return point[0] + left, -point[1]

            for node, box in column.nodes:
                nodes.append(node)
                boxes[node.name] = replace(box, x=box.x + left, y=-box.y)
            for edge, spline in column.edges:
                edges.append(edge)
                splines.append(spline.mapped(upright))
        for node, box in self._samples():
            nodes.append(node)
            boxes[node.name] = box
        return Layout(
            flowchart=Flowchart(symptom=self.text.symptom, nodes=tuple(nodes), edges=tuple(edges)),
            boxes=boxes,
            splines=tuple(splines),
            width=0.0,
            height=0.0,
        )

    def _samples(self) -> Iterator[tuple[Node, Box]]:
        """Yield a small node for each line of the legend."""
        for panel, column, top in self.panels:
            if not panel.legend:
                continue
            left = column * (self.column + _GUTTER) + _PAD
            down = top + self._heading_height(panel) + _PAD / 2
            rows = self._legend_rows(self._panel_lines(panel))
            for kind, (x, y, high) in zip(LEGEND, rows, strict=True):
                tall = _ROW - 6.0
                wide = tall if kind is NodeKind.CONNECTOR else _SAMPLE - 9.0
                node = Node(
                    name=f"sample-{kind.value}",
                    kind=kind,
                    step="",
                    lines=(),
                    width=wide / self.scale,
                    height=tall / self.scale,
                    signal="CAUTION" if kind is NodeKind.CAUTION else "",
                )
                middle = (left + x + (_SAMPLE - 9.0) / 2) / self.scale
                level = -(down + y + high / 2) / self.scale
                yield node, Box(middle, level, node.width, node.height)
