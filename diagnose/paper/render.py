"""The only module that knows Graphviz: DOT text through `graphviz`, rendering by a `dot` program on
the path, or else by pygraphviz, which brings Graphviz along.
"""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any

from diagnose.files.library import collector_at_rest
from diagnose.paper import dot_attributes as dot
from diagnose.paper.layout import Box, Layout, Placement, Spline
from diagnose.paper.node_styles import NodeKind
from diagnose.paper.outlines import OUTLINED, node_outlines, rectangle_outlines
from diagnose.paper.svg_text import as_measured
from diagnose.paper.wrap import SIZE, FontMetrics, pieces

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from diagnose.paper.flowchart import Edge, Flowchart, Node
    from diagnose.paper.layout import Point
    from diagnose.paper.sheet import Rectangle, TextBlock, Viewport

#: Dots an inch of a PNG: enough for a laser printer, and a wall chart stays under 5 MB.
_DPI = 150

# Graphviz rounds letters and lines of text to whole pixels of 1/96 inch. What it lays out and draws
# for us is this many times as large as meant, and shown that much smaller: so the error is small.
_FINE = 4.0


class CannotRender(Exception):
    """No Graphviz is at hand, or it refused; the message is one line and says what to do."""


# DOT text


def dot_text(flowchart: Flowchart, times: float = 1.0) -> str:
    """Return the DOT text of a flowchart, not laid out; node names are those of the flowchart.

    All lengths are `times` as large as the flowchart has them.
    """
    import graphviz

    between = f"{0.14 * times:g}"
    graph = graphviz.Digraph(
        name=flowchart.symptom,
        graph_attr={"rankdir": "TB", "ranksep": between, "nodesep": between},
        **dot.defaults(times),
    )
    for node in flowchart.nodes:
        graph.node(node.name, _label(node.lines), **dot.of_node(node, times))
    for number, edge in enumerate(flowchart.edges):
        _add_edge(graph, edge, "", {**dot.of_edge(edge, times), "id": f"a{number}"})
    return dot.in_pieces(graph.source)


def sheet_text(
    placements: Sequence[Placement],
    viewport: Viewport,
    texts: Iterable[TextBlock],
    rectangles: Iterable[Rectangle] = (),
    elsewhere: Mapping[str, int] | None = None,
) -> str:
    """Return the DOT text of a sheet, everything in its place.

    `elsewhere` has the pages of the steps that are not on this sheet; connectors name them.
    """
    import graphviz

    fine = viewport.enlarged(_FINE)
    graph = graphviz.Digraph(
        graph_attr={
            "viewport": dot.of_viewport(fine),
            "margin": "0",
            "pad": "0",
            # Else a sheet without outlines would be moved to its own corner.
            "notranslate": "true",
        },
        **dot.defaults(_FINE),
    )
    outlines = [rectangle_outlines(fine, rectangles)]
    for number, placement in enumerate(placements):
        outlines.append(_add_placed(graph, placement, f"p{number}", elsewhere or {}))
    graph.attr(_background=" ".join(filter(None, outlines)))
    for number, block in enumerate(texts):
        _add_text_block(graph, block, f"note{number}", fine)
    return dot.in_pieces(graph.source)


def _add_placed(graph: Any, placement: Placement, prefix: str, elsewhere: Mapping[str, int]) -> str:
    """Add a layout to a sheet's graph, its names after the prefix; return its outlines."""
    layout = placement.layout
    left, bottom = placement.left, -placement.top - layout.height
    boxes = {name: box.moved(left, bottom, _FINE) for name, box in layout.boxes.items()}

    def moved(point: Point) -> Point:
        return (point[0] + left) * _FINE, (point[1] + bottom) * _FINE

    for node in layout.flowchart.nodes:
        given = dot.of_node(node, _FINE) | dot.place_of_node(boxes[node.name])
        if node.kind in OUTLINED:
            given |= {"shape": "box", "peripheries": "0"}
        graph.node(f"{prefix}{node.name}", _label(_with_page(node, elsewhere)), **given)
    for edge, spline in zip(layout.flowchart.edges, layout.splines, strict=True):
        given = dot.of_edge(edge, _FINE) | dot.place_of_edge(spline.mapped(moved))
        _add_edge(graph, edge, prefix, given)
    return node_outlines(layout.flowchart.nodes, boxes, _FINE)


