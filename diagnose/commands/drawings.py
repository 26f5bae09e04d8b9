"""The files that `diagnose draw` writes, and what it says about them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from diagnose.commands import options as opt
from diagnose.commands.output import write as put
from diagnose.paper import render
from diagnose.paper.sheet import SMALLEST

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from diagnose.paper.wrap import FontMetrics

#: What a drawing can be written as.
ENDINGS: Final = ("pdf", "svg", "png", "dot")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """One symptom drawn: the DOT text of each sheet; `note` is said of it."""

    symptom: str
    dots: tuple[str, ...]
    metrics: FontMetrics
    type_size: float | None = None
    paper: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A file that was written, with how many sheets of a drawing stand in it."""

    path: Path
    sheets: int
    drawing: Drawing


def write(drawings: Sequence[Drawing], output: Path, ending: str) -> list[Written]:
    """Write the files: a PDF has all sheets; of the others one file is one sheet.

    Raises `Unusable`, `CannotRender`.
    """
    if ending == "pdf":
        pages = [
            render.drawn(dot, "pdf", drawing.metrics)
            for drawing in drawings
            for dot in drawing.dots
        ]
        put(str(output), render.joined(pages))
        return [Written(path=output, sheets=len(one.dots), drawing=one) for one in drawings]
    files = []
    for drawing in drawings:
        for number, dot in enumerate(drawing.dots, 1):
            parts = [output.stem]
            parts += [drawing.symptom] if len(drawings) > 1 else []
            parts += [f"{number}"] if len(drawing.dots) > 1 else []
            path = output.with_name("-".join(parts) + output.suffix)
            made = dot.encode() if ending == "dot" else render.drawn(dot, ending, drawing.metrics)
            put(str(path), made)
            files.append(Written(path=path, sheets=1, drawing=drawing))
    return files


def said(files: Sequence[Written], *, as_json: bool) -> None:
    """Say what was written."""
    if as_json:
        data = [
            {
                "file": str(one.path),
                "symptom": one.drawing.symptom,
                "sheets": one.sheets,
                "paper": one.drawing.paper or None,
                "type_size": one.drawing.type_size and round(one.drawing.type_size, 2),
            }
            for one in files
        ]
        opt.say(json.dumps({"files": data}))
        return
    for one in files:
        words = [one.drawing.symptom]
        if one.drawing.type_size is not None:
            sheets = f"{one.sheets} sheet{'' if one.sheets == 1 else 's'}"
            words.append(f"{sheets} {one.drawing.paper}, type {one.drawing.type_size:.1f} pt")
            # The scale of a sheet is rounded in its last digit.
            if one.drawing.type_size < SMALLEST - 0.01:
                words.append("too small to read on paper: larger paper, or --short, mends that")
        words += [one.drawing.note] if one.drawing.note else []
        opt.say(f"{one.path}: {'; '.join(words)}.")
