"""How many problems one letter makes: each typing slip in the built-in `cautions.yaml`, counted.

`python tests/benchmarks/typos.py [--part 1] [--seed 0]` leaves out, doubles, exchanges and changes each letter and
digit of each word outside of comments, in turn, has the library checked, and prints how often so
many problems are shown; then how many stand in the line of the slip, in another line of the file,
and in another file (the machine card or tree that alone names what was misspelt). What changes a
sentence alone changes no problem, and is counted without a check. Exit code 1 if any slip shows
more than one.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
import time
from collections import Counter
from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.files.library import CAUTIONS_FILE, Library, built_in, load, put_in
from diagnose.rules.check import check

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.cautions import Cautions

WORD = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]*")


def slips(text: str) -> Iterator[tuple[int, str]]:
    """Yield each text with one slip of a letter in it, with its line from 1."""
    lines = text.split("\n")
    for number, line in enumerate(lines):
        # A number sign in a text would end it here: there is none in this file.
        for word in WORD.finditer(line.partition("#")[0]):
            for other in misspelt(word[0]):
                changed = line[: word.start()] + other + line[word.end() :]
                yield number + 1, "\n".join([*lines[:number], changed, *lines[number + 1 :]])


def misspelt(word: str) -> Iterator[str]:
    """Yield a word with a letter left out, doubled, changed, or exchanged with the next."""
    for at, letter in enumerate(word):
        before, after = word[:at], word[at + 1 :]
        if len(word) > 1:
            yield before + after
        yield before + letter + letter + after
        yield (
            before
            + {"z": "a", "Z": "A", "9": "0", "-": "_"}.get(letter, chr(ord(letter) + 1))
            + after
        )
        if after and after[0] != letter:
            yield before + after[0] + letter + after[1:]


def meant(cautions: Cautions) -> Cautions:
    """Return cautions without the sentences that no rule looks at."""
    texts = {"title": "", "text": "", "confirm": (), "signs": ()}
    return replace(
        cautions,
        hazards={name: replace(one, title="") for name, one in cautions.hazards.items()},
        cautions={
            name: replace(one, **texts, release=one.release[:1] and ("",))
            for name, one in cautions.cautions.items()
        },
    )


class Slipped:
    """The built-in library with another `cautions.yaml`, one at a time."""

    def __init__(self) -> None:
        self.whole = load(built_in())
        self.text = (self.whole.folder / CAUTIONS_FILE).read_text(encoding="utf-8")
        self._meant = meant(self.whole.cautions)

    def shown(self, line: int, text: str) -> list[str]:
        """Return where each problem stands: "there", "near" (in the file) or "elsewhere"."""
        whole = self.whole
        file = whole.file(CAUTIONS_FILE)
        library = Library(
            whole.folder,
            trees=whole.trees,
            machines=whole.machines,
            kinds=whole.kinds,
            rounds=whole.rounds,
            site=whole.site,
            symptoms=whole.symptoms,
            places={name: one for name, one in whole.places.items() if name != file},
        )
        put_in(library, text, CAUTIONS_FILE)
        if not library.problems and meant(library.cautions) == self._meant:
            return []
        return [
            "elsewhere" if one.file != file else "there" if one.line == line else "near"
            for one in check(library)
        ]


def main() -> int:
    """Count them; return 1 where a slip shows more than one problem."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--part", type=float, default=1.0, help="how many of them, 0 to 1 (all)")
    parser.add_argument("--seed", type=int, default=0, help="which of them, where not all (0)")
    options = parser.parse_args()
    chosen = random.Random(options.seed)
    slipped = Slipped()
    count: Counter[int] = Counter()
    where: Counter[str] = Counter()
    worst: list[tuple[int, int]] = []
    began = time.perf_counter()
    for line, text in slips(slipped.text):
        if chosen.random() >= options.part:
            continue
        shown = slipped.shown(line, text)
        count[len(shown)] += 1
        where.update(shown)
        worst = sorted([*worst, (len(shown), line)], reverse=True)[:5]
    for problems, often in sorted(count.items()):
        print(f"{problems} problem{'' if problems == 1 else 's'} shown: {often:6,} slips")
    print(f"the problem stands: {dict(where)}")
    print(f"worst (problems, line): {worst}; {time.perf_counter() - began:.0f} s")
    return 1 if max(count) > 1 else 0


if __name__ == "__main__":
    sys.exit(main())
