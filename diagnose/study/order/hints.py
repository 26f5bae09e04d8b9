"""Where `after` may be missing: what the best order moves before a step that it may need.

Nothing says so for sure, so these are hints, and only for steps that the best order has changed
round. One is given where a comment on the step that comes first now says after, first or once, or
where the step that comes later now makes something ready (lowers, raises, fills, runs it) of which
the other one speaks.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.files.tree import Check, Question
from diagnose.text import shortened

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from diagnose.files.tree import Tree
    from diagnose.study.order.study import OrderStudy

#: What makes something ready, in the words of a step's action.
_MAKES_READY: Final = (
    "lower|raise|lift|fill|run|drain|empty|open|remove|unplug|charge|start|"
    "switch on|turn on|take off|take out|fold down|let"
)
_ACTION: Final = re.compile(
    rf"\b(?:{_MAKES_READY})\b((?: (?!and\b|or\b|until\b|for\b|on\b)[a-z-]+){{1,4}})", re.IGNORECASE
)
_SAYS_SO: Final = re.compile(r"\b(?:after|first|once)\b", re.IGNORECASE)

#: Words that are no thing.
_NO_THING: Final = frozenset(
    "the a an it its them all both each one own out off up down in into to at by of with once "
    "again machine key slowly fully hand hands".split()
)

#: As many letters of a comment are shown, and as many hints at most.
_LETTERS: Final = 60
_MOST: Final = 5


class Hint(Struct, frozen=True, kw_only=True):
    """A `step` that the best order puts before `needs`. `why` is comment or ready, with the words:
    the comment, or the thing that the one makes ready and the other speaks of.
    """

    step: str
    needs: str
    why: str
    words: str


def after_hints(tree: Tree, study: OrderStudy, comments: Mapping[str, str]) -> tuple[Hint, ...]:
    """Return the steps whose `after` may be missing; `comments` are those of the file, by step."""
    found: dict[str, Hint] = {}
    for run, order in zip(study.runs, study.orders, strict=True):
        place = {name: number for number, name in enumerate(order)}
        for late, step in enumerate(run.steps):
            for needs in run.steps[:late]:
                if place[step] < place[needs] and step not in found:
                    for hint in _hints(tree, step, needs, comments):
                        found[step] = hint
                        break
    return tuple(found.values())[:_MOST]


def _hints(tree: Tree, step: str, needs: str, comments: Mapping[str, str]) -> Iterator[Hint]:
    one, other = tree.steps[step], tree.steps[needs]
    assert isinstance(one, Question)
    assert isinstance(other, Question)
    for thing in _made_ready(other):
        if thing in _things(_spoken(one)):
            yield Hint(step=step, needs=needs, why="ready", words=thing)
    comment = comments.get(step, "")
    if _SAYS_SO.search(comment):
        yield Hint(step=step, needs=needs, why="comment", words=shortened(comment, _LETTERS))


def _made_ready(step: Question) -> list[str]:
    """Return the things that a step makes ready, in the order in which it does."""
    words = [word for found in _ACTION.finditer(step.do or "") for word in found[1].split()]
    return list(_things(" ".join(words)))


def _spoken(step: Question) -> str:
    asked = step.ask if isinstance(step, Check) else ""
    return " ".join(filter(None, (step.do, asked, step.look_for)))


def _things(text: str) -> dict[str, None]:
    """Return the words of a text that can be things, one as several."""
    words = re.findall(r"[a-z]+(?:-[a-z]+)*", text.lower())
    return {word.removesuffix("s"): None for word in words if word not in _NO_THING}


def hint_words(hint: Hint) -> str:
    """Return a hint as a sentence."""
    put = f"Hint: the order above has {hint.step} before {hint.needs}"
    write = f"if it has to come later, write `after: [{hint.needs}]` at {hint.step}."
    if hint.why == "comment":
        return f'{put}, and its comment says "{hint.words}": {write}'
    return f"{put}, which makes ready what it speaks of ({hint.words}): {write}"
