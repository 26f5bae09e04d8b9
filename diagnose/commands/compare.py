"""`diagnose compare`: what an edit does to a library before it goes live, lost cautions first."""

from __future__ import annotations

import json
from contextlib import ExitStack
from functools import cached_property
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from msgspec import Struct, to_builtins
from msgspec.structs import replace

from diagnose.case.screens import as_data
from diagnose.commands import options as opt
from diagnose.commands.change_log import note_down
from diagnose.commands.compared_cards import compared_cards
from diagnose.commands.earlier import at_revision
from diagnose.files.cautions import Caution
from diagnose.files.library import CAUTIONS_FILE, MEASUREMENTS_FILE, load
from diagnose.files.measurements import Declared
from diagnose.files.tree import Finding
from diagnose.paper import markdown
from diagnose.rules.check import check, errors, failing_cases
from diagnose.study.compare import (
    Compared,
    Differences,
    Numbering,
    Weaker,
    compared_rounds,
    compared_trees,
    differences,
    weaker_cautions,
)
from diagnose.study.compare_machines import Fleet, contacts_gone, lost_on_machines, taken_away
from diagnose.study.coverage import without_case
from diagnose.study.in_force import caution_table
from diagnose.study.order.study import evaluated
from diagnose.text import did_you_mean, shortened

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable, Iterator, Sequence

    from diagnose.files.library import Library
    from diagnose.files.problems import Problem
    from diagnose.files.tree import Tree
    from diagnose.study.in_force import CautionTable
    from diagnose.study.lost_cautions import Loss

#: As many problems are printed where the new library has errors.
_MOST_PROBLEMS: Final = 100
#: As many letters of a step's words, or of a text that was changed.
_WORDS: Final = 60
#: As many steps of a route are shown, those before the caution is missed.
_ROUTE: Final = 6

#: As many machines are named.
_MACHINES: Final = 4

#: What a change to a worked case's end is called in `check`: here it is told with the rest.
_WORKED: Final = "worked-case"


class _Side(Struct, frozen=True, kw_only=True, dict=True):
    """One of the two libraries, with its errors; but worked cases that end elsewhere, which are
    told with the rest. `only` is the tree that was named by its file, else all count.
    """

    library: Library
    bad: tuple[Problem, ...]
    only: str | None = None

    @cached_property
    def table(self) -> CautionTable:
        """The cautions, made ready; those of a side without errors in them."""
        return caution_table(self.library.cautions)

    def trees(self) -> dict[str, Tree]:
        """Return the trees that are compared, by symptom."""
        trees = self.library.trees
        return trees if self.only is None else {self.only: trees[self.only]}

    def fleet(self) -> Fleet:
        """Return the machines, and the symptoms and rounds without errors that they may have."""
        library = self.library
        trees = {
            name: tree
            for name, tree in library.trees.items()
            if not self._has_errors(f"{name}.yaml")
        }
        rounds = {
            f"rounds/{name}": one
            for name, one in library.rounds.items()
            if not self._has_errors("rounds", f"{name}.yaml")
        }
        cards = ((name, library.card(name)) for name in library.machines)
        machines = {name: card for name, card in cards if card is not None}
        return Fleet(machines=machines, whats={**trees, **rounds}, table=self.table)

    @cached_property
    def _bad_files(self) -> frozenset[str]:
        return frozenset(problem.file for problem in self.bad)

    def _has_errors(self, *parts: str) -> bool:
        return bool(self._bad_files) and self.library.file(*parts) in self._bad_files

    def bad_in(self, *parts: str) -> list[Problem]:
        """Return the errors of one file of the library."""
        file = self.library.file(*parts)
        return [problem for problem in self.bad if problem.file == file]

    def errors(self) -> list[Problem]:
        """Return the errors of all that is compared."""
        if self.only is None:
            return list(self.bad)
        names = (f"{self.only}.yaml", CAUTIONS_FILE, MEASUREMENTS_FILE)
        return [problem for name in names for problem in self.bad_in(name)]


class _Guard(Struct, frozen=True, kw_only=True):
    """Something that guards people less: what it is called, and in one sentence why.

    `names` are those by which it may be allowed.
    """

    names: tuple[str, ...]
    said: str
    route: str = ""


class _Part(Struct, kw_only=True):
    """What is said of one file of the library: its title, lines, and data for other programs."""

    title: str
    data: dict[str, Any]
    lines: list[str] = []
    guards: list[_Guard] = []


