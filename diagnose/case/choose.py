"""Choosing a machine and a symptom: by id, by number, or in the operator's own words."""

from __future__ import annotations

import difflib
import re
from typing import TYPE_CHECKING

from diagnose.files.tree import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from diagnose.files.tree import Tree

#: How alike two words have to be to count as one misspelt; and how much of what was said must fit.
_ALIKE = 0.75
_ENOUGH = 0.6

#: Words that say nothing about a symptom.
_EMPTY = frozenset(
    (
        "a an and any at but by do does for has have in is it its me my no not of on or so some "
        "that the there this to up very was when will with wont doesnt dont isnt machine scrubber"
    ).split()
)


def fitting(trees: Mapping[str, Tree], words: str) -> list[str]:
    """Return the symptoms that the operator's words fit best: one, several that fit alike, or none.

    A symptom is known by its title, its id and its `also_called`; a misspelt word counts nearly
    like the right one.
    """
    said = _tokens(words[:200])
    if not said:
        return []
    whole = " ".join(words[:200].casefold().split())
    scores = {}
    for symptom, tree in trees.items():
        phrases = [str(tree.title), symptom.replace("-", " "), *tree.also_called]
        if whole in (" ".join(phrase.casefold().split()) for phrase in phrases):
            scores[symptom] = 2.0
        else:
            scores[symptom] = max(_score(said, _tokens(phrase)) for phrase in phrases)
    best = max(scores.values(), default=0.0)
    if best < _ENOUGH:
        return []
    return [symptom for symptom, score in scores.items() if score >= best - 0.1]


def tells_apart(trees: Mapping[str, Tree]) -> list[str]:
    """Return the trees that only tell symptoms apart: every finding of theirs is a doorway."""
    return [
        symptom
        for symptom, tree in trees.items()
        if all(
            step.continue_with is not None
            for step in tree.steps.values()
            if isinstance(step, Finding)
        )
    ]


def _tokens(words: str) -> list[str]:
    found = re.findall(
        r"\w+", words.casefold().replace("'", "").replace("\N{RIGHT SINGLE QUOTATION MARK}", "")
    )
    return [word for word in found if word not in _EMPTY] or found


def _score(said: Iterable[str], known: list[str]) -> float:
    """Return how much of what was said stands in a phrase, and a little for how much of it."""
    said = list(said)
    if not known:
        return 0.0
    hits = [max(_alike(word, other) for other in known) for word in said]
    back = [max(_alike(other, word) for word in said) for other in known]
    return 0.8 * sum(hits) / len(said) + 0.2 * sum(back) / len(known)


def _alike(word: str, other: str) -> float:
    if word == other:
        return 1.0
    ratio = difflib.SequenceMatcher(None, word, other).ratio()
    if len(word) > 3 and len(other) > 3 and (word.startswith(other) or other.startswith(word)):
        ratio = max(ratio, 0.9)
    return ratio if ratio >= _ALIKE else 0.0
