"""The text of an SVG held to its measured width, whatever fonts the viewer has."""

from __future__ import annotations

import html
import re
from typing import TYPE_CHECKING

from diagnose.paper.dot_attributes import BOLD, FONT
from diagnose.paper.wrap import SIZE, pieces

if TYPE_CHECKING:
    from diagnose.paper.wrap import FontMetrics

_TEXT = re.compile(
    r'<text ([^>]*?)font-family="([^"]+)" font-size="([0-9.]+)"([^>]*)>([^<]*)</text>'
)


def as_measured(svg: str, metrics: FontMetrics) -> str:
    """Return Graphviz's SVG with the measured length at each line; what was not measured stays."""

    def held(match: re.Match[str]) -> str:
        before, family, size, after, text = match.groups()
        bold = family == BOLD
        weight = ' font-weight="bold"' if bold else ""
        said = html.unescape(text)
        around = len(said) - len(said.strip(" "))
        try:
            width = metrics.width(pieces(said), bold=bold) + around * metrics.space
            length = width * float(size) / SIZE
        except KeyError:
            fixed = ""
        else:
            fixed = f' textLength="{length:.2f}" lengthAdjust="spacingAndGlyphs"'
        return (
            f'<text {before}font-family="{FONT}"{weight} font-size="{size}"{fixed}{after}>'
            f"{text}</text>"
        )

    return _TEXT.sub(held, svg)
