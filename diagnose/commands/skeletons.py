"""What a new file begins with: its text, with blanks where only the author can know."""

from __future__ import annotations

import textwrap
from pathlib import Path
from string import Template
from typing import TYPE_CHECKING, Final

from diagnose.files.definitions import CARD, FORMAT
from diagnose.files.kinds import Record

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from diagnose.files.library import Library

#: The small worked library, and a file of each kind.
_HERE: Final = Path(__file__).parent / "beginnings"
SMALL_LIBRARY: Final = _HERE / "library"

#: A library without hazards gets them with this.
EMPTY_CAUTIONS: Final = f"format: {FORMAT}\n\nhazards: {{}}\n\ncautions: {{}}\n"

#: Keys of a card that its head says, or the library.
_SAID: Final = ("format", "machine", "title", "kind")


def skeleton(what: str, name: str, library: Library) -> str:
    """Return the text of a new symptom, machine, round or caution (a block of `cautions.yaml`)."""
    template = Template((_HERE / f"{what}.yaml").read_text(encoding="utf-8"))
    hazards = library.cautions.hazards
    covered = [name for name, hazard in hazards.items() if not hazard.service_only]
    text = template.substitute(
        id=name,
        format=FORMAT,
        hazards=_comment("The hazards of this library", covered),
        symptoms=_comment("Its symptoms", library.symptoms),
    )
    return text + "\n".join([*_card_lines(library), ""]) if what == "machine" else text


def _comment(what: str, names: Iterable[str]) -> str:
    said = f"{what}: {', '.join(names) or 'none yet'}."
    return textwrap.fill(said, 95, initial_indent="# ", subsequent_indent="#   ")


def _card_lines(library: Library) -> Iterator[str]:
    """Yield every line that a machine card may have, as a comment with an example."""
    kinds = sorted(library.kinds)
    yield _commented(f"kind: {kinds[0]}" if kinds else "kind: ID", CARD.keys["kind"].about)
    yield from (f"#       {kind}" for kind in kinds[1:])
    for key in CARD.keys.values():
        if key.name in _SAID:
            continue
        if not isinstance(key.kind, Record):
            yield _commented(f"{key.name}: {key.example}", key.about)
            continue
        yield f"# {key.name}:"
        for line in key.kind.keys.values():
            yield _commented(f"  {line.name}: {line.example}", line.about)


def _commented(line: str, about: str) -> str:
    return f"# {line:52}  # {about}"
