"""What of a text can be read although some of it is no YAML, and where its slips are.

A slip is proved by its repair: once the line is as it was meant, its part of the file can be read.
So the place is that of the slip itself, not of the line at which a parser gives up, and the rest of
the file is read with it. What nothing repairs is left out, the rest is read all the same.
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import TYPE_CHECKING, Final, NamedTuple

from msgspec.structs import replace

from diagnose.files import whole_files as refusals
from diagnose.files.compose import CONTROL, Unreadable, compose, hidden
from diagnose.files.definitions import FILES
from diagnose.files.kinds import OneOf, Record
from diagnose.files.problems import refused
from diagnose.files.refusals import Refusal
from diagnose.files.slips import ODD_SPACES, misplaced, slips_of, standing
from diagnose.text import nearest

if TYPE_CHECKING:
    from collections.abc import Iterator

    import yaml

    from diagnose.files.kinds import Kind
    from diagnose.files.problems import Problem
    from diagnose.files.slips import Slip

#: As many characters are composed in one file to prove slips: a tenth of a second's worth.
_MOST_TRIED: Final = 2_000_000
#: What each composing costs besides, in characters.
_EACH: Final = 300
#: As many slips are looked for in one file.
_MOST_SLIPS: Final = 100
#: So far above the place at which a parser gives up a slip is looked for, in lines.
_FARTHEST: Final = 200
#: So many lines are tried at other indentations, and so often is the whole text.
_NEAR: Final = 4
_WHOLE_TRIES: Final = 4

_BLANK: Final = " \t\u00a0\u2007\u202f\u3000"
_ODD: Final = re.compile(f"[\t{ODD_SPACES}]")
#: A line that says something, and one that begins an entry of the file itself.
_SAYS: Final = re.compile(r" *[^ #\r]")
_TOP_ENTRY: Final = re.compile(r"(?!-(\s|$))\S")
_SECOND: Final = re.compile(r"(---|\.\.\.)(\s|$)")
_MERGE: Final = re.compile(r"(<{7}|={7}|>{7}|\|{7})(\s|$)")
_TWO_VERSIONS: Final = (
    "Write one of the two versions, without the lines <<<<<<<, ======= and >>>>>>>."
)
_NO_SPACE: Final = (
    "Write plain spaces at the beginning of this line: this is a tab, or another space."
)
#: A key with its value in the lines below.
_HEADER: Final = re.compile(r"\s*[^\s#-][^#]*:\s*(#.*)?$")


class Composed(NamedTuple):
    """The top node of a text (None: nothing of it can be read), and what is no YAML in it.

    `text` is what was composed. It is as long as what was typed, line for line; `mended` are those
    lines of it, from 1, that do not say what was typed.
    """

    top: yaml.MappingNode | None
    text: str
    problems: list[Problem]
    mended: frozenset[int]

    def typed(self, problems: list[Problem]) -> list[Problem]:
        """Return those of some problems that stand in what was typed."""
        return [one for one in problems if one.line not in self.mended]


def composed(text: str, name: str) -> Composed:
    """Compose a library file's text, or what can be read of it; `name` stands in the problems."""
    try:
        return Composed(compose(text, name), text, [], frozenset())
    except Unreadable as error:
        if error.problem.code not in _IN_A_PART:
            return Composed(None, text, [error.problem], frozenset())
        return _Recovery(text, name).rest(error.problem)


#: What is wrong with a part of a file, while the others may be well.
_IN_A_PART: Final = ("yaml", "anchor", "control-character")


class _Spent(Exception):
    """As much was composed as there may be."""


class _Part(NamedTuple):
    """The lines of one entry, from `start` to before `end`, counted from 0."""

    start: int
    end: int


