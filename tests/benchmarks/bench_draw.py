"""Drawing against pygraphviz alone on the same DOT text, and a tree of a thousand steps.

`python tests/benchmarks/bench_draw.py` prints each figure with the limit that it is held to; exit
code 1 if one is missed. Not part of the test run: a busy machine would turn it red.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import pygraphviz
from figures import Figure, best, report

from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.library import built_in
from diagnose.paper import render
from diagnose.paper.flowchart_text import TextOptions, flowchart_text
from diagnose.paper.pagination import HeadAndFoot, Paginator
from diagnose.paper.sheet import paper

if TYPE_CHECKING:
    from diagnose.paper.sheet import Sheet
    from diagnose.study.ready import ReadyTree

FOUR = ("low-runtime", "no-solution-flow", "poor-pickup", "streaking")


def printed(library: ReadyLibrary, ready: ReadyTree) -> tuple[bytes, list[Sheet]]:
    """Return a symptom on A4 as a PDF, from the tree in memory to the bytes of the file."""
    text = flowchart_text(ready, library.content.cautions, library.table, TextOptions())
    around = HeadAndFoot(title=text.title, under=text.symptom, foot=("The foot of the sheet.",))
    paginator = Paginator(text, around, paper("a4", landscape=False))
    sheets = paginator.sheets()
    pages = [render.drawn(sheet.dot, "pdf", paginator.metrics) for sheet in sheets]
    return render.joined(pages), sheets


def four_trees() -> list[Figure]:
    """All four trees to PDF, by steps: what Graphviz itself takes is the measure of all."""
    library = ReadyLibrary(built_in())
    ready_trees = [library.require(symptom) for symptom in FOUR]
    sheets = [sheet for one in ready_trees for sheet in printed(library, one)[1]]
    parts = [render.dot_text(part, 4.0) for sheet in sheets for part in sheet.flowcharts]
    metrics = render.measure([])

    def alone(dots: list[str], engine: str) -> None:
        with render.chatter_aside():
            for dot in dots:
                pygraphviz.AGraph(string=dot).draw(format="pdf", prog=engine)

    same = [sheet.dot for sheet in sheets]
    render_ours = best(lambda: [render.drawn(dot, "pdf", metrics) for dot in same])
    render_theirs = best(lambda: alone(same, "nop2"))
    ours = best(lambda: [printed(library, one) for one in ready_trees])
    theirs = best(lambda: alone(parts, "dot"))
    pages = [render.drawn(dot, "pdf", metrics) for dot in same]
    joined = best(lambda: render.joined(pages))
    none = float("inf")
    # What comes on top of drawing has no limit of its own: pygraphviz does none of it.
    return [
        (
            f"DOT of {len(same)} sheets to PDF, times pygraphviz",
            render_ours / render_theirs,
            1.3,
            "x",
        ),
        ("  joined to one PDF", joined, none, "s"),
        ("trees to PDF with measuring, cutting, placing, joining", ours, none, "s"),
        ("  times pygraphviz laying out and drawing the parts", ours / theirs, none, "x"),
    ]


#: What pygraphviz alone needs for the same parts: DOT files in, one PDF a file out.
ALONE = """
import sys
import pygraphviz
for path in sys.argv[1:]:
    with open(path, encoding="utf-8") as file:
        pygraphviz.AGraph(string=file.read()).draw(path + ".pdf", prog="dot")
"""


def as_a_user_calls_it() -> list[Figure]:
    """Whole processes, start included: `diagnose draw` beside pygraphviz on the same parts.

    Ours also reads and checks the library, measures words, cuts, packs and joins; what of it is the
    start of Python with the library is timed on its own. No limit: pygraphviz does none of that.
    """
    library = ReadyLibrary(built_in())
    none = float("inf")
    figures: list[Figure] = []
    with tempfile.TemporaryDirectory() as folder:

        def run(*args: str) -> None:
            subprocess.run([sys.executable, *args], check=True, capture_output=True, cwd=folder)

        for symptom in FOUR:
            _, sheets = printed(library, library.require(symptom))
            paths = []
            for part in (part for sheet in sheets for part in sheet.flowcharts):
                paths.append(f"{symptom}-{len(paths)}.dot")
                Path(folder, paths[-1]).write_text(render.dot_text(part, 4.0), "utf-8")
            ours = best(lambda one=symptom: run("-m", "diagnose", "draw", one), 3)
            theirs = best(lambda given=paths: run("-c", ALONE, *given), 3)
            figures += [
                (f"`diagnose draw {symptom}`, the whole process", ours, none, "s"),
                (
                    f"  pygraphviz alone on its {len(paths)} parts, the whole process",
                    theirs,
                    none,
                    "s",
                ),
                ("  times pygraphviz", ours / theirs, none, "x"),
            ]
        start = best(lambda: run("-m", "diagnose", "draw", "--help"), 3)
        alone = best(lambda: run("-c", "import pygraphviz"), 3)
    figures += [
        ("`diagnose draw --help`: the start alone", start, none, "s"),
        ("  `import pygraphviz`: the start alone", alone, none, "s"),
    ]
    return figures


def thousand_steps() -> list[Figure]:
    """A tree of 1,000 steps, half of them questions, on as many sheets as it takes."""
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
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "large.yaml").write_text("\n".join(lines), "utf-8")
        library = ReadyLibrary(Path(folder))
        ready = library.require("large")
        sheets: list[Sheet] = []

        def run() -> None:
            sheets[:] = printed(library, ready)[1]

        taken = best(run, 1)
    steps = len(ready.steps)
    smallest = min(sheet.type_size for sheet in sheets)
    assert smallest >= 8.0, smallest
    return [
        (
            f"{steps} steps on {len(sheets)} sheets, smallest type {smallest:.1f} pt",
            taken,
            20.0,
            "s",
        )
    ]


if __name__ == "__main__":
    sys.exit(report(four_trees, as_a_user_calls_it, thousand_steps))
