"""One screen of every kind, made by hand, and a small library to walk."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.case.screens import (
    Cause,
    CautionScreen,
    CheckScreen,
    ChooseScreen,
    Contact,
    DangerScreen,
    EndScreen,
    FigureScreen,
    FindingScreen,
    Guard,
    Input,
    ItemScreen,
    Machine,
    Named,
    ReadingScreen,
    RefusedScreen,
    Screen,
    StateScreen,
    WhyScreen,
    phrase,
)
from diagnose.faces.face import Heading
from diagnose.measure.model import Expected

if TYPE_CHECKING:
    from pathlib import Path

HEADING = Heading(case="K7Q2", title="It streaks", machine="Dock machine")
QUESTION = ("unsure", "cannot", "back", "why", "danger", "leave")
KEY_OUT = Named("key-out", "Key out")
RANKING = (
    Cause("grit", "Grit lifts the edge", 0.61),
    Cause("worn", "The edge is worn", 0.3),
    Cause("band", "The band is loose", 0.086),
    Cause("arm", "The arm is bent", 0.004),
)


def check(**changes: Any) -> CheckScreen:
    fields: dict[str, Any] = {
        "symptom": "streaking",
        "replies": QUESTION,
        "step": "along-blade",
        "do": "Look along the whole rear blade.",
        "ask": "Is anything stuck under it?",
        "look_for": "A clean blade shows one straight line.",
        "tool": "a lamp",
        "answers": (Named("Something is stuck", "Something is stuck"), Named("Clean", "Clean")),
        "open": 9,
        "minutes_left": 6.2,
    }
    return CheckScreen(**(fields | changes))


def guard(**changes: Any) -> Guard:
    fields: dict[str, Any] = {
        "id": "lockout",
        "title": "Locked out",
        "signal": "WARNING",
        "signs": ("W018", "M021", "F099"),
        "text": "Lock the machine out before hands go near it.",
        "confirm": ("The key is in my pocket.", "The connector is apart.", "My tag is on."),
        "hazards": (Named("brush-drive", "Brushes can turn"),),
    }
    return Guard(**(fields | changes))


#: Two cautions that share a screen with others.
GLOVES = guard(
    id="gloves",
    title="Gloves on",
    signal="CAUTION",
    signs=("W009", "M009"),
    text="Dirty water carries germs.",
    confirm=("Waterproof gloves are on.", "I wash my hands afterwards."),
    hazards=(Named("dirty-water", "Dirty water"),),
)
BARRIER = guard(
    id="barrier",
    title="Floor closed off",
    signal="WARNING",
    signs=("W011",),
    text="Keep people off the wet floor.",
    confirm=("Nobody walks where it is wet.", "My shoes grip."),
    hazards=(Named("wet-floor", "Wet floor"),),
)


def caution(*guards: Guard, lines: str = "", **changes: Any) -> CautionScreen:
    """The screen of one caution, which may be changed, or of several that are given."""
    of_screen = {
        n: changes.pop(n)
        for n in ("symptom", "replies", "in_force", "phase", "notes", "signal")
        if n in changes
    }
    guards = guards or (guard(**changes),)
    again = all(one.again for one in guards)
    short = len(guards) > 1 or again or of_screen.get("phase") == "release"
    fields: dict[str, Any] = {
        "symptom": "streaking",
        "replies": ("done", "cannot", "back", "why", "danger", "leave"),
        "id": guards[0].id,
        "title": guards[0].title,
        "phase": "take",
        "lines": lines or ("together" if short else "each"),
        "signal": "WARNING",
        "cautions": guards,
    }
    return CautionScreen(**(fields | of_screen))


def reading(**changes: Any) -> ReadingScreen:
    fields: dict[str, Any] = {
        "symptom": "streaking",
        "replies": QUESTION,
        "step": "speed",
        "read": "travel-speed",
        "title": "Speed over a measured distance",
        "do": "Mark ten metres.",
        "look_for": None,
        "tool": None,
        "needs": (
            Input(name="distance", unit="m", title="distance between the marks"),
            Input(name="time", unit="s", title="time between the marks"),
        ),
        "open": 3,
        "minutes_left": 4.0,
    }
    return ReadingScreen(**(fields | changes))


ONE_NEED = (Input(name="volts", unit="V", title="voltage at rest"),)


def figure(**changes: Any) -> FigureScreen:
    fields: dict[str, Any] = {
        "symptom": "streaking",
        "in_force": (KEY_OUT,),
        "step": "speed",
        "read": "travel-speed",
        "value": 4.5,
        "unit": "km/h",
        "expected": Expected(low=3.0, high=6.0, source="common practice"),
        "band": "at scrubbing speed",
        "workings": ("10 m / 8 s x 3.6 = 4.50 km/h",),
    }
    return FigureScreen(**(fields | changes))


def finding(**changes: Any) -> FindingScreen:
    fields: dict[str, Any] = {
        "symptom": "streaking",
        "in_force": (KEY_OUT,),
        "replies": ("cured", "not cured", "cannot", "back", "why", "danger", "leave"),
        "step": "grit",
        "finding": "Grit lifts the edge",
        "who": "operator",
        "checked": True,
        "remedy": "Wipe the edge.",
        "before_trying": ("Tools are off.", "Everybody stands clear."),
        "leave_safe": None,
        "probability": 0.61,
        "minutes": 3.0,
        "parts": ("rear squeegee blade",),
    }
    return FindingScreen(**(fields | changes))


def for_service(**changes: Any) -> FindingScreen:
    fields: dict[str, Any] = {
        "replies": ("refer", "keep looking", "back", "why", "danger", "leave"),
        "who": "service",
        "checked": False,
        "remedy": None,
        "before_trying": (),
        "leave_safe": "Park it with the key out.",
        "until_mended": "Shut the hand valve at every stop.",
        "parts": (),
    }
    return finding(**(fields | changes))


def item(**changes: Any) -> ItemScreen:
    fields: dict[str, Any] = {
        "symptom": "before-shift",
        "replies": ("done", "not right", "not now", "back", "danger", "leave"),
        "round": "before-shift",
        "item": "horn",
        "number": 3,
        "total": 12,
        "do": "Sound the horn.",
        "look_for": "It is loud.",
    }
    return ItemScreen(**(fields | changes))


def choose(what: str = "machine", count: int = 2, **changes: Any) -> ChooseScreen:
    kind = Machine if what == "machine" else Named
    names = tuple(kind(f"m{number}", f"Machine {number}") for number in range(1, count + 1))
    replies = ("none", "danger", "leave") if what == "machine" else ("danger", "leave")
    fields: dict[str, Any] = {"what": what, "options": names, "replies": replies}
    return ChooseScreen(**(fields | changes))


def state(**changes: Any) -> StateScreen:
    fields: dict[str, Any] = {
        "replies": ("go on", "start anew", "released", "back", "danger", "leave"),
        "machine": "dock",
        "state": "out of use",
        "since": "2026-11-25T12:00:00+00:00",
        "why": "Machine dead: in force, not released",
        "tag": "Ana, operator",
        "case": "K7Q2",
        "call": (Contact(who="Demo service", phone="555-0100"),),
    }
    return StateScreen(**(fields | changes))


def danger(**changes: Any) -> DangerScreen:
    fields: dict[str, Any] = {
        "symptom": "streaking",
        "call": (
            Contact(who="Works fire brigade", phone="555-0100"),
            Contact(who="Demo service", phone="555-0142"),
        ),
    }
    return DangerScreen(**(fields | changes))


def why() -> WhyScreen:
    return WhyScreen(
        symptom="streaking",
        text=(
            phrase("why-take", title="Locked out"),
            phrase("why-hazard", title="Brushes can turn"),
        ),
        ranking=RANKING,
    )


def refused(id_: str = "nothing-typed", /, **into: object) -> RefusedScreen:
    return RefusedScreen(symptom="streaking", message=phrase(id_, **into))


def end(outcome: str = "referred", **changes: Any) -> EndScreen:
    fields: dict[str, Any] = {"symptom": "streaking", "outcome": outcome, "ranking": RANKING}
    return EndScreen(**(fields | changes))


ASKED: dict[str, Screen] = {
    "choose machine": choose(),
    "choose symptom": choose("symptom", 12),
    "who says so": choose("name", 0, replies=("back", "danger", "leave")),
    "state": state(),
    "state, with care": state(
        replies=("start anew", "released", "danger", "leave"), state="use with care", tag=None
    ),
    "danger": danger(in_force=(KEY_OUT,)),
    "danger, nobody to call": danger(symptom=None, call=()),
    "take": caution(),
    "several": caution(GLOVES, BARRIER, guard(again=True)),
    "again": caution(again=True, in_force=(KEY_OUT,)),
    "release": caution(phase="release", text="", hazards=(), signs=(), in_force=(KEY_OUT,)),
    "check": check(),
    "many answers": check(answers=tuple(Named(f"Colour {n}", f"Colour {n}") for n in range(1, 13))),
    "reading": reading(),
    "one need": reading(needs=ONE_NEED),
    "finding": finding(),
    "battery": finding(who="battery-trained", before_trying=(), parts=()),
    "service": for_service(),
    "item": item(),
}

SHOWN: dict[str, Screen] = {
    "figure": figure(),
    "why": why(),
    "refused": refused(),
    "end": end(notes=(phrase("end-danger"), phrase("end-handover", case="K7Q2"))),
}

ALL: dict[str, Screen] = ASKED | SHOWN

CAUTIONS = """\
format: 1
hazards:
  startup: {title: It can start}
  drive: {title: Brushes can turn}
  mains: {title: Mains, service_only: true}
