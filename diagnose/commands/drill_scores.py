"""What drills came to: the list with `diagnose drill --scores`, and a page on one trainee."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from diagnose.case.screens import as_data
from diagnose.commands import options as opt
from diagnose.drill.score import Look, UnsafeMove
from diagnose.faces.drill_words import could_happen, counted, ended, minutes, unsafe_in_general
from diagnose.log import clock
from diagnose.log.drills import DrillRecord, tries

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Sequence

#: As many rows as a page has room for.
_MOST_DRILLS, _MOST_MOVES, _MOST_SLOW = 16, 6, 5

#: A drill and the number of its try.
_Try = tuple[int, DrillRecord]


def listed(options: argparse.Namespace, name: str) -> int:
    """List the results of all drills, or of those that were asked for."""
    found = _found(options, name)
    data = [{**as_data(one), "try": number} for number, one in found]
    lines = [*map(_line, found), *_sums(found), *_commonest(found)]
    return opt.listed(options, data, lines, "No drill yet.")


def report(options: argparse.Namespace) -> int:
    """Set a page on one trainee's drills. Returns 0 once it is written."""
    # The typesetter is for this alone.
    from diagnose.commands import drawings as pages
    from diagnose.paper.letters import CannotRender, typeface
    from diagnose.paper.sheets import SMALLEST, Letters
    from diagnose.paper.typesetter import PAPERS, Document

    found = _found(options, options.report)
    if not found:
        raise opt.WrongUse(f"There is no drill of {options.report[:40]}; `--scores` lists them.")
    ending = pages.ending_of(options.output, pages.ENDINGS)
    stem = "-".join(options.report.casefold().split()).replace("/", "-")
    output = Path(options.output or f"{stem}-drills.pdf")
    try:
        face = typeface(options.font)
        letters = Letters(SMALLEST, SMALLEST).on(PAPERS["a4"], face)
        made = Document("trainee", {**letters, **_page(found)}, face).pages(ending)
    except CannotRender as error:
        raise opt.Unusable(f"{error}") from error
    for file in pages.put(output, made):
        opt.say(f"{file}: the drills of {found[-1][1].trainee}.")
    return opt.OK


def _found(options: argparse.Namespace, name: str) -> list[_Try]:
    """Return the drills that were asked for, with their tries counted over all of them."""
    log = opt.existing_log(options)
    drills = log.drills(name or None) if log is not None else []
    return [
        (number, one)
        for number, one in tries(drills)
        if options.symptom in (None, one.symptom)
        and options.seed in (None, one.seed)
        and clock.local(one.at).startswith(options.date)
    ]


def _line(tried: _Try) -> str:
    number, drill = tried
    used = minutes(drill.minutes)
    if drill.tree_minutes is not None:
        used += f" (tree {minutes(drill.tree_minutes)})"
    word = "passed" if drill.passed else "failed"
    seed = f"seed {drill.seed}{' with slips' if drill.slips else ''}"
    again = f"  try {number}, a repeat" if number > 1 else ""
    day, who = clock.local(drill.at)[:10], drill.trainee or "no name"
    unsafe = f"{drill.unsafe} unsafe"
    return f"{day}  {who}  {drill.symptom}  {word}  {used}  {unsafe}  {seed}{again}"


def _sums(found: Sequence[_Try]) -> Iterator[str]:
    """Yield a line for each trainee, who may have been written in capitals or not."""
    by_trainee: dict[str, list[_Try]] = {}
    for number, drill in found:
        by_trainee.setdefault(drill.trainee.casefold(), []).append((number, drill))
    for own in by_trainee.values():
        yield f"{own[-1][1].trainee or 'No name'}: {_sum(own)}"


