"""Long work of a C library, in a process of its own: an end from outside ends it at once.

While such a library works, no handler of a signal runs, and where it runs out of memory it may take
the whole process along.
"""

from __future__ import annotations

import pickle
import signal
import subprocess
import sys
from typing import TYPE_CHECKING, TypeVar

from diagnose.paper.letters import CannotRender

if TYPE_CHECKING:
    from collections.abc import Callable

_Result = TypeVar("_Result")


def worked(work: Callable[..., _Result], *args: object) -> _Result:
    """Return what some work comes to, done apart.

    It is a function of a module, its arguments and its result plain data. Raises what it
    raises, and `CannotRender` where it was given up by the system.
    """
    command = [sys.executable, "-c", "from diagnose.paper.apart import serve; serve()"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as child:
        try:
            said, _ = child.communicate(pickle.dumps((work, args)))
        except BaseException:
            child.kill()
            raise
    if child.returncode:
        raise CannotRender("This is too large for this computer: the work on it was given up.")
    result: _Result | CannotRender = pickle.loads(said)
    if isinstance(result, CannotRender):
        raise result
    return result


def serve() -> None:
    """Do the work that stands on the standard input."""
    # Whoever waits is told as well, and says it.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    work, args = pickle.load(sys.stdin.buffer)
    result: object
    try:
        result = work(*args)
    except CannotRender as error:
        result = error
    sys.stdout.buffer.write(pickle.dumps(result))
