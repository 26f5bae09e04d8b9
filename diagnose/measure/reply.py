"""One typed reply taken apart into the inputs of a measurement."""

import re

from diagnose.measure import inputs
from diagnose.measure.model import Measurement, Unreadable

_PAIR = r"(?:^|(?<=[\s,;]))([A-Za-z][A-Za-z0-9_-]*)\s*="


def parse_reply(measurement: Measurement, text: str) -> dict[str, str]:
    """The inputs in one typed reply, by name, as text.

    `before=100 L after=88 L time=5 min`, or one bare value where one input alone must be typed.
    Raises Unreadable where it is neither.
    """
    tidy = inputs.plain(text)
    marks = list(re.finditer(_PAIR, tidy))
    if not marks:
        return {_only_asked(measurement, tidy): tidy}
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


def _only_asked(measurement: Measurement, text: str) -> str:
    """The name of the one input that a bare value can be meant for."""
    asked = [need for need in measurement.needs if need.asked and not need.optional]
    if len(asked) == 1 and text:
        return asked[0].name
    example = " ".join(f"{need.name}={need.example}" for need in asked)
    raise Unreadable(f"say which value is which, such as: {example}")
