"""Waiting for a log that somebody else is writing to: quietly, then with a word, then no longer.

Everybody who waits asks at short times drawn at random, so that whoever came first is not the one
who asks least often, as with times that grow.
"""

from __future__ import annotations

import random
from time import monotonic, sleep
from typing import TYPE_CHECKING, Final, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

_Result = TypeVar("_Result")

#: Seconds until somebody who waits is told so. Common practice, no published source: within one
#: second nobody asks what the program does.
WORD_AFTER: Final = 1.0

#: Seconds from one asking to the next: from, to.
_AGAIN: Final = (0.001, 0.008)


def patiently(
    action: Callable[[], _Result],
    is_busy: Callable[[Exception], bool],
    wait: float,
    say: Callable[[], None],
) -> _Result:
    """Return what an action comes to, which is done anew while the log is busy.

    `wait` is for how many seconds, `say` is called once where it takes a while. Raises what the
    action raises, after that time; at once where the person breaks off.
    """
    began, told = monotonic(), False
    while True:
        try:
            return action()
        except Exception as error:
            waited = monotonic() - began
            if not is_busy(error) or waited >= wait:
                raise
            if waited >= WORD_AFTER and not told:
                told = True
                say()
            try:
                sleep(random.uniform(*_AGAIN))
            except KeyboardInterrupt:
                # Whoever waits no longer has still not been heard.
                raise error from None
