"""What holds for every test: no real home, no real log, the same examples each time."""

from __future__ import annotations

import os
import signal
import sys
from functools import wraps
from itertools import count
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

# A busy machine must not turn a test red: no deadline, and nothing that depends on speed.
# `.ci/run` takes all examples (`--hypothesis-profile=all`).
settings.register_profile(
    "all",
    derandomize=True,
    deadline=None,
    database=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
# A fifth of them, to work with.
settings.register_profile("working", settings.get_profile("all"), max_examples=20)
# New examples each time, many of them: `pytest --hypothesis-profile=search`.
settings.register_profile(
    "search", settings.get_profile("all"), derandomize=False, max_examples=2000
)
settings.load_profile("working")


# What a shell starts in the background ignores Ctrl-C, and so would all that the tests start.
for _name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT"):
    _number = getattr(signal, _name, None)
    if _number is not None and signal.getsignal(_number) == signal.SIG_IGN:
        _own = signal.default_int_handler if _name == "SIGINT" else signal.SIG_DFL
        signal.signal(_number, _own)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Iterator[None]:
    """Leave lines uncounted in a test of many cases, and in most examples: others come to them too.

    pytest-cov's own mark does nothing in a process of pytest-xdist, where it counts twice.
    """
    counting = sys.gettrace()
    if counting is None:
        return (yield)
    many = item.get_closest_marker("many_cases") is not None
    examples = None if many else getattr(getattr(item, "obj", None), "hypothesis", None)
    whole = getattr(examples, "inner_test", None)
    if many:
        sys.settrace(None)
    if examples is not None:
        examples.inner_test = _counted_first(whole)
    try:
        return (yield)
    finally:
        sys.settrace(counting)
        if examples is not None:
            examples.inner_test = whole


def _counted_first(test: Callable[..., object]) -> Callable[..., object]:
    """Return a test of examples with lines counted in as many of them as are taken while working."""
    taken = count(1)

    @wraps(test)
    def told(*args: object, **options: object) -> object:
        if next(taken) > settings.get_profile("working").max_examples:
            sys.settrace(None)
        return test(*args, **options)

    return told


@pytest.fixture(autouse=True)
def no_real_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Send everything that a program might look up in a home to a folder of its own, and return it.

    `DIAGNOSE_TREES` is taken away and not redirected: without it the built-in library is meant.
    """
    home = tmp_path_factory.mktemp("home")
    for name in [name for name in os.environ if name.startswith(("XDG_", "DIAGNOSE_"))]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("USERPROFILE", str(home))
    for name, folder in (
        ("XDG_DATA_HOME", "data"),
        ("XDG_CONFIG_HOME", "config"),
        ("XDG_STATE_HOME", "state"),
        ("XDG_CACHE_HOME", "cache"),
        ("XDG_RUNTIME_DIR", "run"),
    ):
        monkeypatch.setenv(name, str(home / folder))
    monkeypatch.setenv("DIAGNOSE_LOG", str(home / "cases.db"))
    return home
