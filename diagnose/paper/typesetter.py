"""The only module that knows typst: a template and plain data in, pages out.

The templates are the `.typ` files beside this module. They get the data as JSON and decide how it
looks; what stands on a page was decided before.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from diagnose.paper import apart
from diagnose.paper.letters import CannotRender

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from diagnose.paper.letters import Typeface

#: Letters of data: what has fewer is set within a few seconds.
LONG: Final = 400_000

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
    """A template with its data. Raises `CannotRender` for a letter that no font has.

    `labels` are those under which the template leaves something for the program.
    """

    def __init__(
        self,
        template: str,
        data: Mapping[str, Any],
        typeface: Typeface,
        labels: tuple[str, ...] = (),
    ) -> None:
        typeface.check(_texts(data))
        said = json.dumps({**data, "families": typeface.families})
        self._given = (template, said, f"{typeface.folder}", labels)
        self._long = len(said) > LONG
        self._left: dict[str, list[Any]] | None = None

    def pages(self, form: str) -> list[bytes]:
        """Return one PDF, or each page as svg or png. Raises `CannotRender`.

        Every PDF is held to PDF/UA-1, which asks for a title, a language and tags.
        """
        return self._made(form)

    def values(self, label: str) -> list[Any]:
        """Return what the template leaves under a label, such as page numbers."""
        if self._left is None:
            self._made(None)
        assert self._left is not None
        return self._left[label]

    def _made(self, form: str | None) -> list[bytes]:
        given = (*self._given, form)
        made, self._left = apart.worked(_set, *given) if self._long else _set(*given)
        return made


def _set(
    template: str, said: str, fonts: str, labels: tuple[str, ...], form: str | None
) -> tuple[list[bytes], dict[str, list[Any]]]:
    """Return the pages of a template, none without a form, and what it leaves under its labels."""
    try:
        import typst
    except ImportError:
        raise CannotRender("No typesetter here: install typst with pip.") from None
    compiler: Any = typst.Compiler(
        Path(__file__).with_name(f"{template}.typ"),
        root=Path(__file__).parent,
        font_paths=[Path(fonts)],
        ignore_system_fonts=True,
        sys_inputs={"data": said},
    )
    made: Any = []
    standards = ["ua-1"] if form == "pdf" else []
    try:
        if form is not None:
            made = compiler.compile(format=form, ppi=DPI, pdf_standards=standards)
        left = {one: json.loads(compiler.query(f"<{one}>", field="value")) for one in labels}
    except typst.TypstError as error:
        raise CannotRender(f"This page could not be set ({error.message[:200]}).") from error
    return (made if isinstance(made, list) else [made]), left


def _texts(data: Any) -> Iterator[str]:
    if isinstance(data, str):
        yield data
    else:
        inside = data.values() if isinstance(data, dict) else data
        for one in inside if isinstance(data, dict | list | tuple) else ():
            yield from _texts(one)
