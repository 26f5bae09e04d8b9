"""Rules on the measurements that a library declares."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.measure import declared
from diagnose.measure.model import Unreadable
from diagnose.measure.registry import MEASUREMENTS
from diagnose.rules.view import Objection
from diagnose.study.measurements import made_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.rules.view import MeasurementsView


def taken_measurement(view: MeasurementsView) -> Iterator[Objection]:
    """A measurement of a library has a name that the program does not use itself.

    A tree that was written for the program's own would be read with another formula, and its bands
    would mean something else. `diagnose measure` lists the names.

    Passes:
        measurements:
          belt:
            {title: T, how: H, source: S, formula: a, inputs: {a: {title: A, least: 1, most: 2}}}
    Fails:
        measurements:
          film:
            {title: T, how: H, source: S, formula: a, inputs: {a: {title: A, least: 1, most: 2}}}
    """
    for name in view.tasks:
        if name in MEASUREMENTS:
            message = f'"{name}" is a measurement of the program: give it another name.'
            yield Objection(view.at(name), message)


def input_unit(view: MeasurementsView) -> Iterator[Objection]:
    """An input has a unit that is known, and a range from less to more.

    What is typed is converted to this unit, and refused outside of the range: a slip of the hand
    would otherwise come out as a figure.

    Passes:
        measurements: {slip: {inputs: {turns: {title: turns, unit: rpm, least: 1, most: 90}}}}
    Fails:
        measurements: {slip: {inputs: {turns: {title: turns, unit: rqm, least: 1, most: 90}}}}
    """
    for name, one in view.tasks.items():
        for input_, need in one.inputs:
            try:
                declared.need(input_, need.title, need.unit, need.least, need.most)
            except Unreadable as problem:
                key = "unit" if need.unit and need.least < need.most else "least"
                yield Objection(view.at(name, "inputs", input_, key), _sentence(problem))


def formula(view: MeasurementsView) -> Iterator[Objection]:
    """A formula is school arithmetic over all of the inputs, and comes to the unit that is said.

    A litre a second is no litre a minute. Where a number in the formula brings the one to the other
    (60 * volume / time), nothing is said against it.

    Passes:
        measurements: {slip: {formula: 100 - turns}}
    Fails:
        measurements: {slip: {formula: 100 - tuns}}
    """
    broken = {objection.at[1] for objection in input_unit(view)}
    for name, one in view.tasks.items():
        if name not in broken:
            try:
                made_of(name, one)
            except Unreadable as problem:
                yield Objection(view.at(name, "formula"), _sentence(problem))


def expected_range(view: MeasurementsView) -> Iterator[Objection]:
    """What is expected goes from less to more.

    Otherwise every figure would be too low and too high.

    Passes:
        measurements: {slip: {expected: {least: 0, most: 3}}}
    Fails:
        measurements: {slip: {expected: {least: 3, most: 0}}}
    """
    for name, one in view.tasks.items():
        if one.expected is None:
            continue
        least, most = one.expected.least, one.expected.most
        if least is not None and most is not None and least > most:
            message = f"From {least:g} to {most:g} is no range: the least comes first."
            yield Objection(view.at(name, "expected", "least"), message)


def _sentence(problem: Unreadable) -> str:
    text = f"{problem}"
    return f"{text[0].upper()}{text[1:]}{'' if text.endswith(('.', '?')) else '.'}"
