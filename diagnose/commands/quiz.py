"""`diagnose quiz`: ten situations of a symptom on paper, and their key on a sheet of its own."""

from __future__ import annotations

import argparse
from pathlib import Path
from random import Random
from string import ascii_uppercase
from typing import TYPE_CHECKING, Any

from msgspec import to_builtins

from diagnose.commands import drawings as pages
from diagnose.commands import options as opt
from diagnose.commands.drawings import Written
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.drill.answers import Answers
from diagnose.drill.figures import Figures, Wanted
from diagnose.drill.quantities import Lines
from diagnose.measure.wording import about
from diagnose.paper.letters import typeface
from diagnose.paper.quiz import SITUATIONS, in_any_order, situations
from diagnose.paper.sheets import SMALLEST, Letters
from diagnose.paper.typesetter import PAPERS, Document

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.drill.figures import Taken
    from diagnose.files.tree import Reading
    from diagnose.paper.quiz import Figured, Situation
    from diagnose.study.ready import ReadyTree


def run(args: Sequence[str]) -> int:
    """Print a quiz. Returns 0 once every file is written."""
    parser = opt.parser("quiz", "Ten situations of a symptom to answer on paper, with their key.")
    parser.add_argument("symptom", help="a symptom's id")
    pages.add_output(parser, pages.ENDINGS, "SYMPTOM-quiz.pdf")
    parser.add_argument("--seed", type=int, default=1, help="the same number, the same sheet (1)")
    about = "as many sheets, the situations and ways on in another order on each; one key (1)"
    parser.add_argument("--variants", type=_variants, default=1, metavar="N", help=about)
    parser.add_argument("--paper", choices=PAPERS, default="a4", help="the sheet's size (a4)")
    parser.add_argument("--machine", metavar="ID", help="as it is on this machine")
    options = parser.parse_args(args)
    options.ending = pages.ending_of(options.output, pages.ENDINGS)
    pages.say(_written(options), as_json=options.json)
    return opt.OK


def _written(options: argparse.Namespace) -> Iterator[Written]:
    library = ReadyLibrary(opt.trees_folder(options), frozenset({options.symptom}))
    library.machine(options.machine)
    ready = library.require(options.symptom)
    random = Random(options.seed)
    told = figured(ready, options.seed)
    drawn = situations(ready, library.table, random, figured=told)
    variants = [drawn]
    while len(variants) < options.variants:
        variants.append([one.mixed(random) for one in in_any_order(drawn, random)])
    face = typeface(options.font)
    document = Document(
        "quiz",
        {
            **Letters(SMALLEST, SMALLEST).on(PAPERS[options.paper], face),
            "title": ready.title,
            "count": len(drawn),
            "variants": [_variant(number, variants) for number in range(len(variants))],
            "situations": [_key(one, variants) for one in drawn],
            "foot": f"{pages.foot(ready)} Seed {options.seed}.",
        },
        face,
        ("pages",),
    )
    files = pages.put(
        Path(options.output or f"{ready.symptom}-quiz.pdf"), document.pages(options.ending)
    )
    few = f"the tree has only {len(drawn)} situations" if len(drawn) < SITUATIONS else ""
    sheets = document.values("pages")[0] // len(files)
    for file in files:
        yield Written(
            file=file,
            symptom=ready.symptom,
            sheets=sheets,
            paper=options.paper,
            type_size=SMALLEST,
            note=few,
        )


def _variant(number: int, variants: Sequence[Sequence[Situation]]) -> dict[str, Any]:
    """Return one sheet of the quiz; a lone one has no letter."""
    letter = ascii_uppercase[number] if len(variants) > 1 else ""
    return {
        "letter": letter,
        "name": f", variant {letter}" if letter else "",
        "right": [one.right for one in variants[number]],
        "situations": [{**to_builtins(one), "options": one.options} for one in variants[number]],
    }


def _key(one: Situation, variants: Sequence[Sequence[Situation]]) -> dict[str, Any]:
    """Return what the key says of a situation, and where it stands in each variant."""
    places = []
    for number, variant in enumerate(variants):
        place = next(n for n, other in enumerate(variant) if other.step == one.step)
        letter = ascii_uppercase[number] if len(variants) > 1 else ""
        places.append(f"{letter}{place + 1} {'abc'[variant[place].right]}")
    return {
        **to_builtins(one),
        "options": one.options,
        "places": places,
        "call": one.answers[-1] if one.figure else None,
    }


def figured(ready: ReadyTree, seed: int) -> Figured:
    """Return what is read at readings: the figures of a route are those of one machine."""
    lines, random = Lines(Answers(ready).line), Random(seed)

    def read(readings: Sequence[tuple[Reading, int]]) -> list[str]:
        figures = Figures(lines, random, ready.measurements)
        wanted = [Wanted(reading, band) for reading, band in readings]
        figures.settle(wanted, ())
        return [_told(ready, one, figures.shown(one, random.random())) for one in wanted]

    return read


def _told(ready: ReadyTree, wanted: Wanted, taken: Taken) -> str:
    """Return a figure and what was read for it."""
    measurement = ready.measurements[wanted.reading.read]
    titles = {need.name: need.title for need in measurement.needs}
    read = ", ".join(f"{titles[name]} {text}" for name, text in taken.typed)
    known = measurement.uncertainty
    told = about(taken.value, measurement.unit, known.of(taken.value) if known else None)
    return f"{told}{f' ({read})' if read else ''}"


def _variants(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:3]) <= len(ascii_uppercase)):
        raise argparse.ArgumentTypeError("from 1 to 26 variants can be printed")
    return int(text)
