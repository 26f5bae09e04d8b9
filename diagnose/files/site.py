"""What `site.yaml` says: the place where the machines work, and whom to call."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct

from diagnose.files.card import Card

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Minutes that a call for service costs where nobody says otherwise. Common practice, no published
#: source.
CALL_OUT = 120.0


class Contact(Struct, frozen=True, kw_only=True):
    """Somebody who is called."""

    name: str
    phone: str


class Site(Struct, frozen=True, kw_only=True):
    """A site. `call` has its contacts by what they are for: emergency, shift_lead, service.

    `altitude` is kept as written, `call_out_minutes` is what a call for service costs, and
    `also_danger` are words that mean danger here besides the program's own.
    """

    name: str
    altitude: str | None = None
    call: Mapping[str, Contact] = {}
    call_out_minutes: float = CALL_OUT
    also_danger: tuple[str, ...] = ()

    def as_card(self) -> Card:
        """Return the lines that stand in the file as a card would say them, at the same places."""
        said = {} if self.altitude is None else {"altitude": self.altitude}
        return Card(machine="", title=self.name, lines=said)

    def lines(self) -> dict[str, Any]:
        """Return what the site says of each machine, as lines of a machine card."""
        there = {"name": self.name, "altitude": self.altitude}
        lines: dict[str, Any] = {
            "site": {name: value for name, value in there.items() if value is not None},
            "call_out_minutes": self.call_out_minutes,
        }
        if (service := self.call.get("service")) is not None:
            lines["service"] = {"name": service.name, "phone": service.phone}
        return lines
