"""`diagnose draw`: a symptom tree as one picture, as large as it must be."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.commands import drawings as pages
from diagnose.commands import options as opt
from diagnose.commands.drawings import Written
from diagnose.commands.progress import Progress
from diagnose.files.tree import Question
from diagnose.paper import render
from diagnose.paper.flowchart import LETTERS, SIZE, Extras, Flowchart
from diagnose.paper.letters import CannotRender, Typeface, typeface
from diagnose.paper.step_estimates import MEANING, estimate_lines
from diagnose.paper.typesetter import DPI
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Sequence

    from diagnose.commands.ready_library import ReadyLibrary
    from diagnose.paper.route import Route
    from diagnose.study.ready import ReadyTree

#: What a picture can be written as.
ENDINGS = (*pages.ENDINGS, "dot")


def run(args: Sequence[str]) -> int:
    """Draw one symptom, or all of them. Returns 0 once every file is written."""
    options = _options(args)
    library = pages.opened(options)
    routes = _routes(library, options) if options.case else {}
    if options.machine and not options.case:
        library.machine(options.machine)
    trees, broken = pages.openable(library, options.symptom, routes)
    with Progress(len(trees), plain=options.plain, silent=options.json) as progress:
        pictures = _pictures(library, trees, routes, options)
        pages.say(pictures, as_json=options.json, progress=progress)
    if broken:
        library.require(broken[0])
    return opt.OK


class RouteDrawing:
    """A route that somebody took through one tree, to be drawn into a file once it is known.

    Raises `WrongUse` at once where the file's ending is none that can be drawn.
    """

    def __init__(self, symptom: str, output: str) -> None:
        self._options = _options([symptom, "-o", output])

    def draw(self, library: ReadyLibrary, ready: ReadyTree, route: Route, under: str) -> Written:
        """Draw it, `under` standing below the title. Raises `Unusable`."""
        options = self._options
        try:
            picture = Picture(library, ready, options, route, under)
            return picture.write(Path(options.output), typeface(options.font))
        except CannotRender as error:
            raise opt.Unusable(f"{error}") from error


def _options(args: Sequence[str]) -> argparse.Namespace:
    parser = opt.parser("draw", "A symptom tree as one picture.")
    parser.add_argument("symptom", nargs="?", help="a symptom's id")
    parser.add_argument("--all", action="store_true", help="all symptoms, a file each")
    pages.add_output(parser, ENDINGS, "SYMPTOM.pdf")
    parser.add_argument("--from", dest="start", metavar="STEP", help="only what follows a step")
    parser.add_argument("--case", metavar="CASE", help="with the route that this case took")
    parser.add_argument("--minutes", action="store_true", help="with chances and minutes")
    parser.add_argument("--machine", metavar="ID", help="with the minutes of this machine's card")
    options = parser.parse_args(args)
    if options.all and (options.symptom or options.start or options.case):
        raise opt.WrongUse("--all draws whole trees: leave out the symptom, --from and --case.")
    if not any((options.all, options.symptom, options.case)):
        raise opt.WrongUse("Name a symptom to draw, or --all; `diagnose draw --help` explains.")
    options.ending = pages.ending_of(options.output, ENDINGS)
    return options


def _pictures(
    library: ReadyLibrary,
    trees: Sequence[ReadyTree],
    routes: dict[str, Route],
    options: argparse.Namespace,
) -> Iterator[Written]:
    """Yield each picture's file once it is written."""
    letters = typeface(options.font)
    for ready in trees:
        output = Path(options.output or f"{ready.symptom}.pdf")
        if options.output and len(trees) > 1:
            output = output.with_name(f"{output.stem}-{ready.symptom}{output.suffix}")
        picture = Picture(library, ready, options, routes.get(ready.symptom))
        yield picture.write(output, letters)