class _Recovery:
    """One text on its way to one that can be read."""

    def __init__(self, text: str, name: str) -> None:
        self._name = name
        self._typed = text.split("\n")
        self._lines = [*self._typed]
        self._mended: set[int] = set()
        self._problems: list[Problem] = []
        self._left = _MOST_TRIED

    def rest(self, first: Problem) -> Composed:
        """Return what can be read, `first` being what the parser has against the whole."""
        self._hidden()
        self._merge_marks()
        self._indentation()
        top = None
        if any(map(_SECOND.match, self._lines[first.line - 1 : first.line])):
            return Composed(None, "", [first], frozenset())
        try:
            parts = self._parts()
            # Where the parser gave up first: much may have to be left for the rest.
            near = sum(part.start < first.line for part in parts)
            for part in [*parts[max(near - 2, 0) : near][::-1], *parts]:
                self._mend(part)
            top = self._whole(parts)
        except _Spent:
            pass
        problems = sorted(set(self._problems)) or [first]
        mended = frozenset(line + 1 for line in self._mended)
        return Composed(top, "\n".join(self._lines), problems, mended)

    def _note(self, refusal: Refusal, line: int, column: int, following: int = 0) -> None:
        """Note a problem at a line and column from 0."""
        column = min(column, len(self._typed[line]))
        problem = refused(self._name, refusal, line + 1, column + 1, following=following)
        self._problems.append(problem)

    def _put(self, at: int, line: str) -> None:
        """Have a line say what was meant."""
        carriage = "\r" if self._lines[at].endswith("\r") else ""
        self._lines[at] = line.removesuffix("\r") + carriage
        self._mended.add(at)

    # What can be told from characters and lines alone.

    def _hidden(self) -> None:
        for at, line in enumerate(self._lines):
            bare = line.removesuffix("\r")
            if not bare.isprintable() and (found := CONTROL.search(bare)):
                if len(self._problems) < _MOST_SLIPS:
                    self._note(hidden(found[0]), at, found.start())
                self._put(at, CONTROL.sub(" ", bare))

    def _merge_marks(self) -> None:
        """Of what two people wrote, the first is read on."""
        inside = dropped = False
        for at, line in enumerate(self._lines):
            mark = _MERGE.match(line)
            if not mark and not dropped:
                continue
            if mark and mark[1][0] == "<":
                if len(self._problems) < _MOST_SLIPS:
                    self._note(refusals.yaml(_TWO_VERSIONS), at, 0)
                inside = True
            elif mark and inside:
                dropped = inside = mark[1][0] != ">"
            elif not inside:
                continue
            self._put(at, "")

    def _indentation(self) -> None:
        """Find what is no plain space before the text of a line; the first stands for all."""
        found: list[tuple[int, int]] = []
        widths: dict[str, int] = {}
        for at, line in enumerate(self._lines):
            space = line[: len(line) - len(line.lstrip(_BLANK))]
            odd = _ODD.search(space)
            if odd and line.strip():
                found.append((at, odd.start()))
                widths.setdefault(space, self._fitting(at, space))
                self._put(at, " " * widths[space] + line[len(space) :])
        if found:
            at, column = found[0]
            self._note(refusals.yaml(_NO_SPACE), at, column, len(found) - 1)

    def _fitting(self, at: int, space: str) -> int:
        """Return how far in a line most likely is that has other spaces at its beginning."""
        if "\t" not in space:
            return len(space)
        above = [line for line in self._lines[max(at - 40, 0) : at] if line.strip()]
        below = [line for line in self._lines[at + 1 : at + 40] if line.strip()]
        known = {_indent(line) for line in (*above, *below) if line[0] != "\t"}
        last = above[-1] if above else ""
        least = _indent(last) + bool(_HEADER.match(last))
        widths = [len(space.expandtabs(width)) for width in (2, 4, 8)]
        fitting = [width for width in widths if width >= least]
        return next((width for width in fitting if width in known), [*fitting, least][0])

    # What a parser has to prove.

    def _parts(self) -> list[_Part]:
        """Return the entries of the file, and those of an entry that has some below it."""
        starts: list[int] = []
        inner: int | None = None
        below = False
        for at in range(len(self._lines)):
            if not _SAYS.match(self._lines[at]):
                continue
            if inner and _indent(self._lines[at]) < inner:
                self._put_right(at, inner)
            line = self._lines[at]
            if _TOP_ENTRY.match(line):
                starts.append(at)
                inner, below = None, bool(_HEADER.match(line))
            elif below and (inner is None or _indent(line) == inner):
                inner = _indent(line)
                starts.append(at)
        return [_Part(*both) for both in pairwise([*starts, len(self._lines)])]

    def _put_right(self, at: int, inner: int) -> None:
        """Have a line stand under its likes in the entry above, where it belongs to that."""
        line = self._lines[at]
        name = line.partition(":")[0].strip()
        at_the_edge = _TOP_ENTRY.match(line)
        if at_the_edge and name in _TOP:
            return
        if at_the_edge and name in _KEYS:
            self._accept(at, standing(line, self._beside(at, inner)))
        elif _HEADER.match(line) and not (at_the_edge and nearest(name, _TOP)):
            self._accept(at, standing(line, inner))

    def _beside(self, at: int, inner: int) -> int:
        """Return how far in the other keys of the entry stand that a line belongs to."""
        for line in self._lines[at - 1 :: -1]:
            if _indent(line) <= inner and _SAYS.match(line):
                break
            if line.partition(":")[0].strip() in _KEYS:
                return _indent(line)
        below = next(filter(_SAYS.match, self._lines[at + 1 :]), "")
        return max(_indent(below), inner + 1)

    def _accept(self, at: int, slip: Slip, code: str = "yaml") -> None:
        self._note(Refusal(code, slip.message), at, slip.column)
        self._put(at, slip.meant)

    def _give_up(self, fault: Problem) -> None:
        """Note what no slip explains, at a place of what was typed."""
        last = len(self._typed)
        line = min(fault.line, last)
        longest = len(self._typed[line - 1]) + 1
        column = longest if fault.line > last else min(fault.column, longest)
        self._problems.append(replace(fault, line=line, column=column))

    def _fault(self, part: _Part) -> Problem | None:
        """Return what is no YAML in a part, at its place in the file."""
        text = "\n".join([*self._lines[part.start : part.end], ""])
        self._left -= len(text) + _EACH
        if self._left < 0:
            raise _Spent
        try:
            compose(text, self._name)
        except Unreadable as error:
            problem = error.problem
            listed = re.match(r"\s*-(\s|$)", text)
            if problem.code in _IN_A_PART or (problem.code == "wrong-shape" and not listed):
                return replace(problem, line=part.start + problem.line)
        return None

    def _mend(self, part: _Part) -> None:
        """Mend the slips of a part, or leave it out."""
        while (fault := self._fault(part)) is not None and len(self._problems) < _MOST_SLIPS:
            proved = self._proved(part, fault)
            if proved is None:
                self._give_up(fault)
                self._leave_out(part)
                return
            self._accept(*proved, "anchor" if fault.code == "anchor" else "yaml")

    def _proved(self, part: _Part, fault: Problem) -> tuple[int, Slip] | None:
        """Return the line and slip without which the part is read whole, or at least further."""
        last = min(fault.line, part.end) - 1
        further = None
        for at, slip in self._tried(range(last, max(part.start, last - _FARTHEST) - 1, -1)):
            typed = self._lines[at]
            self._lines[at] = slip.meant
            left = self._fault(part)
            self._lines[at] = typed
            if left is None:
                return at, slip
            if further is None and (left.line, left.column) > (fault.line, fault.column):
                further = at, slip
        return further

    def _tried(self, lines: range) -> Iterator[tuple[int, Slip]]:
        """Yield what may be wrong with the lines by themselves, then with where they stand."""
        for at in lines:
            yield from ((at, slip) for slip in slips_of(self._lines[at], _KEYS))
        for at in lines[:_NEAR]:
            yield from ((at, slip) for slip in misplaced(self._lines, at, _KEYS))

    def _leave_out(self, part: _Part) -> None:
        """Leave a part out but for its key, which may be named elsewhere."""
        for at in range(part.start, part.end):
            key = re.match(r"( *[a-z][^\s:]*):?(\s|$)", self._lines[at])
            kept = key is not None and at == part.start
            self._put(at, f"{key[1]}: {{}}" if key and kept else "")

    def _whole(self, parts: list[_Part]) -> yaml.MappingNode | None:
        """Return the node of the text, without the parts that do not go with the others."""
        for _ in range(_WHOLE_TRIES):
            text = "\n".join(self._lines)
            self._left -= len(text)
            if self._left < 0:
                return None
            try:
                return compose(text, self._name)
            except Unreadable as error:
                if error.problem.code not in _IN_A_PART or len(self._problems) >= _MOST_SLIPS:
                    return None
                self._give_up(error.problem)
                before = [part for part in parts if part.start < error.problem.line]
                if not before:
                    return None
                self._leave_out(before[-1])
        return None


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _names(kind: Kind | Record) -> Iterator[str]:
    """Yield the names of all keys that a kind of value has, at any depth."""
    if isinstance(kind, Record):
        yield from kind.keys
        for key in kind.keys.values():
            yield from _names(key.kind)
    elif isinstance(kind, OneOf):
        for record in kind.records.values():
            yield from _names(record)
    else:
        for part in ("item", "key", "value", "single", "mapping"):
            if hasattr(kind, part):
                yield from _names(getattr(kind, part))


_TOP: Final = frozenset(name for record in FILES.values() for name in record.keys)
_KEYS: Final = frozenset(name for record in FILES.values() for name in _names(record))
