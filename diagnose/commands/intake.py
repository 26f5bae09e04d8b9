"""Asking for a machine and a symptom before a case can be opened."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.screens import ChooseScreen, EndScreen, Named, RefusedScreen, phrase
from diagnose.case.walk import picked
from diagnose.commands import options as opt
from diagnose.commands.session import said
from diagnose.faces.face import Heading
from diagnose.files import replies
from diagnose.text import did_you_mean, folded, shortened

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
        word = folded(said(face, screen, heading)[:400])
        heading = Heading()
        if word in _ASIDE:
            end = EndScreen(outcome="left", ranking=())
            if word == replies.DANGER:
                end = EndScreen(outcome="referred", ranking=(), notes=(phrase("end-danger"),))
            face.show(end, heading)
            return None
        taken = take(screen, word)
        if isinstance(taken, str):
            return taken
        screen = taken if isinstance(taken, ChooseScreen) else whole
        if not isinstance(taken, ChooseScreen):
            face.show(RefusedScreen(message=taken), heading)


def machine_of(library: ReadyLibrary, named: str | None, face: Face) -> tuple[bool, bool]:
    """Take the machine that was named, or ask; say whether to go on, and whether it was asked.

    Raises `WrongUse` or `Unusable` for a machine that is not there or cannot be used.
    """
    library.machine(named)
    if named is not None or not library.machines:
        return True, False
    machine = choose(face, *machines(library), first=True)
    library.machine(machine)
    return machine is not None, True


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
    options = tuple(Named(name, card.title) for name, card in library.machines.items())
    screen = ChooseScreen(what="machine", options=options, replies=(replies.NONE, *_ASIDE))

    def take(screen: ChooseScreen, word: str) -> str | Phrase:
        found = word if word == replies.NONE else picked(screen.options, word)
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
        found = picked(screen.options, word) or (word if word in trees else None)
        if not word:
            return phrase("nothing-typed")
        if found is None:
            spoken.append(word)
            from diagnose.case import own_words

            several, typed = own_words.fitting(trees, word), shortened(word)
            if len(several) != 1:
                # A tree that tells the symptoms apart is for whoever has no word, or too many.
                asks = own_words.tells_apart(trees)
                if several:
                    more = [name for name in asks if name not in several]
                    return screen_of([*several, *more], phrase("several-fit", typed=typed))
                if not asks:
                    return phrase("no-such-symptom", typed=typed)
                rest = [name for name in library.content.symptoms if name not in asks]
                return screen_of([*asks, *rest], phrase("none-fits", typed=typed))
            found = several[0]
        try:
            library.require(found)
        except opt.Unusable as error:
            return phrase("symptom-broken", message=f"{error}")
        return found

    return screen_of(library.content.symptoms), take
