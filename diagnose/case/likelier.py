"""Refer now, or look once more? Which open causes are likelier, and what is advised first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from diagnose.case.branches import TOO_LITTLE, not_services
from diagnose.files.tree import Finding
from diagnose.study.in_force import bits
from diagnose.study.outlook import normalised

if TYPE_CHECKING:
    from diagnose.case.state import Frame, State
    from diagnose.case.visit import Visit

#: As many causes are named under a finding.
NAMED: Final = 3

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
        open_ones = not_services(frame, visit.table, state.cautions.in_force).reach
        return Advice(_likeliest(frame, open_ones, above=TWICE * share))
    before = _doors(state)
    if share * before[-1] >= ENOUGH:
        return Advice()
    outlooks = [
        not_services(outer, visit.table, state.cautions.in_force) for outer in _without_doors(state)
    ]
    weights = [led * outlook.weight for led, outlook in zip(before, outlooks, strict=True)]
    minutes = [led * outlook.minutes for led, outlook in zip(before, outlooks, strict=True)]
    saved = sum(weights) * visit.call_out_minutes
    if sum(weights) < TOO_LITTLE or saved * sum(weights) <= sum(minutes):
        return Advice()
    own = outlooks[-1].reach if outlooks[-1].weight >= TOO_LITTLE else 0
    alarming = visit.table.for_service_only(finding) and not ALARMING.isdisjoint(finding.hazards)
    return Advice(_likeliest(frame, own), refer=alarming and _pointed_at(frame))


def _pointed_at(frame: Frame) -> bool:
    """Whether an answer points to the finding: not one that says that all looks as it should."""
    plan = frame.tree.plan
    return any(
        answer is not None and answer != plan.passing[step] and plan.ways[step][answer] == frame.at
        for step, answer in frame.closed.items()
    )


def _likeliest(frame: Frame, among: int, above: float = 0.0) -> tuple[int, ...]:
    """Return the likeliest of some findings (bits), as many as are named, above a probability."""
    shares = normalised(frame.logs)
    named = [which for which in bits(among) if shares[which] > above]
    named.sort(key=lambda which: -shares[which])
    return tuple(frame.tree.plan.findings[which] for which in named[:NAMED])


def _doors(state: State) -> list[float]:
    """Return for each symptom of the case how likely the doorways are that led to it.

    A finding behind a doorway is the cause only where the doorway is, so its probability in the
    case is the product of both; the causes of the symptom before it are open all the same.
    """
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
