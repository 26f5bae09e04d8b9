"""`diagnose order SYMPTOM --outcomes`: how simulated cases of a tree end."""

from __future__ import annotations

import json
import textwrap
from typing import TYPE_CHECKING, Any, Final

from diagnose.case.visit import Visit
from diagnose.commands import options as opt
from diagnose.commands.progress import Progress
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.drill.outcomes import Machine, Person, dearest, outcomes_of
from diagnose.files.site import CALL_OUT
from diagnose.files.tree import ROLES

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator

    from diagnose.drill.outcomes import Dearest, Outcomes, Share, Step

#: Cases that are simulated, and their first seed.
CASES, SEED = 300, 1
_MOST_CASES: Final = 100_000
#: As many causes and checks are named.
_NAMED: Final = 3
_WIDTH: Final = 79


def add_outcomes(parser: opt.Parser) -> None:
    """Add what a simulation is asked for with."""
    group = parser.add_argument_group("simulated cases")
    group.add_argument(
        "--outcomes", action="store_true", help="say how simulated cases of this symptom end"
    )
    group.add_argument(
        "--cases", metavar="N", type=_number, default=CASES, help=f"how many ({CASES})"
    )
    group.add_argument(
        "--seed", metavar="N", type=_number, default=SEED, help="the same cases again (1)"
    )
    group.add_argument(
        "--as", dest="role", choices=ROLES, default="operator", help="who walks them (operator)"
    )


def _number(text: str) -> int:
    import argparse

    if not (text.isascii() and text.isdecimal() and 0 < int(text[:9]) <= _MOST_CASES >= int(text)):
        raise argparse.ArgumentTypeError(f"write a whole number from 1 to {_MOST_CASES}")
    return int(text)


def outcomes(options: argparse.Namespace) -> int:
    """Walk simulated cases, and say how they end. Returns 0."""
    library = ReadyLibrary(opt.trees_folder(options), frozenset({options.symptom}))
    library.machine(options.machine)
    tree = library.require(options.symptom)
    site = library.content.site
    visit = Visit(
        tree=library,
        table=library.table,
        card=library.card,
        site=site,
        role=options.role,
        call_out_minutes=CALL_OUT if site is None else site.call_out_minutes,
    )
    person = Person(visit)
    silent = options.json
    with Progress(options.cases, plain=options.plain, silent=silent, what="simulated") as progress:
        cases = []
        for number in range(options.cases):
            cases.append(person.walks(Machine(library, options.symptom, options.seed + number)))
            progress.step()
    found = outcomes_of(cases)
    bad = sum(len(case.slipped) for case in cases if not case.well)
    with Progress(bad, plain=options.plain, silent=silent, what="simulated") as progress:
        costs = dearest(person, cases, progress.step)
    if options.json:
        opt.say(json.dumps(_data(options, found, costs)))
        return opt.OK
    opt.say(f"{tree.symptom}: {tree.title}")
    for line in _lines(options, found, costs):
        for piece in textwrap.wrap(line, _WIDTH, subsequent_indent="  ", break_on_hyphens=False):
            opt.say(piece)
    return opt.OK


def _lines(options: argparse.Namespace, found: Outcomes, costs: Dearest) -> Iterator[str]:
    machine = "no machine card" if options.machine in (None, "none") else options.machine
    yield (
        f"Simulated: {options.cases} cases on {machine}, by {options.role}, from seed "
        f"{options.seed}. Causes come by the chances of the file, answers are wrong by its slips, "
        "and one question in 20 is answered with not sure."
    )
    yield f"Of causes that this person may put right: cured {_share(found.cured)}."
    if found.cured.of:
        yield f"  Referred needlessly: {found.cured.of - found.cured.well}."
    yield (
        f"Of causes for others: referred with the cause among the top three {_share(found.named)}."
    )
    yield f"Half of the cases take at most {found.replies:g} replies, {found.minutes:.1f} minutes."
    missed = [
        f"{_named(options, cause)} ({bad} of {of})" for cause, bad, of in found.missed[:_NAMED]
    ]
    yield f"Missed most: {', '.join(missed) or 'none'}."
    dear = [f"{_named(options, step)} ({count})" for step, count in costs.steps[:_NAMED]]
    yield (
        f"Cases lost by the wrong answer at one check alone: {', '.join(dear) or 'none'}. "
        f"Lost without any wrong answer: {costs.without}."
    )


def _share(share: Share) -> str:
    """Return a share in 100 with its range, and of how many it is."""
    if not share.of:
        return "none (there was no such case)"
    low, high = (100 * end for end in share.range)
    percent = 100 * share.well / share.of
    return f"{percent:.0f} of 100 ({low:.0f} to {high:.0f}, by {share.of} cases)"


def _named(options: argparse.Namespace, step: Step) -> str:
    """Return a step, with its symptom where that is another one."""
    return step[1] if step[0] == options.symptom else "/".join(step)


def _data(options: argparse.Namespace, found: Outcomes, costs: Dearest) -> dict[str, Any]:
    def share(one: Share) -> dict[str, Any]:
        return {"well": one.well, "of": one.of, "range": one.range if one.of else None}

    return {
        **opt.fields(options, "symptom", "machine", "role", "cases", "seed"),
        "cured": share(found.cured),
        "named": share(found.named),
        **opt.fields(found, "replies", "minutes"),
        "missed": [
            {"symptom": symptom, "finding": finding, "bad": bad, "of": of}
            for (symptom, finding), bad, of in found.missed
        ],
        "slips": [
            {"symptom": symptom, "step": step, "lost": count}
            for (symptom, step), count in costs.steps
        ],
        "lost_without_slip": costs.without,
    }
