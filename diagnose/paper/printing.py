"""A flowchart on paper: one sheet where its type stays readable, else as many as it takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnose.files.library import collector_at_rest
from diagnose.paper import render
from diagnose.paper.diagram import ROW_ROOM, Shaper
from diagnose.paper.marks import Kind
from diagnose.paper.pages import estimated, parts, reached
from diagnose.paper.sheet import LARGEST, MARGIN, SMALLEST, Note, Window
from diagnose.paper.wrap import LEADING, SIZE, lines, pieces

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.paper.diagram import Figure
    from diagnose.paper.pages import Part
    from diagnose.paper.sheet import Layout, Paper
    from diagnose.paper.sketch import Sketch
    from diagnose.paper.wrap import Metrics

_TITLE = 13.0

#: Type of another size than the drawing's is set a little wider or narrower than it was measured.
_SPARE = 0.96

#: Room for a page's number before the first line, in points.
_PAGE = 70.0

_LEGEND = (
    "Diamond: look and answer. Slanted: measure. Hexagon: take this caution first. Rounded, one"
    " line: operator. Rounded, double line: battery-trained. Dashed, wavy base: licensed service."
    " Double sides: another symptom's tree. Circle: goes on at the step with this number."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """One sheet: its DOT text with everything in place, its figures and its type size in points."""

    dot: str
    figures: tuple[Figure, ...]
    type_size: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """What stands above and below each flowchart: its title, and lines at the foot."""

    title: str
    under: str
    foot: tuple[str, ...]

    def texts(self) -> Sequence[str]:
        """Return the texts, for measuring."""
        return self.under, _LEGEND, *self.foot


@dataclass(frozen=True, slots=True)
class Spot:
    """A layout's place on a sheet: its left and its top, counted from the top down."""

    layout: Layout
    left: float
    top: float


#: What lies between two parts on one sheet, in points at the drawing's type size.
_BETWEEN = 22.0


def packed(layouts: Sequence[Layout], wide: float, high: float) -> list[list[Spot]]:
    """Return the layouts spread over sheets of this size, in shelves, each on the first with room.

    What is larger than a sheet gets one of its own.
    """
    sheets: list[list[Spot]] = []
    shelves: list[list[tuple[float, float, float]]] = []
    for layout in layouts:
        for spots, rows in zip(sheets, shelves, strict=True):
            spot = _on_shelf(layout, rows, wide, high)
            if spot is not None:
                spots.append(spot)
                break
        else:
            rows = []
            spot = _on_shelf(layout, rows, max(wide, layout.width), max(high, layout.height))
            assert spot is not None
            sheets.append([spot])
            shelves.append(rows)
    return sheets


def _on_shelf(
    layout: Layout, rows: list[tuple[float, float, float]], wide: float, high: float
) -> Spot | None:
    """Put a layout on the first library (top, height, used width) with room, or on a new one."""
    for place, (top, height, used) in enumerate(rows):
        last = place == len(rows) - 1
        room = high - top if last else height
        if used + _BETWEEN + layout.width <= wide and layout.height <= room:
            rows[place] = (top, max(height, layout.height), used + _BETWEEN + layout.width)
            return Spot(layout, used + _BETWEEN, top)
    top = rows[-1][0] + rows[-1][1] + _BETWEEN if rows else 0.0
    if top + layout.height > high or layout.width > wide:
        return None
    rows.append((top, layout.height, layout.width))
    return Spot(layout, 0.0, top)


