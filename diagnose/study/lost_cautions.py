"""Which cautions an edit takes away, at which step, on which route."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Final, TypeAlias

from msgspec import Struct

from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

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
    walked = [one for one in _walked(old, new, always) if one.lost]
    cautions = sorted({caution for one in walked for caution in bits(one.lost)})
    routes = {caution: _routes(old, new, always, 1 << caution) for caution in cautions}
    return [
        Loss(
            step=one.step,
            caution=caution,
            route=routes[caution][one.step],
            everywhere=not one.held >> caution & 1,
        )
        for one in walked
        for caution in bits(one.lost)
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


class _Walked(Struct, frozen=True):
    """A step of the new version: the cautions lost there, those in force on some route to it."""

    step: str
    lost: int
    held: int


#: What a caution can be on a route of both versions: in force in the old one (2), in the new one
#: (1), in both or in neither. On a route of the new version alone only the last bit counts.
_EITHER: Final = range(4)


def _walked(old: Version, new: Version, always: Mapping[str, int]) -> Iterator[_Walked]:
    """Yield the steps of the new version in their order.

    Of each step it is noted which cautions are what on some route: all at once, as bits.
    """
    shared: dict[str, list[int]] = {}
    alone: dict[str, list[int]] = {}
    (shared if old.start == new.start else alone)[new.start] = [-1, 0, 0, 0]
    for step, ways in new.ways.items():
        both = _both(old, new, step, shared[step]) if step in shared else [0, 0, 0, 0]
        one = _one(new, step, alone[step]) if step in alone else [0, 0]
        yield _Walked(step, both[2] | always.get(step, 0) & one[0], both[1] | both[3] | one[1])
        for answer, target in ways.items():
            if step in shared:
                same = old.ways[step].get(answer) == target
                arrived = (shared if same else alone).setdefault(target, [0, 0, 0, 0])
                for number in _EITHER:
                    arrived[number if same else number & 1] |= both[number]
            if step in alone:
                arrived = alone.setdefault(target, [0, 0, 0, 0])
                for number, mask in enumerate(one):
                    arrived[number] |= mask


def _both(old: Version, new: Version, step: str, before: Sequence[int]) -> list[int]:
    after = [0, 0, 0, 0]
    for number in _EITHER:
        these = before[number]
        was = old.after(step, -(number >> 1), these)
        is_ = new.after(step, -(number & 1), these)
        for place, mask in enumerate((~was & ~is_, ~was & is_, was & ~is_, was & is_)):
            after[place] |= mask & these
    return after


def _one(new: Version, step: str, before: Sequence[int]) -> list[int]:
    held = new.after(step, 0, before[0]) | new.after(step, -1, before[1])
    gone = before[0] & ~new.after(step, 0) | before[1] & ~new.after(step, -1)
    return [gone, held]


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
