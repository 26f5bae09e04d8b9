"""Which cautions are in force where: as sets of bits, in the order of `cautions.yaml`."""

from __future__ import annotations

from functools import reduce
from graphlib import TopologicalSorter
from operator import or_
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from diagnose.files.tree import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from diagnose.files.cautions import Caution, Cautions
    from diagnose.files.rounds import Item
    from diagnose.files.tree import Step


class CautionTable(Struct, frozen=True, kw_only=True, eq=False):
    """The cautions of a library, made ready for counting: caution number n is the bit ``1 << n``.

    `closure[n]` holds the bit of n and of all that it includes; `lapsing` those that end when the
    machine is energised; `minutes[n]` what taking n costs on this machine. `lockouts` are those
    that isolate it. `records` are what the file says of each, `hazards` the titles of the hazards,
    by id.
    """

    ids: tuple[str, ...]
    closure: tuple[int, ...]
    lapsing: int
    minutes: tuple[float, ...]
    cover: Mapping[str, int]
    number: Mapping[str, int]
    lockouts: int
    records: tuple[Caution, ...]
    hazards: Mapping[str, str]
    # What a step of a kind costs in a state, as it was worked out once: `take` by its arguments.
    known_takes: dict[tuple[int, bool, int], tuple[float, int]] = {}

    def needs(self, step: Step | Item) -> int:
        """Return what a step needs: the cautions that it lists, and those over its hazards.

        What they include is needed too: it lapses by its own rule, so one may still be in force
        when the other is not. What a finding for service is about calls no caution here, nor does a
        doorway's line; what they list does.
        """
        needed = union(1 << self.number[caution] for caution in step.cautions)
        if not (isinstance(step, Finding) and (step.who == "service" or step.continue_with)):
            needed |= self.over(step.hazards)
        return self.closed(needed)

    def over(self, hazards: Iterable[str]) -> int:
        """Return the cautions over hazards, with all that they include."""
        return self.closed(union(self.cover.get(hazard, 0) for hazard in hazards))

    def for_service_only(self, step: Step | Item) -> bool:
        """Whether a step has a hazard that no caution covers: only service may meet it."""
        return any(hazard not in self.cover for hazard in step.hazards)

    def closed(self, cautions: int) -> int:
        """Return the cautions with all that they include."""
        return union(self.closure[number] for number in bits(cautions))

    def called(self, needed: int, in_force: int) -> int:
        """Return what has to be taken: not in force, and not included in another of them."""
        missing = needed & ~in_force
        return missing & ~union(self.closure[number] & ~(1 << number) for number in bits(missing))

    def take(self, needed: int, energises: bool, in_force: int) -> tuple[float, int]:
        """Return the minutes that cautions cost at a step, and what is in force after it."""
        if energises:
            in_force &= ~self.lapsing
        called = self.called(needed, in_force)
        if not called:
            return 0.0, in_force
        minutes = sum(self.minutes[number] for number in bits(called))
        return minutes, in_force | self.closed(called)

    def costless(self) -> CautionTable:
        """Return the same cautions where none takes any time."""
        # What was worked out holds for these minutes alone.
        return replace(self, minutes=(0.0,) * len(self.minutes), known_takes={})

    def names(self, cautions: int) -> tuple[str, ...]:
        """Return the ids of a set of cautions, in the order of the file."""
        return tuple(self.ids[number] for number in bits(cautions))


def caution_table(cautions: Cautions, minutes: Mapping[str, float] | None = None) -> CautionTable:
    """Return the cautions made ready; `minutes` are those of a machine card, which win.

    The cautions are taken as checked: `includes` without a cycle, every name known.
    """
    known = cautions.cautions
    ids = tuple(known)
    number = {name: place for place, name in enumerate(ids)}
    closure: dict[str, int] = {}
    # What is included comes first. A chain of them can be longer than calls may be nested.
    for name in TopologicalSorter({n: c.includes for n, c in known.items()}).static_order():
        closure[name] = (1 << number[name]) | union(closure[one] for one in known[name].includes)

    return CautionTable(
        ids=ids,
        closure=tuple(closure[name] for name in ids),
        lapsing=sum(1 << number[n] for n, c in known.items() if c.lapsing),
        minutes=tuple((minutes or {}).get(n, c.minutes) for n, c in known.items()),
        cover={hazard: 1 << number[n] for n, c in known.items() for hazard in c.covers},
        number=number,
        records=tuple(known.values()),
        hazards={name: hazard.title for name, hazard in cautions.hazards.items()},
        lockouts=sum(1 << number[n] for n, c in known.items() if c.lockout),
    )


def bits(mask: int) -> Iterable[int]:
    """Yield the numbers of the bits that are set, rising."""
    while mask:
        lowest = mask & -mask
        yield lowest.bit_length() - 1
        mask ^= lowest


def union(masks: Iterable[int]) -> int:
    """Return the bits that are set in any of the masks."""
    return reduce(or_, masks, 0)


def always_in_force(
    order: Sequence[int],
    ways: Sequence[Sequence[int]],
    needs: Sequence[int],
    energises: Sequence[bool],
    cautions: CautionTable,
) -> list[int]:
    """Return, for each step, what is in force on its way in on every route from the first.

    A must-analysis over steps that are numbered: `order` lists them so that each comes before
    those its `ways` lead to, the start first.
    ``entry = in - what lapses, if it energises; out = entry | closure(needed); in = & of outs``.
    Exact here, since what a step adds and ends does not depend on how it was reached.
    """
    before = [-1] * len(ways)  # every caution
    before[order[0]] = 0
    for step in order:
        entry = before[step] & ~cautions.lapsing if energises[step] else before[step]
        out = entry | cautions.closed(needs[step])
        for target in ways[step]:
            before[target] &= out
    return before
