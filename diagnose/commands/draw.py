"""`diagnose draw`: a symptom tree as a diagram or a wall chart, on paper or for the screen."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diagnose.commands import options as opt
from diagnose.commands.drawings import ENDINGS, Drawing, Written, said, write
from diagnose.commands.shelf import Shelf
from diagnose.files.problems import did_you_mean
from diagnose.paper import render
from diagnose.paper.beside import MEANING, minutes_beside
from diagnose.paper.diagram import Shaper
from diagnose.paper.pages import reached
from diagnose.paper.printing import Margins, Printed, Printer
from diagnose.paper.sheet import PAPERS, SMALLEST, paper
from diagnose.paper.sketch import Sketch, Wanted, sketch
from diagnose.paper.wall import chart_of
from diagnose.paper.wall_sheet import TooLarge, on_one_sheet

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable, Sequence

    from diagnose.case.state import Volume
    from diagnose.paper.route import Route

_NOTICE = "Site rules, the machine's own manual and licensed practice come first."


def run(args: Sequence[str]) -> int:
    """Draw one symptom, or all of them. Returns 0 once every file is written."""
    options = _options(args)
    shelf = Shelf(opt.trees_folder(options))
    try:
        drawings, broken = _drawings(shelf, options)
        if drawings:
            stem = drawings[0].symptom if len(drawings) == 1 else "all-symptoms"
            output = Path(options.output or f"{stem}{'-wall' if options.wall else ''}.pdf")
            said(write(drawings, output, options.ending), as_json=options.json)
    except render.CannotRender as error:
        raise opt.Unusable(f"{error}") from error
    if broken:
        shelf.require(broken[0])
    return opt.OK


class RouteDrawing:
    """A route that somebody took through one tree, to be drawn into a file once it is known.

    Raises `WrongUse` at once where the file's ending is none that can be drawn.
    """

    def __init__(self, symptom: str, output: str) -> None:
        self._options = _options([symptom, "-o", output])

    def draw(self, shelf: Shelf, volume: Volume, route: Route, under: str) -> list[Written]:
        """Draw it, `under` standing below the title. Raises `Unusable`."""
        options = self._options
        try:
            drawing = _diagram(shelf, volume, options, route, (under,))
            return write([drawing], Path(options.output), options.ending)
        except render.CannotRender as error:
            raise opt.Unusable(f"{error}") from error


def _options(args: Sequence[str]) -> argparse.Namespace:
    parser = opt.parser("draw", "A symptom tree as a diagram, or as a chart for the wall.")
    parser.add_argument("symptom", nargs="?", help="a symptom's id")
    parser.add_argument("--all", action="store_true", help="all symptoms of the library")
    parser.add_argument(
        "-o",
        dest="output",
        metavar="FILE",
        help="where to; its ending (.pdf, .svg, .png, .dot) says what (SYMPTOM.pdf)",
    )
    parser.add_argument("--paper", choices=PAPERS, help="the sheet's size (a4; a wall chart: a3)")
    parser.add_argument(
        "--orientation", choices=("portrait", "landscape"), help="how the sheet hangs"
    )
    parser.add_argument("--from", dest="start", metavar="STEP", help="only what follows a step")
    parser.add_argument("--case", metavar="CASE", help="with the route that this case took")
    parser.add_argument("--minutes", action="store_true", help="with chances and minutes")
    parser.add_argument("--short", action="store_true", help="questions, answers and causes only")
    parser.add_argument("--wall", action="store_true", help="one sheet with all that hangs there")
    parser.add_argument("--machine", metavar="ID", help="with this machine's card")
    options = parser.parse_args(args)
    if options.all and (options.symptom or options.start or options.case):
        raise opt.WrongUse("--all draws whole trees: leave out the symptom, --from and --case.")
    if not options.all and not options.symptom and not options.case:
        raise opt.WrongUse("Name a symptom to draw, or --all; `diagnose draw --help` explains.")
    if options.wall and (options.start or options.case or options.minutes or options.short):
        raise opt.WrongUse("A wall chart shows the whole tree: leave out --from, --case and such.")
    ending = Path(options.output).suffix.lower().removeprefix(".") if options.output else "pdf"
    if ending not in ENDINGS:
        known = ", ".join(f".{one}" for one in ENDINGS)
        raise opt.WrongUse(f'"{options.output}" has to end in one of {known}.')
    if options.wall and ending == "dot":
        raise opt.WrongUse("A wall chart is a sheet: write .pdf, .svg or .png.")
    options.ending = ending
    return options


def _drawings(shelf: Shelf, options: argparse.Namespace) -> tuple[list[Drawing], list[str]]:
    """Return what was drawn, and the symptoms whose files have errors."""
    routes: dict[str, Route] = {}
    symptoms: Iterable[str] = (options.symptom,) if options.symptom else shelf.library.symptoms
    if options.case:
        routes = _routes(shelf, options)
        symptoms = [one for one in routes if options.symptom in (None, one)]
        if not symptoms:
            came = ", ".join(routes)
            raise opt.WrongUse(f"Case {options.case} did not come to {options.symptom}: {came}.")
    elif options.machine:
        shelf.machine(options.machine)
    draw = _wall if options.wall else _diagram
    result, broken = [], []
    for symptom in symptoms:
        if options.all and shelf(symptom) is None:
            broken.append(symptom)
            continue
        result.append(draw(shelf, shelf.require(symptom), options, routes.get(symptom)))
    if not result and not broken:
        raise opt.Unusable(f"{shelf.folder}: no symptom tree there; name a library with --trees.")
    return result, broken


def _routes(shelf: Shelf, options: argparse.Namespace) -> dict[str, Route]:
    from diagnose.commands.cases import case_named
    from diagnose.commands.resume import card_again, chances_again
    from diagnose.paper.route import routes_of

    log = opt.existing_log(options)
    case = case_named(log, options)
    assert log is not None
    bodies = [event.body for event in log.events(case)]
    shelf.card = card_again(bodies[0]["more"].get("card"))
    shelf.chances = chances_again(bodies)
    return routes_of(bodies)


def _diagram(
    shelf: Shelf,
    volume: Volume,
    options: argparse.Namespace,
    route: Route | None,
    more: tuple[str, ...] = (),
) -> Drawing:
    plan = volume.plan
    start = None
    if options.start is not None:
        if options.start not in plan.number:
            hint = did_you_mean(options.start, plan.ids)
            raise opt.WrongUse(f'There is no step "{options.start[:40]}" there.{hint}')
        start = plan.number[options.start]
    visits, walked, lost = _on_plan(volume, route)
    wanted = Wanted(
        actions=not options.short,
        remedies=not options.short,
        start=start,
        beside=minutes_beside(volume, shelf.precautions) if options.minutes else {},
        visits=visits,
        walked=walked,
    )
    drawn = sketch(volume, shelf.library.cautions, shelf.precautions, wanted, _titles(shelf))
    if options.ending == "dot":
        metrics = render.measure(drawn.texts())
        figure = Shaper(drawn, metrics).figure(reached(drawn), drawn.start)
        return Drawing(
            symptom=drawn.symptom, dots=(render.dot_text(figure),), metrics=metrics, note=lost
        )
    name = options.paper or "a4"
    margins = Margins(
        title=drawn.title,
        under=_under(volume, options, more),
        foot=(f"{_NOTICE} {_printed(volume)}",),
    )
    printer, sheets = _printed_on(drawn, margins, name, options.orientation)
    return Drawing(
        symptom=drawn.symptom,
        dots=tuple(sheet.dot for sheet in sheets),
        metrics=printer.metrics,
        type_size=min(sheet.type_size for sheet in sheets),
        paper=name,
        note=lost,
    )


def _printed_on(
    drawn: Sketch, margins: Margins, name: str, orientation: str | None
) -> tuple[Printer, list[Printed]]:
    if orientation is not None:
        printer = Printer(drawn, margins, paper(name, landscape=orientation == "landscape"))
        return printer, printer.sheets()
    upright = Printer(drawn, margins, paper(name, landscape=False))
    lying = Printer(drawn, margins, paper(name, landscape=True), upright.metrics)
    printer = lying if lying.on_one_sheet and not upright.on_one_sheet else upright
    return printer, printer.sheets()


def _on_plan(
    volume: Volume, route: Route | None
) -> tuple[dict[int, str], dict[tuple[int, int], int], str]:
    """Return a route by the numbers of today's tree, and a line on what is no longer there."""
    visits: dict[int, str] = {}
    walked: dict[tuple[int, int], int] = {}
    lost = 0
    for step, text in (route.steps if route else {}).items():
        if step in volume.plan.number:
            visits[volume.plan.number[step]] = text
        else:
            lost += 1
    for (step, given), count in (route.answers if route else {}).items():
        body = volume.tree.steps.get(step)  # type: ignore[call-overload]
        answers = [str(way.answer) for way in getattr(body, "exits", ())]
        if given in answers:
            walked[volume.plan.number[step], answers.index(given)] = count
        elif step in volume.plan.number:
            lost += 1
    return visits, walked, f"in today's tree {lost} of the case's steps are missing" if lost else ""


