"""Sentences of operators (own_words.yaml), in two halves, and how well each is understood."""

from __future__ import annotations

import zlib
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import yaml

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from diagnose.case.own_words import Fit

#: So many symptoms can be offered as the ones that fit; more is no choice any more.
OFFERED = 3

FILE = Path(__file__).with_suffix("").parent / "own_words.yaml"


class Sentence(NamedTuple):
    """What was typed, and the symptoms that it fits: one, both, or none."""

    words: str
    fits: frozenset[str]


def halves() -> dict[str, list[Sentence]]:
    """Return the half for tuning and the half held back: every second one by its CRC-32.

    The sentences that fit one symptom are dealt out symptom by symptom, those that fit two together.
    """
    groups: dict[str, list[Sentence]] = {}
    for key, typed in yaml.safe_load(FILE.read_text(encoding="utf-8")).items():
        fits = frozenset() if key == "none" else frozenset(key.split(", "))
        group = "two" if len(fits) > 1 else key
        groups.setdefault(group, []).extend(Sentence(words, fits) for words in typed)
    dealt = [
        sorted(group, key=lambda one: zlib.crc32(one.words.encode())) for group in groups.values()
    ]
    return {
        "tuning": [one for group in dealt for one in group[::2]],
        "held back": [one for group in dealt for one in group[1::2]],
    }


def outcome(sentence: Sentence, fit: Fit) -> str:
    """Return `right`, `offered` (all that fit), `asked` for nothing, or `wrong`: begun silently.

    Where none fits, and for the symptom that tells the others apart, which stands first in the
    list, it is right to ask with the whole list.
    """
    found = set(fit.symptoms)
    if not found:
        return "right" if sentence.fits <= {"which-symptom"} else "asked"
    if not fit.sure:
        understood = sentence.fits and sentence.fits <= found and len(found) <= OFFERED
        return "offered" if understood else "missed"
    if found == sentence.fits:
        return "right"
    return "one of two" if found < sentence.fits else "wrong"


def told(half: Iterable[Sentence], fitting: Callable[[str], Fit]) -> tuple[Counter[str], list[str]]:
    """Return how often each outcome came, and one line for each sentence that was not understood."""
    counts: Counter[str] = Counter()
    lines = []
    for sentence in half:
        fit = fitting(sentence.words)
        how = outcome(sentence, fit)
        counts[how] += 1
        if how not in ("right", "offered"):
            meant = ", ".join(sorted(sentence.fits)) or "none"
            lines.append(
                f"{how}: {sentence.words!r} is {meant}, found {', '.join(fit.symptoms) or 'none'}"
            )
    return counts, lines


def understood(counts: Counter[str]) -> float:
    """Return the share that was right at the first try, or offered with the others that fit."""
    return (counts["right"] + counts["offered"]) / counts.total()
