"""Choosing a symptom by the operator's own words."""

from __future__ import annotations

import difflib
import math
import operator
import re
from collections import Counter
from functools import cache
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from diagnose.files.tree import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from diagnose.files.tree import Tree

#: So many symptoms can be offered as the ones that fit: more are no help in a hurry.
OFFERED = 3

# The figures below were chosen on the tuning half of tests/case/own_words.yaml, and only on that.

#: From how much on a fit is fair, and from how much on sure; below the first, none fits.
_FAIR = 0.35
_SURE = 0.74

#: What is this near to the best fits alike; where the best is only fair, more does.
_NEARLY = 0.10
_WIDELY = 0.25

#: How alike two words have to be to count as one misspelt; and what two swapped letters leave.
_ALIKE = 0.75
_SWAPPED = 0.9

#: What a word is worth that is denied where a symptom's name has it undenied; and the other way
#: round: whoever names only a part of the machine may well mean that it does not work.
_DENIED = 0.4
_UNSAID = 0.65

#: How much an unknown word says, beside the words that the library knows.
_UNKNOWN = 0.8

#: How much a word that denies says itself, beside others.
_LITTLE = 0.5

#: Words that say nothing about a symptom.
_EMPTY = frozenset(
    (
        "a about after again all already always an any anymore are at be because been before by "
        "can could day days do does done during enough even ever for from get gets getting go "
        "goes going got half halfway has have he here hour hours i if in into is it its just "
        "keep keeps machine me minute minutes more my now of off on one only our out over "
        "properly really scrubber she since so some something that the them then there they "
        "thing think this through thru to today too very was we went what when where which "
        "while will with work working works yesterday you your"
    ).split()
)

#: Between these, something else is said.
_BREAKS = frozenset("and also but n or plus then & + , . ; : ! ? /".split())

#: Words that deny what is said with them and say nothing else, `not` with a slip included.
_NOT = re.compile(
    r"\b(no|non|none|never|nothing|without|cannot|nor"
    r"|(do|doe?se?|di[ds]e?|is|are|was|were|ca|wo|has|have|had|could|would|ai)nt"
    r"|(?<=\bdoes |\bwill )([a-z]ot|n[a-z]t|no[a-z]|nto))\b"
)

#: Stems that deny as well, or nearly so, and say something themselves.
_FAILING = frozenset(
    "bad bare dead die fail gone hard less littl lost low poor quit stop weak".split()
)

#: Words that mean the same at this prompt. Common practice, no published source.
_SAME = {
    "suction": "suck vac vacuum",
    "pick": "pickup",
    "solution": "water liquid fluid",
    "detergent": "soap chemical",
    "brush": "pad disc disk",
    "deck": "head",
    "turn": "spin rotate round",
    "drive": "move travel go",
    "flow": "come run",
    "foam": "suds froth bubbles lather",
    "leak": "drip seep",
    "battery": "power juice",
    "streak": "stripe line",
    "smear": "smudge",
    "dirt": "muck filth grime",
    "clean": "wash",
    "exhaust": "vent blower",
    "spit": "spray blow",
    "empty": "flat drained",
    "early": "soon quick fast",
    "last": "hold",
    "lower": "drop",
    "charger": "plug",
    "stay": "still remain",
    "backward": "reverse",
}


class Fit(NamedTuple):
    """The symptoms that words fit, the best first, and whether it is the one and surely so."""

    symptoms: tuple[str, ...] = ()
    sure: bool = False


class _Word(NamedTuple):
    """A word as typed, its stem, and whether it is denied."""

    typed: str
    stem: str
    denied: bool


#: Stems, each with whether it is denied there, undenied, or both.
_Stems: TypeAlias = dict[str, set[bool]]


def fitting(trees: Mapping[str, Tree], words: str) -> Fit:
    """Return the symptoms that the operator's words fit best; none where no fit is fair.

    Several are those that fit nearly alike, or that are each said in a part of the sentence.

    A symptom is known by its title, its id and its `also_called`. A misspelt word counts nearly
    like the right one, a word that few symptoms use more than one that many do, and one that is
    denied (*no, not, won't, stopped*) little where the symptom has it undenied.
    """
    if not trees:
        return Fit()
    names = _Names(trees)
    said = list(_clauses(words[:200]))
    fit = _best(names.scores([word for clause in said for word in clause]))
    if len(said) < 2:
        return fit
    # "No brushes no drive": each part by itself, what it fits best.
    parts = [max((one[1], one[0]) for one in names.scores(part).items()) for part in said]
    more = {symptom: None for score, symptom in parts if score >= _SURE}
    several = tuple(dict.fromkeys((*fit.symptoms, *more)))
    return Fit(several[:OFFERED], fit.sure and len(several) == 1)


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


