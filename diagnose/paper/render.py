"""The only module that knows pygraphviz, which brings Graphviz along: DOT text in, pictures out."""

from __future__ import annotations

import html
import os
import re
import struct
import sys
import tempfile
import zlib
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

from diagnose.paper import apart
from diagnose.paper.letters import CannotRender
from diagnose.paper.typesetter import DPI, PAPERS, Document

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from diagnose.paper.letters import Typeface

#: Papers for a picture, the smallest first, and the margin of each in millimetres.
_SHEETS: Final = ("a4", "a3", "a2", "a1", "a0", "2a0")
_MARGIN: Final = 9.0

#: A picture is enlarged to its paper, but to no more than this: larger type would only shout.
_LARGEST: Final = 1.5

_MM: Final = 72 / 25.4

#: How large a drawing is, as its first tag says it.
_SIDES: Final = re.compile(rb'<svg [^>]*?width="([0-9.]+)pt" height="([0-9.]+)pt"')


#: A line of words as Graphviz writes it: what stands before its font, and after, its size, itself.
_WORDS: Final = re.compile(
    r'<text ([^>]*?)font-family="[^"]*" ([^>]*?font-size="([0-9.]+)"[^>]*)>([^<]*)</text>'
)


#: Letters of DOT text: what has fewer is drawn within a few seconds.
LONG: Final = 60_000


class TooLarge(CannotRender):
    """The drawing fits no paper."""


def as_svg(dot: str, title: str, about: str, typeface: Typeface) -> bytes:
    """Return DOT text drawn as SVG, with a title and a description in words. Raises `CannotRender`.

    Each line of words is held to its own width, whatever fonts the viewer has.
    """
    families = html.escape(", ".join([*typeface.families, "Arial", "sans-serif"]))

    def held(line: re.Match[str]) -> str:
        before, after, size, words = line.groups()
        words = words.strip()
        said = html.unescape(words) if "&" in words else words
        width = typeface.width(said, float(size), bold="bold" in after)
        return (
            f'<text {before}{after} textLength="{width:.2f}"'
            f' lengthAdjust="spacingAndGlyphs">{words}</text>'
        )

    given = dot, f"{typeface.fontconfig}"
    drawn = _drawn(*given) if len(dot) < LONG else apart.worked(_drawn, *given)
    opening = drawn.index("<svg")
    end = drawn.index(">", opening)
    told = f'<title id="title">{html.escape(title)}</title><desc id="about">{html.escape(about)}'
    role = f' font-family="{families}" role="graphics-document document"'
    role += ' aria-labelledby="title about"'
    svg = f"{drawn[opening:end]}{role}>\n{told}</desc>{_WORDS.sub(held, drawn[end + 1 :])}"
    return f'<?xml version="1.0" encoding="utf-8"?>\n{svg}'.encode()


def as_png(svg: bytes, title: str, about: str, typeface: Typeface) -> bytes:
    """Return a drawing as PNG at `DPI` dots an inch. Raises `CannotRender`."""
    made = _page(svg, title, about, typeface, _size(svg), 1.0, "png")
    # How large it is meant is left out; the chunk belongs after the header's 33 bytes.
    chunk = b"pHYs" + struct.pack(">IIB", *[round(DPI / 0.0254)] * 2, 1)
    size, check = struct.pack(">I", 9), struct.pack(">I", zlib.crc32(chunk))
    return made[:33] + size + chunk + check + made[33:]


def as_pdf(svg: bytes, title: str, about: str, typeface: Typeface) -> tuple[bytes, str, float]:
    """Return a drawing as one page of PDF, its paper, and how much it was enlarged.

    The paper is the smallest that the drawing fits at its own size or larger. Raises `TooLarge`
    where even 2A0 is too small, `CannotRender`.
    """
    size = _size(svg)
    for name in _SHEETS:
        upright = PAPERS[name]
        times, sides = max((_times(size, sides), sides) for sides in (upright, upright[::-1]))
        if times >= 1.0:
            return _page(svg, title, about, typeface, sides, times, "pdf"), name, times
    raise TooLarge(
        "The drawing is larger than 2A0 in type that can be read: write .svg, or make sheets."
    )


def _times(size: tuple[float, float], sides: tuple[float, float]) -> float:
    """Return how much a drawing can be enlarged on paper of these sides, less its margin."""
    room = ((side - 2 * _MARGIN) / own for side, own in zip(sides, size, strict=True))
    return min(*room, _LARGEST)


def _size(svg: bytes) -> tuple[float, float]:
    """Return the width and height of a drawing in millimetres."""
    found = _SIDES.search(svg)
    assert found is not None
    return float(found[1]) / _MM, float(found[2]) / _MM


def _page(
    svg: bytes,
    title: str,
    about: str,
    typeface: Typeface,
    sides: tuple[float, float],
    times: float,
    form: str,
) -> bytes:
    data: dict[str, Any] = {"title": title, "about": about, "svg": svg.decode()}
    data |= {"paper": sides, "width": _size(svg)[0] * times}
    return Document("picture", data, typeface).pages(form)[0]


def _drawn(dot: str, fontconfig: str) -> str:
    # Before the first import: fontconfig reads it once.
    os.environ["FONTCONFIG_FILE"] = fontconfig
    try:
        import pygraphviz
    except ImportError:
        raise CannotRender("No Graphviz here: install pygraphviz, which brings it along.") from None
    with chatter_aside() as said:
        try:
            graph = pygraphviz.AGraph(string=dot)
            made = graph.draw(format="svg", prog="dot")
        except (OSError, ValueError, RuntimeError, pygraphviz.DotError) as error:
            raise CannotRender(_refused(f"{said()} {error}")) from error
        if not made:
            raise CannotRender(_refused(said()))
    return bytes(made).decode()


def _refused(said: str) -> str:
    return f"Graphviz could not draw this ({' '.join(said.split())[:160]})."


@contextmanager
def chatter_aside() -> Iterator[Callable[[], str]]:
    """Keep what the C libraries write to standard error (about fonts, say) out of sight."""
    if sys.stderr is not None:
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
