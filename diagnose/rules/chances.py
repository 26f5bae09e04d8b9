"""Rules on chances: any positive scale will do, and all of a tree's and a library's are of one.

A chance typed as a share of one among cases in 100 (0.3 for 30) makes a likely cause a rare one,
and nothing else shows it. The thresholds are judgements, no published source:

- A tree is in cases of 100 where its chances add up to 50 to 200: authors' estimates do not add up
  to 100 exactly (those of the built-in trees to 100 to 121).
- In such a tree a chance below 0.5 is less than one case in 200. Nobody estimates so rarely; the
  built-in trees go down to 0.5.
- Chances that cases have taught are written with four figures and may be as small as they come. So
  a tree is left alone once one of its chances has more than two figures.
- A sum of 0.8 to 1.25, of chances all below 1, is one of shares; 80 to 125 one of cases in 100.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.files.tree import Finding
from diagnose.rules.view import Objection

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.tree import Tree
    from diagnose.rules.view import LibraryView, TreeView

_IN_HUNDRED: Final = (50.0, 200.0)
_RARE: Final = 0.5
_SUM_OF_SHARES: Final = (0.8, 1.25)
_SUM_OF_CASES: Final = (80.0, 125.0)


def mixed_chances(view: TreeView) -> Iterator[Objection]:
    """The chances of a tree are all of one scale, such as cases in 100.

    One that is written as a share, 0.3 among others of 5 and 20, counts as three cases in a
    thousand. A cause that is truly so rare is written in a larger scale: all chances in cases of
    1,000.

    Passes:
        steps: {broken: {chance: 30}, little: {chance: 20}}
    Fails:
        steps: {broken: {chance: 0.3}, little: {chance: 60}}
    """
    chances = _chances(view.tree)
    if len(chances) < 3 or any(_figures(chance) > 2 for chance in chances.values()):
        return
    total = sum(chances.values())
    for name, chance in chances.items():
        rest = total - chance
        if chance < _RARE and _IN_HUNDRED[0] <= total <= _IN_HUNDRED[1]:
            message = (
                f"The chances add up to {total:g}, so {chance:g} is one case in "
                f"{total / chance:.0f}: write {100 * chance:g} where a share of one is meant."
            )
        elif chance > 1 and rest <= _SUM_OF_SHARES[1]:
            message = (
                f"The other chances add up to {rest:.4g}, beside which {chance:g} is nearly all: "
                f"write {chance / 100:g} where cases in 100 are meant."
            )
        else:
            continue
        yield Objection(view.at(name, "chance"), message, "warning")


def other_scale(view: LibraryView) -> Iterator[Objection]:
    """The chances of all trees are of one scale: shares of one, or cases in 100.

    Each tree is reckoned by itself, so no figure is wrong. But whoever writes the next cause takes
    the scale from the tree beside it.

    Passes:
        steps: {broken: {chance: 50}, little: {chance: 30}, served: {chance: 20}}
    Fails:
        steps: {broken: {chance: 0.5}, little: {chance: 0.3}, served: {chance: 0.2}}
    """
    sums = {}
    for symptom, tree in view.library.trees.items():
        chances = _chances(tree)
        total = sum(chances.values())
        shares = len(chances) > 1 and max(chances.values()) < 1
        low, high = _SUM_OF_SHARES if shares else _SUM_OF_CASES
        if low <= total <= high:
            sums[symptom] = (shares, total, next(iter(chances)))
    of_shares = [symptom for symptom, (shares, *_) in sums.items() if shares]
    of_cases = [symptom for symptom, (shares, *_) in sums.items() if not shares]
    few, many = sorted((of_shares, of_cases), key=len)
    for symptom in few:
        other = many[0]
        message = (
            f"The chances here add up to {sums[symptom][1]:.4g}, those of "
            f'"{other}" to {sums[other][1]:.4g}: write both in one scale.'
        )
        at = ("steps", sums[symptom][2], "chance")
        yield Objection(at, message, "warning", parts=(f"{symptom}.yaml",))


def _chances(tree: Tree) -> dict[str, float]:
    """Return the chances of a tree by its findings."""
    return {name: one.chance for name, one in tree.steps.items() if isinstance(one, Finding)}


def _figures(chance: float) -> int:
    """Return how many figures a chance is written with, noughts at both ends left out."""
    return len(f"{chance:.6g}".partition("e")[0].replace(".", "").strip("0"))
