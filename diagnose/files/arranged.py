"""The entries of a file's mapping as they stand in its text: which lines are whose, another order.

An entry's lines are its own and the comments about it: those above it that are indented no deeper
than its key, and those below it that are. Empty lines between entries belong to none: they stay
where they are. So does what stands below the last entry and is indented no deeper.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import yaml
from msgspec import Struct

from diagnose.files.compose import compose
from diagnose.files.places import KEY, Places
from diagnose.files.spans import NoSpan

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.files.places import Path


class Arrangement(Struct, frozen=True, kw_only=True):
    """A text in pieces: `before` the entries, each entry by its key, what stands between them (one
    piece less), and what is `behind` the last.
    """

    before: str
    entries: dict[str, str]
    between: tuple[str, ...]
    behind: str

    def text(self, order: Sequence[str]) -> str:
        """Return the text with the entries in another order."""
        gaps = (*self.between, "")
        pieces = [piece for name, gap in zip(order, gaps, strict=True) for piece in (name, gap)]
        middle = [self.entries.get(p, p) if n % 2 == 0 else p for n, p in enumerate(pieces)]
        return "".join([self.before, *middle, self.behind])


def arrangement(text: str, name: str, path: Path) -> Arrangement:
    """Return the pieces of a text, by the entries of the mapping at a path.

    Raises `NoSpan` where no mapping stands, or one that is in braces; `Unreadable` for no YAML.
    """
    places = Places(text, compose(text, name))
    node, missing = places.walk(path)
    if missing or not isinstance(node, yaml.MappingNode) or node.flow_style:
        line = 1 if node is None else node.start_mark.line + 1
        raise NoSpan(f"{name}:{line}: write these entries in lines of their own first.")
    lines = text.splitlines(keepends=True)
    column = node.value[0][0].start_mark.column
    starts = [key.start_mark.line for key, _ in node.value]
    first = places.walk((*path, KEY))[0]
    assert first is not None
    heads = [_head(lines, start, first.start_mark.line + 1, column) for start in starts]
    end = _end(lines, starts[-1] + 1, column)
    stops = [*heads[1:], end]
    tails = [_tail(lines, start, stop) for start, stop in zip(starts, stops, strict=True)]
    return Arrangement(
        before="".join(lines[: heads[0]]),
        entries={
            key.value: _whole("".join(lines[head:tail]))
            for (key, _), head, tail in zip(node.value, heads, tails, strict=True)
        },
        between=tuple(
            "".join(lines[tail:head]) for tail, head in zip(tails[:-1], heads[1:], strict=True)
        ),
        behind="".join(lines[tails[-1] :]),
    )


def _whole(piece: str) -> str:
    """Return an entry with the end of its last line, which a file may lack."""
    return piece if piece.endswith(("\n", "\r")) else f"{piece}\n"


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _is_aside(line: str) -> bool:
    """Whether a line is empty or a comment."""
    return not line.strip() or line.lstrip().startswith("#")


def _head(lines: Sequence[str], start: int, least: int, column: int) -> int:
    """Return the first line of an entry whose key stands at `start`: of the comments above it."""
    first = head = start
    while first > least and _is_aside(lines[first - 1]):
        first -= 1
        if lines[first].strip() and _indent(lines[first]) <= column:
            head = first
    return head


def _end(lines: Sequence[str], line: int, column: int) -> int:
    """Return the line at which the last entry surely has ended."""
    while line < len(lines) and (not lines[line].strip() or _indent(lines[line]) > column):
        line += 1
    return line


def _tail(lines: Sequence[str], start: int, stop: int) -> int:
    """Return the line behind the last one of an entry that is not empty."""
    while stop > start + 1 and not lines[stop - 1].strip():
        stop -= 1
    return stop