class Printer:
    """Prints one sketch on one kind of paper."""

    def __init__(
        self, sketch: Sketch, margins: Margins, paper: Paper, metrics: Metrics | None = None
    ) -> None:
        self.sketch = sketch
        self.margins = margins
        self.paper = paper
        self.metrics = metrics or self._measured()
        self.shaper = Shaper(sketch, self.metrics)
        self._title = self._lines(margins.title, _TITLE, bold=True)
        self._title_height = len(self._title) * _TITLE * LEADING / SIZE
        # The first line begins with the page's number.
        self._under = self._lines(margins.under, SMALLEST, _PAGE)
        self._foot = [line for text in (_LEGEND, *margins.foot) for line in self._lines(text)]
        self._foot_height = len(self._foot) * SMALLEST * LEADING / SIZE
        under_height = len(self._under) * SMALLEST * LEADING / SIZE
        self._head_height = self._title_height + under_height + 6.0

    def _lines(
        self, text: str, size: float = SMALLEST, less: float = 0.0, *, bold: bool = False
    ) -> list[str]:
        room = (self.paper.inside[0] * _SPARE - less) / size * SIZE
        return lines(self.metrics, text, room, even=False, bold=bold)

    def _measured(self) -> Metrics:
        pages = " ".join(f"{number}" for number in range(1, len(self.sketch.entries) + 1))
        texts = [*self.sketch.texts(), *self.margins.texts(), f"· page {pages} of"]
        return render.measure(texts, [self.margins.title])

    @property
    def on_one_sheet(self) -> bool:
        """Whether all of it should fit one sheet, by its estimated size."""
        figure = self.shaper.figure(reached(self.sketch), self.sketch.start)
        wide, high = estimated(figure)
        most_wide, most_high = self.room
        scale = SMALLEST / SIZE
        return wide * scale <= most_wide and high * scale <= most_high

    @property
    def room(self) -> tuple[float, float]:
        """Width and height for a flowchart, in points."""
        width, height = self.paper.inside
        return width, height - self._head_height - self._foot_height - 6.0

    def sheets(self) -> list[Printed]:
        """Return the sheets. Raises `CannotRender`."""
        with collector_at_rest():
            return self._sheets()

    def _sheets(self) -> list[Printed]:
        laid = self._laid()
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
            box.step: number
            for number, spots in enumerate(spread, 1)
            for spot in spots
            for box in spot.layout.figure.shapes
            if box.kind not in (Kind.CONNECTOR, Kind.START)
        }
        return [
            self._sheet(spots, scale, number, len(spread), pages)
            for number, spots in enumerate(spread, 1)
        ]

    def _laid(self) -> list[Layout]:
        """Lay the flowchart out in parts that keep the type readable, as far as they can be cut."""
        most_wide, most_high = (side / (SMALLEST / SIZE) for side in self.room)
        ready: dict[Part, Layout] = {}
        # How much smaller than the room a part under this root must be estimated to fit in truth.
        tighter: dict[int, float] = {}

        def fits(part: Part, figure: Figure) -> bool:
            wide, high = estimated(figure)
            limit = tighter.get(part.root, 1.0)
            return wide <= most_wide * limit and high <= most_high * limit

        while True:
            made = parts(self.shaper, fits)
            for part in made:
                if part not in ready:
                    ready[part] = self._laid_part(part, most_wide)
                layout = ready[part]
                large = layout.width > most_wide or layout.height > most_high
                if large and self._questions(part) > 1:
                    tighter[part.root] = tighter.get(part.root, 1.0) * 0.88
                    break
            else:
                return [ready[part] for part in made]

    def _laid_part(self, part: Part, most_wide: float) -> Layout:
        """Lay one part out; a question that alone is too wide has its causes in more rows."""
        room = ROW_ROOM
        while True:
            layout = render.laid_out(self.shaper.figure(part.steps, part.root, room))
            if layout.width <= most_wide or self._questions(part) > 1 or room < ROW_ROOM / 4:
                return layout
            room *= 0.7

    def _questions(self, part: Part) -> int:
        return sum(bool(self.sketch.entries[step].answers) for step in part.steps)

    def _sheet(
        self, spots: Sequence[Spot], scale: float, number: int, count: int, pages: Mapping[str, int]
    ) -> Printed:
        wide, high = self.room
        width = max(spot.left + spot.layout.width for spot in spots)
        height = max(spot.top + spot.layout.height for spot in spots)
        # A single part that could not be cut any further may ask for smaller type than the rest.
        scale = min(scale, wide / width, high / height)
        window = Window(
            paper=self.paper,
            scale=scale,
            left=-(self.paper.width / scale - width) / 2,
            top=(MARGIN + self._head_height) / scale,
        )
        elsewhere = {step: page for step, page in pages.items() if page != number}
        dot = render.sheet_text(
            [(spot.layout, spot.left, -spot.top - spot.layout.height) for spot in spots],
            window,
            self._notes(number, count),
            elsewhere=elsewhere,
        )
        figures = tuple(spot.layout.figure for spot in spots)
        return Printed(dot=dot, figures=figures, type_size=scale * SIZE)

    def _notes(self, number: int, count: int) -> list[Note]:
        under = list(self._under)
        if count > 1:
            under[0] = f"page {number} of {count} · {under[0]}"
        foot_top = self.paper.height - MARGIN - self._foot_height
        return [
            self.note(MARGIN, MARGIN, self._title, _TITLE, bold=True),
            self.note(MARGIN, MARGIN + self._title_height, under, SMALLEST),
            self.note(MARGIN, foot_top, self._foot, SMALLEST),
        ]

    def note(
        self, left: float, top: float, texts: Sequence[str], size: float, *, bold: bool = False
    ) -> Note:
        """Return a note of texts that are lines already."""
        width = max(self.metrics.width(pieces(text), bold=bold) for text in texts)
        return Note(
            left=left,
            top=top,
            lines=tuple(texts),
            width=width * size / SIZE,
            size=size,
            bold=bold,
        )
