"""`diagnose drill`: a trainee at a faulty machine that the program plays."""

from __future__ import annotations

import argparse
import secrets
from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.case.screens import as_data
from diagnose.commands import drawings as pages
from diagnose.commands import drill_scores
from diagnose.commands import options as opt
from diagnose.commands.danger import DangerMet, end_of
from diagnose.commands.intake import symptom_of
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import said
from diagnose.drill.drill import Drill
from diagnose.drill.machine import SEEDS, NoSuchMachine, drawn
from diagnose.drill.score import LEFT, PASSED
from diagnose.drill.screens import ScoreScreen
from diagnose.faces.drill_words import unsafe_in_general, verdict
from diagnose.faces.drilling import drill_face, tell
from diagnose.faces.face import Heading
from diagnose.log.drills import DrillRecord
from diagnose.paper.route import Route
from diagnose.study.order.study import order_study

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.commands.draw import RouteDrawing
    from diagnose.drill.score import Score
    from diagnose.faces.face import Face
    from diagnose.files.card import Card
    from diagnose.log.sqlite import SqliteLog
    from diagnose.study.ready import ReadyTree

#: A seed that nobody chose is short, so that it can be told and typed.
SHORT_SEEDS = 100_000


def _parser() -> argparse.ArgumentParser:
    parser = opt.parser("drill", "Practise on a faulty machine that the program plays.")
    opt.add_symptom(parser)
    parser.add_argument("--seed", type=_seed, metavar="N", help="the same number, the same drill")
    parser.add_argument("--slips", action="store_true", help="now and then an answer misleads")
    parser.add_argument("--teach", action="store_true", help="say at once what was unsafe")
    parser.add_argument("--name", default="", metavar="TRAINEE", help="who it is, for the scores")
    machine = "a machine card's id (none if left out)"
    opt.add_person(parser, machine, "what the trainee may do (operator where left out)")
    parser.add_argument(
        "--draw", metavar="FILE", help="draw the route that was taken, as `draw` does"
    )
    parser.add_argument("--scores", action="store_true", help="list the results so far")
    about = "with --scores: those of a day, a month or a year, such as 2026-11"
    parser.add_argument("--date", default="", metavar="DATE", help=about)
    parser.add_argument("--report", metavar="TRAINEE", help="a page on one trainee's drills")
    pages.add_output(parser, pages.ENDINGS, "TRAINEE-drills.pdf")
    return parser


def run(args: Sequence[str]) -> int:
    """Run a drill, or list the results. Returns 0 only where the drill was passed, or listed."""
    options = _parser().parse_args(args)
    name = tidy(options.name)
    if options.report is not None:
        return drill_scores.report(options)
    if options.scores:
        return drill_scores.listed(options, name)
    symptom: str | None = options.symptom
    library = ReadyLibrary(opt.trees_folder(options), frozenset({symptom}) if symptom else None)
    card = library.machine(options.machine)
    face = drill_face(plain=options.plain, json=options.json)
    if not symptom:
        symptom = _symptom(library, face)
    if symptom is None:
        return opt.OK
    ready = library.require(symptom)
    drawing = _drawing(symptom, options)
    # Before the first screen, so that nobody drills for a log that cannot be used.
    log = opt.open_log(options)
    seen = _seen(log, name, symptom)
    if options.seed is None:
        options.seed = _unseen(seen)
    drill = _drill(library, ready, options)
    heading = Heading(title=ready.tree.title, machine=card.title if card else None)
    screen = _drilled(drill, face, heading)
    score = screen.score
    try:
        try:
            if score.outcome != LEFT:
                log.add_drill(_record(name, symptom, card, score))
        finally:
            # Whatever becomes of the log, the trainee is told how it went.
            face.show(screen, heading)
            _say(_again(symptom, score, options, seen.count(score.seed)), options)
        if drawing is not None:
            _draw(drawing, library, ready, score, options)
    finally:
        # Last, so that it stays in sight however long the rest is.
        _say(verdict(score), options)
    return opt.OK if score.outcome == PASSED else opt.BAD_ANSWER


def _drawing(symptom: str, options: argparse.Namespace) -> RouteDrawing | None:
    """Return what draws the route, where that was asked for; its ending is looked at first."""
    if not options.draw:
        return None
    # Drawing brings Graphviz along, which a drill without a picture has no use for.
    from diagnose.commands.draw import RouteDrawing

    return RouteDrawing(symptom, options.draw)


