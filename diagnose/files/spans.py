"""A file changed by replacing spans of its own text, so that all else stays byte for byte."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import yaml

from diagnose.files.compose import compose
from diagnose.files.places import KEY, Places

if TYPE_CHECKING:
    from diagnose.files.places import Path

# Text that is no number, no flow mark and no comment in any place where a value may stand.
_PLAIN: Final = re.compile(r"[A-Za-z][A-Za-z0-9]*(?: [A-Za-z0-9]+)*\Z")


class NoSpan(Exception):
    """Nothing that could be changed stands at a place; the message is one line that says where."""


class Page:
    """A file's text with the places of its nodes, and the changes that are wanted of it.

    Raises `Unreadable` for text that is no YAML.
    """

    def __init__(self, text: str, name: str) -> None:
        self._text = text
        self._name = name
        self._places = Places(text, compose(text, name))
        self._lines = [0]
        for line in text.splitlines(keepends=True):
            self._lines.append(self._lines[-1] + len(line))
        self._spans: list[tuple[int, int, str]] = []

    def change(self, path: Path, value: str) -> None:
        """Have a value replaced by an id, a number or a short text, quoted where it has to be.

        Raises `NoSpan` where no single value stands.
        """
        node = self._node(path)
        if not isinstance(node, yaml.ScalarNode) or node.style in ("|", ">"):
            raise self._lost(node, "write this value in one piece first")
        start, end = self._start(node), self._offset(node.end_mark)
        self._spans.append((start, end, written(value)))

    def value(self, path: Path) -> str:
        """Return what is typed as a value. Raises `NoSpan` where no single value stands."""
        node = self._node(path)
        if not isinstance(node, yaml.ScalarNode):
            raise self._lost(node, "write this value in one piece first")
        return f"{node.value}"

    def put_before(self, path: Path, key: str, value: str) -> None:
        """Have a key with its value put before the key at a path, laid out as that one is.

        Raises `NoSpan` where no such key stands.
        """
        node, mapping = self._node((*path, KEY)), self._node(path[:-1])
        start = self._start(node)
        between = ", "
        if not getattr(mapping, "flow_style", None):
            newline = "\r\n" if "\r\n" in self._text else "\n"
            between = newline + " " * node.start_mark.column
        self._spans.append((start, start, f"{key}: {written(value)}{between}"))

    def put_after(self, path: Path, entry: str) -> None:
        """Have an entry, key and value as they are written, put behind the one at a path.

        It stands on a line of its own where that one does. Raises `NoSpan` where none stands.
        """
        key, value = self._node((*path, KEY)), self._node(path)
        at = self._offset(value.end_mark)
        between = ", "
        if not getattr(self._node(path[:-1]), "flow_style", None):
            # Behind what is said of that entry on its own line.
            at += len(re.match(r"[^\r\n]*", self._text[at:])[0])  # type: ignore[index]
            newline = "\r\n" if "\r\n" in self._text else "\n"
            between = newline + " " * key.start_mark.column
        self._spans.append((at, at, f"{between}{entry}"))

    def put_last(self, path: Path, block: str) -> None:
        """Have lines put behind the last entry of the mapping at a path, indented as entries are.

        What is said of that entry in comments below it stays with it. Raises `NoSpan` where no
        mapping stands, or one in braces that is not empty.
        """
        node = self._node(path)
        if not isinstance(node, yaml.MappingNode) or (node.flow_style and node.value):
            raise self._lost(node, "write these entries in lines of their own first")
        newline = "\r\n" if "\r\n" in self._text else "\n"
        if node.value:
            indent = node.value[0][0].start_mark.column
            start = end = self._end_of_lines(node, indent)
            between = newline * 2
        else:
            indent = self._node((*path, KEY)).start_mark.column + 2
            start, end = self._start(node), self._offset(node.end_mark)
            between = newline
        lines = [" " * indent + line if line else "" for line in block.splitlines()]
        self._spans.append((start, end, between + newline.join(lines)))

    def text(self) -> str:
        """Return the text with all changes made."""
        text = self._text
        for start, end, new in sorted(self._spans, reverse=True):
            text = text[:start] + new + text[end:]
        return text

    def _end_of_lines(self, node: yaml.Node, indent: int) -> int:
        """Return where the last line of a block ends, with comments that are indented deeper."""
        last = node
        while isinstance(last, yaml.CollectionNode) and last.value and not last.flow_style:
            last = last.value[-1]
            last = last[1] if isinstance(last, tuple) else last
        # A text over several lines ends, for the parser, where the next thing begins.
        end = len(self._text[: self._offset(last.end_mark)].rstrip())
        comments = re.compile(rf"[^\r\n]*(?:\r?\n {{{indent + 1},}}#[^\r\n]*)*")
        found = comments.match(self._text, end)
        assert found is not None
        return found.end()

    def _node(self, path: Path) -> yaml.Node:
        node, missing = self._places.walk(path)
        assert node is not None
        if missing:
            raise self._lost(node, f'there is no "{missing[0]}" here')
        return node

    def _lost(self, node: yaml.Node, why: str) -> NoSpan:
        mark = node.start_mark
        return NoSpan(f"{self._name}:{mark.line + 1}:{mark.column + 1}: {why}.")

    def _start(self, node: yaml.Node) -> int:
        return self._offset(node.start_mark)

    def _offset(self, mark: yaml.Mark | None) -> int:
        # Line and column, since what an index counts differs between the two parsers.
        assert mark is not None
        return self._lines[mark.line] + mark.column


def written(value: str) -> str:
    """Return a short text as YAML that reads back as it in any place: bare, or in quotes."""
    if _PLAIN.match(value) or re.fullmatch(r"[a-z][a-z0-9-]*|\d+(\.\d+)?", value, re.ASCII):
        return value
    return "'" + value.replace("'", "''") + "'"