def _sum(own: Sequence[_Try]) -> str:
    """Return what drills came to; a repeat counts for its unsafe moves alone."""
    fresh = [drill for number, drill in own if number == 1]
    passed = sum(drill.passed for drill in fresh)
    unsafe = sum(drill.unsafe for _, drill in own)
    repeats = len(own) - len(fresh)
    beside = f", {counted(repeats, 'repeat')} beside" if repeats else ""
    drills, moves = counted(len(fresh), "drill"), counted(unsafe, "unsafe move")
    return f"{drills}, {passed} passed, {moves}{beside}."


def _commonest(found: Sequence[_Try]) -> Iterator[str]:
    counts = Counter(unsafe_in_general(move) for _, one in found for move in _moves(one))
    for what, times in counts.most_common(1):
        yield f"The commonest unsafe move: {what}, {counted(times, 'time')}."


def _moves(drill: DrillRecord) -> list[UnsafeMove]:
    moves: list[UnsafeMove] = _read(drill, "unsafe", list[UnsafeMove])
    return moves


def _read(drill: DrillRecord, name: str, kind: Any) -> Any:
    """Return a part of a score as it was kept. Raises `Unusable` where that is damaged."""
    try:
        return msgspec.convert(drill.body.get(name, []), kind)
    except msgspec.ValidationError as error:
        raise opt.Unusable(f"the log is damaged at a drill of {drill.at}; restore it.") from error


def _slow(drill: DrillRecord) -> Iterator[Look]:
    """Yield the checks that told nothing; none of a drill from before that was counted."""
    needed = {look.step for look in _read(drill, "tree_route", list[Look])}
    kept = drill.body.get("route", [])
    for look, fields in zip(_read(drill, "route", list[Look]), kept, strict=True):
        if fields.get("ruled_out") == 0 and look.step not in needed:
            yield look


def _page(found: Sequence[_Try]) -> dict[str, Any]:
    """Return what stands on a trainee's page."""
    drills = [one for _, one in found]
    passed = {one.symptom for number, one in found if number == 1 and one.passed}
    tried = dict.fromkeys(one.symptom for one in drills)
    shown = found[-_MOST_DRILLS:]
    return {
        "title": f"Drills of {drills[-1].trainee}",
        "sum": _sum(found),
        "earlier": len(found) - len(shown),
        "drills": [_row(number, one) for number, one in reversed(shown)],
        "moves": _unsafe(drills),
        "slow": _slowest(drills),
        "open": [symptom for symptom in tried if symptom not in passed],
        "foot": f"Printed {clock.now().astimezone():%Y-%m-%d}. Drills say nothing of real cases.",
    }


def _unsafe(drills: Sequence[DrillRecord]) -> list[dict[str, Any]]:
    """Return the commonest unsafe moves, and what could have happened at the last of each."""
    moves = [move for one in drills for move in _moves(one)]
    could = {unsafe_in_general(move): could_happen(move) for move in moves}
    counts = Counter(map(unsafe_in_general, moves))
    return [
        {"what": what, "times": times, "could": could[what]}
        for what, times in counts.most_common(_MOST_MOVES)
    ]


def _slowest(drills: Sequence[DrillRecord]) -> list[dict[str, Any]]:
    """Return the checks that took most minutes and told nothing."""
    slow: dict[str, list[float]] = {}
    for one in drills:
        for look in _slow(one):
            slow.setdefault(ended(look.title), []).append(look.minutes)
    most = sorted(slow.items(), key=lambda item: -sum(item[1]))
    return [
        {"what": what, "times": len(spent), "minutes": minutes(sum(spent))}
        for what, spent in most[:_MOST_SLOW]
    ]


def _row(number: int, drill: DrillRecord) -> list[str]:
    tree = "" if drill.tree_minutes is None else minutes(drill.tree_minutes)
    seed = f"{drill.seed}{', slips' if drill.slips else ''}"
    return [
        clock.local(drill.at)[:10],
        drill.symptom[:40],
        seed,
        f"{number}",
        "passed" if drill.passed else "failed",
        minutes(drill.minutes),
        tree,
        f"{drill.unsafe}",
    ]