def _wall(shelf: Shelf, volume: Volume, options: argparse.Namespace, _: Route | None) -> Drawing:
    name = options.paper or "a3"
    ways = [options.orientation] if options.orientation else ["portrait", "landscape"]
    sheets = [paper(name, landscape=way == "landscape") for way in ways]
    sketches = [
        sketch(volume, shelf.library.cautions, shelf.precautions, wanted, _titles(shelf))
        for wanted in _BARER
    ]
    foot = f"{_NOTICE} {_printed(volume)}"
    chart = chart_of(sketches, shelf.library.cautions, shelf.precautions, shelf.card, foot)
    try:
        printed, metrics, which = on_one_sheet(chart, sheets)
    except TooLarge:
        larger = "--paper a2, or `draw` without --wall"
        raise opt.Unusable(
            f"{volume.tree.symptom} does not fit one {name} sheet in {SMALLEST:g} pt: use {larger}."
        ) from None
    left_out = "" if _BARER[which].actions else "what to do at each step is left out for room"
    return Drawing(
        symptom=str(volume.tree.symptom),
        dots=(printed.dot,),
        metrics=metrics,
        type_size=printed.type_size,
        paper=name,
        note=left_out,
    )


#: What a wall chart says where there is room, and what it leaves out first where there is not.
_BARER = (
    Wanted(apart=True),
    Wanted(apart=True, remedies=False),
    Wanted(apart=True, remedies=False, reasons=False),
    Wanted(apart=True, remedies=False, actions=False),
    Wanted(apart=True, remedies=False, actions=False, reasons=False),
)


def _titles(shelf: Shelf) -> Any:
    def title_of(symptom: str) -> str:
        tree = shelf.library.trees.get(symptom)
        return symptom if tree is None else str(tree.title)

    return title_of


def _under(volume: Volume, options: argparse.Namespace, more: tuple[str, ...]) -> str:
    said = [str(volume.tree.symptom), *more]
    if options.case:
        said.append(f"with the route of case {options.case.upper()}")
    if options.minutes:
        said.append(MEANING)
    return " · ".join(said)


def _printed(volume: Volume) -> str:
    return f"Content {volume.digest[:12]}, printed {date.today().isoformat()}."
