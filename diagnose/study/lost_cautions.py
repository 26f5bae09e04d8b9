"""Which cautions an edit takes away, at which step, on which route."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Final, TypeAlias

from msgspec import Struct

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

#: A route: each step that was passed, with the answer that led on.
Route: TypeAlias = "tuple[tuple[str, str], ...]"


class Version(Struct, frozen=True, kw_only=True):
    """A tree or a round before or after an edit, as far as its cautions go.

    `ways` are the answers of each step with the step that each leads to, steps in an order in which
    each comes before all that it leads to. What a step `needs`, and what is `lapsing` when one of
    those that are `energised` comes, are bits: both versions number the cautions alike.
    """

    start: str
    ways: Mapping[str, Mapping[str, str]]
    needs: Mapping[str, int]
    energised: frozenset[str]
    lapsing: int

    def after(self, step: str, in_force: int, these: int = -1) -> int:
        """Return which of `these` cautions are in force at a step, given those on the way in."""
        held = in_force & ~self.lapsing if step in self.energised else in_force
        return these & (held | self.needs[step])


class Loss(Struct, frozen=True, kw_only=True):
    """A caution that is no longer in force at a step.

    `route` is the shortest one on which it is not; `everywhere`: it is in force on no other.
    """

    step: str
    caution: int
    route: Route
    everywhere: bool


def losses(old: Version, new: Version) -> list[Loss]:
    """Return the cautions that are lost from one version to the other, in the order of the steps.

    One is lost at a step that both have where some route of the new version comes to it without the
    caution, and in the old version the same route had it in force there, or, where that route is
    new, every route had. Linear in the answers, and in those once more for each caution lost.
    """
    always = _always(old)
    lost = {step: mask for step, mask, _ in _walked(old, new, always) if mask}
    held = {step: mask for step, _, mask in _walked(old, new, always)}
    routes = {
        caution: _routes(old, new, always, 1 << caution)
        for caution in sorted({one for mask in lost.values() for one in bits(mask)})
    }
    return [
        Loss(
            step=step,
            caution=caution,
            route=routes[caution][step],
            everywhere=not held[step] >> caution & 1,
        )
        for step, mask in lost.items()
        for caution in bits(mask)
    ]


def _always(version: Version) -> dict[str, int]:
    """Return what is in force at each step on every route to it; steps without a route are none."""
    before = {version.start: 0}
    found = {}
    for step, ways in version.ways.items():
        if step not in before:
            continue
        found[step] = version.after(step, before[step])
        for target in ways.values():
            before[target] = before.get(target, -1) & found[step]
    return found


#: The four things that a caution can be on a route of both versions: in force in the old one (2),
#: in the new one (1), in both or in neither.
_EITHER: Final = range(4)


def _walked(old: Version, new: Version, always: Mapping[str, int]) -> list[tuple[str, int, int]]:
    """Return each step with the cautions lost there, and those in force there on some new route.

    Of each step it is noted which cautions are what on some route: all at once, as bits.
    """
    shared: dict[str, list[int]] = {}
    alone: dict[str, list[int]] = {}
    (shared if old.start == new.start else alone)[new.start] = [-1, 0, 0, 0]
    found = []
    for step, ways in new.ways.items():
        both = _both(old, new, step, shared[step]) if step in shared else [0] * 4
        one = _one(new, step, alone[step]) if step in alone else [0] * 4
        found.append((step, both[2] | always.get(step, 0) & one[0], both[1] | both[3] | one[1]))
        for answer, target in ways.items():
            same = step in shared and old.ways[step].get(answer) == target
            arrived = (shared if same else alone).setdefault(target, [0] * 4)
            for number in _EITHER:
                if same:
                    arrived[number] |= both[number]
                elif step in shared:
                    arrived[number & 1] |= both[number]
            if step in alone:
                there = alone.setdefault(target, [0] * 4)
                there[0] |= one[0]
                there[1] |= one[1]
    return found


def _both(old: Version, new: Version, step: str, before: Sequence[int]) -> list[int]:
    after = [0] * 4
    for number in _EITHER:
        these = before[number]
        was = old.after(step, -(number >> 1), these)
        is_ = new.after(step, -(number & 1), these)
        for place, mask in enumerate((~was & ~is_, ~was & is_, was & ~is_, was & is_)):
            after[place] |= mask & these
    return after


def _one(new: Version, step: str, before: Sequence[int]) -> list[int]:
    held = [new.after(step, -number, before[number]) for number in (0, 1)]
    return [before[0] & ~held[0] | before[1] & ~held[1], held[0] | held[1], 0, 0]


class _State(Struct, frozen=True):
    """A place on a route: whether the old version has the route too, and one caution in each."""

    step: str
    shared: bool
    was: int
    is_: int


def _routes(
    old: Version, new: Version, always: Mapping[str, int], caution: int
) -> dict[str, Route]:
    """Return, for each step at which a caution is lost, the shortest route on which it is."""
    first = _State(new.start, old.start == new.start, 0, 0)
    came: dict[_State, tuple[_State, str] | None] = {first: None}
    waiting = deque([first])
    found: dict[str, Route] = {}
    while waiting:
        state = waiting.popleft()
        step = state.step
        was = old.after(step, state.was, caution) if state.shared else 0
        is_ = new.after(step, state.is_, caution)
        had = was if state.shared else always.get(step, 0) & caution
        if had and not is_ and step not in found:
            found[step] = _back(came, state)
        for answer, target in new.ways[step].items():
            same = state.shared and old.ways[step].get(answer) == target
            then = _State(target, same, was if same else 0, is_)
            if then not in came:
                came[then] = (state, answer)
                waiting.append(then)
    return found


def _back(came: Mapping[_State, tuple[_State, str] | None], state: _State) -> Route:
    route = []
    while (before := came[state]) is not None:
        state, answer = before
        route.append((state.step, answer))
    return tuple(reversed(route))
