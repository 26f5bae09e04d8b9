"""Asking for a machine and a symptom before a case can be opened."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.own_words import fitting, tells_apart
from diagnose.case.screens import ChooseScreen, EndScreen, Named, RefusedScreen, phrase
from diagnose.case.walk import picked
from diagnose.commands import options as opt
from diagnose.faces.face import Heading
from diagnose.files import replies
from diagnose.text import did_you_mean, shortened

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from diagnose.case.screens import Phrase
    from diagnose.commands.ready_library import ReadyLibrary
    from diagnose.faces.face import Face

_ASIDE = (replies.DANGER, replies.LEAVE)


def choose(
    face: Face,
    screen: ChooseScreen,
    take: Callable[[ChooseScreen, str], str | ChooseScreen | Phrase],
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
                    notes=(phrase("end-danger"),) if danger else (),
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


def machine_of(library: ReadyLibrary, named: str | None, face: Face) -> tuple[bool, bool]:
    """Take the machine that was named, or ask; say whether to go on, and whether it was asked.

    Raises `WrongUse` or `Unusable` for a machine that is not there or cannot be used.
    """
    library.machine(named)
    if named is not None or not library.content.machines:
        return True, False
    machine = choose(face, *machines(library), first=True)
    if machine is None:
        return False, True
    library.machine(machine)
    return True, True


def symptom_of(library: ReadyLibrary, face: Face, *, first: bool) -> tuple[str | None, list[str]]:
    """Ask for a symptom; return it, None where the person left, and what was said in words.

    Raises `Unusable` where the library has none.
    """
    if not library.content.symptoms:
        raise opt.Unusable(f"{library.folder}: no symptom tree there; name a library with --trees.")
    spoken: list[str] = []
    return choose(face, *symptoms(library, spoken), first=first), spoken


def machines(library: ReadyLibrary) -> tuple[ChooseScreen, Any]:
    """Return the choice of a machine, and what takes the reply."""
    options = tuple(Named(name, card.title) for name, card in library.content.machines.items())
    screen = ChooseScreen(what="machine", options=options, replies=(replies.NONE, *_ASIDE))

    def take(screen: ChooseScreen, word: str) -> str | Phrase:
        if word == replies.NONE:
            return word
        found = picked(screen.options, word)
        if found is not None:
            return found
        names = [name for option in screen.options for name in (option.id, option.title)]
        hint = did_you_mean(word, names)
        return phrase("no-such-machine", typed=shortened(word), hint=hint)

    return screen, take


def symptoms(library: ReadyLibrary, spoken: list[str]) -> tuple[ChooseScreen, Any]:
    """Return the choice of a symptom, and what takes the reply; words go to `spoken`."""
    trees = library.content.trees

    def screen_of(symptoms: Sequence[str], *notes: Phrase) -> ChooseScreen:
        options = tuple(
            Named(name, trees[name].title if name in trees else name) for name in symptoms
        )
        return ChooseScreen(what="symptom", options=options, replies=_ASIDE, notes=notes)

    def take(screen: ChooseScreen, word: str) -> str | ChooseScreen | Phrase:
        found = picked(screen.options, word)
        if found is None and word in trees:
            found = word
        if not word:
            return phrase("nothing-typed")
        if found is None:
            spoken.append(word)
            several = fitting(trees, word)
            if len(several) != 1:
                # A tree that tells the symptoms apart is for whoever has no word, or too many.
                asks = tells_apart(trees)
                if several:
                    more = [name for name in asks if name not in several]
                    return screen_of(
                        [*several, *more], phrase("several-fit", typed=shortened(word))
                    )
                if not asks:
                    return phrase("no-such-symptom", typed=shortened(word))
                rest = [name for name in library.content.symptoms if name not in asks]
                return screen_of([*asks, *rest], phrase("none-fits", typed=shortened(word)))
            found = several[0]
        if library(found) is None:
            try:
                library.require(found)
            except opt.Unusable as error:
                return phrase("symptom-broken", message=f"{error}")
        return found

    return screen_of(library.content.symptoms), take