def _with_page(node: Node, elsewhere: Mapping[str, int]) -> tuple[str, ...]:
    if node.kind is NodeKind.CONNECTOR and node.step in elsewhere:
        return (*node.lines, f"p. {elsewhere[node.step]}")
    return node.lines


def _add_edge(graph: Any, edge: Edge, prefix: str, given: Mapping[str, str]) -> None:
    # A space on either side keeps the words off the line.
    words = _label(f" {line} " for line in edge.lines) if edge.lines else None
    tooltip = {"tooltip": _label([edge.answer])} if edge.answer else {}
    graph.edge(f"{prefix}{edge.source}", f"{prefix}{edge.target}", words, **tooltip, **given)


def _add_text_block(graph: Any, block: TextBlock, name: str, fine: Viewport) -> None:
    # A little wider than the text, or Graphviz would centre it.
    width = (block.width * 1.05 + 4.0) / fine.scale
    x = fine.x(block.left) + width / 2
    for place, line in enumerate(block.lines):
        y = fine.y(block.top + (place + 0.5) * block.leading)
        graph.node(
            f"{name}_{place}",
            _label([line, ""], "\\l"),
            shape="plaintext",
            margin="0",
            width=f"{width / dot.INCH:.4f}",
            height="0.01",
            **dot.place_of_node(Box(x, y, width, 0.0)),
            fontsize=f"{block.size / fine.scale:.4f}",
            fontname=dot.BOLD if block.bold else dot.FONT,
            **{"class": "note"},
        )


def _label(lines: Iterable[str], end: str = "\\n") -> str:
    import graphviz

    label: str = graphviz.nohtml(dot.escaped(lines, end))
    return label


# Rendering


def laid_out(flowchart: Flowchart) -> Layout:
    """Return where the nodes and edges of a flowchart go. Raises `CannotRender`."""
    found = json.loads(_run(dot_text(flowchart, _FINE), "dot", "json0"))
    left, bottom, right, top = (float(side) / _FINE for side in found["bb"].split(","))
    boxes = {}
    for node in found["objects"]:
        width, height = (float(node[side]) * dot.INCH / _FINE for side in ("width", "height"))
        boxes[node["name"]] = Box(*_point(node["pos"]), width, height)
    by_id = {edge["id"]: edge for edge in found["edges"]}
    return Layout(
        flowchart=flowchart,
        boxes=boxes,
        splines=tuple(_spline(by_id[f"a{number}"]) for number, _ in enumerate(flowchart.edges)),
        width=right - left,
        height=top - bottom,
    )


def _spline(edge: Mapping[str, str]) -> Spline:
    tip, *points = edge["pos"].removeprefix("e,").split(" ")
    label = _point(edge["lp"]) if "lp" in edge else None
    return Spline(tuple(_point(point) for point in points), _point(tip), label)


def _point(text: str) -> Point:
    x, y = text.split(",")
    return float(x) / _FINE, float(y) / _FINE


def drawn(text: str, form: str, metrics: FontMetrics) -> bytes:
    """Draw DOT text that is laid out as svg, png or pdf. Raises `CannotRender`."""
    made = _run(text, "nop2", form, *([f"-Gdpi={_DPI}"] if form == "png" else []))
    return as_measured(made.decode(), metrics).encode() if form == "svg" else made


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


def measure(texts: Iterable[str], bold: Iterable[str] = ()) -> FontMetrics:
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
        f', fontname="{dot.FONT}", fontsize={SIZE * _FINE:g}]'
    ]
    for number, label in enumerate(labels):
        if number == first_bold:
            lines.append(f'node [fontname="{dot.BOLD}"]')
        lines.append(f"n{number} [label={quote(_label([label]))}]")
    widths = [0.0] * len(labels)
    for line in _run("\n".join([*lines, "}"]), "nop2", "plain").decode().splitlines():
        if line.startswith("node "):
            _, name, _, _, width, *_ = line.split(" ")
            widths[int(name[1:])] = float(width) * dot.INCH / _FINE
    found = list(zip(labels, widths, strict=True))
    space = widths[1] - widths[0]
    return FontMetrics(dict(found[2:first_bold]), space, dict(found[first_bold:]))


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