def run(args: Sequence[str]) -> int:
    """Compare two libraries or two trees. Returns 1 where people are guarded less and nobody has
    allowed it, and where the new one has errors or a worked case that ends elsewhere.
    """
    options = _options(args)
    who, why = opt.person(options), " ".join(options.because.split())
    if options.allow and not (who and why):
        raise opt.WrongUse("Say who allows it and why: --name WHO --because WHY.")
    with ExitStack() as stack:
        old_path, new_path = _paths(options, stack)
        new = _side(new_path)
        if options.allow:
            opt.own_folder(new.library.folder)
        bad = new.errors()
        if bad:
            return _refused(bad, options)
        old = _side(old_path)
        _must_be_known(old)
        parts = list(_parts(old, new))
    guards = [guard for part in parts for guard in part.guards]
    allowed = _allowed(options.allow, guards)
    against = [guard for guard in guards if guard not in allowed]
    _say(options, parts, against, allowed)
    if against or any(part.data.get("worked_cases", {}).get("failed") for part in parts):
        return opt.BAD_ANSWER
    if allowed:
        path = note_down(new.library.folder, who, why, [guard.said for guard in allowed])
        _say_noted(options, who, path)
    return opt.OK


def _options(args: Sequence[str]) -> argparse.Namespace:
    parser = opt.parser("compare", "What an edit does to a library before it goes live.")
    parser.add_argument("path", nargs="*", help="two folders or two trees, the old one first")
    parser.add_argument(
        "--git", metavar="REV", help="the old one is the library's folder at this revision"
    )
    parser.add_argument("--format", choices=("text", "md"), default="text", help="md for a review")
    parser.add_argument(
        "--allow",
        metavar="NAME",
        action="append",
        default=[],
        help="a step or caution that may lose",
    )
    parser.add_argument("--because", metavar="WHY", default="", help="why it may: for CHANGES")
    opt.add_name(parser, "who allows it")
    return parser.parse_args(args)


def _paths(options: argparse.Namespace, stack: ExitStack) -> tuple[Path, Path]:
    if options.git is None:
        if len(options.path) != 2:
            raise opt.WrongUse("Give two folders or two trees, the old one first; or --git REV.")
        old, new = map(Path, options.path)
        if old.is_dir() != new.is_dir():
            raise opt.WrongUse("Give two folders, or two trees: not one of each.")
        return old, new
    if len(options.path) > 1:
        raise opt.WrongUse("With --git the old one is a revision: give one folder or tree.")
    new = Path(options.path[0]) if options.path else opt.trees_folder(options)
    folder = new if new.is_dir() else new.parent
    old = stack.enter_context(at_revision(folder, options.git))
    return (old, new) if new.is_dir() else (old / new.name, new)


def _side(path: Path) -> _Side:
    """Return a library, or a tree with the cautions beside it. Raises `Unusable`."""
    is_file = path.suffix == ".yaml" and not path.is_dir()
    library = load(path.parent if is_file else path)
    only = path.stem if is_file else None
    if only is not None and only not in library.symptoms:
        raise opt.Unusable(f"{path}: no tree can be read there.")
    bad = [problem for problem in errors(check(library)) if problem.code != _WORKED]
    return _Side(library=library, bad=tuple(bad), only=only)


def _must_be_known(old: _Side) -> None:
    """Raise `Unusable` where the old cautions had errors, or the old tree cannot be read."""
    for problem in old.bad_in(CAUTIONS_FILE):
        raise opt.Unusable(f"{problem}: nobody can say what was lost from it.")
    if old.only is not None and old.only not in old.library.trees:
        raise opt.Unusable(f"{old.bad_in(f'{old.only}.yaml')[0]}: nobody can say what was lost.")


def _refused(bad: Sequence[Problem], options: argparse.Namespace) -> int:
    said = bad[:_MOST_PROBLEMS]
    more = f"And {len(bad) - len(said)} more. " if len(bad) > len(said) else ""
    last = f"{more}Mend these first: `diagnose check` lists all."
    opt.listed(options, {"problems": as_data(said)}, [*map(str, said), last], "")
    return opt.BAD_ANSWER


# What differs


