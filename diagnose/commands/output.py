"""A file or a folder that a verb was told to write: whole or not at all."""

from __future__ import annotations

import os
import re
import secrets
import shutil
import stat
import sys
import time
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final

from diagnose.commands.options import Unusable

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

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
        raise _unusable(file, error, "name another file") from error
    return True


def write_new(path: Path, content: bytes) -> None:
    """Write a file where none is yet, and its folder where that is missing. Raises `Unusable`."""
    folder = path.parent
    try:
        if os.path.lexists(path):
            raise Unusable(f"{path}: this is there already; name another.")
        made = not folder.exists()
        if made:
            folder.mkdir()
    except OSError as error:
        raise _unusable(folder, error, "name another folder") from error
    try:
        write(str(path), content)
    except BaseException:
        if made:
            with suppress(OSError):
                folder.rmdir()
        raise


def write_folder(folder: str, files: Mapping[str, bytes]) -> Path:
    """Make a folder with files, each by its path inside it, and return it. Raises `Unusable`.

    All of it is there, or nothing. What is there already has to be a folder with nothing in it: it
    stays the same folder, since somebody may stand in it, and it may be a disk of its own.
    """
    path = Path(folder)
    try:
        path = path.resolve()
        if os.path.lexists(path):
            _clear(path)
            _refuse_full(folder, path)
            _fill(path, files)
        else:
            _clear(path.parent)
            _make(path, files)
    except (OSError, ValueError, RuntimeError) as error:
        raise _unusable(folder, error, "name another folder") from error
    return path


def _refuse_full(folder: str, path: Path) -> None:
    if not path.is_dir():
        raise Unusable(f"{folder}: this is no folder; name another.")
    if any(not _BESIDE.match(one.name) for one in path.iterdir()):
        raise Unusable(f"{folder}: this folder is not empty; name a new one.")


def _make(path: Path, files: Mapping[str, bytes]) -> None:
    """Put files into a folder beside, and give it its name when all are in it."""
    with _beside(path.parent) as beside:
        _put(beside, files)
        beside.rename(path)


def _fill(path: Path, files: Mapping[str, bytes]) -> None:
    """Put files into a folder inside an empty one, and move all of them up when they are whole.

    The last in the order of `files` comes last: what builds on it cannot be used before.
    """
    with _beside(path) as inside:
        _put(inside, files)
        names = list(dict.fromkeys(name.partition("/")[0] for name in files))
        try:
            for name in names:
                (inside / name).rename(path / name)
        except BaseException:
            for name in names:
                _delete(path / name)
            raise


@contextmanager
def _beside(folder: Path) -> Iterator[Path]:
    """Make a folder for what is not whole yet, and see that nothing is left of it."""
    beside = folder / f".diagnose-{secrets.token_hex(6)}"
    try:
        beside.mkdir()
        yield beside
    finally:
        _delete(beside)


def _put(folder: Path, files: Mapping[str, bytes]) -> None:
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        _written(path, content)


def _delete(path: Path) -> None:
    with suppress(OSError):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


def _unusable(named: object, error: Exception, mend: str) -> Unusable:
    reason = (getattr(error, "strerror", None) or "it cannot be used").lower()
    return Unusable(f"{named}: {reason}; {mend}.")


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
        _written(beside, content)
        if keep_mode:
            shutil.copymode(path, beside)
        beside.replace(path)
    finally:
        with suppress(FileNotFoundError):
            beside.unlink()


def _written(path: Path, content: bytes) -> None:
    with path.open("xb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _clear(folder: Path) -> None:
    """Delete what a program left in a folder when it was killed."""
    long_ago = time.time() - LEFT_OVER
    with suppress(OSError):
        for one in folder.iterdir():
            if _BESIDE.match(one.name) and one.lstat().st_mtime < long_ago:
                _delete(one)
