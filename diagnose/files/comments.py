"""Comments that cut a text: what stands behind ` #` in an unquoted value is not part of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import yaml

if TYPE_CHECKING:
    from collections.abc import Iterator

#: What ends a sentence: a comment behind it cuts nothing.
_ENDS = (".", "?", "!", ":", ";")


class Cut(NamedTuple):
    """A value that a comment cuts: line and column of the ``#``, from 1, and both texts."""

    line: int
    column: int
    value: str
    comment: str


def cuts(text: str, top: yaml.Node | None) -> Iterator[Cut]:
    """Yield where a comment of a file looks as if the text before it went on: `Take hook # 3`.

    That is a text of two words or more with a number behind the ``#``, or one that ends no sentence
    and is one blank away. A comment proper has two blanks before it, or a line of its own. `top` is
    the node of the whole text.
    """
    marks: dict[int, int] = {}
    for line, column in _marks(text):
        marks.setdefault(line, column)
    if not marks or top is None:
        return
    rows = text.split("\n")
    for node in _scalars(top):
        line, column = node.end_mark.line, node.end_mark.column
        mark = marks.get(line, -1)
        # Of a style are those with quotes, and those that run over lines as they stand.
        if node.style or mark <= column:
            continue
        row = rows[line]
        if row[column:mark].isspace() and _goes_on(node.value, row[mark + 1 :], mark - column):
            yield Cut(line + 1, mark + 1, node.value, row[mark + 1 :].strip())


def looks_cut(text: str) -> bool:
    """Whether a file's text has a comment behind a value at all; most have none."""
    return next(_marks(text), None) is not None


def _marks(text: str) -> Iterator[tuple[int, int]]:
    """Yield line and column, from 0, of each first ``#`` that stands behind something."""
    line = start = 0
    at = text.find(" #")
    while at >= 0:
        line += text.count("\n", start, at)
        start = text.rfind("\n", 0, at) + 1
        end = text.find("\n", at)
        before = text[start:at].strip()
        if before and not before.startswith("#"):
            yield line, at + 1 - start
        elif not before:
            at = end
        at = text.find(" #", at + 1) if at >= 0 else -1


def _scalars(top: yaml.Node) -> Iterator[yaml.ScalarNode]:
    waiting = [top]
    while waiting:
        node = waiting.pop()
        if isinstance(node, yaml.ScalarNode):
            yield node
        elif isinstance(node, yaml.MappingNode):
            waiting += [value for _, value in node.value]
        elif isinstance(node, yaml.SequenceNode):
            waiting += node.value


def _goes_on(value: str, comment: str, blanks: int) -> bool:
    """Whether a comment looks like more of the text before it."""
    said = comment.strip()
    if not said or len(value.split()) < 2 or value[0].isdigit():
        return False
    return said[0].isdigit() or (blanks == 1 and not value.endswith(_ENDS))
