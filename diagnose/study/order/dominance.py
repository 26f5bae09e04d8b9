"""Dominance rules: which jobs a search may leave out, since an order as good goes on otherwise."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from diagnose.study.order.bound import Counts, LowerBound
    from diagnose.study.order.setups import StateSetups


def next_families(
    bound: LowerBound,
    counts: Counts,
    setups: StateSetups,
    heads: Sequence[int],
    ready: Sequence[int],
) -> Sequence[int]:
    """Return the families that a best order may go on with.

    `heads` are the families with members left, `ready` those of them that `after` lets go on. Let
    the *top* be the free job (no caution, no change) of the largest w / p. Jobs put before it make
    it wait for their cautions, so they have to gain by it: at most the delay that the top would be
    to those of a larger w / p. Where no price is worth its gain, the top is next. Else a free
    family that stays free can wait, and so can a job whose own delay of the top, w(top) · p - w ·
    p(top), and price outweigh what can be gained.
    """
    families = bound.families
    # What branches cost may be less later: only jobs with fixed branches can be moved freely.
    steady = [f for f in ready if setups.free[f] and families[f].fixed_branches]
    if not steady:
        return ready
    top = max(steady, key=lambda f: families[f].ratios[counts[f]])
    weight, minutes = families[top].weights[counts[top]], families[top].minutes[counts[top]]
    gains = _gains(bound, counts, setups, heads, top)

    def pays(loss: float, price: float) -> bool:
        return any(gain > loss + weight * max(price, least) for least, gain in gains)

    if not any(gain > weight * least for least, gain in gains):
        return (top,)
    choices = []
    for f in ready:
        if f != top:
            if setups.free[f] and families[f].stays_free:
                continue
            member = counts[f]
            delay = families[f].minutes[member] * weight - families[f].weights[member] * minutes
            if not pays(max(0.0, delay), setups.price[f]):
                continue
        choices.append(f)
    return choices


def _gains(
    bound: LowerBound, counts: Counts, setups: StateSetups, heads: Sequence[int], top: int
) -> list[tuple[float, float]]:
    """Return (price, most that jobs of at most this price can gain before the top), rising."""
    gain, gains = 0.0, []
    for price, delay in sorted(
        [(setups.price[g], delay) for g in heads if (delay := bound.delay_of(counts, top, g))]
    ):
        gain += delay
        gains.append((price, gain))
    return gains


def next_of_alike(
    bound: LowerBound,
    counts: Counts,
    setups: StateSetups,
    alike: Sequence[Sequence[int]],
    ready: Sequence[int],
) -> Iterator[int]:
    """Yield the jobs, each a family of its own, that a best order may go on with.

    `alike` groups those that are one family of the relaxation, by w / p, descending. Of two of a
    group the first comes first, but for a second that is quicker: it may be worth its place as the
    one that has a caution taken, now or later.
    """
    allowed = set(ready)
    for group in alike:
        earlier: list[tuple[float, float]] = []
        for f in group:
            if counts[f]:
                continue
            family = bound.families[f]
            minutes, weight = family.minutes[0], family.weights[0]
            # Where a job takes no caution, only a quicker one may stay behind, to take one later.
            waits = any(
                m >= minutes if setups.free[f] else m <= minutes and w >= weight for m, w in earlier
            )
            if f in allowed and not (waits and family.fixed_branches):
                yield f
            earlier.append((minutes, weight))
