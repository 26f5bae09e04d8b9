"""A case as worked cases of trees: the lines to put into them, and the same as data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import to_builtins

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from diagnose.log.as_worked import FromCase


def worked_lines(found: Iterable[FromCase]) -> Iterator[str]:
    """Yield lines of YAML that can be put under `worked_cases` of the tree each names."""
    for one in found:
        yield f"  # For worked_cases in {one.symptom}.yaml:"
        yield from one.as_yaml().splitlines()


def worked_data(found: Iterable[FromCase]) -> list[dict[str, Any]]:
    """Return worked cases for other programs."""
    return [
        {"symptom": one.symptom, **to_builtins(one.worked), "remarks": list(one.remarks)}
        for one in found
    ]