def _parts(old: _Side, new: _Side) -> Iterator[_Part]:
    numbering = Numbering(old.library.cautions, new.library.cautions)
    yield _cautions(old, new, numbering)
    if old.library.measurements or new.library.measurements:
        yield _measurements(old, new)
    before, after = old.trees(), new.trees()
    if new.only is not None and old.only is not None:
        # Two files are two versions of one tree, whatever they are called.
        before = {new.only: before[old.only]}
    for symptom in dict.fromkeys((*before, *after)):
        if symptom not in after:
            yield _gone(symptom, before[symptom].title)
        elif symptom not in before:
            known = symptom in old.library.symptoms
            yield _come(symptom, after[symptom].title, not_read=known, tree=after[symptom])
        elif old.bad_in(f"{old.only or symptom}.yaml"):
            yield _come(symptom, after[symptom].title, not_read=True)
        else:
            yield _tree(old, new, before[symptom], after[symptom], numbering)
    if new.only is None:
        yield from _rounds(old, new, numbering)
        yield from _machines(old, new, numbering)


def _cautions(old: _Side, new: _Side, numbering: Numbering) -> _Part:
    was, is_ = old.library.cautions, new.library.cautions
    weaker = weaker_cautions(was, is_, numbering.renamed)
    found = differences(was.cautions, is_.cautions, numbering.renamed, (Caution,))
    part = _Part(title=CAUTIONS_FILE, data={})
    part.guards = [_weaker(CAUTIONS_FILE, one) for one in weaker]
    part.data = {"cautions": _data(found), "weaker": [_weaker_data(one) for one in weaker]}
    part.lines = list(_told("caution", found))
    return part


def _measurements(old: _Side, new: _Side) -> _Part:
    was, is_ = old.library.measurements, new.library.measurements
    found = differences(was, is_, {}, (Declared,))
    lines = list(_told("measurement", found))
    return _Part(title=MEASUREMENTS_FILE, data={"measurements": _data(found)}, lines=lines)


def _gone(name: str, title: str) -> _Part:
    return _Part(title=f"{name}: {title}", data={"removed": True}, lines=["It is gone."])


def _come(name: str, title: str, *, not_read: bool, tree: Tree | None = None) -> _Part:
    part = _Part(title=f"{name}: {title}", data={"added": True}, lines=["It is new."])
    if tree is not None and not not_read:
        bare = without_case(tree, [f for f, one in tree.steps.items() if isinstance(one, Finding)])
        part.data["worked_cases"] = {"missing": bare}
        part.lines += _bare(bare)
    if not_read:
        part.data = {"not_compared": True}
        part.lines = []
        said = f"{name}: the old one had errors, so nobody can say what was lost"
        part.guards = [_Guard(names=(name,), said=said)]
    return part


def _tree(old: _Side, new: _Side, was: Tree, is_: Tree, numbering: Numbering) -> _Part:
    found = compared_trees((was, old.table), (is_, new.table), numbering)
    before, after = evaluated(was, old.table), evaluated(is_, new.table)
    failed = failing_cases(new.library, is_, new.table)
    names = [case.name for case in is_.worked_cases]
    worked = {
        "passed": [name for name in names if name not in failed],
        "failed": failed,
        "lost": [case.name for case in was.worked_cases if case.name not in names],
        "missing": list(without_case(is_, found.findings.added)),
    }
    part = _compared(is_.symptom, is_.title, found, is_.steps)
    part.data |= {
        "minutes": {"old": before.minutes, "new": after.minutes},
        "lockouts": {"old": before.lockouts, "new": after.lockouts},
        "worked_cases": worked,
    }
    if abs(before.minutes - after.minutes) >= 0.05:
        part.lines.append(f"minutes to the finding: {before.minutes:.1f} → {after.minutes:.1f}")
    if abs(before.lockouts - after.lockouts) >= 0.005:
        part.lines.append(f"lockouts a case: {before.lockouts:.2f} → {after.lockouts:.2f}")
    part.lines += _bare(worked["missing"])
    for name in failed:
        part.lines.append(f'worked case "{name}": it ends elsewhere now')
    for name in worked["lost"]:
        part.lines.append(f'worked case "{name}": it is gone')
    return part


def _bare(findings: Iterable[str]) -> Iterator[str]:
    """Yield a warning for each new finding that no worked case has come to yet."""
    yield from (
        f"warning: finding {name} is new, and no worked case ends there" for name in findings
    )


def _rounds(old: _Side, new: _Side, numbering: Numbering) -> Iterator[_Part]:
    before, after = old.library.rounds, new.library.rounds
    for name in dict.fromkeys((*before, *after)):
        inside = f"rounds/{name}"
        if name not in after:
            yield _gone(inside, before[name].title)
        elif name not in before or old.bad_in("rounds", f"{name}.yaml"):
            unread = bool(old.bad_in("rounds", f"{name}.yaml"))
            yield _come(inside, after[name].title, not_read=unread)
        else:
            pair = (before[name], old.table), (after[name], new.table)
            found = compared_rounds(*pair, numbering)
            yield _compared(inside, after[name].title, found, after[name].items)


