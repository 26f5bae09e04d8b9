"""A drill in words: what people read of its screens, and the sheet at its end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.drill.score import ELSEWHERE, FAILED, LEFT, NOT_ENDED, NOT_IN_FORCE, NOT_YOURS, PASSED
from diagnose.measure.wording import with_unit

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.drill.score import Look, Score, UnsafeMove
    from diagnose.drill.screens import Option

#: Stands above a drill's first screen.
INTRO: Final = (
    "This is a drill: the program plays a faulty machine. Say before each check what you put in"
    " force. At a real machine do nothing that is asked here."
)

#: Who may do a check, or put something right.
HANDS: Final = {
    "operator": "The operator",
    "battery-trained": "People trained for batteries",
    "service": "Licensed service",
    ELSEWHERE: "Nobody yet: it goes on as another symptom",
}

OUTCOMES: Final = {PASSED: "Drill passed.", FAILED: "Drill failed.", LEFT: "Drill left."}

_STATES: Final = {"take": "you take it", "in force": "in force", "end": "you end it"}

_UNSAFE: Final = {
    NOT_IN_FORCE: '"{caution}" was not in force: {title}',
    NOT_ENDED: 'It ran while "{caution}" had not been ended: {title}',
    NOT_YOURS: "Not yours, but for {whose}: {title}",
}

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
    title = look.title if look.title[-1] in ".?!" else f"{look.title}."
    return f"{title}{read} You see: {answer(look)}. It took {spent(look)}."


def answer(look: Look) -> str:
    """Return what a check gave: the answer, for a reading its figure too."""
    said = look.answer.rstrip(".")
    return said if look.value is None else f"{with_unit(look.value, look.unit)}, {said}"


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
    if score.cause is not None and score.named is not None:
        yield f"The cause: {score.cause.title}"
        right = score.cause.id == score.named.id
        yield "You named it." if right else f"You named: {score.named.title}"
        yield f"Whose work it is: {_WHOSE[score.whose]}. You said: {_WHOSE[score.hands]}."
    used = f"Minutes: {minutes(score.minutes)} used"
    if score.tree_minutes is not None:
        used += f"; {minutes(score.tree_minutes)} on the tree's own route"
    if score.best_minutes is not None:
        used += f"; {minutes(score.best_minutes)} in the best order"
    yield f"{used}."
    yield from _listed("Unsafe moves", [unsafe(move) for move in score.unsafe])
    wrong = [
        f"To {_WHOSE[one.to]}; it is for {_WHOSE[one.whose]}: {one.title}"
        for one in score.wrong_referrals
    ]
    yield from _listed("Wrong referrals", wrong)
    yield from _route("Your route", score.route)
    if score.tree_route:
        yield from _route("The tree's own route", score.tree_route)


def unsafe(move: UnsafeMove) -> str:
    """Return an unsafe move by name."""
    caution = move.caution.title if move.caution else ""
    whose = _WHOSE.get(move.whose, "")
    return _UNSAFE[move.kind].format(caution=caution, whose=whose, title=move.title)


def _listed(head: str, lines: list[str]) -> Iterator[str]:
    yield f"{head}: {len(lines) or 'none'}."
    for number, line in enumerate(lines, start=1):
        yield f"{number:3}. {line}"


def _route(head: str, route: tuple[Look, ...]) -> Iterator[str]:
    """Yield a route from top to bottom, with the clock at its side."""
    yield f"{head}:"
    clock = 0.0
    for look in route:
        yield f"{minutes(clock):>8}  {look.title}"
        yield f"{'':8}  -> {answer(look)}"
        clock += look.minutes
    yield f"{minutes(clock):>8}  End."
