"""A small library for drills: every kind of step, of caution and of cause."""

from __future__ import annotations

from functools import cache
from typing import Any

from strategies.written import Read, Written, read

from diagnose.drill.drill import Drill
from diagnose.drill.machine import drawn

CAUTIONS = """
format: 1
hazards:
  startup: {title: It can start}
  drive: {title: It can move}
  wet: {title: Wet floor}
  mains: {title: Mains, service_only: true}
cautions:
  key-out: {title: Key out, signal: WARNING, covers: [startup], lapses: when energised, minutes: 1,
            text: Stand still., confirm: [Key out.], release: [All clear.]}
  lockout: {title: Machine dead, signal: WARNING, covers: [drive], includes: [key-out],
            lapses: when energised, minutes: 4, text: Dead., confirm: [Dead.], release: [Joined.]}
  shoes: {title: Shoes on, signal: CAUTION, covers: [wet], lapses: never, minutes: 2, text: Wet.,
          confirm: [On.]}
"""

TREE = """
format: 1
symptom: sample
title: It does not do it
start: look
steps:
  look:
    do: Look at it.
    ask: What do you see?
    slip: 0.4
    answers: {A stain: dirty, Nothing: run, A strange thing: other}
  run:
    do: Run it a little.
    ask: What does it do?
    minutes: 2
    hazards: [wet]
    energises: true
    passes: It runs
    answers: {It stops: tired, It runs: hands, It runs badly: tired}
  hands:
    do: Turn it by hand.
    ask: How does it turn?
    minutes: 3
    hazards: [drive]
    answers: {It sticks: stuck, Freely: figure}
  figure:
    read: value
    do: Read it off.
    hazards: [startup]
    passes: in the middle
    bands:
      - {below: 2, call: low, go: worn}
      - {below: 5, call: in the middle, go: inside}
      - {otherwise: high, go: worn}
  inside:
    do: Open it.
    ask: How is it inside?
    by: battery-trained
    hazards: [drive]
    passes: none
    answers: {Dry: dry, Sound: nothing}
  dirty: {finding: It is dirty., chance: 30, who: operator, remedy: Wipe it., hazards: [startup]}
  tired: {finding: It is tired., chance: 20, who: service, leave_safe: Park it., ask_service: Mend.,
          hazards: [mains]}
  stuck: {finding: It is stuck., chance: 20, who: operator, remedy: Free it., hazards: [drive]}
  worn: {finding: It is worn., chance: 10, who: operator, remedy: Turn it.}
  dry: {finding: It is dry., chance: 10, who: battery-trained, remedy: Fill it., hazards: [drive]}
  nothing: {finding: All looks right., chance: 5, who: service, leave_safe: Park., ask_service: Look.}
  other: {finding: It is something else., chance: 5, continue_with: other}
"""

OTHER = """
format: 1
symptom: other
title: Another thing
start: only
steps:
  only: {finding: The only cause., chance: 1, who: operator, remedy: Do it.}
"""


@cache
def library() -> Read:
    return read(Written(trees={"sample": TREE, "other": OTHER}, cautions=CAUTIONS))


def drill(cause: str, *, slips: bool = False, **more: Any) -> Drill:
    """Return a drill whose hidden cause is this one: that of the first seed that hides it."""
    ready = library().ready("sample")
    assert ready is not None
    number = ready.plan.number[cause]
    machine = next(
        found
        for seed in range(10_000)
        if (found := drawn(ready, seed, slips=slips)).cause == number
    )
    return Drill(machine, library().table, **more)
