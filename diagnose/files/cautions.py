"""What `cautions.yaml` says: the hazards of a library and the cautions that cover them."""

from __future__ import annotations

import re
from functools import cached_property
from typing import TYPE_CHECKING, ClassVar, Final

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

#: The value of `lapses` for a caution that ends when the machine runs again.
WHEN_ENERGISED = "when energised"

#: The signal words as ANSI Z535.6 uses them, the gravest first.
SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")

#: The values of `confirm_lines`: one confirmation a line, or one for all of the screen.
EACH = "each"
TOGETHER = "together"


#: ISO 7010 signs for what a person puts on, from ears to apron. The numbers are from memory.
WORN: Final = frozenset(
    {"M003", "M004", "M007", "M008", "M009", "M010", "M013", "M014"}
    | {"M015", "M016", "M017", "M018", "M019", "M026"}
)


class Hazard(Struct, frozen=True, kw_only=True):
    """What can hurt someone. What is `service_only` is covered by no caution: service does it.

    `words` are those of a step that suggest it.
    """

    title: str
    service_only: bool = False
    words: tuple[str, ...] = ()

    LATER: ClassVar[Mapping[str, tuple[object, ...]]] = {"words": ((),)}


class Caution(Struct, frozen=True, kw_only=True):
    """What is shown and confirmed before a step that one of the hazards it `covers` threatens.

    `minutes` is what taking it costs, those of all it includes among them. A `lockout` is the one
    that isolates the machine.
    """

    title: str
    signal: str
    text: str
    lapses: str
    confirm: tuple[str, ...]
    signs: tuple[str, ...] = ()
    covers: tuple[str, ...] = ()
    includes: tuple[str, ...] = ()
    minutes: float = 1.0
    confirm_lines: str = TOGETHER
    lockout: bool = False
    release: tuple[str, ...] = ()

    LATER: ClassVar[Mapping[str, tuple[object, ...]]] = {
        "confirm_lines": (EACH,),
        "lockout": (False,),
    }

    @property
    def lapsing(self) -> bool:
        """Whether it ends when the machine is energised."""
        return self.lapses == WHEN_ENERGISED

    @property
    def worn(self) -> bool:
        """Whether it is about what a person puts on, which goes away with the person."""
        return not self.lockout and not WORN.isdisjoint(self.signs)


#: A word, with what is joined to it, or the end of a sentence.
_WORD: Final = re.compile(r"[^\W_]+(?:['’-][^\W_]+)*|[.!?;:]")

#: What a sentence begins with that forbids: whoever reads it does not do that.
_FORBIDS: Final = ("never", "do not", "don't")


class Cautions(Struct, frozen=True, kw_only=True, dict=True):
    """All of `cautions.yaml`, in the order of the file. An empty one knows no hazard."""

    hazards: Mapping[str, Hazard]
    cautions: Mapping[str, Caution]

    def suggested(self, text: str) -> Iterator[tuple[str, str]]:
        """Yield the hazards that the words of a text suggest, each with the words that do.

        They stand in one sentence in that order, with any others between them; capitals do not
        count. A sentence that forbids suggests nothing.
        """
        all_words = _WORD.findall(text.casefold())
        if self._suggesting.keys().isdisjoint(all_words):
            return
        for words in _sentences(all_words):
            for at, word in enumerate(words):
                for more, hazard, phrase in self._suggesting.get(word, ()):
                    rest = iter(words[at + 1 :])
                    # Each is looked for behind the one before it.
                    if all(one in rest for one in more):
                        yield hazard, phrase

    @cached_property
    def _suggesting(self) -> dict[str, list[tuple[list[str], str, str]]]:
        """Words that suggest a hazard, by the first of them: the others, the hazard, all of it."""
        found: dict[str, list[tuple[list[str], str, str]]] = {}
        for name, hazard in self.hazards.items():
            for phrase in hazard.words:
                for first, *more in _sentences(_WORD.findall(phrase.casefold())):
                    found.setdefault(first, []).append((more, name, phrase))
        return found


def _sentences(words: Iterable[str]) -> list[list[str]]:
    """Return the words of each sentence that does not forbid; some of them end one."""
    found: list[list[str]] = [[]]
    for word in words:
        if word in ".!?;:":
            found.append([])
        else:
            found[-1].append(word)
    return [one for one in found if one and not " ".join(one[:2]).startswith(_FORBIDS)]
