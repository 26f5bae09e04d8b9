"""Where in a file a value or a key stands, found by its path when somebody asks for it."""

from __future__ import annotations

from enum import Enum
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias

import yaml

from diagnose.files.comments import cuts, looks_cut

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.comments import Cut


def _none(*_: object) -> str:
    return ""


# Scalars stay text and nobody looks at a tag, so none is worked out: a third of the time.
LOADER: Final[Any] = type(
    "Untagged",
    (getattr(yaml, "CBaseLoader", yaml.BaseLoader),),
    {"resolve": _none, "descend_resolver": _none, "ascend_resolver": _none},
)


class _Mark(Enum):
    KEY = "key"


#: What stands in a value, or an answer, that its author has still to write.
BLANK: Final = "FILL IN"

#: At the end of a path: the key itself is meant, not its value.
KEY: Final = _Mark.KEY

Part: TypeAlias = str | int | Literal[_Mark.KEY]
#: The keys down to a value, list entries by their number from 0, such as
#: ``("steps", "lid", "answers", "Torn")``; with `KEY` at its end, to where the last key stands.
Path: TypeAlias = tuple[Part, ...]


class Places:
    """The places of one file's values and keys.

    `text` has been composed before without an error; it is composed again when the first place is
    asked for, since most files are never asked and nodes take twenty times the room of text.
    """

    def __init__(self, text: str, top: yaml.Node | None = None) -> None:
        self._text = text
        self._entries: dict[yaml.Node, dict[str | int, tuple[yaml.Node, yaml.Node]]] = {}
        if top is not None:
            self.top = top

    @cached_property
    def top(self) -> yaml.Node | None:
        """The node of the whole file, None where the text is empty."""
        return yaml.compose(self._text, Loader=LOADER)

    def forget(self) -> None:
        """Let go of the nodes; they are composed again when a place is asked for."""
        self.__dict__.pop("top", None)
        self._entries.clear()

    def at(self, path: Path) -> tuple[int, int]:
        """Return line and column, from 1, of what stands at a path.

        Where a part of the path is missing, they are those of the nearest node around it.
        """
        node, _ = self.walk(path)
        if node is None:
            return 1, 1
        return node.start_mark.line + 1, node.start_mark.column + 1

    def walk(self, path: Path) -> tuple[yaml.Node | None, Path]:
        """Return the last node of a path that is there, and the parts that are not."""
        key = node = self.top
        for number, part in enumerate(path):
            if part is KEY:
                return key, ()
            if node is None or (found := self.entries(node).get(part)) is None:
                return node, path[number:]
            key, node = found
        return node, ()

    def blanks(self) -> Iterator[tuple[Path, str]]:
        """Yield the path and the text of each value, and of each key, that is still to be written.

        Comments do not count.
        """
        if BLANK in self._text and self.top is not None:
            yield from self._blanks(self.top, ())

    def _blanks(self, node: yaml.Node, path: Path) -> Iterator[tuple[Path, str]]:
        if isinstance(node, yaml.ScalarNode) and BLANK in node.value:
            yield path, node.value
        for part, (key, value) in self.entries(node).items():
            if key is not value and BLANK in key.value:
                yield (*path, part, KEY), key.value
            yield from self._blanks(value, (*path, part))

    def cuts(self) -> Iterator[Cut]:
        """Yield where a comment looks as if it cut a text, by place in the file."""
        if looks_cut(self._text):
            yield from sorted(cuts(self._text, self.top))

    def entries(self, node: yaml.Node) -> dict[str | int, tuple[yaml.Node, yaml.Node]]:
        """Return the key and value nodes of a mapping or list, by the part that names them.

        The first wins where a key is given twice. They are listed once a node, so that ten
        thousand places in one file cost no more than ten thousand looks.
        """
        entries = self._entries.get(node)
        if entries is None:
            entries = self._entries[node] = {}
            if isinstance(node, yaml.MappingNode):
                for key, value in node.value:
                    if isinstance(key, yaml.ScalarNode):
                        entries.setdefault(key.value.strip(), (key, value))
            elif isinstance(node, yaml.SequenceNode):
                entries.update((n, (item, item)) for n, item in enumerate(node.value))
        return entries
