"""A library's file changed by the program: read again, checked, and only then put in place."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from difflib import unified_diff
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from diagnose.commands.options import Unusable
from diagnose.commands.output import write
from diagnose.files.arranged import arrangement
from diagnose.files.compose import Unreadable, text_of
from diagnose.files.definitions import CAUTIONS
from diagnose.files.library import load
from diagnose.files.places import Places
from diagnose.files.reading import content_hash, read_text, read_tree
from diagnose.files.regular import content
from diagnose.files.spans import NoSpan, Page
from diagnose.files.tree import ChanceFrom, Finding, Question, Reading, Tree
from diagnose.rules.check import check
from diagnose.study.graph import walking_order

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from diagnose.files.cautions import Cautions
    from diagnose.files.library import Library
    from diagnose.files.problems import Problem

#: A worked case that names more steps than it comes to.
_LONGER_CASE = ("worked-case", "warning")
_BYTE_ORDER_MARK = "\N{ZERO WIDTH NO-BREAK SPACE}".encode()


class Refused(Exception):
    """The change would leave the library worse than it is; `problems` says how."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__(f"{len(problems)} problems")
        self.problems = problems


class Change(Struct, frozen=True, kw_only=True):
    """A change to a tree's file that the rules allow: `text` in place of `raw`, which says `tree`.

    `look_at` are the warnings about worked cases that it brings: they are still true.
    """

    path: Path
    raw: bytes
    old: str
    text: str
    tree: Tree
    look_at: tuple[Problem, ...] = ()

    def difference(self) -> Iterator[str]:
        """Yield the lines that differ, in the unified format."""
        old, new = (text.splitlines() for text in (self.old, self.text))
        name = str(self.path)
        return unified_diff(old, new, f"{name} (as it is)", f"{name} (as it would be)", lineterm="")

    def put(self) -> None:
        """Put the text in place. Raises `Unusable` where somebody has changed the file since."""
        _replace(self.path, self.raw, self.text)


class NewChance(Struct, frozen=True, kw_only=True):
    """A chance as it is written, with what it comes from."""

    chance: str
    estimate: str
    cases: str


def new_order(folder: Path, old: Tree, new: Tree, *, sort: bool = False) -> Change:
    """Return the change that puts a new order of checks into the file of a tree.

    Only where arrows lead changes, and `passes` is put in where it was understood before: steps
    stay where they stand, each with its comments, or are put into walking order (`sort`). Worked
    cases end where they ended. Raises `Unusable` and `Refused`.
    """
    path, page = _page(folder, old)
    try:
        if new.start != old.start:
            page.change(("start",), new.start)
        for name, step in old.steps.items():
            after = new.steps[name]
            if isinstance(step, Question) and isinstance(after, Question):
                _arrows(page, name, step, after)
        text = page.text()
        if sort:
            order = walking_order(new)
            text = arrangement(text, str(path), ("steps",)).text(order)
            new = replace(new, steps={name: new.steps[name] for name in order})
    except NoSpan as error:
        raise Unusable(f"{error} Nothing was changed.") from error
    return _allowed(path, text, old, new)


def new_chances(folder: Path, tree: Tree, chances: Mapping[str, NewChance]) -> Change:
    """Return the change that puts chances into a tree's file, each with what it comes from.

    The estimates of a file that has learned before stay as they were typed. One of format 1 is
    raised to 3, and says then what a cause for service meant in it.

    Raises `Unusable` and `Refused`.
    """
    path, page = _page(folder, tree)
    steps = dict(tree.steps)
    try:
        said = page.value(("format",))
        if said in ("1", "2"):
            page.change(("format",), "3")
        for name, step in tree.steps.items():
            if isinstance(step, Finding):
                if said == "1" and step.until_mended is not None:
                    page.put_after(("steps", name, "who"), f"until_mended: {step.until_mended}")
                steps[name] = _with_chance(page, name, step, chances[name])
    except NoSpan as error:
        raise Unusable(f"{error} Nothing was changed.") from error
    return _allowed(path, page.text(), tree, replace(tree, steps=steps))


def _with_chance(page: Page, name: str, step: Finding, new: NewChance) -> Finding:
    """Have a chance written, and return the finding as it is then."""
    at = ("steps", name)
    if float(new.chance) != step.chance:
        page.change((*at, "chance"), new.chance)
    estimate = step.estimate if step.chance_from is not None else float(new.estimate)
    if step.chance_from is None:
        entry = f"chance_from: {{estimate: {new.estimate}, cases: {new.cases}}}"
        page.put_after((*at, "chance"), entry)
    elif float(new.cases) != step.chance_from.cases:
        page.change((*at, "chance_from", "cases"), new.cases)
    comes_from = ChanceFrom(estimate=estimate, cases=float(new.cases))
    return replace(step, chance=float(new.chance), chance_from=comes_from)


def add_caution(path: Path, name: str, block: str) -> None:
    """Put a caution behind the others of a `cautions.yaml`. Raises `Unusable`."""
    raw = _raw(path)
    _replace(path, raw, with_caution(_decoded(path), path, name, block))


