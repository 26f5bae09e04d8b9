"""A flowchart on paper: one sheet where its type stays readable, else as many as it takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnose.files.library import collector_at_rest
from diagnose.paper import render
from diagnose.paper.flowchart import RANK_ROOM, FlowchartBuilder
from diagnose.paper.node_styles import NodeKind
from diagnose.paper.packing import packed
from diagnose.paper.partition import estimated_size, partition
from diagnose.paper.sheet import (
    LARGEST,
    MARGIN,
    SMALLEST,
    Sheet,
    TextBlock,
    Viewport,
    leading,
    set_in_lines,
    text_block,
)
from diagnose.paper.wrap import SIZE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.paper.flowchart import Flowchart
    from diagnose.paper.flowchart_text import FlowchartText
    from diagnose.paper.layout import Layout, Placement
    from diagnose.paper.partition import Part
    from diagnose.paper.sheet import Paper
    from diagnose.paper.wrap import FontMetrics

_TITLE = 13.0

#: Room for a page's number before the first line, and above and below a flowchart, in points.
_PAGE, _CLEAR = 73.0, 6.0

#: How much smaller a part is aimed at that turned out larger than it was estimated.
_TIGHTER = 0.88

_LEGEND = (
    "Diamond: look and answer. Slanted: measure. Hexagon: take this caution first. Rounded, one"
    " line: operator. Rounded, double line: battery-trained. Dashed, wavy base: licensed service."
    " Double sides: another symptom's tree. Circle: goes on at the step with this number."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadAndFoot:
    """What stands above and below each flowchart: its title with a line under it, and the foot."""

    title: str
    under: str
    foot: tuple[str, ...]


class Paginator:
    """Sets one flowchart on one kind of paper."""

    def __init__(
        self,
        text: FlowchartText,
        around: HeadAndFoot,
        paper: Paper,
        metrics: FontMetrics | None = None,
    ) -> None:
        self.text = text
        self.paper = paper
        self.metrics = metrics or _measured(text, around)
        self.builder = FlowchartBuilder(text, self.metrics)
        wide, high = paper.inside
        self._title = set_in_lines(self.metrics, around.title, wide, _TITLE, bold=True)
        # The first line begins with the page's number.
        self._under = set_in_lines(self.metrics, around.under, wide - _PAGE, SMALLEST)
        self._foot = [
            line
            for said in (_LEGEND, *around.foot)
            for line in set_in_lines(self.metrics, said, wide, SMALLEST)
        ]
        self._title_height = len(self._title) * leading(_TITLE)
        self._foot_height = len(self._foot) * leading(SMALLEST)
        self._head_height = self._title_height + len(self._under) * leading(SMALLEST) + _CLEAR
        #: Width and height for a flowchart, in points.
        self.room = (wide, high - self._head_height - self._foot_height - _CLEAR)

    @property
    def fits_one_sheet(self) -> bool:
        """Whether all of it should fit one sheet, by its estimated size."""
        whole = self.builder.flowchart(self.text.reached(), self.text.start)
        wide, high = estimated_size(whole)
        scale = SMALLEST / SIZE
        return wide * scale <= self.room[0] and high * scale <= self.room[1]

    def sheets(self) -> list[Sheet]:
        """Return the sheets. Raises `CannotRender`."""
        with collector_at_rest():
            return self._sheets()

    def _sheets(self) -> list[Sheet]:
        laid = self._laid_out()
        wide, high = self.room
        scale = SMALLEST / SIZE
        spread = packed(laid, wide / scale, high / scale)
        # As few sheets as the smallest type needs, then the largest type that they have room for.
        most = LARGEST / SIZE
        while most - scale > 0.01:
            middle = (scale + most) / 2
            tried = packed(laid, wide / middle, high / middle)
            if len(tried) == len(spread):
                spread, scale = tried, middle
            else:
                most = middle
        pages = {
            node.step: number
            for number, placements in enumerate(spread, 1)
            for placement in placements
            for node in placement.layout.flowchart.nodes
            if node.kind not in (NodeKind.CONNECTOR, NodeKind.START)
        }
        return [
            self._sheet(placements, scale, number, len(spread), pages)
            for number, placements in enumerate(spread, 1)
        ]

    def _laid_out(self) -> list[Layout]:
        """Lay the flowchart out in parts that keep the type readable, as far as they can be cut."""
        most_wide, most_high = (side / (SMALLEST / SIZE) for side in self.room)
        ready: dict[Part, Layout] = {}
        # How much smaller than the room a part under this root must be estimated to fit in truth.
        tighter: dict[int, float] = {}

        def fits(part: Part, flowchart: Flowchart) -> bool:
            wide, high = estimated_size(flowchart)
            limit = tighter.get(part.root, 1.0)
            return wide <= most_wide * limit and high <= most_high * limit

        while True:
            parts = partition(self.builder, fits)
            for part in parts:
                if part not in ready:
                    ready[part] = self._laid_out_part(part, most_wide)
                layout = ready[part]
                large = layout.width > most_wide or layout.height > most_high
                if large and self._questions(part) > 1:
                    tighter[part.root] = tighter.get(part.root, 1.0) * _TIGHTER
                    break
            else:
                return [ready[part] for part in parts]

    def _laid_out_part(self, part: Part, most_wide: float) -> Layout:
        """Lay one part out; a question that alone is too wide has its causes in more ranks."""
        room = RANK_ROOM
        while True:
            layout = render.laid_out(self.builder.flowchart(part.steps, part.root, room))
            if layout.width <= most_wide or self._questions(part) > 1 or room < RANK_ROOM / 4:
                return layout
            room *= 0.7

    def _questions(self, part: Part) -> int:
        return sum(bool(self.text.steps[step].answers) for step in part.steps)

    def _sheet(
        self,
        placements: Sequence[Placement],
        scale: float,
        number: int,
        count: int,
        pages: Mapping[str, int],
    ) -> Sheet:
        wide, high = self.room
        width = max(one.left + one.layout.width for one in placements)
        height = max(one.top + one.layout.height for one in placements)
        # A single part that could not be cut any further may ask for smaller type than the rest.
        scale = min(scale, wide / width, high / height)
        viewport = Viewport(
            paper=self.paper,
            scale=scale,
            left=-(self.paper.width / scale - width) / 2,
            top=(MARGIN + self._head_height) / scale,
        )
        elsewhere = {step: page for step, page in pages.items() if page != number}
        texts = self._head_and_foot(number, count)
        return Sheet(
            dot=render.sheet_text(placements, viewport, texts, elsewhere=elsewhere),
            type_size=scale * SIZE,
            flowcharts=tuple(one.layout.flowchart for one in placements),
        )

    def _head_and_foot(self, number: int, count: int) -> list[TextBlock]:
        under = list(self._under)
        if count > 1:
            under[0] = f"page {number} of {count} · {under[0]}"
        foot_top = self.paper.height - MARGIN - self._foot_height
        return [
            text_block(self.metrics, MARGIN, MARGIN, self._title, _TITLE, bold=True),
            text_block(self.metrics, MARGIN, MARGIN + self._title_height, under, SMALLEST),
            text_block(self.metrics, MARGIN, foot_top, self._foot, SMALLEST),
        ]


def _measured(text: FlowchartText, around: HeadAndFoot) -> FontMetrics:
    pages = " ".join(f"{number}" for number, _ in enumerate(text.steps, 1))
    texts = [*text.texts(), around.under, _LEGEND, *around.foot, f"· page {pages} of"]
    return render.measure(texts, [around.title])
