"""Asking for a machine and a symptom before a case can be opened."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from diagnose.case import choosing
from diagnose.case.danger import in_words
from diagnose.case.screens import (
    ChooseScreen,
    EndScreen,
    Machine,
    Named,
    RefusedScreen,
    phrase,
)
from diagnose.case.walk import picked
from diagnose.commands import options as opt
from diagnose.commands.danger import ask
from diagnose.commands.session import said
from diagnose.faces.face import Heading
from diagnose.faces.words import render
from diagnose.files import replies
from diagnose.text import did_you_mean, folded, shortened

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from diagnose.case.screens import Phrase
    from diagnose.commands.ready_library import ReadyLibrary
    from diagnose.faces.face import Face
    from diagnose.files.rounds import Round
    from diagnose.files.tree import Tree

_ASIDE = (replies.DANGER, replies.LEAVE)

#: What shows all symptoms again, where only some were; no symptom can be called so.
_ALL = "all symptoms"


def choose(
    library: ReadyLibrary,
    face: Face,
    screen: ChooseScreen,
    take: Callable[[ChooseScreen, str], str | ChooseScreen | Phrase],
    *,
    first: bool,
) -> str | None:
    """Ask until something is chosen; None where the person left. Raises `DangerMet`."""
    # Whoever has told which machine it is sees it while the symptom is asked for.
    machine = library.card.title if library.card and screen.what == "symptom" else None
    heading = Heading(machine=machine, first=first)
    whole = screen
    while True:
        word = folded(said(face, screen, heading)[:400])
        heading = Heading(machine=machine)
        if word == replies.LEAVE:
            face.show(EndScreen(outcome="left", ranking=(), in_force=screen.in_force), heading)
            return None
        taken = word if word == replies.DANGER else take(screen, word)
        if taken == replies.DANGER:
            told = "" if word == replies.DANGER else word
            ask(library, face, heading, words=told, in_force=screen.in_force)
        elif isinstance(taken, str):
            return taken
        elif isinstance(taken, ChooseScreen):
            screen = taken
        else:
            screen = whole
            face.show(RefusedScreen(message=taken), heading)


def machine_of(
    library: ReadyLibrary,
    named: str | None,
    face: Face,
    states: Callable[[], Mapping[str | None, str]],
    what: Tree | Round | None = None,
) -> tuple[bool, bool]:
    """Take the machine that was named, or ask; say whether to go on, and whether it was asked.

    `states` returns those of machines that are not simply in use; `what` is the symptom or round
    that it is for, where that is known. Raises `WrongUse` or `Unusable` for a machine that is not
    there or cannot be used.
    """
    library.machine(named)
    if named is not None or not library.machines:
        return True, False
    asked = _Machines(library, states(), what)
    machine = choose(library, face, asked.screen(), asked.take, first=True)
    library.machine(machine)
    return machine is not None, True


class Chosen(Struct, frozen=True, kw_only=True):
    """A symptom, None where the person left, and their own words for it.

    `notes` say how the words alone were understood.
    """

    symptom: str | None
    words: str = ""
    notes: tuple[Phrase, ...] = ()


def symptom_of(
    library: ReadyLibrary,
    face: Face,
    *,
    first: bool,
    notes: tuple[Phrase, ...] = (),
    in_force: tuple[Named, ...] = (),
) -> Chosen:
    """Ask for a symptom. Raises `Unusable` where the library has none for this machine.

    `notes` are said above the question once; `in_force` are the cautions of a case that was taken
    back.
    """
    if not library.symptoms:
        raise opt.Unusable(f"{library.folder}: no symptom tree there; name a library with --trees.")
    asked = _Symptoms(library, in_force)
    screen = asked.screen(library.symptoms, *notes)
    symptom = choose(library, face, screen, asked.take, first=first)
    return Chosen(symptom=symptom, words=asked.words, notes=asked.notes)


class _Machines:
    """The choice of a machine: by a part of its id, name or serial, or by its number in the list.

    `states` are those that the log knows; `what` is the symptom or the round it is for, where that
    is chosen already: machines that it is not for are not offered.
    """

    def __init__(
        self, library: ReadyLibrary, states: Mapping[str | None, str], what: Tree | Round | None
    ) -> None:
        self.everywhere = [
            Machine(name, card.title, card.line("nameplate.serial"), states.get(name, ""))
            for name, card in library.machines.items()
        ]
        self.library, self.what = library, what
        fits = [one for one in self.everywhere if not (what and library.elsewhere(what, one.id))]
        # Where it is for none of them, whoever chooses is told so.
        self.offered = fits or self.everywhere

    def screen(self) -> ChooseScreen:
        """Return the choice among all that can be meant."""
        aside = (replies.NONE, *_ASIDE)
        return ChooseScreen(what="machine", options=tuple(self.offered), replies=aside)

    def take(self, screen: ChooseScreen, word: str) -> str | ChooseScreen | Phrase:
        """Return the machine that a reply means, the choice that is left, or what was wrong."""
        if word == replies.NONE:
            return word
        if word == replies.BACK:
            narrowed = replies.BACK in screen.replies
            return self.screen() if narrowed else phrase("no-way-back")
        for known in (screen.machines, self.offered):
            found = choosing.taken(known, word)
            if found is not None:
                return found.id
            if several := choosing.fitting(known, word):
                note = phrase("several-machines", typed=shortened(word), count=len(several))
                aside = (replies.NONE, replies.BACK, *_ASIDE)
                options = tuple(several)
                return ChooseScreen(what="machine", options=options, replies=aside, notes=(note,))
        return self._refused(word)

    def _refused(self, word: str) -> Phrase:
        elsewhere = choosing.taken(self.everywhere, word)
        if elsewhere is not None and self.what is not None:
            why = self.library.elsewhere(self.what, elsewhere.id)
            return phrase("not-for-machine", title=self.what.title.rstrip("."), why=why)
        names = [name for one in self.offered for name in (one.id, one.title, one.serial) if name]
        hint = did_you_mean(word, names)
        return phrase("no-such-machine", typed=shortened(word), hint=hint)


class _Symptoms:
    """The choice of a symptom: by its number, its name, or in the operator's own words.

    `words` are the last ones, `notes` say as what they were taken, where they alone chose.
    """

    def __init__(self, library: ReadyLibrary, in_force: tuple[Named, ...]) -> None:
        self.library = library
        self.in_force = in_force
        self.words = ""
        self.notes: tuple[Phrase, ...] = ()

    def screen(self, symptoms: Sequence[str], *notes: Phrase, some: bool = False) -> ChooseScreen:
        """Return the choice among symptoms; `some`: with a way to all of them."""
        trees = self.library.content.trees
        options = [Named(name, trees[name].title if name in trees else name) for name in symptoms]
        if some:
            options.append(Named(_ALL, render(phrase("all-symptoms"))))
        aside = (replies.BACK, *_ASIDE) if some else _ASIDE
        return ChooseScreen(
            what="symptom",
            options=tuple(options),
            replies=aside,
            notes=notes,
            in_force=self.in_force,
        )

    def take(self, screen: ChooseScreen, word: str) -> str | ChooseScreen | Phrase:
        """Return the symptom that a reply names, the choice that is left, or what was wrong.

        Words of danger are the danger.
        """
        self.notes = ()
        if not word:
            return phrase("nothing-typed")
        found = picked(screen.options, word)
        if found == _ALL or word in screen.replies:
            return self.screen(self.library.symptoms)
        if word == replies.BACK:
            return phrase("no-way-back")
        if found is None and word in self.library.symptoms:
            found = word
        if found is None:
            site = self.library.content.site
            if in_words(word, () if site is None else site.also_danger):
                return replies.DANGER
            return self._by_words(word)
        return self._opened(found)

    def _by_words(self, word: str) -> str | ChooseScreen | Phrase:
        from diagnose.case import own_words

        known, typed = self.library.content.trees, shortened(word)
        trees = {name: tree for name, tree in known.items() if not self.library.not_here(name)}
        self.words = word
        fit = own_words.fitting(trees, word)
        if not fit.symptoms and len(trees) < len(known):
            elsewhere = own_words.fitting(known, word)
            if elsewhere.sure:
                return self._opened(elsewhere.symptoms[0])
        if fit.sure:
            (found,) = fit.symptoms
            self.notes = (phrase("taken-as", typed=typed, title=trees[found].title.rstrip(".")),)
            return self._opened(found)
        # A tree that tells the symptoms apart is for whoever has no word, or too many.
        asks = own_words.tells_apart(trees)
        if fit.symptoms:
            said = phrase("several-fit" if len(fit.symptoms) > 1 else "one-fits", typed=typed)
            more = [name for name in asks if name not in fit.symptoms]
            return self.screen([*fit.symptoms, *more], said, some=True)
        if not asks:
            return phrase("no-such-symptom", typed=typed)
        rest = [name for name in self.library.symptoms if name not in asks]
        return self.screen([*asks, *rest], phrase("none-fits", typed=typed))

    def _opened(self, symptom: str) -> str | Phrase:
        try:
            self.library.require(symptom)
        except (opt.Unusable, opt.WrongUse) as error:
            return phrase("symptom-broken", message=f"{error}")
        return symptom
