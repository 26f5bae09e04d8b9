"""`diagnose order`: what the order of checks costs, what the best would, and which move helps."""

from __future__ import annotations

import argparse
import json
import math
import sys
import textwrap
from typing import TYPE_CHECKING, Any

from msgspec import Struct, to_builtins

from diagnose.commands import options as opt
from diagnose.commands.order_outcomes import add_outcomes, outcomes
from diagnose.commands.order_writing import chances_written, order_written
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.rewriting import Refused
from diagnose.files.arranged import arrangement
from diagnose.files.compose import Unreadable, text_of
from diagnose.files.spans import NoSpan
from diagnose.files.tree import Finding
from diagnose.log.endings import endings
from diagnose.study.chances import (
    CaseEvidence,
    Chances,
    evidence_of,
    learned,
    means,
    ranges,
    sureness,
)
from diagnose.study.order.hints import Hint, after_hints, hint_words
from diagnose.study.order.study import order_study
from diagnose.text import printable

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.files.tree import Tree
    from diagnose.study.order.study import Evaluation, Move, OrderStudy, RunStudy

_WIDTH = 79
#: Findings that are named as the slowest to come to.
_SLOWEST = 3
#: Minutes that are worth a word.
_WORTH = 0.005
#: An order that saves less, or is better with a smaller probability, is not worth a change: a gain
#: below a tenth of a minute is within what minutes in a file are rounded to, and people have to
#: learn a new order. No published source.
WORTH_MINUTES, WORTH_SURE = 0.1, 0.8
#: Cases that are named where some are left out.
_NAMED = 5


class _Result(Struct, frozen=True):
    """A study and what it rests on: the tree, what cases tell, what is known of its chances.

    `hints` are steps that the best order puts before one that they may need.
    """

    tree: Tree
    evidence: CaseEvidence
    known: Chances
    study: OrderStudy
    hints: Sequence[Hint]

    @property
    def sure(self) -> float | None:
        """The probability that the best order is better; None where it is the present one."""
        now, best = self.study.now, self.study.best
        if now is best:
            return None
        pairs = zip(now.routes.findings, best.routes.findings, strict=True)
        gains = [before.minutes - after.minutes for before, after in pairs]
        names = [now.plan.ids[place] for place in now.plan.findings]
        return sureness([self.known.parameters[name] for name in names], gains)

    @property
    def worth(self) -> bool | None:
        """Whether the best order is worth a change; None where it is the present one."""
        sure = self.sure
        if sure is None:
            return None
        saved = self.study.now.minutes - self.study.best.minutes
        # Fewer lockouts were asked for: that is worth it by itself.
        fewer = self.study.cap is not None
        return fewer or (saved >= WORTH_MINUTES and sure >= WORTH_SURE)


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
        "--sort",
        action="store_true",
        help="with --write: put the steps into walking order, each with its comments",
    )
    parser.add_argument(
        "--write-chances", action="store_true", help="put the chances that cases tell into the file"
    )
    parser.add_argument("--yes", action="store_true", help="write without asking")
    add_outcomes(parser)
    options = parser.parse_args(args)
    if options.sort and not options.write:
        raise opt.WrongUse("--sort goes with --write.")
    if options.outcomes:
        return outcomes(options)
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
        hint = " With `--lockouts 1` an order may pass."
        hint = hint if options.write and options.lockouts is None else ""
        _out(f"The rules have that against the change: nothing was written.{hint}", options)
        return opt.BAD_ANSWER
    for line in said:
        _out(line, options)
    return opt.OK if result.study.cap_kept else opt.BAD_ANSWER


def _written(result: _Result, library: ReadyLibrary, options: argparse.Namespace) -> list[str]:
    """Write what was asked for and agreed to, and return what is to be said of it."""
    tree = result.tree
    said: list[str] = []
    if options.write and result.study.cap_kept:
        # The chances go into the file as it is then.
        tree, said = order_written(library.folder, tree, result.study, options)
    if options.write_chances:
        said += chances_written(library.folder, tree, result.evidence, options)
    return said


