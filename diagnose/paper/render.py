"""The only module that knows pygraphviz, which brings Graphviz along: DOT text in, pictures out."""

from __future__ import annotations

import os
import struct
import sys
import tempfile
import zlib
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree

from diagnose.paper.letters import CannotRender
from diagnose.paper.typesetter import DPI, PAPERS, Document

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from diagnose.paper.letters import Typeface

_SVG: Final = "http://www.w3.org/2000/svg"
_XLINK: Final = "http://www.w3.org/1999/xlink"

#: Papers for a picture, the smallest first, and the margin of each in millimetres.
_SHEETS: Final = [
    (name, sides)
    for name in ("a4", "a3", "a2", "a1", "a0", "2a0")
    for sides in (PAPERS[name], PAPERS[name][::-1])
]
_MARGIN: Final = 9.0

#: A picture is enlarged to its paper, but to no more than this: larger type would only shout.
_LARGEST: Final = 1.5

_MM: Final = 72 / 25.4


class TooLarge(CannotRender):
    """The drawing fits no paper."""


def as_svg(dot: str, title: str, about: str, typeface: Typeface) -> bytes:
    """Return DOT text drawn as SVG, with a title and a description in words. Raises `CannotRender`.

    Each line of words is held to its own width, whatever fonts the viewer has.
    """
    ElementTree.register_namespace("", _SVG)
    ElementTree.register_namespace("xlink", _XLINK)
    root = ElementTree.fromstring(_drawn(dot, "svg", typeface))
    root.set("role", "graphics-document document")
    root.set("aria-labelledby", "title about")
    for place, (name, words) in enumerate({"title": title, "desc": about}.items()):
        own = ElementTree.Element(f"{{{_SVG}}}{name}", id="title" if name == "title" else "about")
        own.text = words
        root.insert(place, own)
    for line in root.iter(f"{{{_SVG}}}text"):
        said = (line.text or "").strip()
        bold = line.get("font-weight") == "bold"
        line.set("font-family", ", ".join([*typeface.families, "Arial", "sans-serif"]))
        width = typeface.width(said, float(line.get("font-size", 0)), bold=bold)
        line.set("textLength", f"{width:.2f}")
        line.set("lengthAdjust", "spacingAndGlyphs")
        line.text = said
    made: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return made


def as_png(dot: str, typeface: Typeface) -> bytes:
    """Return DOT text drawn as PNG at `DPI` dots an inch. Raises `CannotRender`."""
    made = _drawn(dot, "png", typeface, f"-Gdpi={DPI}")
    # Graphviz leaves out how large it is meant; the chunk belongs after the header's 33 bytes.
    chunk = b"pHYs" + struct.pack(">IIB", *[round(DPI / 0.0254)] * 2, 1)
    size, check = struct.pack(">I", 9), struct.pack(">I", zlib.crc32(chunk))
    return made[:33] + size + chunk + check + made[33:]


def as_pdf(svg: bytes, title: str, about: str, typeface: Typeface) -> tuple[bytes, str, float]:
    """Return a drawing as one page of PDF, its paper, and how much it was enlarged.

    The paper is the smallest that the drawing fits at its own size or larger. Raises `TooLarge`
    where even 2A0 is too small, `CannotRender`.
    """
    root = ElementTree.fromstring(svg)
    size = [float(root.get(side, "0pt").removesuffix("pt")) / _MM for side in ("width", "height")]
    for name, sides in _SHEETS:
        times = min((side - 2 * _MARGIN) / own for side, own in zip(sides, size, strict=True))
        if times >= 1.0:
            times = min(times, _LARGEST)
            data: dict[str, Any] = {"title": title, "about": about, "svg": svg.decode()}
            data |= {"paper": sides, "width": size[0] * times}
            return Document("picture", data, typeface).pages("pdf")[0], name, times
    raise TooLarge(
        "The drawing is larger than 2A0 in type that can be read: write .svg, or make sheets."
    )


def _drawn(dot: str, form: str, typeface: Typeface, *more: str) -> bytes:
    # Before the first import: fontconfig reads it once.
    os.environ["FONTCONFIG_FILE"] = str(typeface.fontconfig())
    try:
        import pygraphviz
    except ImportError:
        raise CannotRender("No Graphviz here: install pygraphviz, which brings it along.") from None
    with chatter_aside() as said:
        try:
            graph = pygraphviz.AGraph(string=dot)
            made = graph.draw(format=form, prog="dot", args=" ".join(more))
        except (OSError, ValueError, RuntimeError, pygraphviz.DotError) as error:
            raise CannotRender(_refused(f"{said()} {error}")) from error
        if not made:
            raise CannotRender(_refused(said()))
    return bytes(made)


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