def _routes(library: ReadyLibrary, options: argparse.Namespace) -> dict[str, Route]:
    """Return the routes of a case by symptom, on the card and with the chances that it had."""
    from diagnose.commands.cases import case_named
    from diagnose.commands.resume import chances_again
    from diagnose.log.account import Account
    from diagnose.paper.route import routes_of

    log, case = case_named(options)
    account = Account(log.events(case))
    library.card = account.outset.machine_card
    library.chances = chances_again(account)
    routes = routes_of(account.events)
    if options.symptom not in (None, *routes):
        came = ", ".join(routes)
        raise opt.WrongUse(f"Case {options.case} did not come to {options.symptom}: {came}.")
    return routes


class Picture:
    """One tree to be drawn, with the route that somebody took; `more` stands below the title."""

    def __init__(
        self,
        library: ReadyLibrary,
        ready: ReadyTree,
        options: argparse.Namespace,
        route: Route | None,
        more: str = "",
    ) -> None:
        visits, walked, self.note = _on_plan(ready, route)
        case = f"with the route of case {options.case.upper()}" if options.case else ""
        said = [ready.symptom, case, more, MEANING if options.minutes else ""]
        extras = Extras(
            under=(" · ".join(filter(None, said)), pages.foot(ready)),
            start=_start(ready, options.start),
            last_lines=estimate_lines(ready, library.table) if options.minutes else {},
            visits=visits,
            walked=walked,
        )
        self.flowchart = Flowchart(ready, library.table, library.title, extras)
        self.title, self.symptom, self.ending = ready.title, ready.symptom, options.ending

    def write(self, output: Path, letters: Typeface) -> Written:
        """Write the picture. Raises `CannotRender`, `Unusable`."""
        dot = self.flowchart.dot()
        letters.check([dot])
        paper, size, note = None, None, self.note
        if self.ending == "dot":
            made = dot.encode()
        elif self.ending == "png":
            svg = self._svg(dot, letters)
            made = render.as_png(svg, self.title, self.flowchart.about(), letters)
            note = note or f"{DPI} dots an inch"
        elif self.ending == "svg":
            made = self._svg(dot, letters)
        else:
            made, paper, times = self._page(letters)
            size = round(SIZE * times, 2)
        (file,) = pages.put(output, [made])
        return Written(file=file, symptom=self.symptom, paper=paper, type_size=size, note=note)

    def _svg(self, dot: str, letters: Typeface) -> bytes:
        return render.as_svg(dot, self.title, self.flowchart.about(), letters)

    def _page(self, letters: Typeface) -> tuple[bytes, str, float]:
        """Return the picture on paper, its lines shortened where it would be too wide."""
        about = self.flowchart.about()
        for wide in LETTERS:
            svg = self._svg(self.flowchart.dot(wide), letters)
            try:
                return render.as_pdf(svg, self.title, about, letters)
            except render.TooLarge:
                if wide == LETTERS[-1]:
                    raise
        raise AssertionError


def _start(ready: ReadyTree, step: str | None) -> int | None:
    if step is not None and step not in ready.plan.number:
        hint = did_you_mean(step, ready.plan.ids)
        raise opt.WrongUse(f'There is no step "{step[:40]}" there.{hint}')
    return None if step is None else ready.plan.number[step]


def _on_plan(
    ready: ReadyTree, route: Route | None
) -> tuple[dict[int, str], dict[tuple[int, int], int], str]:
    """Return a route by the numbers of today's tree, and a line on what is no longer there."""
    if route is None:
        return {}, {}, ""
    number = ready.plan.number
    visits = {number[step]: route.words(step) for step in route.steps if step in number}
    given = {one: count for one, count in route.answers.items() if one[0] in number}
    walked = {}
    for (step, answer), count in given.items():
        body = ready.steps[number[step]]
        offered = [way.answer for way in body.exits] if isinstance(body, Question) else []
        if answer in offered:
            walked[number[step], offered.index(answer)] = count
    lost = len(route.steps) - len(visits) + len(given) - len(walked)
    return visits, walked, f"in today's tree {lost} of the case's steps are missing" if lost else ""
