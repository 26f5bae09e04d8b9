"""What a screen says to a person and in which order, before a face draws or speaks it."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING, Final, TypeAlias

from msgspec import Struct

from diagnose.case.choosing import numbered
from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    ChooseScreen,
    DangerScreen,
    EndScreen,
    FigureScreen,
    FindingScreen,
    ItemScreen,
    ReadingScreen,
    RefusedScreen,
    StateScreen,
    WhyScreen,
)
from diagnose.faces.words import (
    CHOICES,
    DANGER,
    DANGERS,
    NOTICE,
    OUTCOMES,
    RELEASE_MEANS,
    STATE_ASKS,
    STOP,
    line_words,
    render,
    sign_words,
)
from diagnose.files import replies
from diagnose.log.clock import local
from diagnose.measure.wording import about, expected_range, percent, verdict
from diagnose.text import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from diagnose.case.screens import CardLine, Cause, Guard, Machine, Screen
    from diagnose.faces.face import Heading

#: How many causes a ranking names to a person.
MOST: Final = 3


class Element(Struct, frozen=True):
    """One paragraph or list item, free of control characters.

    `kind` tells its part, `number` its place where it is one of a list. Kinds: notice, note,
    refused, signal, title (what this screen is), text, aside (good to know), ask (the question),
    answer, option (one to be named, without a number), field (something to type), confirm (a line
    that is ticked), heading (of the lines that follow) and line.
    """

    kind: str
    text: str
    number: int | None = None


Elements: TypeAlias = "Iterator[Element]"


class Status(Struct, frozen=True):
    """What stands above a screen.

    `place` is the symptom in words, the machine and the case; `causes` says how many are open;
    `in_force` are the cautions' titles, None before there is a case. `told` is false where nothing
    is to stand above the screen.
    """

    place: tuple[str, ...]
    causes: str | None
    in_force: tuple[str, ...] | None
    told: bool = True


class StatusLine:
    """Gives each screen its status. Remembers how many causes were open last."""

    def __init__(self) -> None:
        self._last: tuple[str | None, int] | None = None

    def status(self, screen: Screen, heading: Heading) -> Status:
        """Return the status; a screen that counts no causes is told what the last one said."""
        case = f"case {heading.case}" if heading.case else None
        place = (heading.title, heading.machine, case)
        # Nothing is in force at a choice, unless a case was taken back to it.
        choosing = isinstance(screen, ChooseScreen) and not screen.in_force
        silent = choosing or isinstance(screen, StateScreen)
        titles = None if silent else tuple(_plain(one.title) for one in screen.in_force)
        # A danger stands alone and first.
        alone = isinstance(screen, DangerScreen)
        return Status(
            place=tuple(_plain(part) for part in place if part),
            causes=None if alone else self._causes(screen),
            in_force=titles,
            told=not alone,
        )

    def _causes(self, screen: Screen) -> str | None:
        if isinstance(screen, CheckScreen | ReadingScreen):
            self._last = (screen.symptom, screen.open)
            return causes_left(screen.open, screen.minutes_left)
        if self._last is None or self._last[0] != screen.symptom:
            return None
        return f"{_count(self._last[1])} open before this"


def causes_left(causes: int, minutes: float) -> str:
    """Return such as ``9 causes open, about 6 min``; the minutes only where there are any."""
    told = f"{_count(causes)} open"
    if causes and math.isfinite(minutes):
        told += f", about {max(1, round(minutes))} min"
    return told


def elements(screen: Screen, heading: Heading) -> list[Element]:
    """Return what a screen says, in order; its status and the replies are not in it."""
    told: list[Element] = []
    if heading.first:
        told += [Element("notice", NOTICE), Element("note", DANGER)]
    if screen.doorway is not None:
        told.append(Element("note", f"This led here: {screen.doorway}"))
    if isinstance(screen, EndScreen):
        told += _end(screen, heading)
    else:
        if not isinstance(screen, StateScreen):
            told += [Element("note", text) for text in _notes(screen)]
        told += _KINDS[type(screen)](screen)
    return [Element(one.kind, _plain(one.text), one.number) for one in told]


def _notes(screen: Screen) -> dict[str, None]:
    """Return the notes once each: two steps passed over for the same reason are one."""
    return dict.fromkeys(render(note) for note in screen.notes)


def _plain(text: str) -> str:
    # Nearly all texts are; asked here, it is one call less for each.
    return text if text.isprintable() else printable(text)


def _count(causes: int) -> str:
    return f"{causes} cause" if causes == 1 else f"{causes} causes"


def _choose(screen: ChooseScreen) -> Elements:
    yield Element("ask", CHOICES[screen.what])
    machines = screen.machines
    if machines:
        yield from _machines(machines, narrowed=replies.BACK in screen.replies)
    else:
        yield from _numbered("answer", [option.title for option in screen.options])


def _machines(machines: tuple[Machine, ...], *, narrowed: bool) -> Elements:
    """Say each machine by its title, with its id where that is another's too, and its state.

    Its serial stands there where that may be why it is in the list.
    """
    often = Counter(one.title for one in machines)
    with_number = numbered(machines)
    for number, one in enumerate(machines, start=1):
        more = [one.id] if often[one.title] > 1 else []
        more += [one.serial] if one.serial and (narrowed or not with_number) else []
        told = f"{one.title} ({', '.join(more)})" if more else one.title
        text = f"{told}: {one.state}" if one.state else told
        yield Element("answer", text, number) if with_number else Element("option", text)


def _danger(screen: DangerScreen) -> Elements:
    yield Element("signal", "DANGER")
    yield Element("title", STOP)
    for one in screen.call:
        yield Element("heading", f"Call {one.who}: {one.phone}.")
    yield Element("ask", "What is it?")
    yield from _numbered("answer", [DANGERS[answer] for answer in screen.answers])


def _state(screen: StateScreen) -> Elements:
    since = f" since {local(screen.since)}" if screen.since else ""
    yield Element("title", f"{screen.state.capitalize()}{since}")
    yield Element("text", f"{screen.why[:1].upper()}{screen.why[1:].rstrip('.')}.")
    yield Element("text", f"Case: {screen.case}.")
    if screen.tag is not None:
        yield Element("text", f"The tag is that of: {screen.tag}.")
    for one in screen.call:
        yield Element("text", f"Call {one.who}: {one.phone}.")
    for text in _notes(screen):
        yield Element("text", text)
    yield Element("aside", RELEASE_MEANS)
    yield Element("ask", STATE_ASKS[replies.GO_ON in screen.replies])


def _caution(screen: CautionScreen) -> Elements:
    several = len(screen.cautions) > 1
    yield Element("signal", screen.signal)
    line = 0
    for number, guard in enumerate(screen.cautions, start=1):
        yield from _guard(screen, guard, number if several else None)
        if not several:
            yield from _hazards_and_signs(screen)
        for text in guard.confirm:
            line += 1
            yield Element("confirm", text, line)
    if several:
        yield from _hazards_and_signs(screen)


def _guard(screen: CautionScreen, guard: Guard, number: int | None) -> Elements:
    taking = screen.phase == "take"
    yield Element("title", guard.title if taking else f"{guard.title} ends now", number)
    if not taking:
        yield Element("text", "The machine is about to run again.")
    elif guard.again:
        yield Element("text", "You have done this once in this case. It is due again.")
    else:
        yield Element("text", guard.text)


def _hazards_and_signs(screen: CautionScreen) -> Elements:
    """Say what the cautions of a screen are about; one that is taken again has said it before."""
    new = [guard for guard in screen.cautions if screen.phase == "take" and not guard.again]
    hazards = dict.fromkeys(hazard.title for guard in new for hazard in guard.hazards)
    if hazards:
        yield Element("aside", f"Hazard: {', '.join(hazards)}")
    signs = dict.fromkeys(sign for guard in new for sign in guard.signs)
    if signs:
        yield Element("aside", f"Signs: {', '.join(map(sign_words, signs))}")


def _check(screen: CheckScreen) -> Elements:
    yield from _task(screen)
    yield Element("ask", screen.ask)
    yield from _numbered("answer", [answer.title for answer in screen.answers])


def _reading(screen: ReadingScreen) -> Elements:
    yield from _task(screen)
    yield Element("ask", screen.title)
    for number, need in enumerate(screen.needs, start=1):
        unit = f", in {need.unit}" if need.unit else ""
        yield Element("field", f"{need.title}{unit}", number)


def _task(screen: CheckScreen | ReadingScreen) -> Elements:
    if screen.do:
        yield Element("text", screen.do)
    if screen.look_for:
        yield Element("aside", screen.look_for)
    if screen.tool:
        yield Element("aside", f"Take: {screen.tool}")
    yield from _from_card(screen.card)
    yield from _to_note(screen.note_down)


def _from_card(lines: tuple[CardLine, ...]) -> Elements:
    if lines:
        said = ". ".join(f"{line_words(one.line)} {one.value}".rstrip(".") for one in lines)
        yield Element("aside", f"Card: {said}")


def _to_note(what: str | None) -> Elements:
    if what:
        yield Element("aside", f"Note down: {what}")


def _figure(screen: FigureScreen) -> Elements:
    known = about(screen.value, screen.unit, screen.good_to)
    lies = verdict(screen.value, screen.expected, screen.good_to)
    yield Element("title", f"{', '.join(filter(None, (known, lies)))}: {screen.band}")
    if screen.expected is not None:
        yield Element("text", f"Expected: {expected_range(screen.expected, screen.unit)}")
        yield Element("aside", f"Source: {screen.expected.source}")
    if screen.workings:
        yield Element("heading", "Worked out so:")
        yield from _numbered("line", screen.workings)


def _finding(screen: FindingScreen) -> Elements:
    if not screen.checked:
        # Nobody is asked to look at what only service may touch.
        look = ": look first" if replies.NOT_IT in screen.replies else ""
        yield Element("note", f"Not checked yet{look}.")
    yield Element("title", screen.finding)
    likely = f"{percent(screen.probability)} likely"
    if screen.who == "service":
        yield Element("text", f"For licensed service. {likely}.")
    else:
        person = "For battery-trained people. " if screen.who == "battery-trained" else ""
        yield Element("aside", f"{person}{likely}, about {screen.minutes:g} min to put right.")
    if screen.leave_safe:
        yield Element("text", f"Leave it so: {screen.leave_safe}")
    yield from _likelier(screen)
    if screen.remedy:
        yield Element("text", screen.remedy)
    yield from _from_card(screen.card)
    if screen.parts:
        yield Element("aside", f"Parts: {', '.join(screen.parts)}")
    if screen.until_mended:
        yield Element("text", f"Until it is mended: {screen.until_mended.rstrip('.')}.")
    if screen.before_trying:
        yield Element("heading", "Before the machine runs again:")
        yield from _numbered("line", screen.before_trying)
    if screen.who == "service":
        refer = _refer_first(screen)
        now, later = "Refer it now, or keep looking?", "Keep looking first, or refer it now?"
        yield Element("ask", now if refer else later)
    else:
        yield Element("ask", "Then try the machine out. Is it fixed?")


def _likelier(screen: FindingScreen) -> Elements:
    head = "Likelier, and still open:"
    if screen.who == "service":
        head = "Still open here:" if _refer_first(screen) else "Look for these first:"
    yield from _ranked(head, screen.likelier)


def _refer_first(screen: FindingScreen) -> bool:
    return screen.replies[:1] == (replies.REFER,)


def _item(screen: ItemScreen) -> Elements:
    yield Element("aside", f"Item {screen.number} of {screen.total}")
    yield Element("ask", screen.do)
    if screen.look_for:
        yield Element("aside", screen.look_for)
    yield from _from_card(screen.card)
    yield from _to_note(screen.note_down)


def _why(screen: WhyScreen) -> Elements:
    for piece in screen.text:
        yield Element("text", render(piece))
    yield from _ranked("The likeliest causes now:", screen.ranking)


def _refused(screen: RefusedScreen) -> Elements:
    yield Element("refused", render(screen.message))


def _end(screen: EndScreen, heading: Heading) -> Elements:
    # Without a case, nothing is left open.
    left = screen.outcome == "left" and not heading.case
    outcome = "Left." if left else OUTCOMES.get(screen.outcome, screen.outcome)
    yield Element("title", f"Case {heading.case}: {outcome}" if heading.case else outcome)
    if screen.in_force:
        titles = ", ".join(caution.title for caution in screen.in_force)
        yield Element("text", f"Still in force: {titles}")
    yield from _ranked("The likeliest causes:", screen.ranking)
    for text in _notes(screen):
        yield Element("text", text)


def _ranked(head: str, ranking: tuple[Cause, ...]) -> Elements:
    if ranking:
        yield Element("heading", head)
    shown = [f"{percent(cause.probability)}: {cause.finding}" for cause in ranking[:MOST]]
    yield from _numbered("line", shown)


def _numbered(kind: str, texts: tuple[str, ...] | list[str]) -> Elements:
    for number, text in enumerate(texts, start=1):
        yield Element(kind, text, number)


_KINDS: Final[dict[type, Callable[..., Elements]]] = {
    ChooseScreen: _choose,
    DangerScreen: _danger,
    StateScreen: _state,
    CautionScreen: _caution,
    CheckScreen: _check,
    ReadingScreen: _reading,
    FigureScreen: _figure,
    FindingScreen: _finding,
    ItemScreen: _item,
    WhyScreen: _why,
    RefusedScreen: _refused,
}
