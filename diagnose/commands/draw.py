"""`diagnose draw`: a symptom tree as a diagram or a wall chart, on paper or for the screen."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.commands import options as opt
from diagnose.commands.drawings import ENDINGS, Drawing, Written, said, write
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.tree import Question
from diagnose.paper import render
from diagnose.paper.flowchart import FlowchartBuilder
from diagnose.paper.flowchart_text import FlowchartText, TextOptions, flowchart_text
from diagnose.paper.pagination import HeadAndFoot, Paginator
from diagnose.paper.sheet import PAPERS, SMALLEST, Sheet, paper
from diagnose.paper.step_estimates import MEANING, estimate_lines
from diagnose.paper.wall import chart_of
from diagnose.paper.wall_sheet import TooLarge, on_one_sheet
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Iterator, Sequence

    from diagnose.files.tree import Step
    from diagnose.paper.route import Route
    from diagnose.paper.wrap import FontMetrics
    from diagnose.study.ready import ReadyTree

_NOTICE = "Site rules, the machine's own manual and licensed practice come first."


def run(args: Sequence[str]) -> int:
    """Draw one symptom, or all of them. Returns 0 once every file is written."""
    options = _options(args)
    library = ReadyLibrary(opt.trees_folder(options))
    try:
        drawings, broken = _drawings(library, options)
        if drawings:
            stem = drawings[0].symptom if len(drawings) == 1 else "all-symptoms"
            output = Path(options.output or f"{stem}{'-wall' if options.wall else ''}.pdf")
            said(write(drawings, output, options.ending), as_json=options.json)
    except render.CannotRender as error:
        raise opt.Unusable(f"{error}") from error
    if broken:
        library.require(broken[0])
    return opt.OK


class RouteDrawing:
    """A route that somebody took through one tree, to be drawn into a file once it is known.

    Raises `WrongUse` at once where the file's ending is none that can be drawn.
    """

    def __init__(self, symptom: str, output: str) -> None:
        self._options = _options([symptom, "-o", output])

    def draw(
        self, library: ReadyLibrary, ready: ReadyTree, route: Route, under: str
    ) -> list[Written]:
        """Draw it, `under` standing below the title. Raises `Unusable`."""
        options = self._options
        try:
            drawing = _diagram(library, ready, options, route, (under,))
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
    options.ending = Path(options.output or "x.pdf").suffix.lower().removeprefix(".")
    for wrong, message in _misuses(options):
        if wrong:
            raise opt.WrongUse(message)
    return options


def _misuses(options: argparse.Namespace) -> Iterator[tuple[object, str]]:
    """Yield whether options do not go together, and what is said of it."""
    part = options.start or options.case
    yield (
        options.all and (options.symptom or part),
        "--all draws whole trees: leave out the symptom, --from and --case.",
    )
    yield (
        not any((options.all, options.symptom, options.case)),
        "Name a symptom to draw, or --all; `diagnose draw --help` explains.",
    )
    yield (
        options.wall and any((part, options.minutes, options.short)),
        "A wall chart shows the whole tree: leave out --from, --case and such.",
    )
    known = ", ".join(f".{one}" for one in ENDINGS)
    yield options.ending not in ENDINGS, f'"{options.output}" has to end in one of {known}.'
    yield (
        options.wall and options.ending == "dot",
        "A wall chart is a sheet: write .pdf, .svg or .png.",
    )


def _drawings(
    library: ReadyLibrary, options: argparse.Namespace
) -> tuple[list[Drawing], list[str]]:
    """Return what was drawn, and the symptoms whose files have errors."""
    symptoms, routes = _symptoms(library, options)
    draw = _wall if options.wall else _diagram
    result, broken = [], []
    for symptom in symptoms:
        if options.all and library(symptom) is None:
            broken.append(symptom)
        else:
            result.append(draw(library, library.require(symptom), options, routes.get(symptom)))
    if not result and not broken:
        raise opt.Unusable(f"{library.folder}: no symptom tree there; name a library with --trees.")
    return result, broken


def _symptoms(
    library: ReadyLibrary, options: argparse.Namespace
) -> tuple[Sequence[str], dict[str, Route]]:
    """Return the symptoms to draw, and the routes of the case to be drawn on them."""
    if options.case:
        routes = _routes(library, options)
        symptoms = [one for one in routes if options.symptom in (None, one)]
        if not symptoms:
            came = ", ".join(routes)
            raise opt.WrongUse(f"Case {options.case} did not come to {options.symptom}: {came}.")
        return symptoms, routes
    if options.machine:
        library.machine(options.machine)
    return [options.symptom] if options.symptom else [*library.content.symptoms], {}


def _routes(library: ReadyLibrary, options: argparse.Namespace) -> dict[str, Route]:
    from diagnose.commands.cases import case_named
    from diagnose.commands.resume import card_again, chances_again
    from diagnose.paper.route import routes_of

    log = opt.existing_log(options)
    case = case_named(log, options)
    assert log is not None
    bodies = [event.body for event in log.events(case)]
    library.card = card_again(bodies[0]["more"].get("card"))
    library.chances = chances_again(bodies)
    return routes_of(bodies)


def _diagram(
    library: ReadyLibrary,
    ready: ReadyTree,
    options: argparse.Namespace,
    route: Route | None,
    more: tuple[str, ...] = (),
) -> Drawing:
    plan = ready.plan
    start = None
    if options.start is not None:
        if options.start not in plan.number:
            hint = did_you_mean(options.start, plan.ids)
            raise opt.WrongUse(f'There is no step "{options.start[:40]}" there.{hint}')
        start = plan.number[options.start]
    visits, walked, lost = _on_plan(ready, route)
    wanted = TextOptions(
        actions=not options.short,
        remedies=not options.short,
        start=start,
        last_lines=estimate_lines(ready, library.table) if options.minutes else {},
        visits=visits,
        walked=walked,
    )
    text = flowchart_text(ready, library.content.cautions, library.table, wanted, _titles(library))
    if options.ending == "dot":
        metrics = render.measure(text.texts())
        whole = FlowchartBuilder(text, metrics).flowchart(text.reached(), text.start)
        return Drawing(
            symptom=text.symptom, dots=(render.dot_text(whole),), metrics=metrics, note=lost
        )
    name = options.paper or "a4"
    around = HeadAndFoot(
        title=text.title,
        under=_under(ready, options, more),
        foot=(f"{_NOTICE} {_printed(ready)}",),
    )
    metrics, sheets = _paginated(text, around, name, options.orientation)
    return Drawing(
        symptom=text.symptom,
        dots=tuple(sheet.dot for sheet in sheets),
        metrics=metrics,
        type_size=min(sheet.type_size for sheet in sheets),
        paper=name,
        note=lost,
    )


def _paginated(
    text: FlowchartText, around: HeadAndFoot, name: str, orientation: str | None
) -> tuple[FontMetrics, list[Sheet]]:
    """Return the sheets; where the orientation is free, landscape if that saves all but one."""
    taken = Paginator(text, around, paper(name, landscape=orientation == "landscape"))
    if orientation is None and not taken.fits_one_sheet:
        lying = Paginator(text, around, paper(name, landscape=True), taken.metrics)
        taken = lying if lying.fits_one_sheet else taken
    return taken.metrics, taken.sheets()


def _on_plan(
    ready: ReadyTree, route: Route | None
) -> tuple[dict[int, str], dict[tuple[int, int], int], str]:
    """Return a route by the numbers of today's tree, and a line on what is no longer there."""
    if route is None:
        return {}, {}, ""
    number = ready.plan.number
    visits = {number[step]: text for step, text in route.steps.items() if step in number}
    given = {one: count for one, count in route.answers.items() if one[0] in number}
    walked = {}
    for (step, answer), count in given.items():
        offered = _offered(ready.steps[number[step]])
        if answer in offered:
            walked[number[step], offered.index(answer)] = count
    lost = len(route.steps) - len(visits) + len(given) - len(walked)
    return visits, walked, f"in today's tree {lost} of the case's steps are missing" if lost else ""


