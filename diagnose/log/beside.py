"""The old file of a log that is lifted, kept beside it."""

from __future__ import annotations

import os
import shutil
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path
    from typing import BinaryIO

#: Bytes.
_PIECE: Final = 1 << 20

_OWN: Final = 0o600

# Elsewhere than on Windows all files are read and written as they are.
_BINARY: Final = getattr(os, "O_BINARY", 0)


def kept(path: Path, version: int, old: BinaryIO) -> Path:
    """Keep the old file of this version under a free name beside it; return that.

    It is read from `old`, piece by piece: it may be larger than the memory. Names are in it: like a
    new log it is for its owner alone, from its first byte. Raises `OSError`.
    """
    beside = path.with_name(f"{path.name}.format-{version}")
    number = 1
    while beside.exists():
        number += 1
        beside = path.with_name(f"{path.name}.format-{version}.{number}")
    file = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, _OWN)
    try:
        with os.fdopen(file, "wb") as copy:
            shutil.copyfileobj(old, copy, _PIECE)
            copy.flush()
            os.fsync(copy.fileno())
        shutil.copystat(path, beside)
        beside.chmod(_OWN)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return beside
