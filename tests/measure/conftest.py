"""A reading taken in one line, as a screen would."""

from collections.abc import Callable

import pytest

from diagnose.measure import registry
from diagnose.measure.registry import Figure

Take = Callable[..., Figure]


@pytest.fixture(scope="session")
def take() -> Take:
    """`take("gravity", "reading=1.24 temperature=100F", **{"battery.cells": "12"})`."""

    def taken(name: str, reply: str, **card: str) -> Figure:
        measurement = registry.find(name)
        given = registry.parse_reply(measurement, reply)
        return registry.compute(measurement, given, card.get, bare=True)

    return taken