def _offered(step: Step) -> list[str]:
    return [way.answer for way in step.exits] if isinstance(step, Question) else []


def _wall(
    library: ReadyLibrary, ready: ReadyTree, options: argparse.Namespace, _: Route | None
) -> Drawing:
    name = options.paper or "a3"
    ways = [options.orientation] if options.orientation else ["portrait", "landscape"]
    sheets = [paper(name, landscape=way == "landscape") for way in ways]
    cautions = library.content.cautions
    texts = [
        flowchart_text(ready, cautions, library.table, wanted, _titles(library))
        for wanted in _BARER
    ]
    foot = f"{_NOTICE} {_printed(ready)}"
    chart = chart_of(texts, cautions, library.table, library.card, foot)
    try:
        sheet, metrics, which = on_one_sheet(chart, sheets)
    except TooLarge:
        larger = "--paper a2, or `draw` without --wall"
        raise opt.Unusable(
            f"{ready.tree.symptom} does not fit one {name} sheet in {SMALLEST:g} pt: use {larger}."
        ) from None
    left_out = "" if _BARER[which].actions else "what to do at each step is left out for room"
    return Drawing(
        symptom=ready.tree.symptom,
        dots=(sheet.dot,),
        metrics=metrics,
        type_size=sheet.type_size,
        paper=name,
        note=left_out,
    )


#: What a wall chart says where there is room, and what it leaves out first where there is not.
_BARER = (
    TextOptions(apart=True),
    TextOptions(apart=True, remedies=False),
    TextOptions(apart=True, remedies=False, reasons=False),
    TextOptions(apart=True, remedies=False, actions=False),
    TextOptions(apart=True, remedies=False, actions=False, reasons=False),
)


def _titles(library: ReadyLibrary) -> Callable[[str], str]:
    def title_of(symptom: str) -> str:
        tree = library.content.trees.get(symptom)
        return symptom if tree is None else tree.title

    return title_of


def _under(ready: ReadyTree, options: argparse.Namespace, more: tuple[str, ...]) -> str:
    said = [ready.tree.symptom, *more]
    if options.case:
        said.append(f"with the route of case {options.case.upper()}")
    if options.minutes:
        said.append(MEANING)
    return " · ".join(said)


def _printed(ready: ReadyTree) -> str:
    return f"Content {ready.digest[:12]}, printed {date.today().isoformat()}."
