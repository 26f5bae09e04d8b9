"""What a screen says to a person and in which order, before a face puts its marks on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    ChooseScreen,
    EndScreen,
    FigureScreen,
    FindingScreen,
    ItemScreen,
    ReadingScreen,
    RefusedScreen,
    WhyScreen,
)
from diagnose.faces.signs import sign_words
from diagnose.faces.words import DANGER, NOTICE, OUTCOMES, render
from diagnose.measure.wording import expected_range, percent, with_unit
from diagnose.text import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from diagnose.case.screens import Cause, Screen
    from diagnose.faces.face import Heading

#: How many causes a ranking names to a person.
MOST = 3


@dataclass(frozen=True, slots=True)
class Block:
    """One paragraph. `kind` tells its part, `number` its place where it is one of a list.

    Kinds: notice, note, signal, title (what this screen is), text, aside (good to know), ask (the
    question), answer, field (something to type), confirm (a line that is ticked), heading (of the
    lines that follow) and line.
    """

    kind: str
    text: str
    number: int | None = None


Blocks: TypeAlias = "Iterator[Block]"


def blocks(screen: Screen, heading: Heading) -> list[Block]:
    """Return what a screen says, in order; where the case stands and the replies are not in it."""
    said: list[Block] = []
    if heading.first:
        said.append(Block("notice", NOTICE))
        said.append(Block("note", DANGER))
    if screen.doorway is not None:
        said.append(Block("note", f"This led here: {screen.doorway}"))
    if isinstance(screen, EndScreen):
        said += _KINDS[type(screen)](screen, heading)
        return _printable(said)
    # Two steps passed over for the same reason are one note.
    said += [Block("note", text) for text in dict.fromkeys(render(note) for note in screen.notes)]
    said += _KINDS[type(screen)](screen, heading)
    return _printable(said)


def _printable(said: list[Block]) -> list[Block]:
    return [Block(block.kind, printable(block.text), block.number) for block in said]


def _choose(screen: ChooseScreen, heading: Heading) -> Blocks:
    own_words = "What is wrong with it? Give a number, or your own words."
    yield Block("ask", "Which machine is it?" if screen.what == "machine" else own_words)
    yield from _numbered("answer", [option.title for option in screen.options])


def _caution(screen: CautionScreen, heading: Heading) -> Blocks:
    taking = screen.phase == "take"
    yield Block("signal", screen.signal)
    yield Block("title", screen.title if taking else f"{screen.title} ends now")
    if not taking:
        yield Block("text", "The machine is about to run again.")
    elif screen.again:
        yield Block("text", "You have done this once in this case. It is due again.")
    else:
        yield Block("text", screen.text)
        if screen.hazards:
            yield Block("aside", f"Hazard: {_listed([hazard.title for hazard in screen.hazards])}")
        if screen.signs:
            yield Block("aside", f"Signs: {_listed([sign_words(sign) for sign in screen.signs])}")
    yield from _numbered("confirm", screen.confirm)


def _check(screen: CheckScreen, heading: Heading) -> Blocks:
    yield from _task(screen)
    yield Block("ask", screen.ask)
    yield from _numbered("answer", [answer.title for answer in screen.answers])


def _reading(screen: ReadingScreen, heading: Heading) -> Blocks:
    yield from _task(screen)
    yield Block("ask", screen.title)
    for number, need in enumerate(screen.needs, start=1):
        unit = f", in {need.unit}" if need.unit else ""
        yield Block("field", f"{need.title}{unit}", number)


def _task(screen: CheckScreen | ReadingScreen) -> Blocks:
    if screen.do:
        yield Block("text", screen.do)
    if screen.look_for:
        yield Block("aside", screen.look_for)
    if screen.tool:
        yield Block("aside", f"Take: {screen.tool}")


def _figure(screen: FigureScreen, heading: Heading) -> Blocks:
    yield Block("title", f"{with_unit(screen.value, screen.unit)}: {screen.band}")
    if screen.expected is not None:
        yield Block("text", f"Expected: {expected_range(screen.expected, screen.unit)}")
        yield Block("aside", f"Source: {screen.expected.source}")
    if screen.workings:
        yield Block("heading", "Worked out so:")
        yield from _numbered("line", screen.workings)


def _finding(screen: FindingScreen, heading: Heading) -> Blocks:
    if not screen.checked:
        yield Block("note", "Not checked yet: look first.")
    yield Block("title", screen.finding)
    likely = f"{percent(screen.probability)} likely"
    if screen.who == "service":
        yield Block("text", f"For licensed service. {likely}.")
    else:
        person = "For battery-trained people. " if screen.who == "battery-trained" else ""
        yield Block("aside", f"{person}{likely}, about {screen.minutes:g} min to put right.")
    if screen.remedy:
        yield Block("text", screen.remedy)
    if screen.parts:
        yield Block("aside", f"Parts: {_listed(screen.parts)}")
    if screen.leave_safe:
        yield Block("text", f"Leave it so: {screen.leave_safe}")
    if screen.before_trying:
        yield Block("heading", "Before the machine runs again:")
        yield from _numbered("line", screen.before_trying)
    if screen.who == "service":
        yield Block("ask", "Refer it now, or keep looking?")
    else:
        yield Block("ask", "Then try the machine out. Is it cured?")


def _item(screen: ItemScreen, heading: Heading) -> Blocks:
    yield Block("aside", f"Item {screen.number} of {screen.total}")
    yield Block("ask", screen.do)
    if screen.look_for:
        yield Block("aside", screen.look_for)


def _why(screen: WhyScreen, heading: Heading) -> Blocks:
    for piece in screen.text:
        yield Block("text", render(piece))
    yield from _ranked("The likeliest causes now:", screen.ranking)


def _refused(screen: RefusedScreen, heading: Heading) -> Blocks:
    yield Block("refused", render(screen.message))


def _end(screen: EndScreen, heading: Heading) -> Blocks:
    outcome = OUTCOMES.get(screen.outcome, screen.outcome)
    yield Block("title", f"Case {heading.case}: {outcome}" if heading.case else outcome)
    if screen.in_force:
        titles = _listed([caution.title for caution in screen.in_force])
        yield Block("text", f"Still in force: {titles}")
    yield from _ranked("The likeliest causes:", screen.ranking)
    for text in dict.fromkeys(render(note) for note in screen.notes):
        yield Block("text", text)


def _ranked(head: str, ranking: tuple[Cause, ...]) -> Blocks:
    if ranking:
        yield Block("heading", head)
    shown = [f"{percent(cause.probability)}: {cause.finding}" for cause in ranking[:MOST]]
    yield from _numbered("line", shown)


def _numbered(kind: str, texts: tuple[str, ...] | list[str]) -> Blocks:
    for number, text in enumerate(texts, start=1):
        yield Block(kind, text, number)


def _listed(texts: tuple[str, ...] | list[str]) -> str:
    return ", ".join(texts)


_KINDS: Final[dict[type, Callable[..., Blocks]]] = {
    ChooseScreen: _choose,
    CautionScreen: _caution,
    CheckScreen: _check,
    ReadingScreen: _reading,
    FigureScreen: _figure,
    FindingScreen: _finding,
    ItemScreen: _item,
    WhyScreen: _why,
    RefusedScreen: _refused,
    EndScreen: _end,
}
