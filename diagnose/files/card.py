"""What a machine card says: the nameplate, the setup sheet and the site of one machine."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from msgspec import Struct
from msgspec.structs import replace


class MachineKind(Struct, frozen=True, kw_only=True):
    """What holds for all machines of one kind: lines as on a card."""

    kind: str
    title: str
    lines: Mapping[str, Any]

    def as_card(self) -> Card:
        """Return its lines as those of a card."""
        return Card(machine=self.kind, title=self.title, lines=self.lines)


class Card(Struct, frozen=True, kw_only=True):
    """One machine card. `lines` is the file's own nesting; quantities are kept as written.

    `kind` is the kind of machine whose lines it takes where it has none itself.
    """

    machine: str
    title: str
    lines: Mapping[str, Any]
    kind: str | None = None

    LATER: ClassVar[Mapping[str, tuple[object, ...]]] = {"kind": (None,)}

    def line(self, path: str) -> str | None:
        """Return what stands at a dotted path such as ``battery.kind``, None where it is silent."""
        value = self._at(path)
        return None if value is None or isinstance(value, Mapping) else f"{value}"

    def section(self, path: str) -> Mapping[str, Any]:
        """Return the mapping at a dotted path, empty where the card is silent."""
        value = self._at(path)
        return value if isinstance(value, Mapping) else {}

    def listed(self, path: str) -> dict[str, str]:
        """Return the words that a section lists with their meanings, those of lists in it too."""
        section = self.section(path)
        lists = [part for part in section.values() if isinstance(part, Mapping)]
        return {shown: meaning for part in lists or [section] for shown, meaning in part.items()}

    def completed(self, others: Mapping[str, Any]) -> Card:
        """Return the card with the lines of a kind or a site where it has none itself."""
        return replace(self, lines=_completed(self.lines, others))

    def fits(self, condition: Mapping[str, tuple[str, ...]]) -> bool:
        """Return whether a condition's words fit; a line that the card lacks says nothing against.

        Capitals do not count.
        """
        for path, words in condition.items():
            said = self.line(path)
            if said is not None and said.casefold() not in {word.casefold() for word in words}:
                return False
        return True

    def _at(self, path: str) -> Any:
        value: Any = self.lines
        for name in path.split("."):
            value = value.get(name) if isinstance(value, Mapping) else None
        return value


def _completed(own: Mapping[str, Any], others: Mapping[str, Any]) -> Mapping[str, Any]:
    lines = dict(own)
    for name, value in others.items():
        if name not in own:
            lines[name] = value
        elif isinstance(value, Mapping) and isinstance(own[name], Mapping):
            lines[name] = _completed(own[name], value)
    return lines
