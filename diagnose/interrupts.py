"""Ends from outside: Ctrl-C, a window that is closed, a computer that shuts down.

Each raises `Interrupted` where the program is. Once a person was asked something, all but Ctrl-C
wait for the next question instead: it is left, as at the end of the input, and whatever is asked
after it. So a case is left in good order, and the way to go on is said. Who insists, ends it at
once.
"""

from __future__ import annotations

import os
import select
import signal
import sys
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Final, NoReturn

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

_NAMES: Final = ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT")

#: Those that this system has. Ctrl-C alone does not end the program for good.
_ENDS: Final = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]

#: Seconds after which an end is raised anew that came where none can be raised.
_SOON: Final = 0.01


class Interrupted(KeyboardInterrupt):
    """An end from outside: the `number` of a signal."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


class _Now:
    """What is so in this process: signals are the process's, and no part of it owns them."""

    def __init__(self) -> None:
        self.ended: int | None = None
        # Whether an end was raised: what was half made then may complain when it is thrown away.
        self.raised = False
        # Whether somebody was asked something, and has replied.
        self.between = False
        self.listener: Callable[[], None] | None = None
        self.terminals: list[int] = []


_now = _Now()


def listen() -> None:
    """Hear of the ends from now on. What the caller had ignored, as ``nohup`` does, stays so."""
    _now.terminals = [number for number in (0, 1, 2) if os.isatty(number)]
    sys.unraisablehook = _swallowed
    for number in _ENDS:
        if signal.getsignal(number) != signal.SIG_IGN:
            signal.signal(number, _came)


def deafen() -> None:
    """Hear of none any more: the work is done, and no end can change what it came to."""
    for number in _ENDS:
        signal.signal(number, signal.SIG_IGN)
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, 0)


def behind(error: BaseException) -> KeyboardInterrupt | None:
    """Return the end that an error came of, if it did.

    Python 3.11 makes one of its own of what is raised while a class is made.
    """
    seen: BaseException | None = error
    while seen is not None and not isinstance(seen, KeyboardInterrupt):
        seen = seen.__cause__ or seen.__context__
    return seen


def code(broken: KeyboardInterrupt) -> int:
    """Return the exit code of who was interrupted, as a shell says it: 128 and the signal."""
    return 128 + (broken.number if isinstance(broken, Interrupted) else signal.SIGINT)


def let_go() -> None:
    """Leave the terminal to the shell, where an end came to a program that was stopped.

    Whoever touches a terminal from the background is stopped once more.
    """
    if _now.ended is None:
        return
    with suppress(OSError):
        if os.tcgetpgrp(0) != os.getpgrp():
            _send_nowhere(_now.terminals)


@contextmanager
def asking() -> Iterator[None]:
    """Ask a question in here: an end breaks it off at once. Raises `Interrupted`."""
    _now.between = False
    try:
        if _now.ended is not None:
            _end(_now.ended)
        yield
    finally:
        _now.between = True


@contextmanager
def passed_to(listener: Callable[[], None]) -> Iterator[None]:
    """Call `listener` for an end that comes in here, but Ctrl-C, instead of raising it."""
    before, _now.listener = _now.listener, listener
    try:
        yield
    finally:
        _now.listener = before


def await_line(stream: object, ask: Callable[[], None], again: Callable[[], None]) -> bool:
    """Ask for a line, and wait until it can be read; `again` asks where Ctrl-Z was in between.

    Who only reads hears of no signal that comes just before: it waits for the next line then.
    Returns whether it has asked: it does not where the stream is no file, nor on Windows.
    """
    try:
        source: int = stream.fileno()  # type: ignore[attr-defined]
    except (AttributeError, OSError, ValueError):
        return False
    if not hasattr(signal, "SIGCONT"):
        return False
    with _numbers_of_signals() as came:
        ask()
        while source not in select.select([source, came], [], [])[0]:
            if signal.SIGCONT in os.read(came, 64):
                again()
    return True


@contextmanager
def _numbers_of_signals() -> Iterator[int]:
    """Give a file to read the number of each signal from; going on after Ctrl-Z is one of them."""
    came, writes = os.pipe()
    os.set_blocking(writes, False)
    before = signal.set_wakeup_fd(writes, warn_on_full_buffer=False)
    handler = signal.signal(signal.SIGCONT, lambda *_: None)
    try:
        yield came
    finally:
        signal.signal(signal.SIGCONT, handler)
        signal.set_wakeup_fd(before)
        os.close(came)
        os.close(writes)


def _end(number: int) -> NoReturn:
    _now.raised = True
    raise Interrupted(number)


def _came(number: int, frame: object) -> None:
    if number == signal.SIGINT:
        _end(number)
    again, _now.ended = _now.ended is not None, number
    if number == getattr(signal, "SIGHUP", None):
        # Its window was closed: nobody is told of it any more.
        _send_nowhere([one for one in _now.terminals if one and not os.isatty(one)])
        if again:
            return  # kernel and shell both say that a window was closed
    if _now.listener is not None and not again:
        _now.listener()
    elif again or not _now.between:
        _end(number)


def _send_nowhere(streams: list[int]) -> None:
    """Send standard streams nowhere; the standard input has ended then."""
    ended, unused = os.pipe()
    os.close(unused)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for number in streams:
        os.dup2(nowhere if number else ended, number)
    os.close(ended)
    os.close(nowhere)


def _swallowed(found: sys.UnraisableHookArgs) -> None:
    """Raise an end once more, soon, that came in a place that raises nothing.

    Such as in a weak reference's callback, of which the import of a module has many.
    """
    broken = found.exc_value
    if not isinstance(broken, Interrupted):
        if not _now.raised:
            sys.__unraisablehook__(found)
    elif hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, lambda *_: _again(broken.number))
        signal.setitimer(signal.ITIMER_REAL, _SOON)


def _again(number: int) -> None:
    if number == signal.SIGINT or not _now.between:
        _end(number)
