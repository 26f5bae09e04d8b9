"""The only module that knows typst: a template and plain data in, pages out.

The templates are the `.typ` files beside this module. They get the data as JSON and decide how it
looks; what stands on a page was decided before.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from diagnose.paper.letters import CannotRender

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from diagnose.paper.letters import Typeface

#: Dots an inch of a PNG.
DPI: Final = 150

#: Width and height of upright paper in millimetres. ISO 216 and ANSI/ASME Y14.1 (status M).
PAPERS: Final = {
    "a4": (210.0, 297.0),
    "a3": (297.0, 420.0),
    "a2": (420.0, 594.0),
    "a1": (594.0, 841.0),
    "a0": (841.0, 1189.0),
    # As DIN 476 has it above ISO 216's A0: a wall chart, printed in two joined halves.
    "2a0": (1189.0, 1682.0),
    "letter": (215.9, 279.4),
    "legal": (215.9, 355.6),
    "tabloid": (279.4, 431.8),
}


class Document:
    """A template with its data. Raises `CannotRender` for a letter that no font has."""

    def __init__(self, template: str, data: Mapping[str, Any], typeface: Typeface) -> None:
        typeface.check(_texts(data))
        try:
            import typst
        except ImportError:
            raise CannotRender("No typesetter here: install typst with pip.") from None
        self._error = typst.TypstError
        self._compiler: Any = typst.Compiler(
            Path(__file__).with_name(f"{template}.typ"),
            root=Path(__file__).parent,
            font_paths=[typeface.folder],
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps({**data, "families": typeface.families})},
        )

    def pages(self, form: str) -> list[bytes]:
        """Return one PDF, or each page as svg or png. Raises `CannotRender`.

        Every PDF is held to PDF/UA-1, which asks for a title, a language and tags.
        """
        standards = ["ua-1"] if form == "pdf" else []
        try:
            made: Any = self._compiler.compile(format=form, ppi=DPI, pdf_standards=standards)
        except self._error as error:
            raise CannotRender(f"This page could not be set ({error.message[:200]}).") from error
        return made if isinstance(made, list) else [made]

    def values(self, label: str) -> list[Any]:
        """Return what the template left under a label for the program, such as page numbers."""
        found: list[Any] = json.loads(self._compiler.query(f"<{label}>", field="value"))
        return found


def _texts(data: Any) -> Iterator[str]:
    if isinstance(data, str):
        yield data
    else:
        inside = data.values() if isinstance(data, dict) else data
        for one in inside if isinstance(data, dict | list | tuple) else ():
            yield from _texts(one)
