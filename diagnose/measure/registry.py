"""The measurements by name, and the way from typed text to a figure."""

import re
from collections.abc import Callable, Collection, Mapping
from difflib import get_close_matches

from diagnose.measure import (
    battery,
    brush,
    gravity,
    inputs,
    runtime,
    solution,
    squeegee,
    suction,
    travel,
    voltage,
    water,
)
from diagnose.measure.model import (
    Expected,
    Figure,
    Measurement,
    MissingLine,
    Need,
    Outcome,
    Unreadable,
)

__all__ = [
    "MEASUREMENTS",
    "Expected",
    "Figure",
    "Measurement",
    "MissingLine",
    "Need",
    "Outcome",
    "Unreadable",
    "compute",
    "find",
    "missing_line",
    "parse_reply",
]


def value(*, value: float) -> Outcome:
    """The number itself, for a tree that needs a figure with no formula behind it."""
    return Outcome(value=value, workings=(f"read as {value:.6g}",))


VALUE = Measurement(
    name="value",
    title="A plain number",
    unit="",
    how="Read the number off the machine.",
    source="none: the number is taken as it is",
    needs=(Need(name="value", title="number", dimension="number", asked=True, example="12"),),
    compute=value,
)

MEASUREMENTS: dict[str, Measurement] = {
    "rest-voltage": voltage.REST_VOLTAGE,
    "loaded-voltage": voltage.LOADED_VOLTAGE,
    "gravity": gravity.GRAVITY,
    "cell-gravities": gravity.CELL_GRAVITIES,
    "peukert-time": battery.PEUKERT_TIME,
    "runtime": runtime.RUNTIME,
    "recharge": battery.RECHARGE,
    "tank-drop": water.TANK_DROP,
    "bucket-flow": water.BUCKET_FLOW,
    "film": water.FILM_THICKNESS,
    "tank-time": water.TANK_TIME,
    "area-rate": travel.AREA_RATE,
    "travel-speed": travel.TRAVEL_SPEED,
    "recovery": water.RECOVERY,
    "dose": solution.DOSE_VOLUME,
    "solution-temperature": solution.SOLUTION_TEMPERATURE,
    "suction": suction.SUCTION,
    "blade-edge": squeegee.BLADE_EDGE,
    "blade-bend": squeegee.BLADE_BEND,
    "blade-level": squeegee.BLADE_LEVEL,
    "bristle": brush.BRISTLE_LENGTH,
    "pad": brush.PAD_THICKNESS,
    "brush-current": brush.BRUSH_CURRENT,
    "value": VALUE,
}

_PAIR = r"(?:^|(?<=[\s,;]))([A-Za-z][A-Za-z0-9_-]*)\s*="


def find(name: str) -> Measurement:
    """The measurement of that name; KeyError where there is none."""
    return MEASUREMENTS[name]


def parse_reply(measurement: Measurement, text: str) -> dict[str, str]:
    """The inputs in one typed reply, by name, as text.

    `before=100 L after=88 L time=5 min`, or one bare value where one input alone must be typed.
    Raises Unreadable where it is neither.
    """
    tidy = inputs.plain(text)
    asked = [need for need in measurement.needs if need.asked and not need.optional]
    marks = list(re.finditer(_PAIR, tidy))
    if not marks:
        if len(asked) == 1 and tidy:
            return {asked[0].name: tidy}
        example = " ".join(f"{need.name}={need.example}" for need in asked)
        raise Unreadable(f"say which value is which, such as: {example}")
    if tidy[: marks[0].start()].strip(" ,;"):
        raise Unreadable(f"{inputs.quoted(tidy[: marks[0].start()].strip())} has no name before it")
    ends = [mark.start() for mark in marks[1:]] + [len(tidy)]
    given: dict[str, str] = {}
    for mark, end in zip(marks, ends, strict=True):
        name = mark[1].lower()
        if name in given:
            raise Unreadable(f"{inputs.quoted(name)} is given twice")
        given[name] = tidy[mark.end() : end].strip(" ,;")
    return given