class _Names:
    """What the symptoms of a library are called, and how much each word of it says."""

    def __init__(self, trees: Mapping[str, Tree]) -> None:
        self._phrases = {
            symptom: [_name(name) for name in (tree.title, symptom, *tree.also_called)]
            for symptom, tree in trees.items()
        }
        self._whole = {
            symptom: _stems(word for phrase in phrases for word in phrase)
            for symptom, phrases in self._phrases.items()
        }
        users = Counter(stem for stems in self._whole.values() for stem in stems)
        self._says = {
            stem: math.log(1 + len(trees) / number) * (_LITTLE if stem in _FAILING else 1)
            for stem, number in users.items()
        }
        self._spelt = {
            word.typed: word.stem
            for phrases in self._phrases.values()
            for phrase in phrases
            for word in phrase
        }

    def scores(self, said: Sequence[_Word]) -> dict[str, float]:
        """Return how well each symptom fits, from 0 to 1."""
        heard = [(word, self._alike(word)) for word in said]
        weights = [self._weight(word, alike) for word, alike in heard]
        total = sum(weights)
        if not total:
            return dict.fromkeys(self._phrases, 0.0)
        known = {stem for _, alike in heard for stem in alike}

        def share(stems: _Stems) -> float:
            hits = (_hit(word, alike, stems) for word, alike in heard)
            fits: float = sum(map(operator.mul, weights, hits))
            return fits / total

        def likeness(phrase: Sequence[_Word]) -> float:
            """Return how alike what was said and a name are, both ways."""
            back = whole = 0.0
            for other in phrase:
                says = self._says[other.stem]
                whole += says
                if other.stem in known:
                    own = {other.stem: {other.denied}}
                    back += says * max(_hit(word, alike, own) for word, alike in heard)
            return math.sqrt(share(_stems(phrase)) * back / whole) if back else 0.0

        return {
            symptom: (share(self._whole[symptom]) + max(map(likeness, phrases))) / 2
            for symptom, phrases in self._phrases.items()
        }

    def _weight(self, word: _Word, alike: Mapping[str, float]) -> float:
        if alike:
            return self._says[max(alike, key=lambda stem: alike[stem])]
        return 0.0 if word.stem in _FAILING else _UNKNOWN * math.log(1 + len(self._phrases))

    def _alike(self, word: _Word) -> dict[str, float]:
        """Return the stems of the library that a word can stand for; its own, where it is one."""
        if word.stem in self._says:
            return {word.stem: 1.0}
        found: dict[str, float] = {}
        if word.stem in _FAILING:
            return found
        for other, stem in self._spelt.items():
            like = max(_likeness(word.typed, other), _likeness(word.stem, stem))
            if like > found.get(stem, 0.0):
                found[stem] = like
        return found


def _best(scores: Mapping[str, float]) -> Fit:
    ranked = sorted(scores, key=lambda symptom: -scores[symptom])
    if not ranked or scores[ranked[0]] < _FAIR:
        return Fit()
    top = scores[ranked[0]]
    sure = top >= _SURE
    found = [
        symptom for symptom in ranked if scores[symptom] > top - (_NEARLY if sure else _WIDELY)
    ]
    return Fit(tuple(found[:OFFERED]), sure and len(found) == 1)


def _stems(words: Iterable[_Word]) -> _Stems:
    stems: _Stems = {}
    for word in words:
        stems.setdefault(word.stem, set()).add(word.denied)
    return stems


def _hit(word: _Word, alike: Mapping[str, float], stems: _Stems) -> float:
    """Return how much of a word is among stems, for what it can stand for."""
    best = 0.0
    for stem, like in alike.items():
        if stem in stems:
            unlike = _DENIED if word.denied else _UNSAID
            best = max(best, like if word.denied in stems[stem] else like * unlike)
    return best


def _words(text: str) -> list[str]:
    """Return the words and the marks between them, with `not` for every word that denies."""
    bare = re.sub(r"['`\N{RIGHT SINGLE QUOTATION MARK}\N{ACUTE ACCENT}]", "", text.casefold())
    bare = _NOT.sub("not", bare)
    return re.findall(r"[^\W_]+|[&+,.;:!?/]", bare)


@cache
def _name(text: str) -> tuple[_Word, ...]:
    return tuple(word for clause in _clauses(text) for word in clause)


def _clauses(text: str) -> Iterator[list[_Word]]:
    """Yield what is said between two breaks: its words, all denied where one of them denies."""
    clause: list[str] = []
    for word in (*_words(text), "."):
        # "no brushes no drive": what was denied so far is one thing, what is denied now another.
        if word in _BREAKS or (word == "not" and "not" in clause):
            if set(clause) - {"not"}:
                yield _clause(clause)
            clause = []
        if word not in _BREAKS:
            clause.append(word)


def _clause(words: Sequence[str]) -> list[_Word]:
    bare = [word for word in words if word != "not"]
    typed = [word for word in bare if word not in _EMPTY]
    # "Stuck in the aisle, won't go": what ends in it, or is nothing else, means it.
    if bare and words[-2:] == ["not", bare[-1]] and _bare(bare[-1]) in _MEANT:
        typed = [*(word for word in typed if word != bare[-1]), bare[-1]]
    typed = typed or bare
    denied = len(bare) < len(words) or any(_stem(word) in _FAILING for word in typed)
    return [_Word(word, _stem(word), denied) for word in typed]


def _stem(word: str) -> str:
    bare = _bare(word)
    return _MEANT.get(bare, bare)


def _bare(word: str) -> str:
    """Return a word without its ending: `spinning`, `spins` and `spin` are one."""
    for ending in ("iness", "ness", "ies", "ing", "in", "es", "ed", "ly", "y", "s", "e"):
        stem = word.removesuffix(ending)
        if stem != word and len(stem) > 2:
            return stem[:-1] if stem[-1] == stem[-2] and stem[-1] not in "sl" else stem
    return word


_MEANT = {
    form: _bare(word)
    for word, others in _SAME.items()
    for other in (word, *others.split())
    # What ends in y keeps it before an s: "spray" and "sprays" are bare in two ways.
    for form in (_bare(other), _bare(f"{other}s"))
}


@cache
def _likeness(word: str, other: str) -> float:
    if len(word) < 4 or len(other) < 4:
        return 0.0
    if word[0] == other[0] and sorted(word) == sorted(other):
        return _SWAPPED
    both = difflib.SequenceMatcher(None, word, other)
    # The quick ratios are never below the true one.
    if both.real_quick_ratio() < _ALIKE or both.quick_ratio() < _ALIKE:
        return 0.0
    ratio = both.ratio()
    # A guess at a word is no word: what rests on guesses alone is hardly fair.
    return ratio**2 if ratio >= _ALIKE else 0.0