def with_caution(text: str, path: Path, name: str, block: str) -> str:
    """Return the text of a `cautions.yaml` with one more; all else stays byte for byte.

    `block` is its id and its keys, as they would stand without an indent. Raises `Unusable`.
    """
    old, problems = read_text(CAUTIONS, text, str(path))
    if old is None:
        raise Unusable(f"{problems[0]} Mend this file first.")
    page = Page(text, str(path))
    try:
        page.put_last(("cautions",), block)
    except NoSpan as error:
        raise Unusable(f"{error} Nothing was changed.") from error
    new = page.text()
    again, problems = read_text(CAUTIONS, new, str(path))
    if again is None or _without(again, name) != old or name not in again.cautions:
        why = f" ({problems[0].message})" if problems else ""
        raise Unusable(f"{path}: no caution can be put into its text{why}; nothing was changed.")
    return new


def _without(cautions: Cautions, name: str) -> Cautions:
    """Return the cautions without one of them."""
    others = {one: caution for one, caution in cautions.cautions.items() if one != name}
    return replace(cautions, cautions=others)


def _arrows(page: Page, name: str, old: Question, new: Question) -> None:
    for number, (was, now) in enumerate(zip(old.exits, new.exits, strict=True)):
        if was.to != now.to:
            page.change(("steps", name, *old.arrow_at(number)), now.to)
    if new.passes is not None and old.passes is None:
        last = "bands" if isinstance(old, Reading) else "answers"
        page.put_before(("steps", name, last), "passes", new.passes)


def figures(value: float) -> str:
    """Return a positive number to four figures, never as a power of ten."""
    places = 0
    while round(value, places) < 1000 * 10.0**-places and places < 20:
        places += 1
    return f"{value:.{places}f}".rstrip("0").rstrip(".") if places else f"{value:.0f}"


def as_typed(value: float) -> str:
    """Return a number that reads back as itself, never as a power of ten."""
    text = f"{Decimal(repr(value)):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _page(folder: Path, tree: Tree) -> tuple[Path, Page]:
    """Return a tree's file as a page. Raises `Unusable` where it is not what the tree was."""
    path = folder / f"{tree.symptom}.yaml"
    text = _decoded(path)
    current, _ = read_tree(text, str(path))
    _unchanged(path, current, tree)
    return path, Page(text, str(path))


def _unchanged(path: Path, current: Tree | None, known: Tree) -> None:
    """Raise `Unusable` where a file is not what it was when the tree was read."""
    if current is None or content_hash(current) != content_hash(known):
        raise Unusable(f"{path}: the file has changed meanwhile; try again.")


def _allowed(path: Path, text: str, old: Tree, meant: Tree) -> Change:
    """Return a change of a tree's file if it says what is meant and brings no new problem."""
    raw = _raw(path)
    again, problems = read_tree(text, str(path))
    if again is None or content_hash(again) != content_hash(meant):
        why = f" ({problems[0].message})" if problems else ""
        raise Unusable(f"{path}: the change cannot be put into its text{why}; nothing was changed.")
    library = load(path.parent)
    _unchanged(path, library.trees.get(old.symptom), old)
    new = _new_problems(library, again, text)
    against = [problem for problem in new if (problem.code, problem.severity) != _LONGER_CASE]
    if against:
        raise Refused(against)
    return Change(path=path, raw=raw, old=_decoded(path), text=text, tree=again, look_at=tuple(new))


def _replace(path: Path, raw: bytes, text: str) -> None:
    """Put a new text in the place of what a file held. Raises `Unusable` if it has changed."""
    if _raw(path) != raw:
        raise Unusable(f"{path}: the file has changed meanwhile; try again.")
    mark = _BYTE_ORDER_MARK if raw.startswith(_BYTE_ORDER_MARK) else b""
    write(str(path), mark + text.encode())


def _decoded(path: Path) -> str:
    try:
        return text_of(path, str(path))
    except Unreadable as error:
        raise Unusable(f"{error.problem}") from error


def _raw(path: Path) -> bytes:
    try:
        return content(path)
    except OSError as error:
        reason = (error.strerror or "it cannot be read").lower()
        raise Unusable(f"{path}: {reason}; nothing was changed.") from error


def _new_problems(library: Library, tree: Tree, text: str) -> list[Problem]:
    """Return what the rules have against the library with this tree, if it is more than without.

    A warning may move to another step with the order: what counts is how many there are of a kind.
    """
    before = Counter(_kind(problem) for problem in check(library))
    file = library.file(f"{tree.symptom}.yaml")
    changed = replace(
        library,
        trees={**library.trees, tree.symptom: tree},
        places={**library.places, file: Places(text)},
    )
    after = check(changed)
    now = Counter(map(_kind, after))
    return [problem for problem in after if now[_kind(problem)] > before[_kind(problem)]]


def _kind(problem: Problem) -> tuple[str, str]:
    return problem.file, problem.code
