"""Long work of a C library, in a process of its own: an end from outside ends it at once.

While such a library works, no handler of a signal runs, and where it runs out of memory it may take
the whole process along.
"""

from __future__ import annotations

import pickle
import subprocess
import sys
from typing import TYPE_CHECKING, TypeVar

from diagnose.paper.letters import CannotRender

if TYPE_CHECKING:
    from collections.abc import Callable

_Result = TypeVar("_Result")


def worked(work: Callable[..., _Result], *args: object) -> _Result:
    """Return what some work comes to, done apart.

    It is a function of a module, its arguments, its result and what it raises plain data. Raises
    what it raises, and `CannotRender` where it was given up by the system.
    """
    with subprocess.Popen(
        [sys.executable, "-c", "from diagnose.paper.apart import serve; serve()"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        # A Ctrl-C is for whoever waits here, who ends it then.
        process_group=0,
    ) as child:
        try:
            said, _ = child.communicate(pickle.dumps((work, args)))
        except BaseException:
            child.kill()
            child.wait()
            raise
    if child.returncode:
        raise CannotRender("This is too large for this computer: the work on it was given up.")
    result, error = pickle.loads(said)
    if error is not None:
        raise error
    made: _Result = result
    return made


def serve() -> None:
    """Do the work that stands on the standard input."""
    work, args = pickle.load(sys.stdin.buffer)
    said: tuple[object, Exception | None]
    try:
        said = work(*args), None
    except Exception as error:
        said = None, error
    sys.stdout.buffer.write(pickle.dumps(said))