def _machines(old: _Side, new: _Side, numbering: Numbering) -> Iterator[_Part]:
    """Yield what becomes of the machines: of what is offered and guarded there, of their cards."""
    before, after = old.fleet(), new.fleet()
    part = _Part(title="machines/*: on some machines", data={})
    away, lost = taken_away(before, after), lost_on_machines(before, after, numbering)
    for one in away:
        said = f"{one.what}: it is no longer offered on {_few(one.machines)}"
        part.guards.append(_Guard(names=(one.what, *one.machines), said=said))
    for it in lost:
        guard = _lost(it.what, it.loss, it.caution, None)
        said, names = f"{guard.said} of {_few(it.machines)}", (*guard.names, *it.machines)
        part.guards.append(replace(guard, said=said, names=names))
    part.data = {
        "taken_away": [opt.fields(one, "what", "machines") for one in away],
        "cautions": [
            {"what": it.what, "step": it.loss.step, "lost": [it.caution], "machines": it.machines}
            for it in lost
        ],
    }
    if alone := contacts_gone(before, after):
        part.data["no_service_contact"] = alone
        said = f"machines: nobody is named to call for service on {_few(alone)}"
        part.guards.append(_Guard(names=("service", *alone), said=said))
    if part.guards:
        yield part
    for told in compared_cards(old.library, new.library):
        guards = [_Guard(names=names, said=said) for names, said in told.guards]
        yield _Part(title=told.title, data=told.data, lines=told.lines, guards=guards)


def _few(machines: Sequence[str]) -> str:
    """Return names of machines, and of many how many more there are."""
    more = len(machines) - _MACHINES
    shown = machines if more <= 1 else machines[:_MACHINES]
    return ", ".join(shown) + (f" and {more} more" if more > 1 else "")


def _compared(name: str, title: str, found: Compared, tasks: Any) -> _Part:
    guarded = found.guarded
    cautions: dict[str, dict[str, Any]] = {}
    for key, pairs in (("lost", guarded.lost), ("gained", guarded.gained)):
        for loss, caution in pairs:
            step = cautions.setdefault(loss.step, {"step": loss.step, "lost": [], "gained": []})
            step[key].append(caution)
    part = _Part(title=f"{name}: {title}", data={})
    part.guards = [
        *(_lost(name, loss, caution, tasks) for loss, caution in guarded.lost),
        *(_weaker(name, one) for one in guarded.weaker),
    ]
    part.data = {
        "findings": _data(found.findings),
        "steps": _data(found.steps)
        | {"moved": [opt.fields(m, "id", "up", "past") for m in found.moved]},
        "cautions": list(cautions.values()),
        "weaker": [_weaker_data(one) for one in guarded.weaker],
    }
    what = "item" if "/" in name else "step"
    part.lines = [
        *(f"{what} {loss.step}: gains {caution}" for loss, caution in guarded.gained),
        *_told(what, found.steps),
        *_told("finding", found.findings),
        *(
            f"{what} {one.id}: comes {'before' if one.up else 'after'} {', '.join(one.past)} now"
            for one in found.moved
        ),
    ]
    return part


def _lost(name: str, loss: Loss, caution: str, tasks: Any) -> _Guard:
    where = "on any route" if loss.everywhere else "on some route"
    steps = [f"{step} ({answer})" if answer else step for step, answer in loss.route]
    cut = ["…"] if len(steps) > _ROUTE else []
    route = " → ".join([*cut, *steps[-_ROUTE:], loss.step])
    said = f"{name}, {loss.step}: {caution} is no longer in force {where}"
    return _Guard(names=(loss.step, f"{name}.{loss.step}", caution), said=said, route=route)


#: What is said where a key guards people less; the old and the new value go in.
_LESS: Final = {
    "signal": "its signal word is {is_} and was {was}",
    "lockout": "it is no lockout any more",
    "lapses": "it no longer ends when the machine runs",
    "confirm_lines": "its lines are confirmed together and were confirmed one by one",
    "confirm": 'the line "{was}" is no longer confirmed',
    "release": 'the line "{was}" is no longer confirmed at its release',
    "signs": "the sign {was} is gone",
    "service_only": "it is no longer for service only",
    "covers": "a weaker caution stands over it, {is_} instead of {was}",
    "by": "it was for {was} and is for {is_}",
    "who": "it was for {was} and is for {is_}",
    "leave_safe": "it no longer says how to leave the machine",
    "until_mended": "the machine is no longer out of use until it is mended",
    "stops": "it no longer stops the round",
}


