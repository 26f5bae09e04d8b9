"""How many examples a test takes, and a few of a strategy, always the same ones."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from hypothesis import HealthCheck, Phase, given, settings

if TYPE_CHECKING:
    from collections.abc import Iterable

    from hypothesis.strategies import SearchStrategy

T = TypeVar("T")


def several(count: int) -> int:
    """Return `count` where a change is judged (`.ci/run`), a fifth of it while one works."""
    working = settings.get_current_profile_name() == "working"
    return max(count // 5, 5) if working else count


def some(things: Iterable[T]) -> list[T]:
    """Return all where a change is judged, every fifth of them while one works."""
    return [*things][:: 5 if settings.get_current_profile_name() == "working" else 1]


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
