"""`diagnose drill`: a trainee at a faulty machine that the program plays; and the results."""

from __future__ import annotations

import argparse
import json
import secrets
from typing import TYPE_CHECKING

from diagnose.case.screens import as_data
from diagnose.commands import options as opt
from diagnose.commands.intake import choose, symptoms
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.drill.drill import Drill
from diagnose.drill.machine import SEEDS, NoSuchMachine, drawn
from diagnose.drill.score import LEFT, PASSED
from diagnose.drill.screens import ScoreScreen
from diagnose.faces.drill_words import minutes
from diagnose.faces.drilling import drill_face
from diagnose.faces.face import Heading
from diagnose.files import replies
from diagnose.files.tree import ROLES
from diagnose.log.drills import DrillRecord
from diagnose.paper.route import Route
from diagnose.study.order.study import order_study

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.commands.draw import RouteDrawing
    from diagnose.drill.score import Score
    from diagnose.faces.face import Face

#: A seed that nobody chose is short, so that it can be told and typed.
SHORT_SEEDS = 100_000


def run(args: Sequence[str]) -> int:
    """Run a drill, or list the results. Returns 0 only where the drill was passed, or listed."""
    parser = opt.parser("drill", "Practise on a faulty machine that the program plays.")
    parser.add_argument("symptom", nargs="?", help="a symptom's id; asked where left out")
    parser.add_argument("--seed", type=_seed, metavar="N", help="the same number, the same drill")
    parser.add_argument("--slips", action="store_true", help="now and then an answer misleads")
    parser.add_argument("--name", default="", metavar="TRAINEE", help="who it is, for the scores")
    parser.add_argument("--machine", metavar="ID", help="a machine card's id (none if left out)")
    parser.add_argument(
        "--as",
        dest="role",
        choices=ROLES,
        default="operator",
        help="what the trainee may do (operator where left out)",
    )
    parser.add_argument(
        "--draw", metavar="FILE", help="draw the route that was taken, as `draw` does"
    )
    parser.add_argument("--scores", action="store_true", help="list the results so far")
    options = parser.parse_args(args)
    name = _tidy(options.name)
    if options.scores:
        return _scores(options, name)
    wanted = frozenset({options.symptom}) if options.symptom else None
    library = ReadyLibrary(opt.trees_folder(options), wanted)
    library.machine(options.machine)
    face = drill_face(plain=options.plain, json=options.json)
    symptom = options.symptom or _asked(library, face)
    if symptom is None:
        return opt.OK
    ready = library.require(symptom)
    drawing = _drawing(symptom, options.draw) if options.draw else None
    seed = secrets.randbelow(SHORT_SEEDS) if options.seed is None else options.seed
    try:
        machine = drawn(ready, seed, slips=options.slips)
    except NoSuchMachine as error:
        raise opt.Unusable(
            f"{library.content.file('machines', f'{options.machine}.yaml')}: no cause of {symptom} "
            "fits this machine card; drill without --machine."
        ) from error
    best = order_study(ready.tree, library.table).best.plan
    drill = Drill(machine, library.table, role=options.role, best=best)
    # Before the first screen, so that nobody drills for a log that cannot be used.
    log = opt.open_log(options)
    title = str(library.card.title) if library.card else None
    screen = _drilled(drill, face, Heading(title=str(ready.tree.title), machine=title, first=True))
    score = screen.score
    heading = Heading(title=str(ready.tree.title), machine=title)
    try:
        if score.outcome != LEFT:
            log.add_drill(
                DrillRecord(
                    trainee=name,
                    symptom=symptom,
                    machine=str(library.card.machine) if library.card else None,
                    seed=seed,
                    slips=options.slips,
                    passed=score.outcome == PASSED,
                    body=as_data(score),
                )
            )
    finally:
        # Whatever becomes of the log, the trainee is told how it went.
        face.show(screen, heading)
        if not options.json:
            opt.say(_again(symptom, score, options))
    if drawing is not None and score.route:
        written = drawing.draw(library, ready, _route(score), f"drill {seed}: {score.outcome}")
        if not options.json:
            opt.say(f"The route: {written.file}")
    return opt.OK if score.outcome == PASSED else opt.BAD_ANSWER


def _drilled(drill: Drill, face: Face, heading: Heading) -> ScoreScreen:
    """Run a drill to its end at a face and return its last screen, which is not shown yet."""
    position = drill.start()
    while True:
        screen = drill.screen(position)
        if isinstance(screen, ScoreScreen):
            return screen
        try:
            text = face.ask(screen, heading)
        except KeyboardInterrupt:
            text = None
        turn = drill.reply(position, replies.LEAVE if text is None else text)
        heading = Heading(title=heading.title, machine=heading.machine)
        for interlude in turn.interludes:
            face.show(interlude, heading)
        position = turn.position


def _asked(library: ReadyLibrary, face: Face) -> str | None:
    """Return the symptom that was chosen; None where the person left."""
    if not library.content.symptoms:
        raise opt.Unusable(f"{library.folder}: no symptom tree there; name a library with --trees.")
    return choose(face, *symptoms(library, []), first=True)


def _drawing(symptom: str, output: str) -> RouteDrawing:
    # Drawing brings Graphviz along, which a drill without a picture has no use for.
    from diagnose.commands.draw import RouteDrawing

    return RouteDrawing(symptom, output)


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
    if options.symptom:
        drills = [drill for drill in drills if drill.symptom == options.symptom]
    if options.json:
        opt.say(json.dumps([as_data(drill) for drill in drills]))
        return opt.OK
    if not drills:
        opt.say("No drill yet.")
    for drill in drills:
        opt.say(_line(drill))
    for trainee in {drill.trainee.casefold(): drill.trainee for drill in drills}.values():
        own = [drill for drill in drills if drill.trainee.casefold() == trainee.casefold()]
        passed = sum(drill.passed for drill in own)
        unsafe = sum(drill.unsafe for drill in own)
        who = trainee or "No name"
        opt.say(f"{who}: {len(own)} drills, {passed} passed, {unsafe} unsafe moves.")
    return opt.OK


def _line(drill: DrillRecord) -> str:
    used = minutes(drill.minutes)
    if drill.tree_minutes is not None:
        used += f" (tree {minutes(drill.tree_minutes)})"
    word = "passed" if drill.passed else "failed"
    seed = f"seed {drill.seed}{' with slips' if drill.slips else ''}"
    unsafe = f"{drill.unsafe} unsafe"
    who = drill.trainee or "no name"
    return f"{drill.at[:10]}  {who}  {drill.symptom}  {word}  {used}  {unsafe}  {seed}"


def _seed(text: str) -> int:
    # No sign, no spaces: Random takes -5 for 5.
    if not (text.isascii() and text.isdigit() and len(text) < 20 and int(text) < SEEDS):
        raise argparse.ArgumentTypeError(f"a seed is a whole number from 0 to {SEEDS - 1}")
    return int(text)


def _tidy(name: str) -> str:
    """Return a name as a log can hold it and a terminal show it."""
    printed = "".join(c if c.isprintable() else " " for c in name[:200])
    return " ".join(printed.split())