def _weaker(name: str, one: Weaker) -> _Guard:
    was, is_ = (shortened(text, _WORDS) for text in (one.was, one.is_))
    said = f"{name}, {one.id}: {_LESS[one.key].format(was=was, is_=is_)}"
    return _Guard(names=(one.id, f"{name}.{one.id}"), said=said)


def _weaker_data(one: Weaker) -> dict[str, str]:
    return {"id": one.id, "key": one.key, "old": one.was, "new": one.is_}


def _data(found: Differences) -> dict[str, Any]:
    return {
        **opt.fields(found, "added", "removed"),
        "changed": [
            opt.fields(one, "id", "keys")
            | ({"answers": to_builtins(one.answers)} if one.answers else {})
            for one in found.changed
        ],
        "renamed": [{"old": was, "new": is_} for was, is_ in found.renamed],
    }


def _told(what: str, found: Differences) -> Iterator[str]:
    yield from (f"{what} {name}: new" for name in found.added)
    yield from (f"{what} {name}: gone" for name in found.removed)
    yield from (f"{what} {was}: called {is_} now" for was, is_ in found.renamed)
    for one in found.changed:
        answers = one.answers
        keys = [key for key in one.keys if answers is None or key not in ("answers", "bands")]
        if keys:
            yield f"{what} {one.id}: other {', '.join(keys)}"
        if answers is not None:
            yield from (f'{what} {one.id}, answer "{answer}": new' for answer in answers.added)
            yield from (f'{what} {one.id}, answer "{answer}": gone' for answer in answers.removed)
            for answer, was, is_ in answers.led:
                yield f'{what} {one.id}, answer "{answer}": leads to {is_}, was {was}'


# What is allowed


def _allowed(names: Sequence[str], guards: Sequence[_Guard]) -> list[_Guard]:
    """Return what the names allow. Raises `WrongUse` for one that stands for nothing."""
    known = list(dict.fromkeys(name for guard in guards for name in guard.names))
    for name in names:
        if name not in known:
            hint = did_you_mean(name, known)
            raise opt.WrongUse(f'Nothing of "{name[:60]}" is lost or weaker.{hint}')
    return [guard for guard in guards if not {*names}.isdisjoint(guard.names)]


# What is said


def _say(
    options: argparse.Namespace,
    parts: Sequence[_Part],
    against: Sequence[_Guard],
    allowed: Sequence[_Guard],
) -> None:
    if options.json:
        opt.say(json.dumps({part.title.partition(":")[0]: part.data for part in parts}))
    elif options.format == "md":
        opt.page("\n".join(_as_markdown(parts, against, allowed)))
    else:
        for line in _as_text(parts, against, allowed):
            opt.say(line)


def _say_noted(options: argparse.Namespace, who: str, path: Path) -> None:
    if not options.json:
        opt.say(f"Allowed by {who}: noted in {path}.")


def _head(number: int) -> str:
    return f"People are guarded less in {number} place{'' if number == 1 else 's'}"


def _as_text(
    parts: Sequence[_Part], against: Sequence[_Guard], allowed: Sequence[_Guard]
) -> Iterator[str]:
    if against:
        yield f"{_head(len(against))}:"
    for route, guards in groupby(against, key=lambda guard: guard.route):
        yield from (f"! {guard.said}." for guard in guards)
        if route:
            yield f"  {route}"
    for guard in allowed:
        yield f"Allowed: {guard.said}."
    told = [part for part in parts if part.lines]
    for part in told:
        yield part.title
        yield from (f"  {line}" for line in part.lines)
    if not told and not against and not allowed:
        yield "Nothing that anybody sees or does has changed."
    elif not against and not allowed:
        yield "No caution is lost, and nothing guards people less."


def _as_markdown(
    parts: Sequence[_Part], against: Sequence[_Guard], allowed: Sequence[_Guard]
) -> Iterator[str]:
    yield markdown.heading(2, _head(len(against)) if against else "No caution is lost")
    yield ""
    for route, guards in groupby(against, key=lambda guard: guard.route):
        yield from (f"- {markdown.strong(guard.said)}" for guard in guards)
        if route:
            yield f"  {markdown.inline(route)}"
    yield from (f"- Allowed: {markdown.inline(guard.said)}" for guard in allowed)
    for part in parts:
        if part.lines:
            yield ""
            yield markdown.heading(3, part.title)
            yield ""
            yield from (f"- {markdown.inline(line)}" for line in part.lines)
