"""Refer now, or look once more? Which open causes are likelier, and what a finding advises first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.case.branches import TOO_LITTLE, not_services
from diagnose.files.tree import Finding
from diagnose.study.in_force import bits
from diagnose.study.outlook import normalised

if TYPE_CHECKING:
    from diagnose.case.state import State
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


def likelier(visit: Visit, state: State) -> tuple[int, ...]:
    """Return the findings that are worth a look before the one on the screen: steps of its plan.

    They are open, not service's, neither tried nor set aside; the likeliest first, ties by place in
    the file. At a finding for service: where it is less likely than not and what another look may
    save is more than the minutes that it takes. At any other: those more than twice as likely.
    """
    frame = state.frames[-1]
    plan = frame.tree.plan
    shares = normalised(frame.logs)
    share = shares[plan.bit[frame.at]]
    finding = _finding(state)
    if finding.who == "service" and share >= ENOUGH:
        return ()
    outlook = not_services(frame, visit.table, state.cautions.in_force)
    if finding.who == "service":
        saved = outlook.weight * visit.call_out_minutes
        named = list(bits(outlook.reach))
        if outlook.weight < TOO_LITTLE or saved <= outlook.mean:
            return ()
    else:
        named = [which for which in bits(outlook.reach) if shares[which] > TWICE * share]
    named.sort(key=lambda which: -shares[which])
    return tuple(plan.findings[which] for which in named[:NAMED])


def refer_first(visit: Visit, state: State, named: tuple[int, ...]) -> bool:
    """Whether a finding for service is to be referred before anything else is looked at.

    So it is where nothing is `named` that is worth another look, and where an answer about smell,
    heat, a fluid or the brakes points to what only service may touch: nobody goes on with that.
    """
    finding = _finding(state)
    alarming = visit.table.for_service_only(finding) and not ALARMING.isdisjoint(finding.hazards)
    return not named or (alarming and state.frames[-1].checked)


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
