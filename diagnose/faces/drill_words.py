"""A drill in words: what people read of its screens, and the sheet at its end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.drill.score import ELSEWHERE, FAILED, LEFT, NOT_ENDED, NOT_IN_FORCE, NOT_YOURS, PASSED
from diagnose.measure.wording import about

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.drill.score import Look, Score, UnsafeMove
    from diagnose.drill.screens import Option

#: Stands above a drill's first screen.
INTRO: Final = "A drill: the program plays the machine. Do nothing of it at a real one."

#: Stands where a drill ended; what it came to follows.
OVER: Final = "The drill is over."

#: Who may do a check, or put something right.
HANDS: Final = {
    "operator": "The operator",
    "battery-trained": "People trained for batteries",
    "service": "Licensed service",
    ELSEWHERE: "Nobody yet: it goes on as another symptom",
}

_OUTCOMES: Final = {PASSED: "Drill passed", FAILED: "Drill failed", LEFT: "Drill left"}

_STATES: Final = {"take": "you take it", "in force": "in force", "end": "you end it"}

_UNSAFE: Final = {
    NOT_IN_FORCE: '"{caution}" was not in force',
    NOT_ENDED: 'It ran while "{caution}" had not been ended',
    NOT_YOURS: "Not yours, but for {whose}",
}

#: What each hazard of the built-in library can come to; of another one its title is told.
_COULD_HAPPEN: Final = {
    "startup": "The machine could have started beside you.",
    "moving-machine": "The machine could have hit somebody.",
    "wet-floor": "Somebody could have slipped.",
    "dirty-water": "Dirty water could have got into a cut or into your eyes.",
    "chemicals": "The product could have burned skin or eyes.",
    "sharps": "An edge could have cut you.",
    "pinch": "Fingers could have been caught.",
    "hot-parts": "A hot part could have burned you.",
    "hot-water": "Hot water could have scalded you.",
    "raised-load": "The raised part could have dropped on you.",
    "brush-drive": "The brushes could have turned and pulled a hand in.",
    "squeegee": "The squeegee could have moved and caught a hand.",
    "battery-gas": "Battery gas could have exploded.",
    "acid": "Acid could have hit your eyes.",
    "battery-short": "A short could have burned your hands.",
    "mains": "Mains could have killed you.",
    "battery-inside": "The battery could have burst or burned.",
    "electrical": "The wiring could have burned or shocked you.",
    "lift": "The lift could have crushed a hand.",
    "brakes-steering": "The brakes or the steering could have failed.",
}

#: What can happen where a step has no hazard of its own to tell of.
_COULD_START: Final = "It could have started while somebody was still at it."
_COULD_HURT: Final = "Whoever was not taught this can be hurt by it."

_WHOSE: Final = {
    **{role: people[0].lower() + people[1:] for role, people in HANDS.items()},
    ELSEWHERE: "nobody yet, since another symptom goes on with it",
}


def guard_title(option: Option) -> str:
    """Return a caution with what becomes of it, such as ``Key out: in force``."""
    return f"{option.title}: {_STATES[option.state]}" if option.state else option.title


def hands_title(option: Option) -> str:
    """Return one who may do a check instead, marked where chosen."""
    does = "does" if option.id == "service" else "do"
    return f"{HANDS[option.id]} {does} this check{': chosen' if option.state else ''}"


def seen(look: Look) -> str:
    """Return what a check gave, and what a figure was read from, in one line."""
    read = f" You read: {', '.join(one.title for one in look.inputs)}." if look.inputs else ""
    return f"{ended(look.title)}{read} You see: {answer(look)}. It took {spent(look)}."


def answer(look: Look) -> str:
    """Return what a check gave: the answer, for a reading its figure too."""
    said = look.answer.rstrip(".")
    return said if look.value is None else f"{about(look.value, look.unit, look.good_to)}, {said}"


def spent(look: Look) -> str:
    """Return the minutes of a check and those of its cautions."""
    if not look.caution_minutes:
        return minutes(look.minutes)
    return f"{minutes(look.minutes)}, of them {minutes(look.caution_minutes)} for cautions"


def minutes(figure: float) -> str:
    """Return minutes to a tenth."""
    return f"{round(figure, 1):g} min"


def sheet(score: Score) -> Iterator[str]:
    """Yield the lines that tell how a drill went."""
    yield from _route("Your route", score.route)
    if score.tree_route:
        yield from _route("What the tree would have done", score.tree_route)
    if score.cause is not None and score.named is not None:
        yield f"The cause: {score.cause.title}"
        right = score.cause.id == score.named.id
        yield "You named it." if right else f"You named: {score.named.title}"
        yield f"Whose work it is: {_WHOSE[score.whose]}. You said: {_WHOSE[score.hands]}."
    if score.not_parted is not None:
        yield f"Nothing that you saw parts your cause from this one: {score.not_parted.title}"
    used = f"Minutes: {minutes(score.minutes)} used"
    if score.tree_minutes is not None:
        used += f"; {minutes(score.tree_minutes)} on the tree's own route"
    if score.best_minutes is not None:
        used += f"; {minutes(score.best_minutes)} in the best order"
    yield f"{used}."
    yield from _listed("Slow checks", [slow(look) for look in score.slow])
    yield from _listed("Unsafe moves", [unsafe(move) for move in score.unsafe])
    wrong = [
        f"To {_WHOSE[one.to]}; it is for {_WHOSE[one.whose]}: {one.title}"
        for one in score.wrong_referrals
    ]
    yield from _listed("Wrong referrals", wrong)


def verdict(score: Score) -> str:
    """Return the one line that says what a drill came to, and why it was not passed."""
    why = []
    if score.outcome == FAILED:
        if score.unsafe:
            why.append(counted(len(score.unsafe), "unsafe move"))
        if score.cause is not None and score.cause != score.named:
            why.append("not the cause")
        elif score.not_parted is not None:
            why.append("the cause was a guess")
        if score.wrong_referrals:
            why.append(counted(len(score.wrong_referrals), "wrong referral"))
    return f"{_OUTCOMES[score.outcome]}{': ' if why else ''}{', '.join(why)}."


def counted(number: int, what: str) -> str:
    """Return a number of things, such as ``2 drills``."""
    return f"{number} {what}{'' if number == 1 else 's'}"


def slow(look: Look) -> str:
    """Return what was slow about a check."""
    return f"{ended(look.title)} {minutes(look.minutes)}. It told nothing of what was still open."


def at_once(move: UnsafeMove) -> str:
    """Return an unsafe move as it is told at once."""
    return f"Unsafe. {unsafe(move)}"


def ended(title: str) -> str:
    """Return words as a sentence that ends."""
    return title if title.endswith((".", "?", "!")) else f"{title}."


def unsafe(move: UnsafeMove) -> str:
    """Return an unsafe move by name, and what could have happened."""
    said = f"{unsafe_in_general(move)}: {move.title}"
    return f"{ended(said)} {could_happen(move)}"


def unsafe_in_general(move: UnsafeMove) -> str:
    """Return what was unsafe, whatever the step."""
    caution = move.caution.title if move.caution else ""
    return _UNSAFE[move.kind].format(caution=caution, whose=_WHOSE.get(move.whose, ""))


def could_happen(move: UnsafeMove) -> str:
    """Return what could have happened."""
    if move.kind == NOT_ENDED:
        return _COULD_START
    happens = [_COULD_HAPPEN.get(one.id, ended(one.title)) for one in move.hazards]
    return " ".join(happens or [_COULD_HURT])


def _listed(head: str, lines: list[str]) -> Iterator[str]:
    yield f"{head}: {len(lines) or 'none'}."
    for number, line in enumerate(lines, start=1):
        yield f"{number:3}. {line}"


def _route(head: str, route: tuple[Look, ...]) -> Iterator[str]:
    """Yield a route from top to bottom, with the clock at its side."""
    yield f"{head}:"
    clock = 0.0
    for look in route:
        taken = ", ".join(one.title for one in look.cautions)
        yield f"{minutes(clock):>8}  {look.title}{f' [{taken}]' if taken else ''}"
        yield f"{'':8}  -> {answer(look)}"
        clock += look.minutes
    yield f"{minutes(clock):>8}  End."
