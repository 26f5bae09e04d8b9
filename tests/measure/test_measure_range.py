"""What a measurement can give: no figure lies outside its range, and each end of it is given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.measure.registry import MEASUREMENTS, MissingLine, Unreadable

if TYPE_CHECKING:
    from diagnose.measure.model import Measurement, Need


def values(need: Need) -> st.SearchStrategy[Any]:
    """Return what a need takes, in its own unit, its ends often."""
    if need.dimension == "choice":
        return st.sampled_from(need.words)
    assert need.low is not None
    assert need.high is not None
    # What is typed is read to 1e-12; less is nought, and refused where that is.
    low, high = need.low + (1e-12 if need.above_low else 0), need.high
    one = st.sampled_from([low, high, low + (high - low) / 1000]) | st.floats(low, high)
    if need.dimension == "count":
        one = one.map(round)
    if need.places:
        return st.lists(one, min_size=need.places[0], max_size=min(need.places[1], 4)).map(tuple)
    return one if not need.optional else st.none() | one


@pytest.mark.parametrize("name", [name for name in MEASUREMENTS if name != "value"])
@given(data=st.data())
def test_no_figure_lies_outside_the_range(name: str, data: st.DataObject) -> None:
    measurement: Measurement = MEASUREMENTS[name]
    inputs = {need.name: data.draw(values(need), need.name) for need in measurement.needs}
    if name == "dose" and inputs["percent"] is None and inputs["ratio"] is None:
        inputs["ratio"] = 40
    try:
        figure = measurement.compute(**inputs).value
    except (Unreadable, MissingLine):
        return
    assert measurement.low is not None
    room = 1e-9 * max(1, abs(figure))
    assert measurement.low - room <= figure
    assert measurement.high is None or figure <= measurement.high + room


#: Inputs that give the least and the most, in the measurement's units. Where the least is nought
#: for a figure that is above it, or there is no most, the range has an open end.
ENDS: dict[str, tuple[dict[str, Any] | None, dict[str, Any] | None]] = {
    "rest-voltage": ({"volts": 20, "cells": 12, "kind": "sealed"}, {"volts": 27, "cells": 12, "kind": "flooded"}),
    "loaded-voltage": ({"volts": 12, "cells": 12}, {"volts": 27, "cells": 12}),
    "gravity": ({"reading": 1, "temperature": -30}, {"reading": 1.4, "temperature": 60}),
    "cell-gravities": ({"readings": (1.2, 1.2)}, {"readings": (1, 1.4)}),
    "recharge": ({"capacity": 9, "taken_out": 0, "factor": 1}, {"capacity": 5000, "taken_out": 100, "factor": 1.5}),
    "tank-drop": ({"before": 9, "after": 9, "time": 1}, None),
    "bucket-flow": ({"volume": 0, "time": 1}, None),
    "tank-time": ({"volume": 0, "flow": 1}, None),
    "recovery": ({"dispensed": 9, "recovered": 0}, None),
    "area-rate": ({"width": 9, "speed": 3, "efficiency": 0}, {"width": 2000, "speed": 30, "efficiency": 100}),
    "travel-speed": ({"distance": 0, "time": 1}, None),
    "dose": ({"volume": 0, "ratio": 40}, {"volume": 5000, "percent": 100}),
    "solution-temperature": ({"reading": -10}, {"reading": 110}),
    "suction": ({"reading": 0, "rated": 9, "altitude": 0}, {"reading": 15, "rated": 10, "altitude": 0}),
    "blade-edge": ({"reading": 0}, {"reading": 20}),
    "blade-bend": ({"left": 0, "right": 0}, {"left": 60, "right": 60}),
    "blade-level": ({"left": 9, "right": 9}, {"left": 0, "right": 60}),
    "bristle": ({"readings": (0, 9, 9)}, {"readings": (150, 150, 150)}),
    "pad": ({"readings": (0, 9, 9)}, {"readings": (150, 150, 150)}),
    "brush-current": ({"reading": 0, "rated": 18}, None),
    "runtime": ({"observed": 0, "capacity": 240, "rated_hours": 5, "exponent": 1.2, "current": 38}, None),
}  # fmt: skip


@pytest.mark.parametrize("name", ENDS)
def test_each_end_of_the_range_is_given(name: str) -> None:
    measurement = MEASUREMENTS[name]
    for end, inputs in zip((measurement.low, measurement.high), ENDS[name], strict=True):
        if inputs is None:
            assert end is None
        else:
            assert measurement.compute(**inputs).value == pytest.approx(end, abs=1e-12)


@pytest.mark.parametrize("name", ["film", "peukert-time"])
def test_what_is_above_nought_comes_as_near_as_nothing(name: str) -> None:
    inputs: dict[str, Any] = {"flow": 1e-9, "width": 2000, "speed": 30}
    if name == "peukert-time":
        inputs = {"capacity": 1e-9, "rated_hours": 0.5, "current": 2000, "exponent": 1.6}
    measurement = MEASUREMENTS[name]
    assert (measurement.low, measurement.high) == (0, None)
    assert 0 < measurement.compute(**inputs).value < 1e-9


def test_every_measurement_says_what_it_can_give() -> None:
    assert {*ENDS, "film", "peukert-time", "value"} == set(MEASUREMENTS)
    assert MEASUREMENTS["value"].low is MEASUREMENTS["value"].high is None