cautions:
  key-out:
    title: Key out
    signal: CAUTION
    signs: [W018]
    covers: [startup]
    lapses: never
    text: Take the key.
    confirm: [It stands level., The key is in my pocket.]
  lockout:
    title: Locked out
    signal: WARNING
    signs: [M021]
    covers: [drive]
    includes: [key-out]
    lapses: when energised
    text: Make it dead.
    confirm: [The connector is apart., My tag is on.]
    release: [My hands are out., My tag is off.]
"""

TREE = """\
format: 1
symptom: sample
title: The sample stands still
start: lamp
steps:
  lamp:
    ask: What does the lamp show?
    answers: {It is dark: bulb, It glows: brush}
  bulb:
    finding: The bulb is dead
    chance: 20
    who: operator
    remedy: Change the bulb.
    parts: [bulb]
  brush:
    do: Look at the brush.
    ask: Is it worn?
    hazards: [drive]
    answers: {Worn: worn-brush, Good: run-it}
  worn-brush:
    finding: The brush is worn
    chance: 30
    who: operator
    remedy: Fit a new brush.
    hazards: [drive]
  run-it:
    do: Let it run.
    ask: Does it hum?
    energises: true
    answers: {It hums: volts, It is silent: motor}
  volts:
    read: value
    do: Read the display.
    bands:
      - {below: 20, call: low, go: flat}
      - {otherwise: high, go: motor}
  flat:
    finding: The battery is flat
    chance: 25
    who: operator
    remedy: Charge it.
  motor:
    finding: The motor is dead
    chance: 25
    who: service
    leave_safe: Park it.
    ask_service: Change the motor.
    hazards: [mains]
"""


def library(folder: Path) -> Path:
    """Write the small library into a folder."""
    (folder / "machines").mkdir()
    (folder / "cautions.yaml").write_text(CAUTIONS, encoding="utf-8")
    (folder / "sample.yaml").write_text(TREE, encoding="utf-8")
    return folder
