"""Choosing a machine and a symptom: by id, by number, or in the operator's own words."""

from __future__ import annotations

import difflib
import math
import operator
import re
from functools import cache
from typing import TYPE_CHECKING

from diagnose.files.tree import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from diagnose.files.tree import Tree

#: How alike two words have to be to count as one misspelt.
_ALIKE = 0.75

#: How much of what was said must fit, weighed by how telling each word is; and what is alike.
_ENOUGH = 0.45
_NEARLY = 0.12

#: Words that say nothing about a symptom.
_EMPTY = frozenset(
    (
        "a an and any at but by do does for has have in is it its me my no not of on or so some "
        "that the there this to up very was when will with wont doesnt dont isnt machine scrubber"
    ).split()
)


def fitting(trees: Mapping[str, Tree], words: str) -> list[str]:
    """Return the symptoms that the operator's words fit best: one, several that fit alike, or none.

    A symptom is known by its title, its id and its `also_called`. A misspelt word counts nearly
    like the right one, and a word that few symptoms use counts more than one that many do.
    """
    said = _tokens(words[:200])
    if not said:
        return []
    phrases = {
        symptom: [_tokens(phrase) for phrase in (tree.title, symptom, *tree.also_called)]
        for symptom, tree in trees.items()
    }
    hits = {
        symptom: [_best(word, (other for phrase in known for other in phrase)) for word in said]
        for symptom, known in phrases.items()
    }
    telling = [_telling([row[place] for row in hits.values()]) for place in range(len(said))]
    scores = {}
    for symptom, known in phrases.items():
        whole = sum(map(operator.mul, telling, hits[symptom])) / sum(telling)
        scores[symptom] = (whole + max(_likeness(said, phrase) for phrase in known)) / 2
    best = max(scores.values(), default=0.0)
    if best < _ENOUGH:
        return []
    return [symptom for symptom, score in scores.items() if score > best - _NEARLY]


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


def _telling(hits: list[float]) -> float:
    """Return how much a word says: more the fewer symptoms know it; one that none knows, little."""
    known = sum(hits)
    return math.log(1 + len(hits) / known) if known else 0.7


def _tokens(words: str) -> list[str]:
    bare = words.casefold().replace("'", "").replace("\N{RIGHT SINGLE QUOTATION MARK}", "")
    found: list[str] = re.findall(r"[^\W_]+", bare)
    return [word for word in found if word not in _EMPTY] or found


def _likeness(said: list[str], phrase: list[str]) -> float:
    """Return how alike what was said and a phrase are, both ways."""
    there = sum(_best(word, phrase) for word in said) / len(said)
    back = sum(_best(word, said) for word in phrase) / len(phrase)
    return math.sqrt(there * back)


def _best(word: str, others: Iterable[str]) -> float:
    return max((_alike(word, other) for other in others), default=0.0)


@cache
def _alike(word: str, other: str) -> float:
    if word == other:
        return 1.0
    if len(word) > 3 and len(other) > 3 and (word.startswith(other) or other.startswith(word)):
        return 0.9
    ratio = difflib.SequenceMatcher(None, word, other).ratio()
    return ratio if ratio >= _ALIKE else 0.0
