"""What `diagnose order` writes into a tree's file: what differs first, then a question, then it."""

from __future__ import annotations

import sys
import textwrap
from typing import TYPE_CHECKING

from diagnose.commands import options as opt
from diagnose.commands.rewriting import NewChance, as_typed, figures, new_chances, new_order
from diagnose.faces.streams import is_terminal, read_line
from diagnose.files.tree import Finding
from diagnose.study.chances import learned, means, ranges, weights

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from diagnose.commands.rewriting import Change
    from diagnose.files.tree import Tree
    from diagnose.study.chances import CaseEvidence
    from diagnose.study.order.study import OrderStudy

_WIDTH = 79
_NOTHING = "Nothing was written."


def order_written(
    folder: Path, tree: Tree, study: OrderStudy, options: argparse.Namespace
) -> tuple[Tree, list[str]]:
    """Put the best order into the file of a tree, and its steps into walking order, if wanted.

    Returns the tree as the file has it then, and what is to be said. Raises `Refused`, `Unusable`
    and, where nobody can be asked, `WrongUse`.
    """
    best = study.best.tree
    if study.now is study.best and not options.sort:
        return tree, ["No order is better: nothing was written."]
    change = new_order(folder, tree, best, sort=options.sort)
    if change.text == change.old:
        return tree, ["No order is better, and the steps stand in walking order: " + _NOTHING]
    if not options.json:
        for line in change.difference():
            opt.say(line)
    if not _agreed(change, options):
        return tree, [_NOTHING]
    change.put()
    done = "The steps are in walking order" if study.now is study.best else "The new order is"
    return change.tree, [f"{done} in {change.path}.", *map(str, change.look_at)]


def chances_written(
    folder: Path, tree: Tree, evidence: CaseEvidence, options: argparse.Namespace
) -> list[str]:
    """Put the chances that cases tell into the file of a tree, if that is wanted.

    They are worked out from the estimates of the file: whoever does it twice changes nothing.
    Returns what is to be said. Raises as `order_written`.
    """
    known = learned(tree, evidence.counts)
    if not evidence.cases:
        return ["No case in the log speaks for the chances: nothing was written."]
    if known.filed:
        more, here = (f"{sum(one.values()):.4g}" for one in (known.counts, evidence.counts))
        return [
            f"The file has learned from {more} cases, this log has {here}: nothing was written."
        ]
    estimates = _estimates(tree)
    parameters = weights({name: float(text) for name, text in estimates.items()}, known.counts)
    new = {
        name: NewChance(
            chance=figures(100 * share),
            estimate=estimates[name],
            cases=as_typed(round(known.counts[name], 2)),
        )
        for name, share in means(parameters).items()
    }
    change = new_chances(folder, tree, new)
    if not options.json:
        for line in _table(tree, new, parameters):
            opt.say(line)
    if change.text == change.old:
        return ["The chances of the file are so already: nothing was written."]
    if not _agreed(change, options):
        return [_NOTHING]
    change.put()
    return [f"The chances are in {change.path}, with the estimates that they came from."]


def _estimates(tree: Tree) -> dict[str, str]:
    """Return the estimates as they are written; in 100 cases, where none is written yet."""
    steps = {name: step for name, step in tree.steps.items() if isinstance(step, Finding)}
    total = sum(step.estimate for step in steps.values())
    as_is = abs(total - 100) < 1e-9 or any(step.chance_from for step in steps.values())
    return {
        name: as_typed(step.estimate) if as_is else figures(100 * step.estimate / total)
        for name, step in steps.items()
    }


def _table(
    tree: Tree, new: Mapping[str, NewChance], parameters: Mapping[str, float]
) -> Iterator[str]:
    """Yield the chances of the file beside the new ones, in 100 cases, and how sure these are."""
    own = {name: step.chance for name, step in tree.steps.items() if isinstance(step, Finding)}
    total = sum(own.values())
    sure = ranges(parameters)
    width = max(len("in 100 cases"), *map(len, new))
    yield ""
    yield f"{'in 100 cases':{width}}{'file':>8}{'cases':>8}{'new':>8}   how sure"
    for name, one in new.items():
        low, high = (100 * end for end in sure[name])
        row = f"{name:{width}}{100 * own[name] / total:>8.1f}{one.cases:>8}"
        yield f"{row}{float(one.chance):>8.1f}   {low:.1f} to {high:.1f}"
    yield "How sure: the chance is in that range with a probability of 90 %."
    yield ""


def _agreed(change: Change, options: argparse.Namespace) -> bool:
    """Whether somebody says that a change is to be written. Raises `WrongUse` if nobody can."""
    if options.yes:
        return True
    if options.json or not (is_terminal(sys.stdin) and is_terminal(sys.stdout)):
        raise opt.WrongUse("Nothing was written: there is nobody to ask here; --yes writes it.")
    for line in textwrap.wrap(f"Write this into {change.path}? y or n", _WIDTH):
        opt.say(line)
    reply = read_line() or ""
    return reply.strip().casefold() in ("y", "yes")