def _count(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 6):
        raise argparse.ArgumentTypeError("write a whole number from 0")
    return int(text)


def _studied(options: argparse.Namespace) -> tuple[_Result, ReadyLibrary]:
    folder = opt.trees_folder(options)
    if options.write or options.write_chances:
        folder = opt.own_folder(folder)
    library = ReadyLibrary(folder, frozenset({options.symptom}))
    library.machine(options.machine)
    tree = library.require(options.symptom).tree
    findings = [name for name, step in tree.steps.items() if isinstance(step, Finding)]
    log = opt.existing_log(options)
    machine = None if library.card is None else library.card.machine
    cases = endings(log, machine) if log is not None else ()
    evidence = evidence_of(cases, options.symptom, findings, tree.today)
    if log is not None:
        log.close()
    known = learned(tree, evidence.counts)
    study = order_study(tree, library.table, means(known.parameters), options.lockouts)
    hints = after_hints(tree, study, _comments(library, tree))
    return _Result(tree, evidence, known, study, hints), library


def _comments(library: ReadyLibrary, tree: Tree) -> dict[str, str]:
    """Return the comments of each step, as the file has them; none where its layout is another."""
    path = library.folder / f"{tree.symptom}.yaml"
    try:
        entries = arrangement(text_of(path, str(path)), str(path), ("steps",)).entries
    except (NoSpan, Unreadable):
        return {}
    return {
        name: " ".join(line.strip("# ") for line in text.splitlines() if line.strip()[:1] == "#")
        for name, text in entries.items()
    }


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
        "left_out": result.evidence.left_out,
        "others": result.evidence.others,
        "sure": result.sure,
        "worth": result.worth,
        "hints": to_builtins(result.hints),
        "chances": means(result.known.parameters),
        "ranges": ranges(result.known.parameters),
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
    for line in _left_out(result.evidence):
        _say(line)
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
        if not result.worth:
            _say(_not_worth(result, sure))
    for hint in result.hints:
        _say(hint_words(hint))


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
    if result.known.filed:
        count = f"{sum(result.known.counts.values()):.4g}"
        return f"Chances: as in the file, which has learned from {count} cases, more than are here."
    if not result.evidence.cases:
        return f"Chances: as in the file. No case{where} in the log speaks for them."
    cases = f"{result.evidence.cases} case{'' if result.evidence.cases == 1 else 's'}"
    return f"Chances: from the file, which counts as 20 cases, and {cases}{where} in the log."


def _left_out(evidence: CaseEvidence) -> Iterator[str]:
    """Yield which cases do not count, and why."""
    for id_, cases in evidence.left_out.items():
        yield (
            f"Left out: {_named(cases)}. This tree has no finding {id_}: if one was called so "
            f"before, write `was: [{id_}]` there."
        )
    if evidence.others:
        yield (
            f"Left out: {_named(evidence.others)}. Service found what no finding is: "
            "`diagnose cases --unknown` lists it."
        )


def _named(cases: Sequence[str]) -> str:
    """Return some cases by their names, and how many more there are."""
    more = f" and {len(cases) - _NAMED} more" if len(cases) > _NAMED else ""
    return f"case{'' if len(cases) == 1 else 's'} {', '.join(cases[:_NAMED])}{more}"


def _not_worth(result: _Result, sure: float) -> str:
    """Return why the best order is not worth a change."""
    saved = result.study.now.minutes - result.study.best.minutes
    if saved < WORTH_MINUTES:
        return f"Not worth a change: it saves {saved:.2f} minutes, less than {WORTH_MINUTES:g}."
    return (
        f"Not worth a change yet: a probability of {sure:.0%} is less than {WORTH_SURE:.0%}. "
        "More cases will tell."
    )


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