def _draw(
    drawing: RouteDrawing,
    library: ReadyLibrary,
    ready: ReadyTree,
    score: Score,
    options: argparse.Namespace,
) -> None:
    """Draw the route into the tree, where there is any."""
    if score.route:
        under = f"drill {score.seed}: {score.outcome}"
        _say(f"The route: {drawing.draw(library, ready, _route(score), under).file}", options)


def _symptom(library: ReadyLibrary, face: Face) -> str | None:
    """Ask for a symptom; None where the trainee left. A real danger is no case of a drill."""
    try:
        return symptom_of(library, face, first=True).symptom
    except DangerMet as met:
        face.show(end_of(library, met), Heading())
        return None


def _drill(library: ReadyLibrary, ready: ReadyTree, options: argparse.Namespace) -> Drill:
    """Return the drill of the seed that was given."""
    try:
        machine = drawn(ready, options.seed, slips=options.slips)
    except NoSuchMachine as error:
        card = library.content.file("machines", f"{options.machine}.yaml")
        why = f"no cause of {error} fits this machine card; drill without --machine."
        raise opt.Unusable(f"{card}: {why}") from error
    best = order_study(ready.tree, library.table).best.plan
    return Drill(machine, library.table, role=options.role, best=best, teach=options.teach)


def _seen(log: SqliteLog, name: str, symptom: str) -> list[int]:
    """Return the seeds of a symptom that a trainee has had; none where nobody gave a name."""
    earlier = log.drills(name) if name else []
    return [one.seed for one in earlier if one.symptom == symptom]


def _unseen(seen: Sequence[int]) -> int:
    """Return a seed by chance that is none of those that this trainee has had."""
    while (seed := secrets.randbelow(SHORT_SEEDS)) in seen:
        pass
    return seed


def _record(name: str, symptom: str, card: Card | None, score: Score) -> DrillRecord:
    return DrillRecord(
        trainee=name,
        symptom=symptom,
        machine=card.machine if card else None,
        seed=score.seed,
        slips=score.slips,
        passed=score.outcome == PASSED,
        body=as_data(score),
    )


def _say(line: str, options: argparse.Namespace) -> None:
    """Say a line to a person; a program has read all from the screens."""
    if not options.json:
        tell(line.split("\n"))


def _drilled(drill: Drill, face: Face, heading: Heading) -> ScoreScreen:
    """Run a drill to its end at a face and return its last screen, which is not shown yet."""
    position, above = drill.start(), replace(heading, first=True)
    while True:
        screen = drill.screen(position)
        if isinstance(screen, ScoreScreen):
            return screen
        turn = drill.reply(position, said(face, screen, above))
        above = heading
        for interlude in turn.interludes:
            face.show(interlude, heading)
        position = turn.position


def _route(score: Score) -> Route:
    """Return what the trainee looked at, in that order, last the cause as it was named.

    What was unsafe stands at its step.
    """
    route = Route()
    for number, look in enumerate(score.route, 1):
        route.steps[look.step] = f"drill: {number}"
        route.answers[look.step, look.answer] = number
    if score.named is not None:
        route.steps[score.named.id] = "drill: named"
    for move in score.unsafe:
        route.steps.setdefault(move.step, "drill")
        route.said.setdefault(move.step, []).append(f"unsafe: {unsafe_in_general(move)}")
    return route


def _again(symptom: str, score: Score, options: argparse.Namespace, before: int) -> str:
    """Return the command that plays the same drill once more, and which try of it this was."""
    more = " --slips" if score.slips else ""
    more += f" --machine {options.machine}" if options.machine else ""
    repeat = f"A repeat: this was try {before + 1} of this machine.\n" if before else ""
    again = f"diagnose drill {symptom} --seed {score.seed}{more}"
    return f"{repeat}The same drill again:\n{again}"


def _seed(text: str) -> int:
    # No sign, no spaces: Random takes -5 for 5.
    if not (text.isascii() and text.isdigit() and len(text) < 20 and int(text) < SEEDS):
        raise argparse.ArgumentTypeError(f"a seed is a whole number from 0 to {SEEDS - 1}")
    return int(text)


def tidy(name: str) -> str:
    """Return a name as a log can hold it and a terminal show it."""
    return " ".join("".join(c if c.isprintable() else " " for c in name[:200]).split())
