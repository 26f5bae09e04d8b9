"""Refer now, or look once more? Which open causes are likelier, and what is advised first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose.case.branches import TOO_LITTLE, minutes_to_open_causes, open_causes
from diagnose.files.tree import Finding
from diagnose.study.outlook import normalised

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.case.state import Frame, State
    from diagnose.case.visit import Visit

#: As many causes are named under a finding.
NAMED: Final = 3

#: A cause less likely than this is named under no finding, unless it is the likeliest.
LEAST: Final = 0.01

#: From this probability on, a finding for service is referred without another look.
ENOUGH: Final = 0.5

#: What a cause must be above another one that somebody may put right, to be named under it.
TWICE: Final = 2.0

#: What smell, heat, a fluid or the brakes are told by. A tree does not say what an answer is about,
#: but a finding says what can hurt there: what got hot or smells of burning has hot parts, a smell
#: of solvent or a fluid is a chemical or acid, and brakes are a hazard of their own.
ACID: Final = "acid"
ALARMING: Final = frozenset({"hot-parts", ACID, "chemicals", "brakes-steering"})


class Advice(Struct, frozen=True, kw_only=True):
    """What to do first at a finding: `refer`, or keep looking.

    `named` are the causes of the same symptom that are worth a look before, as steps of its plan;
    `look`: the person may look at the finding itself, and so can say that it is not it.
    """

    named: tuple[int, ...] = ()
    refer: bool = True
    look: bool = True


def advice(visit: Visit, state: State, shares: Sequence[float]) -> Advice:
    """Return what a finding on the screen advises; `shares` are the probabilities of its symptom.

    What is named is open, not service's, neither tried nor set aside; the likeliest first, ties by
    place in the file. At a finding for service: where it is less likely than not, and what another
    look may save is more than the minutes that it takes. At any other: those more than twice as
    likely; nothing is to be referred there.

    Nobody goes on with what only service may touch once an answer about smell, heat, a fluid or the
    brakes has pointed to it: *refer* stays first.
    """
    frame = state.frames[-1]
    finding = frame.tree.steps[frame.at]
    assert isinstance(finding, Finding)
    share = shares[frame.tree.plan.bit[frame.at]]
    if finding.who != "service":
        above = [which for which in open_causes(frame) if shares[which] > TWICE * share]
        return Advice(named=_likeliest(frame, shares, above))
    look = _may_look(visit, state, finding)
    if not _worth_a_look(visit, state, shares):
        return Advice(look=look)
    own = open_causes(frame)
    if sum([shares[which] for which in own]) < TOO_LITTLE:
        own = []
    alarming = visit.table.for_service_only(finding) and not ALARMING.isdisjoint(finding.hazards)
    refer = (alarming and _pointed_at(frame)) or _perhaps_acid(frame, finding)
    return Advice(named=_likeliest(frame, shares, own), refer=refer, look=look)


def _worth_a_look(visit: Visit, state: State, shares: Sequence[float]) -> bool:
    """Whether another look may save more than its minutes, at a finding for service.

    A finding behind a doorway is the cause only where the doorway is: its probability in the case
    is the product of both, and the causes of the symptom before the doorway are open all the same.
    """
    *outer, frame = state.frames
    led, weight, frames = 1.0, 0.0, []
    for before in outer:
        earlier = normalised(before.logs)
        # The doorway through which the symptom was left is no open cause of it.
        left = replace(before, gone=before.gone | {before.at})
        weight += led * sum([earlier[which] for which in open_causes(left)])
        frames.append((led, left))
        led *= earlier[before.tree.plan.bit[before.at]]
    weight += led * sum([shares[which] for which in open_causes(frame)])
    if led * shares[frame.tree.plan.bit[frame.at]] >= ENOUGH or weight < TOO_LITTLE:
        return False
    minutes = [
        part * minutes_to_open_causes(one, visit.table, state.cautions.in_force)
        for part, one in [*frames, (led, frame)]
    ]
    return weight * visit.call_out_minutes * weight > sum(minutes)


def _pointed_at(frame: Frame) -> bool:
    """Whether an answer points to the finding: not one that says that all looks as it should."""
    plan = frame.tree.plan
    return any(
        answer is not None and answer != plan.passing[step] and plan.ways[step][answer] == frame.at
        for step, answer in frame.closed.items()
    )


def _perhaps_acid(frame: Frame, finding: Finding) -> bool:
    """Whether nobody could tell that it is no acid: a step sends whoever is not sure to it.

    Heat and smell are looked at once more from a step away; acid is left to those who are dressed
    for it.
    """
    return ACID in finding.hazards and any(
        answer is None and frame.tree.unsure_way(step) == frame.at
        for step, answer in frame.closed.items()
    )


def _likeliest(frame: Frame, shares: Sequence[float], among: list[int]) -> tuple[int, ...]:
    """Return the likeliest of some findings, as many as are named."""
    likeliest = sorted(among, key=lambda which: -shares[which])[:NAMED]
    kept = likeliest[:1] + [which for which in likeliest[1:] if shares[which] >= LEAST]
    return tuple([frame.tree.plan.findings[which] for which in kept])


def _may_look(visit: Visit, state: State, finding: Finding) -> bool:
    """Whether the person may look at a finding for service, where no caution is called.

    So a look is asked of nobody where only service may meet a hazard of it, nor where a hazard of
    it calls a caution that is not in force.
    """
    if visit.table.for_service_only(finding) and visit.role != "service":
        return False
    return not visit.table.over(finding.hazards) & ~state.cautions.in_force