def missing_line(
    measurement: Measurement, card: Callable[[str], str | None], given: Collection[str] = ()
) -> MissingLine | None:
    """What the card would have to say before this measurement is worth taking; None: nothing.

    card: the text at a dotted path, None where the card is silent. given: inputs typed as keys.
    """
    replaced = {need.replaces for need in measurement.needs if need.name in given}
    lacking = [
        need
        for need in measurement.needs
        if not need.asked and not need.optional and need.name not in given
        if need.name not in replaced and (need.card is None or card(need.card) is None)
    ]
    if not lacking:
        return None
    keys = " ".join(f"{need.name}={need.example}" for need in lacking)
    lines = _lines(lacking)
    add = f"add {lines} to the machine card, or give {keys}" if lines else f"give {keys}"
    names = ", ".join(need.name for need in lacking)
    return MissingLine(lacking[0].card or "", f"{measurement.name} lacks {names}: {add}")


def _lines(needs: Collection[Need]) -> str:
    """The lines of a card that supply inputs: `battery: {cells: 12}`, one for each section."""
    rooms: dict[str, list[str]] = {}
    for need in needs:
        if need.card:
            room, _, key = need.card.rpartition(".")
            example = f'"{need.example}"' if ":" in need.example else need.example
            rooms.setdefault(room, []).append(f"{key}: {example}")
    alone = [f"`{line}`" for line in rooms.pop("", [])]
    return " and ".join(alone + [f"`{room}: {{{', '.join(rooms[room])}}}`" for room in rooms])


def compute(
    measurement: Measurement,
    given: Mapping[str, str],
    card: Callable[[str], str | None],
    bare: bool,
    si: bool = True,
) -> Figure:
    """A figure from typed inputs, filled up from the card.

    given: inputs as typed, by name. card: the text at a dotted path, None where it is silent.
    bare: a number without a unit takes the unit shown (at a screen). si: give the inputs in SI too.
    Raises Unreadable where an input cannot be used, MissingLine where the card is what lacks.
    """
    needs = {need.name: need for need in measurement.needs}
    _refuse_keys(measurement, needs, given)
    taken = {name: inputs.read(needs[name], text, bare=bare) for name, text in given.items()}
    for need in measurement.needs:
        silent = need.card is None or card(need.card) is None
        if need.asked and not need.optional and need.name not in given and silent:
            add = f", or add {_lines([need])} to the machine card" if need.card else ""
            raise Unreadable(f"{need.name} is missing: give {need.name}={need.example}{add}")
    lacking = missing_line(measurement, card, given)
    if lacking:
        raise lacking
    said = _from_card(measurement, given, card)
    for name, text in said.items():
        taken[name] = _card_value(needs[name], text)
    outcome = measurement.compute(
        **{name: taken[name].value if name in taken else None for name in needs}
    )
    source = ", ".join(f"{name.replace('_', ' ')} {text}" for name, text in said.items())
    workings = (f"from the machine card: {source}", *outcome.workings)
    return Figure(
        read=measurement.name,
        value=inputs.clean(outcome.value),
        unit=measurement.unit,
        expected=outcome.expected,
        workings=workings if said else outcome.workings,
        si=tuple(
            (name, magnitude, taken[name].unit)
            for name in needs
            if si and name in taken
            for magnitude in taken[name].si
        ),
    )


def _refuse_keys(
    measurement: Measurement, needs: Mapping[str, Need], given: Mapping[str, str]
) -> None:
    """Unknown keys, and a key beside the one that it replaces."""
    for name in given:
        if name not in needs:
            near = get_close_matches(name, needs, n=1)
            hint = f"did you mean {near[0]}" if near else f"it takes {', '.join(needs)}"
            quoted = inputs.quoted(name)
            raise Unreadable(f"{measurement.name} takes no input called {quoted}: {hint}")
        if needs[name].replaces in given:
            raise Unreadable(f"give either {needs[name].replaces} or {name}, not both")


def _from_card(
    measurement: Measurement, given: Mapping[str, str], card: Callable[[str], str | None]
) -> dict[str, str]:
    """What the card says of the inputs that were not typed, as written."""
    replaced = {need.replaces for need in measurement.needs if need.name in given}
    said: dict[str, str] = {}
    for need in measurement.needs:
        if need.card and need.name not in given and need.name not in replaced:
            text = card(need.card)
            if text is not None:
                said[need.name] = text
    return said


def _card_value(need: Need, text: str) -> inputs.Taken:
    """A card's line as a value; where it cannot be used, the card is what has to change."""
    try:
        return inputs.read(need, text, bare=False)
    except Unreadable as problem:
        path = need.card or ""
        raise MissingLine(path, f"the machine card's {path} cannot be used: {problem}") from None
