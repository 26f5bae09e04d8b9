"""The handover for the typesetter: its Markdown read by a CommonMark library, as plain data.

So paper says what the screen says, and only where a line ends is found out anew. This is the only
module that knows markdown-it.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from diagnose.paper.handover_sheet import LONG, SHORT, telling, told_to_fit
from diagnose.paper.node_styles import SIGNALS
from diagnose.paper.sheets import SMALLEST, Letters
from diagnose.paper.typesetter import PAPERS, Document

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.paper.handover_page import Handover
    from diagnose.paper.letters import Typeface

#: What is set as room to write: a short line within others, a long one to the end.
_ROOM: Final = {SHORT: "short", LONG: "long"}
_ROOMS: Final = re.compile(rf"((?<!\.)(?:{re.escape(LONG)}|{re.escape(SHORT)})(?!\.))")

Run = tuple[str, str]


def as_pdf(page: Handover, typeface: Typeface, paper: str) -> tuple[bytes, int]:
    """Return the page as PDF, told as fully as fits one page, else two; and how many it takes.

    Raises `CannotRender`.
    """
    tellings: dict[int, _Telling] = {}

    def size(detail: int) -> int:
        tellings[detail] = _Telling(page, detail, typeface, paper)
        return tellings[detail].pages

    chosen = tellings[told_to_fit(size, one=1, two=2)]
    return chosen.document.pages("pdf")[0], chosen.pages


class _Telling:
    """The page told in one way, set on paper."""

    def __init__(self, page: Handover, detail: int, typeface: Typeface, paper: str) -> None:
        data = {
            **Letters(SMALLEST, SMALLEST).on(PAPERS[paper], typeface),
            **outline(telling(page, detail), danger=page.danger is not None),
            "case": page.case,
            "fills": SIGNALS,
        }
        self.document = Document("handover", data, typeface, ("pages",))
        self.pages: int = self.document.values("pages")[0]


def outline(lines: Sequence[str], *, danger: bool) -> dict[str, Any]:
    """Return a page in Markdown as its title and blocks.

    A block is a heading, or a list whose items have runs and may have a list below. A run is words
    and how they are set: plain, strong, or room to write. Of a page with a `danger` the first item
    stands apart.
    """
    from markdown_it import MarkdownIt
    from markdown_it.tree import SyntaxTreeNode

    tree = SyntaxTreeNode(MarkdownIt().parse("\n".join(lines)))
    title, *blocks = [_block(node) for node in tree.children]
    return {
        "title": "".join(words for words, _ in title["runs"]),
        "danger": blocks[0]["items"].pop(0)["runs"] if danger else [],
        "blocks": blocks,
    }


def _block(node: Any) -> dict[str, Any]:
    if node.type == "heading":
        return {"form": "heading", "runs": _runs(node)}
    items = []
    for item in node.children:
        below = [_block(one) for one in item.children if one.type.endswith("_list")]
        words = next(one for one in item.children if one.type == "paragraph")
        items.append({"runs": _runs(words), "below": below})
    return {"form": node.type, "items": items}


def _runs(node: Any) -> list[Run]:
    (inline,) = node.children
    return list(_set(inline, "plain"))


def _set(node: Any, how: str) -> Iterator[Run]:
    for one in node.children:
        if one.type == "strong":
            yield from _set(one, "strong")
        elif one.type == "softbreak":
            yield " ", how
        else:
            for words in filter(None, _ROOMS.split(one.content)):
                yield words, _ROOM.get(words, how)
