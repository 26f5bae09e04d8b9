"""`diagnose order`: what the order of checks costs, what the best would, and which move helps."""

from __future__ import annotations

import argparse
import json
import math
import sys
import textwrap
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from diagnose.commands import options as opt
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.rewriting import Refused, write_chances, write_order
from diagnose.files.tree import Finding
from diagnose.log.endings import endings
from diagnose.study.chances import CaseEvidence, evidence_of, means, sureness, weights
from diagnose.study.order.study import order_study
from diagnose.text import printable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from diagnose.files.tree import Tree
    from diagnose.study.order.study import Evaluation, Move, OrderStudy, RunStudy

_WIDTH = 79
#: Findings that are named as the slowest to come to.
_SLOWEST = 3
#: Minutes that are worth a word.
_WORTH = 0.005


class _Result(Struct, frozen=True):
    """A study and what it rests on: the tree, what cases tell, the Dirichlet parameters."""

    tree: Tree
    evidence: CaseEvidence
    parameters: Mapping[str, float]
    study: OrderStudy

    @property
    def sure(self) -> float | None:
        """The probability that the best order is better; None where it is the present one."""
        now, best = self.study.now, self.study.best
        if now is best:
            return None
        pairs = zip(now.routes.findings, best.routes.findings, strict=True)
        gains = [before.minutes - after.minutes for before, after in pairs]
        names = [now.plan.ids[place] for place in now.plan.findings]
        return sureness([self.parameters[name] for name in names], gains)


def run(args: Sequence[str]) -> int:
    """Study the order of a symptom tree. Returns 1 where what was asked cannot be had."""
    parser = opt.parser(
        "order",
        "What the order of checks costs, what the best order would, and which move helps most. "
        "Chances are those of the file and of the cases in the log.",
    )
    parser.add_argument("symptom", help="a symptom's id")
    parser.add_argument("--machine", metavar="ID", help="its caution minutes, and its cases only")
    parser.add_argument(
        "--lockouts", metavar="N", type=_count, help="take a lockout at most N times on any route"
    )
    parser.add_argument(
        "--write",
        action="store_true",
        help="put the best order into the file: arrows change, steps and comments stay in place",
    )
    parser.add_argument(
        "--write-chances", action="store_true", help="put the chances into the file"
    )
    options = parser.parse_args(args)
    result, library = _studied(options)
    if options.json:
        opt.say(json.dumps(_data(result, library)))
    else:
        _say_all(result, library, options)
    try:
        said = _written(result, library, options)
    except Refused as refused:
        for problem in refused.problems:
            _out(str(problem), options)
        hint = " With `--lockouts 1` an order may pass." if options.lockouts is None else ""
        _out(f"The rules have that against the change: nothing was written.{hint}", options)
        return opt.BAD_ANSWER
    for line in said:
        _out(line, options)
    return opt.OK if result.study.cap_kept else opt.BAD_ANSWER


def _written(result: _Result, library: ReadyLibrary, options: argparse.Namespace) -> list[str]:
    """Write what was asked for, and return what is to be said of it."""
    study, tree, said = result.study, result.tree, []
    if options.write and study.cap_kept:
        if study.now is study.best:
            said.append("No order is better: nothing was written.")
        else:
            path, look_at = write_order(library.folder, tree, study.best.tree)
            said = [f"The new order is in {path}.", *map(str, look_at)]
            # The chances go into the file as it is now.
            tree = study.best.tree
    if options.write_chances:
        path = write_chances(library.folder, tree, means(result.parameters))
        said.append(
            f"The chances are in {path}. The cases that spoke for them are still in the log and "
            "would count again: name another log (--log) from now on."
            if result.evidence.cases
            else f"The chances are in {path}, in cases of 100."
        )
    return said


def _count(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 6):
        raise argparse.ArgumentTypeError("a whole number from 0 stands here")
    return int(text)


def _studied(options: argparse.Namespace) -> tuple[_Result, ReadyLibrary]:
    folder = opt.trees_folder(options)
    if options.write or options.write_chances:
        folder = opt.own_folder(folder)
    library = ReadyLibrary(folder, frozenset({options.symptom}))
    library.machine(options.machine)
    tree = library.require(options.symptom).tree
    own: dict[str, float] = {
        name: step.chance for name, step in tree.steps.items() if isinstance(step, Finding)
    }
    log = opt.existing_log(options)
    machine = None if library.card is None else library.card.machine
    evidence = evidence_of(endings(log, machine) if log is not None else (), options.symptom, own)
    if log is not None:
        log.close()
    parameters = weights(own, evidence.counts)
    study = order_study(tree, library.table, means(parameters), options.lockouts)
    return _Result(tree, evidence, parameters, study), library


def _data(result: _Result, library: ReadyLibrary) -> dict[str, Any]:
    study = result.study
    return {
        "library": library.content.file(),
        "symptom": result.tree.symptom,
        "expected_minutes": study.now.minutes,
        "best_minutes": study.best.minutes,
        "runs": [
            {
                **opt.fields(run, "steps", "best", "minutes", "best_minutes", "exact"),
                "within": run.gap if run.gap < math.inf else None,
                "in_turn": order,
            }
            for run, order in zip(study.runs, study.orders, strict=True)
        ],
        "now": _evaluation(study.now),
        "best": _evaluation(study.best),
        "move": None if study.move is None else _move(study.move),
        "lockouts_kept": study.cap_kept,
        "same_looks": study.same_looks,
        "cases": result.evidence.cases,
        "sure": result.sure,
        "chances": means(result.parameters),
    }


