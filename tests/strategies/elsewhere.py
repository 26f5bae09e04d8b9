"""A log in another process, which does to its file what it is asked over a pipe.

One process serves a whole run of tests, one log at a time: to start it takes a while.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from subprocess import PIPE
from typing import TYPE_CHECKING, Any

from diagnose.log.protocol import LogError
from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


class Elsewhere:
    """Has the methods of a `SqliteLog`; what is returned piece by piece comes as a list."""

    def __init__(self, path: Path, mode: str = "rwc", *, now: Callable[[], str]) -> None:
        self._now = now
        self._ask("open", path, mode)

    def __getattr__(self, name: str) -> Callable[..., Any]:
        return lambda *args, **more: self._ask(name, *args, **more)

    def _ask(self, name: str, *args: Any, **more: Any) -> Any:
        process = _process()
        assert process.stdin is not None
        assert process.stdout is not None
        pickle.dump((self._now(), name, args, more), process.stdin)
        process.stdin.flush()
        result = pickle.load(process.stdout)
        if isinstance(result, Exception):
            raise result
        return result


@cache
def _process() -> subprocess.Popen[bytes]:
    # It ends with its input, so with the tests.
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    return subprocess.Popen([sys.executable, __file__], stdin=PIPE, stdout=PIPE, env=env)


class Served:
    """The log of the process that serves."""

    def __init__(self) -> None:
        self.at = ""
        self.log: SqliteLog | None = None

    def answer(self, name: str, args: tuple[Any, ...], more: dict[str, Any]) -> Any:
        """Return what a method comes to; of `open`, `execute` and `wait_for`, nothing."""
        if name == "open":
            self.log = SqliteLog(*args, now=lambda: self.at)
            return None
        assert self.log is not None
        if name == "execute":
            self.log.base.execute(*args).fetchall()
            return None
        if name == "wait_for":
            (self.log.wait,) = args
            return None
        result = getattr(self.log, name)(*args, **more)
        return list(result) if isinstance(result, Iterator) else result


def serve() -> None:
    """Answer until the input ends."""
    served = Served()
    while True:
        try:
            served.at, name, args, more = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        try:
            result = served.answer(name, args, more)
        except LogError as error:
            result = error
        pickle.dump(result, sys.stdout.buffer)
        sys.stdout.buffer.flush()


if __name__ == "__main__":
    serve()
