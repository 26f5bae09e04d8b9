"""The examples in the program's docstrings are true."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "diagnose"


def examples() -> dict[str, int]:
    """Return how many lines of examples each module has, by its name."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        lines = path.read_text(encoding="utf-8").splitlines()
        number = sum(line.lstrip().startswith(">>> ") for line in lines)
        if number:
            parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
            found[".".join(parts).removesuffix(".__init__")] = number
    return found


EXAMPLES = examples()


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_examples_of_a_module_are_true(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    # As many as are written: one that doctest does not find would never be tried.
    assert (result.failed, result.attempted) == (0, EXAMPLES[name])


def test_modules_with_examples_are_found() -> None:
    assert {"diagnose.text", "diagnose.study.order"} <= set(EXAMPLES)
