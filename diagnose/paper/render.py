"""The only module that knows Graphviz: DOT text through `graphviz`, rendering by a `dot` program on
the path, or else by pygraphviz, which brings Graphviz along.
"""

from __future__ import annotations

import html
import io
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING

from diagnose.files.library import collector_at_rest
from diagnose.paper.ink import INKED, ink, ink_of_frames
from diagnose.paper.marks import MARKS, SIGNALS, WALKED, Kind
from diagnose.paper.sheet import Box, Layout, Route
from diagnose.paper.wrap import SIZE, Metrics, pieces

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from diagnose.paper.diagram import Arrow, Figure, Shape
    from diagnose.paper.sheet import Frame, Note, Window

#: Families in order of preference; all are drawn and measured with the first that is installed.
FONT = "Helvetica,Arial,Liberation Sans,DejaVu Sans Condensed,sans-serif"

#: The same, bold.
BOLD = f"{FONT} Bold"

#: Dots an inch of a PNG: enough for a laser printer, and a wall chart stays under 5 MB.
_DPI = 150

_INCH = 72.0

# Graphviz rounds letters and lines of text to whole pixels of 1/96 inch. What it lays out and draws
# for us is this many times as large as meant, and shown that much smaller: so the error is small.
_FINE = 4.0


class CannotRender(Exception):
    """No Graphviz is at hand, or it refused; the message is one line and says what to do."""


def escaped(lines: Iterable[str], end: str = "\\n") -> str:
    """Return lines as the text of a DOT label that shows exactly them.

    Graphviz reads entities and backslash escapes in a label; both are undone here.
    """
    return end.join(line.replace("&", "&amp;").replace("\\", "\\\\") for line in lines)


def dot_text(figure: Figure, times: float = 1.0) -> str:
    """Return the DOT text of a figure; shape and arrow names are those of the figure.

    All lengths are `times` as large as the figure has them.
    """
    import graphviz

    between = f"{0.14 * times:g}"
    graph = graphviz.Digraph(
        name=figure.symptom,
        graph_attr={"rankdir": "TB", "ranksep": between, "nodesep": between},
        **_defaults(times),
    )
    for shape in figure.shapes:
        graph.node(shape.name, _label(shape.lines), **_node(shape, times))
    for number, arrow in enumerate(figure.arrows):
        words = _label(_aside(arrow.lines)) if arrow.lines else None
        graph.edge(arrow.source, arrow.target, words, id=f"a{number}", **_edge(arrow, times))
    return _in_pieces(graph.source)


#: Graphviz reads no quoted string longer than 16,384 bytes; longer ones are written as a sum.
_LONGEST = 4000

_QUOTED = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"', re.DOTALL)
_PIECE = re.compile(rf"(?:[^\\]|\\.){{1,{_LONGEST}}}", re.DOTALL)


def _in_pieces(dot: str) -> str:
    def split(match: re.Match[str]) -> str:
        quoted = match[0]
        if len(quoted) <= _LONGEST:
            return quoted
        return " + ".join(f'"{piece}"' for piece in _PIECE.findall(quoted[1:-1]))

    return _QUOTED.sub(split, dot)


def _defaults(times: float) -> dict[str, dict[str, str]]:
    font = {"fontname": FONT, "fontsize": f"{SIZE * times:g}"}
    return {
        "node_attr": {**font, "fixedsize": "true"},
        "edge_attr": {**font, "arrowsize": f"{0.6 * times:g}", "penwidth": f"{times:g}"},
    }


def _label(lines: Iterable[str], end: str = "\\n") -> str:
    import graphviz

    label: str = graphviz.nohtml(escaped(lines, end))
    return label


def _aside(lines: Iterable[str]) -> list[str]:
    """Keep an answer's words off the line of its arrow."""
    return [f" {line} " for line in lines]


def _node(shape: Shape, times: float) -> dict[str, str]:
    mark = MARKS[shape.kind]
    thick = mark.thick * (WALKED if shape.walked else 1) * times
    given = {
        "id": f"{shape.name}-{shape.step}" if shape.step else shape.name,
        "class": shape.kind.value,
        "shape": mark.shape,
        "style": mark.style,
        "color": mark.line,
        "penwidth": f"{thick:g}",
        "width": f"{shape.width * times / _INCH:.4f}",
        "height": f"{shape.height * times / _INCH:.4f}",
    }
    if shape.kind is Kind.CAUTION:
        given["fillcolor"] = SIGNALS[shape.signal]
    if mark.sides:
        given |= {"sides": f"{mark.sides}", "skew": f"{mark.skew}"}
    if mark.double:
        given["peripheries"] = "2"
    return given


