"""Rules on the text of a file: what is still to be written, and what a comment takes away."""

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
    know. Whoever stands at the machine would read those words on the screen, so a tree or a round
    with such a line is walked with `--trial` only, and so is one that calls such a caution.

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


def cut_text(view: View[Any]) -> Iterator[Objection]:
    """No comment cuts a text: what stands behind a blank and `#` is not read.

    *Take hook # 3* is shown as *Take hook*. It looks like that where a number stands behind the
    `#`, or where the text before it ends no sentence and is one blank away. A comment that is meant
    has two blanks before it, or a line of its own.

    Passes:
        title: "It leaves line # 3, and dirt"
    Fails:
        title: It leaves line # 3, and dirt
    """
    places = view.library.places.get(view.library.file(*view.parts))
    for one in places.cuts() if places is not None else ():
        value, comment = shortened(one.value, _LETTERS), shortened(one.comment, _LETTERS)
        message = f'Put all of it in quotes: "{value}" ends here, "{comment}" is not read.'
        yield Objection((), message, "warning", place=(one.line, one.column))
