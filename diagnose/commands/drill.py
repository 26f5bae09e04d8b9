"""`diagnose drill`: a trainee at a faulty machine that the program plays; and the results."""

from __future__ import annotations

import argparse
import secrets
from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.case.screens import as_data
from diagnose.commands import options as opt
from diagnose.commands.danger import DangerMet, end_of
from diagnose.commands.intake import symptom_of
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import said
from diagnose.drill.drill import Drill
from diagnose.drill.machine import SEEDS, NoSuchMachine, drawn
from diagnose.drill.score import LEFT, PASSED
from diagnose.drill.screens import ScoreScreen
from diagnose.faces.drill_words import minutes
from diagnose.faces.drilling import drill_face
from diagnose.faces.face import Heading
from diagnose.log.drills import DrillRecord
from diagnose.paper.route import Route
from diagnose.study.order.study import order_study

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.drill.score import Score
    from diagnose.faces.face import Face
    from diagnose.files.card import Card
    from diagnose.study.ready import ReadyTree

#: A seed that nobody chose is short, so that it can be told and typed.
SHORT_SEEDS = 100_000


def run(args: Sequence[str]) -> int:
    """Run a drill, or list the results. Returns 0 only where the drill was passed, or listed."""
    parser = opt.parser("drill", "Practise on a faulty machine that the program plays.")
    opt.add_symptom(parser)
    parser.add_argument("--seed", type=_seed, metavar="N", help="the same number, the same drill")
    parser.add_argument("--slips", action="store_true", help="now and then an answer misleads")
    parser.add_argument("--name", default="", metavar="TRAINEE", help="who it is, for the scores")
    machine = "a machine card's id (none if left out)"
    opt.add_person(parser, machine, "what the trainee may do (operator where left out)")
    parser.add_argument(
        "--draw", metavar="FILE", help="draw the route that was taken, as `draw` does"
    )
    parser.add_argument("--scores", action="store_true", help="list the results so far")
    options = parser.parse_args(args)
    name = _tidy(options.name)
    if options.scores:
        return _scores(options, name)
    symptom: str | None = options.symptom
    library = ReadyLibrary(opt.trees_folder(options), frozenset({symptom}) if symptom else None)
    card = library.machine(options.machine)
    face = drill_face(plain=options.plain, json=options.json)
    if not symptom:
        symptom = _symptom(library, face)
    if symptom is None:
        return opt.OK
    ready = library.require(symptom)
    drawing = None
    if options.draw:
        # Drawing brings Graphviz along, which a drill without a picture has no use for.
        from diagnose.commands.draw import RouteDrawing

        drawing = RouteDrawing(symptom, options.draw)
    drill = _drill(library, ready, options)
    # Before the first screen, so that nobody drills for a log that cannot be used.
    log = opt.open_log(options)
    heading = Heading(title=ready.tree.title, machine=card.title if card else None)
    screen = _drilled(drill, face, heading)
    score = screen.score
    try:
        if score.outcome != LEFT:
            log.add_drill(_record(name, symptom, card, score))
    finally:
        # Whatever becomes of the log, the trainee is told how it went.
        face.show(screen, heading)
        _say(_again(symptom, score, options), options)
    if drawing is not None and score.route:
        under = f"drill {score.seed}: {score.outcome}"
        _say(f"The route: {drawing.draw(library, ready, _route(score), under).file}", options)
    return opt.OK if score.outcome == PASSED else opt.BAD_ANSWER


def _symptom(library: ReadyLibrary, face: Face) -> str | None:
    """Ask for a symptom; None where the trainee left. A real danger is no case of a drill."""
    try:
        return symptom_of(library, face, first=True).symptom
    except DangerMet as met:
        face.show(end_of(library, met), Heading())
        return None


def _drill(library: ReadyLibrary, ready: ReadyTree, options: argparse.Namespace) -> Drill:
    """Return the drill of the seed that was given, or of one that nobody chose."""
    seed = secrets.randbelow(SHORT_SEEDS) if options.seed is None else options.seed
    try:
        machine = drawn(ready, seed, slips=options.slips)
    except NoSuchMachine as error:
        card = library.content.file("machines", f"{options.machine}.yaml")
        why = f"no cause of {error} fits this machine card; drill without --machine."
        raise opt.Unusable(f"{card}: {why}") from error
    best = order_study(ready.tree, library.table).best.plan
    return Drill(machine, library.table, role=options.role, best=best)


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
        opt.say(line)


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
    """Return what the trainee looked at, in that order, and last the cause as it was named."""
    route = Route()
    for number, look in enumerate(score.route, 1):
        route.steps[look.step] = f"drill: {number}"
        route.answers[look.step, look.answer] = number
    if score.named is not None:
        route.steps[score.named.id] = "drill: named"
    return route


def _again(symptom: str, score: Score, options: argparse.Namespace) -> str:
    """Return the command that plays the same drill once more."""
    more = " --slips" if score.slips else ""
    more += f" --machine {options.machine}" if options.machine else ""
    return f"The same drill again: diagnose drill {symptom} --seed {score.seed}{more}"


def _scores(options: argparse.Namespace, name: str) -> int:
    log = opt.existing_log(options)
    drills = log.drills(name or None) if log is not None else []
    drills = [one for one in drills if not options.symptom or one.symptom == options.symptom]
    lines = [*map(_line, drills), *_sums(drills)]
    return opt.listed(options, as_data(drills), lines, "No drill yet.")


def _sums(drills: Sequence[DrillRecord]) -> Iterator[str]:
    """Yield a line for each trainee, who may have been written in capitals or not."""
    by_trainee: dict[str, list[DrillRecord]] = {}
    for drill in drills:
        by_trainee.setdefault(drill.trainee.casefold(), []).append(drill)
    for own in by_trainee.values():
        passed, unsafe = sum(one.passed for one in own), sum(one.unsafe for one in own)
        who = own[-1].trainee or "No name"
        yield f"{who}: {len(own)} drills, {passed} passed, {unsafe} unsafe moves."


def _line(drill: DrillRecord) -> str:
    used = minutes(drill.minutes)
    if drill.tree_minutes is not None:
        used += f" (tree {minutes(drill.tree_minutes)})"
    word = "passed" if drill.passed else "failed"
    seed = f"seed {drill.seed}{' with slips' if drill.slips else ''}"
    who = drill.trainee or "no name"
    return f"{drill.at[:10]}  {who}  {drill.symptom}  {word}  {used}  {drill.unsafe} unsafe  {seed}"


def _seed(text: str) -> int:
    # No sign, no spaces: Random takes -5 for 5.
    if not (text.isascii() and text.isdigit() and len(text) < 20 and int(text) < SEEDS):
        raise argparse.ArgumentTypeError(f"a seed is a whole number from 0 to {SEEDS - 1}")
    return int(text)


def _tidy(name: str) -> str:
    """Return a name as a log can hold it and a terminal show it."""
    return " ".join("".join(c if c.isprintable() else " " for c in name[:200]).split())
