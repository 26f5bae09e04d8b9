"""`diagnose start`: a new case, from the choice of machine and symptom to its end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.choose import fitting
from diagnose.case.interpret import picked
from diagnose.case.screens import ChooseScreen, EndScreen, Named, RefusedScreen, said
from diagnose.case.walk import Walk
from diagnose.commands import options as opt
from diagnose.commands.kept import opened
from diagnose.commands.session import Record
from diagnose.commands.session import run as run_session
from diagnose.commands.shelf import Shelf
from diagnose.faces.choose import face_for
from diagnose.faces.face import Heading
from diagnose.files import replies
from diagnose.files.problems import did_you_mean, shortened
from diagnose.files.tree import ROLES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from diagnose.case.screens import Said
    from diagnose.faces.face import Face

_ASIDE = (replies.DANGER, replies.LEAVE)


def run(args: Sequence[str]) -> int:
    """Start a case. Returns 0 once it ended, however it did."""
    parser = opt.parser("start", "Find out what is wrong with a machine, step by step.")
    parser.add_argument("symptom", nargs="?", help="a symptom's id; asked where left out")
    parser.add_argument("--machine", metavar="ID", help='a machine card\'s id, or "none"')
    parser.add_argument(
        "--as",
        dest="role",
        choices=ROLES,
        default="operator",
        help="who stands at the machine (operator where left out)",
    )
    parser.add_argument("--trial", action="store_true", help="walk without a log")
    options = parser.parse_args(args)
    folder = opt.trees_folder(options)
    wanted = frozenset({options.symptom}) if options.symptom else None
    shelf = Shelf(folder, wanted)
    if options.symptom and options.symptom not in shelf.library.symptoms:
        shelf.require(options.symptom)
    shelf.machine(options.machine)
    face = face_for(plain=options.plain, json=options.json)
    first = True
    if options.machine is None and shelf.library.machines:
        machine = _choose(face, *_machines(shelf), first=first)
        if machine is None:
            return opt.OK
        shelf.machine(machine)
        first = False
    words = ""
    symptom = options.symptom
    if symptom is None:
        if not shelf.library.symptoms:
            raise opt.Unusable(f"{folder}: no symptom tree there; name a library with --trees.")
        spoken: list[str] = []
        symptom = _choose(face, *_symptoms(shelf, spoken), first=first)
        if symptom is None:
            return opt.OK
        words = spoken[-1] if spoken else ""
    shelf.require(symptom)
    walk = Walk(
        shelf, shelf.library.cautions, shelf.precautions, role=options.role, card=shelf.card
    )
    state, trail = walk.opened(symptom)
    record = None
    if not options.trial:
        log = opt.open_log(options)
        event = opened(walk, state, words, trail)
        case = log.open_case(symptom, str(shelf.card.machine) if shelf.card else None, event)
        record = Record(log, case, 2, set(state.entered))
    run_session(walk, state, face, record, str(shelf.card.title) if shelf.card else None)
    return opt.OK


def _choose(
    face: Face,
    screen: ChooseScreen,
    take: Callable[[ChooseScreen, str], str | ChooseScreen | Said],
    *,
    first: bool,
) -> str | None:
    """Ask until something is chosen; None where the person left, or met a danger."""
    heading = Heading(first=first)
    whole = screen
    while True:
        try:
            text = face.ask(screen, heading)
        except KeyboardInterrupt:
            text = None
        word = replies.LEAVE if text is None else " ".join(text[:400].casefold().split())
        heading = Heading()
        if word in _ASIDE:
            danger = word == replies.DANGER
            face.show(
                EndScreen(
                    outcome="referred" if danger else "left",
                    ranking=(),
                    notes=(said("end-danger"),) if danger else (),
                ),
                heading,
            )
            return None
        taken = take(screen, word)
        if isinstance(taken, str):
            return taken
        if isinstance(taken, ChooseScreen):
            screen = taken
            continue
        face.show(RefusedScreen(message=taken), heading)
        screen = whole


def _machines(shelf: Shelf) -> tuple[ChooseScreen, Any]:
    options = tuple(
        Named(str(name), str(card.title)) for name, card in shelf.library.machines.items()
    )
    screen = ChooseScreen(what="machine", options=options, replies=(replies.NONE, *_ASIDE))

    def take(screen: ChooseScreen, word: str) -> str | Said:
        if word == replies.NONE:
            return word
        found = picked(screen.options, word)
        if found is not None:
            return found
        names = [name for option in screen.options for name in (option.id, option.title)]
        hint = did_you_mean(word, names)
        return said("no-such-machine", typed=shortened(word), hint=hint)

    return screen, take


def _symptoms(shelf: Shelf, spoken: list[str]) -> tuple[ChooseScreen, Any]:
    trees = shelf.library.trees

    def screen_of(symptoms: Sequence[str], *notes: Said) -> ChooseScreen:
        options = tuple(
            Named(name, str(trees[name].title) if name in trees else name) for name in symptoms
        )
        return ChooseScreen(what="symptom", options=options, replies=_ASIDE, notes=notes)

    def take(screen: ChooseScreen, word: str) -> str | ChooseScreen | Said:
        found = picked(screen.options, word)
        if found is None and word in trees:
            found = word
        if found is None:
            spoken.append(word)
            several = fitting(trees, word)
            if len(several) > 1:
                return screen_of(several, said("several-fit", typed=shortened(word)))
            if not several:
                return said("no-such-symptom", typed=shortened(word))
            found = several[0]
        if shelf(found) is None:
            try:
                shelf.require(found)
            except opt.Unusable as error:
                return said("symptom-broken", message=f"{error}")
        return found

    return screen_of(shelf.library.symptoms), take
