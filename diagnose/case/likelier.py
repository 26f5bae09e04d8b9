"""Refer now, or look once more? Which open causes are likelier, and what is advised first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose.case.branches import TOO_LITTLE, minutes_to_open_causes, open_causes
from diagnose.files.tree import Finding
from diagnose.study.in_force import bits
from diagnose.study.outlook import normalised

if TYPE_CHECKING:
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
ALARMING: Final = frozenset({"hot-parts", "acid", "chemicals", "brakes-steering"})


class Advice(Struct, frozen=True):
    """What to do first at a finding: `refer`, or keep looking.

    `named` are the causes of the same symptom that are worth a look before, as steps of its plan.
    """

    named: tuple[int, ...] = ()
    refer: bool = True


def advice(visit: Visit, state: State) -> Advice:
    """Return what a finding on the screen advises.

    What is named is open, not service's, neither tried nor set aside; the likeliest first, ties by
    place in the file. At a finding for service: where it is less likely than not, and what another
    look may save is more than the minutes that it takes. At any other: those more than twice as
    likely; nothing is to be referred there.

    Nobody goes on with what only service may touch once an answer about smell, heat, a fluid or the
    brakes has pointed to it: *refer* stays first.
    """
    frame = state.frames[-1]
    share = normalised(frame.logs)[frame.tree.plan.bit[frame.at]]
    finding = _finding(state)
    if finding.who != "service":
        return Advice(_likeliest(frame, open_causes(frame), above=TWICE * share))
    if not _worth_a_look(visit, state, share):
        return Advice()
    own = open_causes(frame)
    named = _likeliest(frame, own) if _weight(frame, own) >= TOO_LITTLE else ()
    alarming = visit.table.for_service_only(finding) and not ALARMING.isdisjoint(finding.hazards)
    return Advice(named, refer=alarming and _pointed_at(frame))


def _worth_a_look(visit: Visit, state: State, share: float) -> bool:
    """Whether another look may save more than its minutes, at a finding with this probability.

    A finding behind a doorway is the cause only where the doorway is: its probability in the case
    is the product of both, and the causes of the symptom before the doorway are open all the same.
    """
    *doors, led = _doors(state)
    if led * share >= ENOUGH:
        return False
    frames = _without_doors(state)
    weights = [
        door * _weight(frame, open_causes(frame))
        for door, frame in zip([*doors, led], frames, strict=True)
    ]
    saved = sum(weights) * visit.call_out_minutes
    if sum(weights) < TOO_LITTLE:
        return False
    minutes = [
        door * minutes_to_open_causes(frame, visit.table, state.cautions.in_force)
        for door, frame in zip([*doors, led], frames, strict=True)
    ]
    return saved * sum(weights) > sum(minutes)


def _weight(frame: Frame, findings: int) -> float:
    shares = normalised(frame.logs)
    return sum(shares[which] for which in bits(findings))


def _pointed_at(frame: Frame) -> bool:
    """Whether an answer points to the finding: not one that says that all looks as it should.

    What nobody could tell points to it too, where the step says so: what nobody knows, nobody
    touches.
    """
    plan = frame.tree.plan
    for step, answer in frame.closed.items():
        if answer is None:
            way = frame.tree.unsure_way(step)
        else:
            way = plan.ways[step][answer] if answer != plan.passing[step] else None
        if way == frame.at:
            return True
    return False


def _likeliest(frame: Frame, among: int, above: float = 0.0) -> tuple[int, ...]:
    """Return the likeliest of some findings (bits), as many as are named, above a probability."""
    shares = normalised(frame.logs)
    named = [which for which in bits(among) if shares[which] > above]
    named.sort(key=lambda which: -shares[which])
    named = named[:1] + [which for which in named[1:NAMED] if shares[which] >= LEAST]
    return tuple(frame.tree.plan.findings[which] for which in named)


def _doors(state: State) -> list[float]:
    """Return for each symptom of the case how likely the doorways are that led to it."""
    shares = [1.0]
    for frame in state.frames[:-1]:
        shares.append(shares[-1] * normalised(frame.logs)[frame.tree.plan.bit[frame.at]])
    return shares


def _without_doors(state: State) -> list[Frame]:
    """Return the symptoms of the case; the doorway through which one was left is no open cause."""
    *outer, frame = state.frames
    return [*(replace(one, gone=one.gone | {one.at}) for one in outer), frame]


def may_look(visit: Visit, state: State) -> bool:
    """Whether the person may look at the finding on the screen, and so can say that it is not it.

    At one for service no caution is called. So a look at it is asked of nobody where only service
    may meet a hazard of it, nor where a hazard of it calls a caution that is not in force.
    """
    finding = _finding(state)
    if finding.who != "service":
        return True
    if visit.table.for_service_only(finding) and visit.role != "service":
        return False
    return not visit.table.over(finding.hazards) & ~state.cautions.in_force


def _finding(state: State) -> Finding:
    frame = state.frames[-1]
    step = frame.tree.steps[frame.at]
    assert isinstance(step, Finding)
    return step
