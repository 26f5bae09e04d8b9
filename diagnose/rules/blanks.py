"""The rule on what a new file leaves to its author."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from diagnose.files.problems import code_of
from diagnose.rules.view import Objection
from diagnose.text import shortened

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.rules.view import View

#: As many letters of what is to be written are said.
_LETTERS = 80


def blank(view: View[Any]) -> Iterator[Objection]:
    """Nothing is left that was to be filled in: no value and no answer says `FILL IN`.

    `diagnose new` writes it, with a few words on what belongs there, wherever only the author can
    know. Whoever stands at the machine would read those words on the screen, so a tree or a round with
    such a line is walked with `--trial` only, and so is one that calls such a caution.

    Passes:
        title: It leaves lines
    Fails:
        title: FILL IN what the operator would say, in one line
    """
    places = view.library.places.get(view.library.file(*view.parts))
    for path, text in places.blanks() if places is not None else ():
        wanted = shortened(" ".join(text.split()), _LETTERS)
        yield Objection(path, f'Write what belongs here: "{wanted}".', "warning")


#: The code of what is still to be written.
BLANK_CODE: Final = code_of(blank)