def _evaluation(evaluation: Evaluation) -> dict[str, Any]:
    columns = ("finding", "chance", "minutes")
    return {
        "minutes": evaluation.minutes,
        "with_remedies": evaluation.minutes_with_remedy,
        **opt.fields(evaluation, "caution_minutes", "lockouts", "most_lockouts"),
        "findings": [dict(zip(columns, one, strict=True)) for one in evaluation.by_finding()],
    }


def _move(move: Move) -> dict[str, Any]:
    costs = opt.fields(move.evaluation, "minutes", "lockouts", "most_lockouts")
    return opt.fields(move, "step", "after") | costs


def _say_all(result: _Result, library: ReadyLibrary, options: argparse.Namespace) -> None:
    study, now, best = result.study, result.study.now, result.study.best
    _say(f"{result.tree.symptom}: {result.tree.title}")
    opt.say(f"Library: {library.content.file()}")
    _say(_about_chances(result, options))
    opt.say("")
    _say_table(now, best, exact=all(run.exact for run in study.runs))
    opt.say("")
    slow = [f"{name} ({minutes:.1f})" for name, _, minutes in now.by_finding()[:_SLOWEST]]
    _say(f"Slowest to come to, in minutes: {', '.join(slow)}.")
    if not study.cap_kept:
        _say(
            f"No order was found that takes a lockout at most {study.cap} times on every route; "
            f"the best found takes {best.most_lockouts}."
        )
    if not study.runs:
        _say("There is no run: no two steps can change places without changing what is found.")
    for run, order in zip(study.runs, study.orders, strict=True):
        _say_run(run, order)
    for look in study.same_looks:
        _say(f"Not moved, since they look at the same: {', '.join(look)}.")
    if study.runs:
        opt.say("")
        _say(_about_move(result))
    sure = result.sure
    if sure is not None:
        _say(
            f"How sure: with what is known of the chances, the order above is better with a "
            f"probability of {sure:.0%}."
        )


def _say_table(now: Evaluation, best: Evaluation, *, exact: bool) -> None:
    word = "best" if exact else "best found"
    opt.say(f"{'a case on average':24}{'now':>10}{word:>12}{'saved':>10}")
    rows = (
        ("minutes to the finding", now.minutes, best.minutes),
        ("  of these on cautions", now.caution_minutes, best.caution_minutes),
        ("with the remedy", now.minutes_with_remedy, best.minutes_with_remedy),
        ("lockouts", now.lockouts, best.lockouts),
        ("lockouts at most", now.most_lockouts, best.most_lockouts),
    )
    for name, before, after in rows:
        form = "d" if isinstance(before, int) else ".2f"
        opt.say(f"{name:24}{before:>10{form}}{after:>12{form}}{before - after:>10{form}}")
    shares = [one.caution_minutes / one.minutes if now.minutes else 0.0 for one in (now, best)]
    opt.say(f"{'share on cautions':24}{shares[0]:>10.0%}{shares[1]:>12.0%}")


def _about_chances(result: _Result, options: argparse.Namespace) -> str:
    where = "" if options.machine in (None, "none") else f" of {options.machine}"
    if not result.evidence.cases:
        return f"Chances: as in the file. No case{where} in the log speaks for them."
    cases = f"{result.evidence.cases} case{'' if result.evidence.cases == 1 else 's'}"
    return f"Chances: from the file, which counts as 20 cases, and {cases}{where} in the log."


def _say_run(run: RunStudy, order: Sequence[str]) -> None:
    opt.say("")
    limit = "" if run.exact else f" (best found: {_at_most(run)})"
    if tuple(order) == run.steps:
        _say(f"In the best order already{limit}: {', '.join(run.steps)}.")
        return
    alone = run.minutes - run.best_minutes
    saves = f"; alone it saves {alone:.2f} minutes" if alone >= _WORTH else ""
    _say(f"New order of {len(order)} steps{limit}{saves}:")
    width = max(len(step) for step in order)
    for number, step in enumerate(order, 1):
        place = run.steps.index(step) + 1
        was = "" if place == number else f"was {place}"
        opt.say(f"  {number:>3}  {step:{width}}  {was}".rstrip())


def _at_most(run: RunStudy) -> str:
    """Say how much better an order can be that was not found."""
    if run.gap == math.inf:
        return "the search was cut short"
    # Rounded up: what is said is never less than what is known.
    saved = math.ceil(run.gap * 100) / 100
    return f"another could save {saved:.2f} minutes more at most"


def _about_move(result: _Result) -> str:
    move, now = result.study.move, result.study.now
    if move is None:
        return "No single move saves anything."
    saved = now.minutes - move.evaluation.minutes
    where = "first in its run" if move.after is None else f"after {move.after}"
    most, mean = move.evaluation.most_lockouts, move.evaluation.lockouts
    change = "as before" if abs(mean - now.lockouts) < _WORTH else f"from {now.lockouts:.2f}"
    return (
        f"The one move that saves most: {move.step} {where}. It saves {saved:.2f} minutes; "
        f"lockouts {mean:.2f} on average ({change}), at most {most}."
    )


def _say(text: str) -> None:
    # A path or an id stays in one piece, so that it can be taken from the screen.
    wrapper = textwrap.TextWrapper(
        _WIDTH, subsequent_indent="  ", break_on_hyphens=False, break_long_words=False
    )
    for line in wrapper.wrap(text):
        opt.say(line)


def _out(text: str, options: argparse.Namespace) -> None:
    """Say what came of writing; on standard error where the output is for another program."""
    if options.json:
        print(printable(text).encode("ascii", "backslashreplace").decode(), file=sys.stderr)
    else:
        _say(text)
