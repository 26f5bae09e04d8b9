"""What a machine card says: the nameplate, the setup sheet and the site of one machine."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from msgspec import Struct


class Card(Struct, frozen=True, kw_only=True):
    """One machine card. `lines` is the file's own nesting; quantities are kept as written."""

    machine: str
    title: str
    lines: Mapping[str, Any]

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

    def _at(self, path: str) -> Any:
        value: Any = self.lines
        for name in path.split("."):
            value = value.get(name) if isinstance(value, Mapping) else None
        return value
