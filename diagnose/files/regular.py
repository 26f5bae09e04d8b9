"""What an ordinary file holds: nothing else is ever opened, since a pipe or a device may hang."""

from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

# What lies there may be changed for a pipe between the look and the opening.
_FLAGS: Final = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


class NotOrdinary(OSError):
    """A folder, a pipe, a device or a socket."""

    def __init__(self, path: Path) -> None:
        super().__init__(None, "it is no ordinary file", str(path))
        self.strerror = "it is no ordinary file"


def is_ordinary(path: Path) -> bool:
    """Return whether an ordinary file lies there, itself or behind links. Raises `OSError`."""
    return stat.S_ISREG(path.stat().st_mode)


def content(path: Path, most: int = -1) -> bytes:
    """Return the first `most` bytes of a file, or all. Raises `OSError`."""
    if not is_ordinary(path):
        raise NotOrdinary(path)
    with os.fdopen(os.open(path, _FLAGS), "rb") as stream:
        if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
            raise NotOrdinary(path)
        return stream.read(most)