def _edge(arrow: Arrow, times: float) -> dict[str, str]:
    given = {"weight": "6" if arrow.passing else "1"}
    if arrow.rows > 1:
        given["minlen"] = f"{arrow.rows}"
    if arrow.answer:
        given["tooltip"] = _label([arrow.answer])
    if arrow.walked:
        given |= {"penwidth": f"{WALKED * times:g}", "style": "bold"}
    return given


# Rendering


def laid_out(figure: Figure) -> Layout:
    """Return where the shapes and arrows of a figure go. Raises `CannotRender`."""
    found = json.loads(_run(dot_text(figure, _FINE), "dot", "json0"))
    left, bottom, right, top = (float(side) / _FINE for side in found["bb"].split(","))
    boxes = {}
    for node in found["objects"]:
        x, y = _point(node["pos"])
        width, height = (float(node[side]) * _INCH / _FINE for side in ("width", "height"))
        boxes[node["name"]] = Box(x, y, width, height)
    routes: list[Route | None] = [None] * len(figure.arrows)
    for edge in found["edges"]:
        tip, *points = edge["pos"].removeprefix("e,").split(" ")
        label = _point(edge["lp"]) if "lp" in edge else None
        route = Route(tuple(_point(point) for point in points), _point(tip), label)
        routes[int(edge["id"][1:])] = route
    return Layout(
        figure=figure,
        boxes=boxes,
        routes=tuple(route for route in routes if route is not None),
        width=right - left,
        height=top - bottom,
    )


def _point(text: str) -> tuple[float, float]:
    x, y = text.split(",")
    return float(x) / _FINE, float(y) / _FINE


def sheet_text(
    placed: Sequence[tuple[Layout, float, float]],
    window: Window,
    notes: Sequence[Note],
    frames: Sequence[Frame] = (),
    elsewhere: Mapping[str, int] | None = None,
) -> str:
    """Return the DOT text of a sheet, everything in its place.

    Layouts are `placed` with their left and bottom in the window's coordinates. `elsewhere` has the
    pages of the steps that are not on this sheet; connectors name them.
    """
    import graphviz

    fine = window.enlarged(_FINE)
    drawings = [ink_of_frames(fine, frames)]
    graph = graphviz.Digraph(
        graph_attr={
            "viewport": fine.viewport,
            "margin": "0",
            "pad": "0",
            # Else a sheet without ink would be moved to its own corner.
            "notranslate": "true",
        },
        **_defaults(_FINE),
    )
    for which, (layout, left, bottom) in enumerate(placed):
        boxes = {name: box.moved(left, bottom, _FINE) for name, box in layout.boxes.items()}
        drawings.append(ink(layout.figure.shapes, boxes, _FINE))
        for shape in layout.figure.shapes:
            box = boxes[shape.name]
            given = _node(shape, _FINE) | {"pos": f"{box.x:.2f},{box.y:.2f}"}
            if shape.kind in INKED:
                given |= {"shape": "box", "peripheries": "0"}
            words = shape.lines
            if shape.kind is Kind.CONNECTOR and shape.step in (elsewhere or {}):
                words = (*words, f"p. {(elsewhere or {})[shape.step]}")
            graph.node(f"p{which}{shape.name}", _label(words), **given)
        for arrow, route in zip(layout.figure.arrows, layout.routes, strict=True):
            graph.edge(
                f"p{which}{arrow.source}",
                f"p{which}{arrow.target}",
                _label(_aside(arrow.lines)) if arrow.lines else None,
                **_edge(arrow, _FINE),
                **route.moved(left, bottom, _FINE),
            )
    graph.attr(_background=" ".join(drawing for drawing in drawings if drawing))
    for number, note in enumerate(notes):
        for place, line in enumerate(note.lines):
            # A little wider than the text, or Graphviz would centre it.
            width = (note.width * 1.05 + 4.0) / fine.scale
            x = fine.x(note.left) + width / 2
            y = fine.y(note.top + (place + 0.5) * note.leading)
            graph.node(
                f"note{number}_{place}",
                _label([line, ""], "\\l"),
                shape="plaintext",
                margin="0",
                width=f"{width / _INCH:.4f}",
                height="0.01",
                pos=f"{x:.2f},{y:.2f}",
                fontsize=f"{note.size / fine.scale:.4f}",
                fontname=BOLD if note.bold else FONT,
                **{"class": "note"},
            )
    return _in_pieces(graph.source)


def drawn(dot: str, form: str, metrics: Metrics) -> bytes:
    """Draw what is laid out as svg, png or pdf. Raises `CannotRender`."""
    made = _run(dot, "nop2", form, *([f"-Gdpi={_DPI}"] if form == "png" else []))
    return _as_measured(made.decode(), metrics).encode() if form == "svg" else made


