"""A file that a verb was told to write: whole or not at all."""

from __future__ import annotations

import os
import re
import secrets
import shutil
import stat
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import Final

from diagnose.commands.options import Unusable

_BESIDE: Final = re.compile(r"\.diagnose-[0-9a-f]{12}\Z")

#: After as many seconds nobody is still writing to what stands beside a file.
LEFT_OVER: Final = 3600


def write(file: str, content: bytes, *, log: Path | None = None) -> bool:
    """Write `content` to a file, in place of what was there. Raises `Unusable`.

    It is written beside the file first, so that a full disk or a crash leaves the old one. The
    case log is never what is written to. Where the name stands for the standard output, it is
    written there and nothing is replaced; returns whether a file was written.
    """
    path = Path(file)
    try:
        if _is_standard_output(path):
            sys.stdout.flush()
            sys.stdout.buffer.write(content)
            return False
        path = path.resolve()
        old = _status(path)
        if old is not None:
            _refuse(file, path, old)
        if log is not None and old is not None and path.samefile(log):
            raise Unusable(f"{file}: this is the case log; name another file.")
        _clear(path.parent)
        _replace(path, content, keep_mode=old is not None)
    except (OSError, ValueError, RuntimeError) as error:
        reason = (getattr(error, "strerror", None) or "it cannot be used").lower()
        raise Unusable(f"{file}: {reason}; name another file.") from error
    return True


def _is_standard_output(path: Path) -> bool:
    """Return whether a name stands for where the standard output goes, such as ``/dev/stdout``."""
    try:
        return os.path.samestat(path.stat(), os.fstat(sys.stdout.fileno()))
    except (OSError, ValueError, AttributeError):
        return False


def _status(path: Path) -> os.stat_result | None:
    try:
        return path.stat()
    except FileNotFoundError:
        return None


def _refuse(file: str, path: Path, old: os.stat_result) -> None:
    """Raise `Unusable` where what lies there is not to be replaced."""
    if stat.S_ISDIR(old.st_mode):
        raise Unusable(f"{file}: this is a folder; name a file in it.")
    if not stat.S_ISREG(old.st_mode):
        raise Unusable(f"{file}: this is no ordinary file; name another.")
    # Its folder would allow it, and an administrator may do all: its owner has said that it stays.
    writable = old.st_mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH)
    if not writable or not os.access(path, os.W_OK):
        raise Unusable(f"{file}: this file is not to be written to; name another.")


def _replace(path: Path, content: bytes, *, keep_mode: bool) -> None:
    beside = path.parent / f".diagnose-{secrets.token_hex(6)}"
    try:
        with beside.open("xb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        if keep_mode:
            shutil.copymode(path, beside)
        beside.replace(path)
    finally:
        with suppress(FileNotFoundError):
            beside.unlink()


def _clear(folder: Path) -> None:
    """Delete what a program left beside its file when it was killed."""
    long_ago = time.time() - LEFT_OVER
    with suppress(OSError):
        for one in folder.iterdir():
            if _BESIDE.match(one.name) and one.lstat().st_mtime < long_ago:
                one.unlink()
