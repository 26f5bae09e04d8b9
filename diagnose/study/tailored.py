"""A tree as one machine meets it: without what its card says does not apply."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.files.tree import NO_ANSWER, Finding
from diagnose.study.graph import graph_of, reached
from diagnose.study.plan import passing_answer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.card import Card
    from diagnose.files.rounds import Round
    from diagnose.files.tree import Condition, Step, Tree


def tailored(tree: Tree, card: Card | None) -> tuple[Tree, Mapping[str, str]]:
    """Return the tree for a machine, and the steps of it that do not apply, each with the line why.

    An answer that does not apply is not there. A step that does not keeps its passing answer alone,
    which says nothing of any cause. What can then no longer be reached is no part of the tree, so
    that no cause is counted which this machine cannot have. What the card answers at one step, it
    answers at all that look at the same. No card: all of it applies.
    """
    if card is None:
        return tree, {}
    told = _told(tree)
    steps = {name: _fitted(tree, step, card, told.get(name)) for name, step in tree.steps.items()}
    if all(step is tree.steps[name] for name, step in steps.items()):
        return tree, {}
    less = replace(tree, steps=steps)
    there = reached(graph_of(less), tree.start)
    skipped = {
        name: against(card, step.applies_to)
        for name, step in steps.items()
        if name in there and not isinstance(step, Finding) and not card.fits(step.applies_to)
    }
    return replace(less, steps={name: steps[name] for name in steps if name in there}), skipped


def _told(tree: Tree) -> dict[str, str]:
    """Return the line of the card that answers each question, there or where the same is seen."""
    looks = {
        name: step.same_as or name
        for name, step in tree.steps.items()
        if not isinstance(step, Finding)
    }
    lines = {
        looks[name]: step.from_card
        for name, step in tree.steps.items()
        if not isinstance(step, Finding) and step.from_card is not None
    }
    return {name: lines[look] for name, look in looks.items() if look in lines}


def _fitted(tree: Tree, step: Step, card: Card, line: str | None) -> Step:
    """Return a step with the answers that this machine can give; one that fits as it is.

    `line` is that of the card which answers it.
    """
    if isinstance(step, Finding):
        return step
    if step.from_card is None and line is not None:
        step = replace(step, from_card=line)
    if card.fits(step.applies_to):
        ways = tuple([way for way in step.exits if card.fits(way.applies_to)])
    else:
        passing = passing_answer(tree, step)
        ways = tuple([way for way in step.exits if way.answer == passing])
    if len(ways) == len(step.exits):
        return step
    unsure = step.if_unsure if step.if_unsure in {way.answer for way in ways} else None
    # Left unsaid, the passing answer is told by how many answers lead on: it stays what it was.
    passes = passing_answer(tree, step) or NO_ANSWER
    return replace(step, exits=ways, if_unsure=unsure, passes=passes)


def is_for(card: Card | None, what: Tree | Round) -> bool:
    """Return whether a symptom or a round is offered on a machine.

    A card that is silent says nothing against it, and no machine has everything.
    """
    if card is None:
        return True
    return (card.kind is None or not what.kinds or card.kind in what.kinds) and card.fits(
        what.applies_to
    )


def against(card: Card, condition: Condition) -> str:
    """Return the first line of a condition at which the card says otherwise; empty: it fits."""
    return next((line for line in condition if not card.fits({line: condition[line]})), "")
