"""Pictures against pygraphviz alone, sheets against typst alone, and a tree of a thousand steps.

`python tests/benchmarks/bench_draw.py` prints each figure with the limit that it is held to; exit
code 1 if one is missed. Not part of the test run: a busy machine would turn it red. Times are those
of the processor.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING
from unittest.mock import patch

from figures import Figure, report

from diagnose import app
from diagnose.commands import sheets
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.library import built_in
from diagnose.paper import render, typesetter
from diagnose.paper.flowchart import LETTERS, Flowchart
from diagnose.paper.letters import typeface

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

NONE = float("inf")

#: What pygraphviz alone needs for the same DOT text, with the same fonts.
PYGRAPHVIZ = """
import os, sys
os.environ["FONTCONFIG_FILE"] = sys.argv[1]
import pygraphviz
with open("x.dot", encoding="utf-8") as file:
    pygraphviz.AGraph(string=file.read()).draw("alone." + sys.argv[2], prog="dot")
"""

#: What typst alone needs for the same template and text.
TYPST = """
import sys, typst
with open("data.json", encoding="utf-8") as file:
    data = file.read()
typst.compile(sys.argv[1], output="alone.pdf", font_paths=[sys.argv[2]], ignore_system_fonts=True,
              pdf_standards=["ua-1"], sys_inputs={"data": data})
"""


CHECK = ["-m", "diagnose", "check", "streaking"]


def least(*actions: Callable[[], object], times: int = 9) -> list[float]:
    """Return the processor seconds of some actions, of each the least of several runs.

    They run in turn, so that what else the machine does slows all of them alike.
    """
    found: list[list[float]] = [[] for _ in actions]
    for _ in range(times):
        for action, taken in zip(actions, found, strict=True):
            began = time.process_time()
            action()
            taken.append(time.process_time() - began)
    return [min(taken) for taken in found]


def seconds(args: Sequence[str], folder: Path, times: int = 3) -> float:
    """Return the processor seconds of a process, the least of several runs."""
    found = []
    for _ in range(times):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *args], check=True, capture_output=True, cwd=folder)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(found)


def pictures() -> list[Figure]:
    """A tree in memory to a picture's bytes, beside pygraphviz alone on the same DOT text."""
    import pygraphviz

    library, figures, face = ReadyLibrary(built_in()), [], typeface()
    for symptom in ("streaking", "low-runtime"):
        chart = Flowchart(library.require(symptom), library.table)
        dot = chart.dot()

        def alone(form: str, text: str = dot) -> bytes:
            args = f"-Gdpi={typesetter.DPI}" if form == "png" else ""
            with render.chatter_aside():
                made: bytes = pygraphviz.AGraph(string=text).draw(
                    format=form, prog="dot", args=args
                )
            return made

        def svg(letters: int = LETTERS[0], of: Flowchart = chart) -> bytes:
            return render.as_svg(of.dot(letters), "Title", "About", face)

        def pdf() -> bytes:
            for letters in LETTERS:
                try:
                    return render.as_pdf(svg(letters), "Title", "About", face)[0]
                except render.TooLarge:
                    continue
            raise AssertionError

        ours = {
            "svg": svg,
            "png": lambda one=svg: render.as_png(one(), "Title", "About", face),
            "pdf": pdf,
        }
        for form, draw in ours.items():
            mine, theirs = least(draw, lambda one=form: alone(one))
            figures += [
                (f"{symptom} drawn as {form}, times pygraphviz", mine / theirs, 1.3, "x"),
                ("  drawn", mine, NONE, "s"),
                ("  pygraphviz alone", theirs, NONE, "s"),
            ]
    return figures


def as_a_user_calls_it() -> list[Figure]:
    """Whole processes; ours reads and checks the library first, which pygraphviz does not."""
    library, figures = ReadyLibrary(built_in()), []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        fonts = str(typeface().fontconfig)
        chart = Flowchart(library.require("streaking"), library.table)
        (folder / "x.dot").write_text(chart.dot(), "utf-8")
        ours = seconds(["-m", "diagnose", "draw", "streaking", "-o", "x.svg"], folder)
        theirs = seconds(["-c", PYGRAPHVIZ, fonts, "svg"], folder)
        figures += [
            ("`diagnose draw streaking -o x.svg`, times pygraphviz", ours / theirs, NONE, "x"),
            ("  the whole process", ours, NONE, "s"),
            ("  pygraphviz alone", theirs, NONE, "s"),
            ("  check streaking, the library's share", seconds(CHECK, folder), NONE, "s"),
        ]
    return figures


def all_sheets() -> list[Figure]:
    """`diagnose sheets --all` beside typst on the same template and data."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        kept = []

        class Kept(typesetter.Document):
            def __init__(self, template, data, face, labels=()):  # type: ignore[no-untyped-def]
                kept.append(json.dumps({**data, "families": face.families}))
                super().__init__(template, data, face, labels)

        with patch.object(sheets, "Document", Kept):
            app.run(["sheets", "--all", "-o", str(folder / "x.pdf")])
        (folder / "data.json").write_text(kept[0], "utf-8")
        template = str(Path(typesetter.__file__).with_name("sheets.typ"))
        ours = seconds(["-m", "diagnose", "sheets", "--all", "-o", "x.pdf"], folder)
        theirs = seconds(["-c", TYPST, template, str(typeface().folder)], folder)
    return [
        ("sheets --all, times the typesetter alone", ours / theirs, 1.5, "x"),
        ("  the whole process", ours, NONE, "s"),
        ("  typst alone", theirs, NONE, "s"),
    ]


def thousand_steps() -> list[Figure]:
    """A tree of 1,000 steps, half of them questions, on sheets and as one picture."""
    lines = ["format: 1", "symptom: large", "title: A large one", "start: q0", "steps:"]
    for number in range(499):
        on = f"q{number + 1}" if number < 498 else "end"
        lines += [
            f"  q{number}: {{do: Look at part {number} of the machine from the side., ask: How does",
            f"    part {number} look?, answers: {{It is worn or broken: f{number}, It looks right: {on}}}}}",
            f"  f{number}: {{finding: Part {number} is worn. It lets the water through., chance: 1,",
            f"    who: operator, remedy: Change part {number} by hand. Try it on ten metres.}}",
        ]
    lines += [
        "  end: {finding: Nothing is worn., chance: 1, who: service, leave_safe: Key out.,",
        "    ask_service: Look at it all.}",
    ]
    figures: list[Figure] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "large.yaml").write_text("\n".join(lines), "utf-8")
        for verb, file in (("sheets", "x.pdf"), ("draw", "x.svg")):
            args = ["-m", "diagnose", verb, "large", "--trees", ".", "-o", file]
            figures.append((f"{verb} of 999 steps", seconds(args, folder, 1), 20.0, "s"))
    return figures


if __name__ == "__main__":
    sys.exit(report(pictures, as_a_user_calls_it, all_sheets, thousand_steps))