def joined(pages: Sequence[bytes]) -> bytes:
    """Return PDF pages as one document: Graphviz makes one page at a time."""
    if len(pages) == 1:
        return pages[0]
    from pypdf import PdfReader, PdfWriter

    writer = PdfWriter()
    with collector_at_rest():
        for page in pages:
            writer.add_page(PdfReader(io.BytesIO(page)).pages[0])
    whole = io.BytesIO()
    writer.write(whole)
    return whole.getvalue()


_TEXT = re.compile(
    r'<text ([^>]*?)font-family="([^"]+)" font-size="([0-9.]+)"([^>]*)>([^<]*)</text>'
)


def _around(line: str) -> int:
    return len(line) - len(line.strip(" "))


def _as_measured(svg: str, metrics: Metrics) -> str:
    """Hold each line of an SVG to its measured width, whatever fonts the viewer has."""

    def held(match: re.Match[str]) -> str:
        before, family, size, after, text = match.groups()
        weight = ' font-weight="bold"' if family == BOLD else ""
        said = html.unescape(text)
        try:
            width = metrics.width(pieces(said), bold=family == BOLD)
            length = (width + _around(said) * metrics.space) * float(size) / SIZE
        except KeyError:
            fixed = ""
        else:
            fixed = f' textLength="{length:.2f}" lengthAdjust="spacingAndGlyphs"'
        return (
            f'<text {before}font-family="{FONT}"{weight} font-size="{size}"{fixed}{after}>'
            f"{text}</text>"
        )

    return _TEXT.sub(held, svg)


def measure(texts: Iterable[str], bold: Iterable[str] = ()) -> Metrics:
    """Return the width of every piece of the texts, as it will be drawn. Raises `CannotRender`.

    Graphviz rounds the width of each letter to whole pixels, so the size has to be that of labels.
    """
    from graphviz.quoting import quote

    wanted = {piece.text for text in texts for piece in pieces(text)}
    heavy = {piece.text for text in bold for piece in pieces(text)}
    labels = ["||", "| |", *sorted(wanted), *sorted(heavy)]
    first_bold = len(labels) - len(heavy)
    lines = [
        'digraph { node [shape=plaintext, margin=0, width=0, height=0, pos="0,0"'
        f', fontname="{FONT}", fontsize={SIZE * _FINE:g}]'
    ]
    for number, label in enumerate(labels):
        if number == first_bold:
            lines.append(f'node [fontname="{BOLD}"]')
        lines.append(f"n{number} [label={quote(_label([label]))}]")
    widths = [0.0] * len(labels)
    for line in _run("\n".join([*lines, "}"]), "nop2", "plain").decode().splitlines():
        if line.startswith("node "):
            _, name, _, _, width, *_ = line.split(" ")
            widths[int(name[1:])] = float(width) * _INCH / _FINE
    found = list(zip(labels, widths, strict=True))
    space = widths[1] - widths[0]
    return Metrics(dict(found[2:first_bold]), space, dict(found[first_bold:]))


@cache
def _program() -> str | None:
    return shutil.which("dot")


def _run(text: str, engine: str, form: str, *more: str) -> bytes:
    program = _program()
    if program is not None:
        done = subprocess.run(
            [program, f"-K{engine}", f"-T{form}", *more],
            input=text.encode(),
            capture_output=True,
            check=False,
        )
        if done.returncode == 0 and done.stdout:
            return done.stdout
        raise CannotRender(_refused(done.stderr.decode(errors="replace")))
    try:
        import pygraphviz
    except ImportError:
        raise CannotRender(
            "No Graphviz here: install pygraphviz (it brings Graphviz along) or put a `dot` program"
            " on the path."
        ) from None
    with chatter_aside() as said:
        try:
            graph = pygraphviz.AGraph(string=text)
            result = graph.draw(format=form, prog=engine, args=" ".join(more))
        except (OSError, ValueError, RuntimeError, pygraphviz.DotError) as error:
            raise CannotRender(_refused(f"{said()} {error}")) from error
    if not result:
        raise CannotRender(_refused(said()))
    return bytes(result)


def _refused(said: str) -> str:
    return f"Graphviz could not draw this ({' '.join(said.split())[:160]})."


@contextmanager
def chatter_aside() -> Iterator[Callable[[], str]]:
    """Keep what the C libraries write to standard error (about fonts, say) out of sight."""
    sys.stderr.flush()
    kept = os.dup(2)
    with tempfile.TemporaryFile() as aside:

        def said() -> str:
            aside.seek(0)
            return aside.read().decode(errors="replace")

        os.dup2(aside.fileno(), 2)
        try:
            yield said
        finally:
            os.dup2(kept, 2)
            os.close(kept)
