"""A few examples of a strategy, always the same ones, for tests that look for one that fails."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from hypothesis import HealthCheck, Phase, given, settings

if TYPE_CHECKING:
    from hypothesis.strategies import SearchStrategy

T = TypeVar("T")


def examples(strategy: SearchStrategy[T], count: int) -> list[T]:
    """Return `count` examples (fewer where the strategy has no more)."""
    found: list[T] = []

    @settings(
        max_examples=count,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy)
    def keep(example: T) -> None:
        found.append(example)

    keep()
    return found
