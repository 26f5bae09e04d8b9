"""A workshop's library, invented: three kinds of machine, forty machines, twenty symptoms."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

KINDS: Final = ("walker", "rider", "sweeper")
#: So many machines of each kind.
MACHINES: Final = (14, 13, 13)
PLACES: Final = ("Hall", "Dock", "Yard", "Aisle", "Ramp")
ROUNDS: Final = {"before": "shift", "clean": "day", "weekly": "week", "battery": "month"}
#: Which kinds a symptom or round is for; all others are for all.
ONLY: Final = {
    "symptom-03": ("rider",),
    "symptom-07": ("rider", "sweeper"),
    "symptom-11": ("sweeper",),
    "battery": ("rider", "sweeper"),
}

_TREE = """\
format: 3
symptom: {name}
title: {title}
{only}start: look
steps:
  look:
    ask: What do you see?
    answers: {{It is worn: worn, It sits well: motor}}
  worn: {{finding: The part is worn., chance: 30, who: operator, remedy: Change it.}}
  motor: {{finding: The motor is weak., chance: 10, who: service, leave_safe: Park it.,
           until_mended: out of use}}
"""
#: What people would say of each symptom: no two share a word that says something.
_TITLES: Final = (
    *("Streaks stay", "Puddles remain", "Lights flicker", "Horn silent", "Seat loose"),
    *("Wheel squeaks", "Hopper jams", "Filter clogged", "Steering stiff", "Pedal sticks"),
    *("Dust escapes", "Belt slips", "Hose burst", "Tank cracked", "Cable frayed"),
    *("Charger dark", "Brush bald", "Suction feeble", "Deck crooked", "Lamp broken"),
)


def _only(name: str) -> str:
    return f"kinds: [{', '.join(ONLY[name])}]\n" if name in ONLY else ""


def machines() -> dict[str, tuple[str, str, str]]:
    """Return by id the title, the kind and the serial number of each machine.

    Serial numbers look like those of a nameplate: digits that mean no place in a list.
    """
    found = {}
    number = 0
    for kind, many in zip(KINDS, MACHINES, strict=True):
        for _ in range(many):
            number += 1
            place = PLACES[number % len(PLACES)]
            serial = f"{kind[0].upper()}{(number * 7919) % 9000 + 1000}"
            found[f"{kind}-{number:02}"] = (f"{place} {kind} {number:02}", kind, serial)
    return found


def write_fleet(folder: Path) -> Path:
    """Write the library and return its folder."""
    for inside in ("machines/kinds", "rounds"):
        (folder / inside).mkdir(parents=True)
    (folder / "cautions.yaml").write_text("format: 3\nhazards: {}\ncautions: {}\n")
    for number, title in enumerate(_TITLES, start=1):
        name = f"symptom-{number:02}"
        text = _TREE.format(name=name, title=title, only=_only(name))
        (folder / f"{name}.yaml").write_text(text)
    for kind in KINDS:
        text = f"format: 3\nkind: {kind}\ntitle: A {kind}\n"
        (folder / "machines" / "kinds" / f"{kind}.yaml").write_text(text)
    for machine, (title, kind, serial) in machines().items():
        text = f"format: 3\nmachine: {machine}\ntitle: {title}\nkind: {kind}\n"
        text += f"nameplate: {{serial: {serial}}}\n"
        (folder / "machines" / f"{machine}.yaml").write_text(text)
    for name, every in ROUNDS.items():
        text = f"format: 3\nround: {name}\ntitle: The {name} round\nevery: {every}\n{_only(name)}"
        text += "items:\n  look: {do: Look at it., starts: symptom-01}\n"
        (folder / "rounds" / f"{name}.yaml").write_text(text)
    return folder
