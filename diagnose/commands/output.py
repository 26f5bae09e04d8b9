"""A file that a verb was told to write: whole or not at all."""

from __future__ import annotations

import os
import secrets
import shutil
from pathlib import Path

from diagnose.commands.options import Unusable


def write(file: str, content: bytes, *, log: Path | None = None) -> None:
    """Write `content` to a file, in place of what was there. Raises `Unusable`.

    It is written beside the file first, so that a full disk or a crash leaves the old one. The
    case log is never what is written to.
    """
    path = Path(file)
    try:
        path = path.resolve()
        if path.is_dir():
            raise Unusable(f"{file}: this is a folder; name a file in it.")
        if path.exists() and not path.is_file():
            raise Unusable(f"{file}: this is no ordinary file; name another.")
        if log is not None and path.exists() and path.samefile(log):
            raise Unusable(f"{file}: this is the case log; name another file.")
        beside = path.parent / f".diagnose-{secrets.token_hex(6)}"
        try:
            with beside.open("xb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            if path.exists():
                shutil.copymode(path, beside)
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
    except (OSError, ValueError, RuntimeError) as error:
        reason = (getattr(error, "strerror", None) or "it cannot be used").lower()
        raise Unusable(f"{file}: {reason}; name another file.") from error
