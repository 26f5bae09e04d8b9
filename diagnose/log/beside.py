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


def kept(path: Path, version: int, old: BinaryIO) -> Path:
    """Keep the old file of this version under a free name beside it; return that.

    It is read from `old`, piece by piece: it may be larger than the memory. Raises `OSError`.
    """
    beside = path.with_name(f"{path.name}.format-{version}")
    number = 1
    while beside.exists():
        number += 1
        beside = path.with_name(f"{path.name}.format-{version}.{number}")
    try:
        with beside.open("xb") as copy:
            shutil.copyfileobj(old, copy, _PIECE)
            copy.flush()
            os.fsync(copy.fileno())
        shutil.copystat(path, beside)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return beside
