"""What was allowed of a change to a library, and why: the file `CHANGES` in its folder."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.commands.options import Unusable
from diagnose.commands.output import write
from diagnose.files.library import CHANGES
from diagnose.files.regular import content
from diagnose.log.clock import now

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


def note_down(folder: Path, who: str, why: str, what: Sequence[str]) -> Path:
    """Put what was allowed behind all that stands in the file, with the time; return its path.

    What stands there already, for the same reason, is not said again. Raises `Unusable`.
    """
    path = folder / CHANGES
    try:
        before = content(path) if path.exists() else b""
    except OSError as error:
        reason = (error.strerror or "it cannot be read").lower()
        raise Unusable(f"{path}: {reason}; nothing was allowed.") from error
    known = before.decode("utf-8", "replace").split("\n")
    lines = [line for one in what if (line := f"  {one}: {why}") not in known]
    if lines:
        head = f"{now().isoformat(timespec='seconds')}  {who}"
        end = b"" if not before or before.endswith(b"\n") else b"\n"
        added = "".join(f"{line}\n" for line in (head, *lines)).encode()
        write(str(path), before + end + added)
    return path
