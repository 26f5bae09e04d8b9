"""Nodes, edges and sheets as attributes of Graphviz's DOT language; every value is a string."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from diagnose.paper.node_styles import SIGNALS, STYLES, WALKED, NodeKind
from diagnose.paper.wrap import SIZE

if TYPE_CHECKING:
    from collections.abc import Iterable

    from diagnose.paper.flowchart import Edge, Node
    from diagnose.paper.layout import Box, Point, Spline
    from diagnose.paper.sheet import Viewport

#: Families in order of preference; all are drawn and measured with the first that is installed.
FONT: Final = "Helvetica,Arial,Liberation Sans,DejaVu Sans Condensed,sans-serif"

#: The same, bold.
BOLD: Final = f"{FONT} Bold"

#: Points an inch: Graphviz takes widths and heights in inches.
INCH: Final = 72.0

#: Graphviz reads no quoted string longer than 16,384 bytes; longer ones are written as a sum.
_LONGEST: Final = 4000

_QUOTED = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"', re.DOTALL)
_PIECE = re.compile(rf"(?:[^\\]|\\.){{1,{_LONGEST}}}", re.DOTALL)


def escaped(lines: Iterable[str], end: str = "\\n") -> str:
    """Return lines as the text of a DOT label that shows exactly them.

    Graphviz reads entities and backslash escapes in a label; both are undone here.
    """
    return end.join(line.replace("&", "&amp;").replace("\\", "\\\\") for line in lines)


def in_pieces(dot: str) -> str:
    """Return DOT text with each long quoted string as a sum of shorter ones."""

    def split(match: re.Match[str]) -> str:
        quoted = match[0]
        if len(quoted) <= _LONGEST:
            return quoted
        return " + ".join(f'"{piece}"' for piece in _PIECE.findall(quoted[1:-1]))

    return _QUOTED.sub(split, dot)


def defaults(times: float) -> dict[str, dict[str, str]]:
    """Return what holds for all nodes and all edges of a drawing that is enlarged."""
    font = {"fontname": FONT, "fontsize": f"{SIZE * times:g}"}
    return {
        "node_attr": {**font, "fixedsize": "true"},
        "edge_attr": {**font, "arrowsize": f"{0.6 * times:g}", "penwidth": f"{times:g}"},
    }


def of_node(node: Node, times: float) -> dict[str, str]:
    """Return a node's attributes on a drawing that is enlarged."""
    style = STYLES[node.kind]
    thick = style.thick * (WALKED if node.walked else 1) * times
    given = {
        "id": f"{node.name}-{node.step}" if node.step else node.name,
        "class": node.kind.value,
        "shape": style.shape,
        "style": style.style,
        "color": style.line,
        "penwidth": f"{thick:g}",
        "width": f"{node.width * times / INCH:.4f}",
        "height": f"{node.height * times / INCH:.4f}",
    }
    if node.kind is NodeKind.CAUTION:
        given["fillcolor"] = SIGNALS[node.signal]
    if style.sides:
        given |= {"sides": f"{style.sides}", "skew": f"{style.skew}"}
    if style.double:
        given["peripheries"] = "2"
    return given


def of_edge(edge: Edge, times: float) -> dict[str, str]:
    """Return an edge's attributes, without its words, on a drawing that is enlarged."""
    given = {"weight": "6" if edge.passing else "1"}
    if edge.ranks > 1:
        given["minlen"] = f"{edge.ranks}"
    if edge.walked:
        given |= {"penwidth": f"{WALKED * times:g}", "style": "bold"}
    return given


def place_of_node(box: Box) -> dict[str, str]:
    """Return where a node stands."""
    return {"pos": f"{box.x:.2f},{box.y:.2f}"}


def place_of_edge(spline: Spline) -> dict[str, str]:
    """Return how an edge runs, and where its words stand."""

    def said(point: Point) -> str:
        return f"{point[0]:.2f},{point[1]:.2f}"

    given = {"pos": f"e,{' '.join(said(point) for point in (spline.tip, *spline.points))}"}
    if spline.label is not None:
        given["lp"] = said(spline.label)
    return given


def of_viewport(viewport: Viewport) -> str:
    """Return a viewport in Graphviz's own words: width, height, zoom and the middle."""
    paper, scale = viewport.paper, viewport.scale
    x = viewport.left + paper.width / scale / 2
    y = viewport.top - paper.height / scale / 2
    return f"{paper.width:.2f},{paper.height:.2f},{scale:.5f},{x:.2f},{y:.2f}"
